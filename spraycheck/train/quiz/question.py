"""Questions: a seed and the wanted faults in, a photographed card with its truth out."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.simulate import CardTruth, Curl, Scene, SprayShot, StrayJet, random_scene
from spraycheck.simulate.scribbles import squared_ruling
from spraycheck.train.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS
from spraycheck.train.quiz.score import DrawnJet, NamedPlace, Score, score_answer
from spraycheck.train.tool_answer import ToolAnswer, ask_tool

MEGAPIXELS = 1.5
"""Of a question's photo: twice what its picture shows, and drawn in about a second (chosen)."""

_CLOCK = [30.0 * hour for hour in range(1, 13)]


@dataclass(frozen=True, kw_only=True)
class Fault:
    """A wanted fault: a key of `QUIZ_KINDS`, and its severity (infinite without degrees)."""

    kind: str
    severity: float = math.inf


@dataclass(frozen=True, kw_only=True)
class QuestionSpec:
    """All that makes a question; the same values draw the same picture.

    Parameters
    ----------
    seed : int
        Of everything left to chance.
    faults : tuple of Fault
        Empty for a good card; each goes to a hole of its own.
    look_alike : str
        A key of `LOOK_ALIKES`, or empty.
    """

    seed: int
    faults: tuple[Fault, ...] = ()
    look_alike: str = ""

    def __post_init__(self) -> None:
        for fault in self.faults:
            kind = QUIZ_KINDS.get(fault.kind)
            if kind is None or not fault.severity > 0:
                raise InputError(f"fault {fault.kind!r} of severity {fault.severity:g}: unknown")
        if self.look_alike and self.look_alike not in LOOK_ALIKES:
            raise InputError(f"look-alike {self.look_alike!r}: expected one of {[*LOOK_ALIKES]}")


@dataclass(frozen=True, kw_only=True)
class Question:
    """A drawn question.

    Parameters
    ----------
    spec : QuestionSpec
        What it was made from.
    rgb : (H, W, 3) ndarray of uint8
        The photo.
    focal_35mm : float
        Of the camera.
    holes : int
        How many holes the nozzle has.
    jets : tuple of DrawnJet
        The truth: every hole, then every stray jet.
    hours_px, half_hours_px : (12, 2) ndarray of float64
        Where a clock's hours and half hours lie in the photo.
    sheet_px : (4, 2) ndarray of float64
        Corners of the sheet in the photo.
    """

    spec: QuestionSpec
    rgb: NDArray[np.uint8]
    focal_35mm: float
    holes: int
    jets: tuple[DrawnJet, ...]
    hours_px: NDArray[np.float64]
    half_hours_px: NDArray[np.float64]
    sheet_px: NDArray[np.float64]

    @property
    def faulty(self) -> tuple[DrawnJet, ...]:
        """What is wrong with the card."""
        return tuple(jet for jet in self.jets if jet.kind)


def draw_question(spec: QuestionSpec) -> Question:
    """Draw and photograph a question."""
    scene = question_scene(spec)
    card = scene.draw()
    photo = scene.photograph(card)
    truth = card.truth
    around = 6.0 + 1.06 * max(h.reach_mm for h in truth.holes if math.isfinite(h.reach_mm))

    def ring(start_deg: float) -> NDArray[np.float64]:
        a = np.radians(np.array(_CLOCK) + start_deg)
        mm = np.column_stack([truth.x_mm + around * np.sin(a), truth.y_mm - around * np.cos(a)])
        return photo.to_photo(mm)

    return Question(
        spec=spec,
        rgb=photo.rgb,
        focal_35mm=photo.focal_35mm,
        holes=len(scene.nozzle),
        jets=_jets(truth, spec),
        hours_px=ring(0.0),
        half_hours_px=ring(15.0),
        sheet_px=photo.corners_px,
    )


def question_scene(spec: QuestionSpec) -> Scene:
    """Return the scene of a question: a healthy nozzle of equal holes, then what was asked for."""
    rng = np.random.default_rng([spec.seed, 1])
    family = "bench" if rng.uniform() < 0.5 else "workshop"
    # Half as hard as the family allows at most: the fault is to be the difficulty, not the photo.
    scene = random_scene(
        spec.seed,
        family=family,
        fault="none",
        difficulty=float(rng.uniform(0, 0.5)),
        megapixels=MEGAPIXELS,
    )
    # Upright within 20 degrees, so that the sheet's top edge is the one nearest the photo's top
    # and the dial counts as the tool does.
    camera = replace(scene.camera, roll_deg=float(rng.uniform(-20, 20)))
    scene = replace(scene, camera=camera, shot=_upright(scene.shot))
    scene = _with_look_alike(scene, spec.look_alike, rng)
    return _with_faults(scene, spec, rng)


def judge_question(question: Question) -> ToolAnswer:
    """Let the tool judge the photo of a question."""
    return ask_tool(question.rgb, question.focal_35mm, holes=question.holes)


def score_tool(question: Question, tool: ToolAnswer) -> Score:
    """Score the tool as a trainee; a hole it is unsure about is not named."""
    named = [
        NamedPlace(kind=hole.state, clock_deg=hole.expected_deg)
        for hole in tool.holes
        if hole.state not in ("clear", "unsure")
    ]
    named += [NamedPlace(kind="stray", clock_deg=at) for at in tool.stray_deg]
    verdict = {"pass": "good", "fail": "faulty"}.get(tool.verdict, "unknown")
    return score_answer(question.jets, verdict, named)


# -- what is drawn -------------------------------------------------------------------------------


def _jets(truth: CardTruth, spec: QuestionSpec) -> tuple[DrawnJet, ...]:
    owners = dict(zip(_places(spec, len(truth.holes)), spec.faults, strict=False))
    found = []
    for hole in truth.holes:
        fault = owners.get(hole.hole)
        real = fault if fault is not None and fault.kind != "stray" else None
        found.append(
            DrawnJet(
                hole=hole.hole,
                kind=real.kind if real else "",
                severity=real.severity if real else 0.0,
                expected_deg=hole.expected_deg,
                direction_deg=hole.direction_deg,
            )
        )
    strays = [wet for wet in truth.marks if wet.kind == "stray"]
    wanted = [fault for fault in spec.faults if fault.kind == "stray"]
    for stray, fault in zip(strays, wanted, strict=True):
        found.append(
            DrawnJet(
                hole=0,
                kind="stray",
                severity=fault.severity,
                expected_deg=stray.direction_deg,
                direction_deg=stray.direction_deg,
            )
        )
    return tuple(found)


def _places(spec: QuestionSpec, holes: int) -> list[int]:
    """Return the holes in the order in which they get the faults."""
    rng = np.random.default_rng([spec.seed, 2])
    return [int(k) + 1 for k in rng.permutation(holes)]


def _with_faults(scene: Scene, spec: QuestionSpec, rng: np.random.Generator) -> Scene:
    nozzle, shot = scene.nozzle, scene.shot
    if shot is None:
        raise InputError("the scene was never sprayed")
    before = sum(nozzle.flows)
    for hole, fault in zip(_places(spec, len(nozzle)), spec.faults, strict=False):
        if fault.kind == "blocked":
            nozzle = nozzle.with_flow(hole, 0.0)
        elif fault.kind == "weak":
            nozzle = nozzle.with_flow(hole, 1 - fault.severity)
        elif fault.kind == "heavy":
            nozzle = nozzle.with_flow(hole, 1 + fault.severity)
        elif fault.kind == "off-line":
            turn = fault.severity * float(rng.choice([-1, 1]))
            nozzle = nozzle.with_deflection(hole, turn, nozzle.axis_deflections[hole - 1])
        else:
            gap = 360 / len(nozzle)
            between = nozzle.azimuth_deg[hole - 1] + float(rng.uniform(0.4, 0.6)) * gap
            stray = StrayJet(
                direction_deg=between % 360,
                axis_angle_deg=float(np.mean(nozzle.axis_angles)),
                share=fault.severity,
            )
            shot = replace(shot, strays=(*shot.strays, stray))
    # What a blocked hole holds back is shared only in part by the others (half, as in the scenes).
    volume = shot.volume_mm3 * (1 + sum(nozzle.flows) / before) / 2
    return replace(scene, nozzle=nozzle, shot=replace(shot, volume_mm3=volume))


def _upright(shot: SprayShot | None) -> SprayShot | None:
    """Hold the nozzle's tilt well below the tool's limit; above it the tool gives no verdict."""
    if shot is None:
        return None
    tilt = math.hypot(shot.tilt_x_deg, shot.tilt_y_deg)
    shrink = min(1.0, 1.5 / max(tilt, 1e-9))
    x, y = shot.tilt_x_deg * shrink, shot.tilt_y_deg * shrink
    return replace(shot, tilt_x_deg=x, tilt_y_deg=y)


def _with_look_alike(scene: Scene, look_alike: str, rng: np.random.Generator) -> Scene:
    shot, camera, paper = scene.shot, scene.camera, scene.paper
    if shot is None or not look_alike:
        return scene
    if look_alike == "tilted":
        # Below the tool's limit of tilt, above which it gives no verdict.
        tilt, towards = float(rng.uniform(1.6, 2.6)), float(rng.uniform(0, 2 * math.pi))
        x, y = tilt * math.sin(towards), tilt * math.cos(towards)
        return replace(scene, shot=replace(shot, tilt_x_deg=x, tilt_y_deg=y))
    if look_alike == "curled":
        lift = float(rng.uniform(5, 9))
        return replace(scene, curl=Curl(lift_mm=lift, axis_deg=float(rng.uniform(0, 180))))
    if look_alike == "glare":
        gloss = float(rng.uniform(0.2, 0.35))
        return replace(scene, camera=replace(camera, light="flash", gloss=gloss))
    if look_alike == "late":
        return replace(scene, soak_s=float(rng.uniform(400, 900)))
    if look_alike == "squared":
        ruling = squared_ruling((paper.width_mm, paper.height_mm))
        return replace(scene, paper=replace(paper, artwork=(ruling,)))
    if look_alike == "dripped":
        return replace(scene, shot=replace(shot, drip_mm3=float(rng.uniform(3, 6))))
    if look_alike == "splashed":
        return replace(scene, shot=replace(shot, splashes=int(rng.integers(3, 7))))
    shadow = replace(
        camera,
        shadow_frac=float(rng.uniform(0.3, 0.5)),
        shadow_soft_mm=float(rng.uniform(5, 25)),
    )
    return replace(scene, camera=shadow)
