"""Whole scenes: a random nozzle, shot, sheet, table and camera of a wanted kind, drawn at once."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from spraycheck.simulate.camera import Camera, Curl
from spraycheck.simulate.card import CardImage, draw_card
from spraycheck.simulate.central_scene import CENTRAL_FAULTS, central_spray
from spraycheck.simulate.checks import Seed, as_rng, check_choice, check_range
from spraycheck.simulate.nozzle import SyntheticNozzle
from spraycheck.simulate.paper import STOCKS, Fluid, Paper
from spraycheck.simulate.photo import SyntheticPhoto, photograph
from spraycheck.simulate.scribbles import random_artwork
from spraycheck.simulate.shot import SprayShot, StrayJet
from spraycheck.simulate.table import Table

FAMILIES = ("bench", "workshop", "hard", "layout", "central", "blank")
"""Sorts of scene: square-on in good light; slanted with clutter, shadow and coloured stock;
blurred, noisy, badly exposed or cropped; holes unequal by design; pintle or single hole; never
sprayed."""

FAULTS = ("none", "blocked", "weak", "heavy", "off-line", "two", "stray", "merging")
"""Kinds of fault a scene with holes can have; ``two`` is two faulty holes of different kinds. The
family ``central`` has its own, `CENTRAL_FAULTS`."""

SHEETS_MM = ((210.0, 297.0), (215.9, 279.4), (148.0, 210.0), (200.0, 200.0))
"""A4, letter, A5 and a cut square."""


@dataclass(frozen=True, kw_only=True)
class Scene:
    """Everything about one picture; drawing it twice gives the same pixels.

    Parameters
    ----------
    seed : int
        Of what is random in drawing.
    nozzle, shot, paper, fluid, camera, table, curl
        See their classes; ``shot`` None is a blank card.
    foot_mm : (float, float)
        Nozzle centre on the card.
    soak_s : float
        Time from spraying to photograph.
    family, fault : str
        What was asked for.
    """

    seed: int
    nozzle: SyntheticNozzle
    shot: SprayShot | None
    paper: Paper
    fluid: Fluid
    camera: Camera
    table: Table
    curl: Curl
    foot_mm: tuple[float, float]
    soak_s: float
    family: str
    fault: str

    def draw(self) -> CardImage:
        """Draw the card, flat."""
        return draw_card(
            self.nozzle,
            self.shot,
            self.paper,
            self.fluid,
            seed=self.seed,
            foot_mm=self.foot_mm,
            soak_s=self.soak_s,
        )

    def photograph(self, card: CardImage | None = None) -> SyntheticPhoto:
        """Photograph the card (drawn afresh unless given)."""
        return photograph(
            card or self.draw(), self.camera, self.table, curl=self.curl, seed=self.seed + 1
        )


def random_scene(
    seed: Seed,
    *,
    family: str = "any",
    fault: str = "any",
    difficulty: float | None = None,
    megapixels: float = 3.0,
) -> Scene:
    """Draw up a scene at random.

    Parameters
    ----------
    seed : int or numpy.random.Generator
        Where all randomness comes from.
    family : str
        One of `FAMILIES`, or ``any`` (bench, workshop, hard or layout).
    fault : str
        One of `FAULTS` (`CENTRAL_FAULTS` for the family ``central``), or ``any``: half of the
        scenes have none.
    difficulty : float, optional
        0 (as easy as the family allows) to 1 (as hard); at random by default. It rules how clear
        the fault is and how bad the photograph.
    megapixels : float
        Size of the photograph.

    Returns
    -------
    Scene

    Raises
    ------
    InputError
        The seed is no number, or an unknown family or fault.
    """
    rng = as_rng(seed)
    check_choice("family", family, ("any", *FAMILIES))
    kinds = CENTRAL_FAULTS if family == "central" else FAULTS
    # A central spray has no holes to be faulty: their faults leave it sound.
    check_choice("fault", fault, ("any", *dict.fromkeys((*FAULTS, *kinds))))
    check_range("megapixels", megapixels, 0.1, 50)
    hard = (
        float(rng.uniform()) if difficulty is None else check_range("difficulty", difficulty, 0, 1)
    )
    if family == "any":
        family = str(rng.choice(["bench", "workshop", "hard", "layout"]))
    if fault == "any":
        fault = "none" if rng.uniform() < 0.5 else str(rng.choice(kinds[1:]))
    sheet = SHEETS_MM[int(rng.integers(len(SHEETS_MM)))]
    if family != "bench" and rng.uniform() < 0.3:
        sheet = (sheet[1], sheet[0])
    paper, fluid = _stationery(family, sheet, rng)
    if family == "central":
        fault = fault if fault in CENTRAL_FAULTS else "none"
        nozzle, shot, foot = central_spray(paper, fault, hard, rng)
    else:
        nozzle = _nozzle(family, rng)
        shot, foot = _shot(nozzle, paper, family, hard, rng)
    if family not in ("central", "blank"):
        nozzle, shot = _with_fault(nozzle, shot, fault, hard, rng)
    return Scene(
        seed=int(rng.integers(2**31)),
        nozzle=nozzle,
        shot=None if family == "blank" else shot,
        paper=paper,
        fluid=fluid,
        camera=_camera(family, hard, megapixels, rng),
        table=_table(family, rng),
        curl=_curl(family, hard, rng),
        foot_mm=foot,
        soak_s=float(rng.uniform(10, 90)),
        family=family,
        fault="none" if family == "blank" else fault,
    )


# -- what is sprayed ---------------------------------------------------------------------------


def _nozzle(family: str, rng: np.random.Generator) -> SyntheticNozzle:
    first = float(rng.uniform(0, 360))
    holes = int(rng.integers(3, 9))
    angle = float(rng.uniform(56, 74))
    if family == "layout":
        kind = int(rng.integers(3))
        if kind == 0:
            return SyntheticNozzle.slanted(
                holes,
                axis_angle_deg=min(angle, 66.0),
                slant_deg=float(rng.uniform(4, 12)),
                slant_to_deg=float(rng.uniform(0, 360)),
                first_deg=first,
            )
        if kind == 1:
            return SyntheticNozzle.two_row(
                2 * max(2, holes // 2),
                upper_angle_deg=angle,
                lower_angle_deg=angle - float(rng.uniform(4, 10)),
                lower_flow=float(rng.uniform(1.05, 1.15)),
                first_deg=first,
            )
        even = SyntheticNozzle.evenly(holes, axis_angle_deg=angle, first_deg=first)
        room = 0.25 * 360 / holes
        return replace(
            even,
            azimuth_deg=tuple((a + rng.uniform(-room, room)) % 360 for a in even.azimuth_deg),
            diameter_mm=tuple(float(d) for d in rng.uniform(0.17, 0.23, holes)),
        )
    return SyntheticNozzle.evenly(holes, axis_angle_deg=angle, first_deg=first)


def _shot(
    nozzle: SyntheticNozzle, paper: Paper, family: str, hard: float, rng: np.random.Generator
) -> tuple[SprayShot, tuple[float, float]]:
    """Choose height and volume so that the stains lie on the sheet and look like stains."""
    half_sheet = min(paper.width_mm, paper.height_mm) / 2
    cone = float(rng.uniform(4.0, 9.3))
    widest = math.tan(math.radians(max(nozzle.axis_angles)))
    reach = float(rng.uniform(0.42, 0.68)) * half_sheet
    height = reach / widest
    area = sum(_ellipse(a, cone, height) for a in nozzle.axis_angles)
    # Small heights and narrow cones would leave unseen specks: at least 180 mm2 per hole.
    area = max(area, 180.0 * len(nozzle)) * float(rng.uniform(0.55, 1.9))
    area = min(area, 0.35 * paper.width_mm * paper.height_mm)
    tilt = {"bench": 0.0, "workshop": 1.5, "hard": 1.5, "layout": 2.0}.get(family, 0.0)
    drips = rng.uniform() < (0.3 if family in ("workshop", "hard") else 0.1)
    shot = SprayShot(
        volume_mm3=area * paper.capacity_mm3_per_mm2,
        height_mm=height,
        tilt_x_deg=float(rng.normal(0, tilt)),
        tilt_y_deg=float(rng.normal(0, tilt)),
        half_cone_deg=cone,
        mist_frac=float(rng.uniform(0.10, 0.36)),
        mist_mm=float(rng.uniform(5, 14)),
        coarse_frac=float(rng.uniform(0.0, 0.08)),
        satellites=float(rng.uniform(0, 14)),
        mottle_frac=float(rng.uniform(0.03, 0.25)),
        drip_mm3=float(rng.uniform(0.5, 5.0)) if drips else 0.0,
        splashes=int(rng.integers(0, 5)) if hard > 0.6 and family != "bench" else 0,
    )
    spare = 0.15 * (1 - reach / half_sheet) * half_sheet
    return shot, (float(rng.uniform(-spare, spare)), float(rng.uniform(-spare, spare)))


def _ellipse(axis_angle_deg: float, half_cone_deg: float, height_mm: float) -> float:
    """Return the area of the ellipse in which a cone meets the card, kept below the horizon."""
    a = math.radians(axis_angle_deg)
    b = min(math.radians(half_cone_deg), math.radians(87.0) - a)
    long = height_mm * (math.tan(a + b) - math.tan(a - b)) / 2
    short = height_mm * math.sin(b) / math.sqrt(math.cos(a) ** 2 - math.sin(b) ** 2)
    return math.pi * long * short


def _with_fault(
    nozzle: SyntheticNozzle, shot: SprayShot, fault: str, hard: float, rng: np.random.Generator
) -> tuple[SyntheticNozzle, SprayShot]:
    """Spread the healthy holes a little, then put the fault in."""
    n = len(nozzle)
    # Healthy holes: 3 % in flow (common practice, no source), about half a degree in direction.
    for k in range(1, n + 1):
        nozzle = nozzle.with_flow(k, float(np.clip(rng.normal(1, 0.03), 0.93, 1.07)))
        turn = float(np.clip(rng.normal(0, 0.5), -1.5, 1.5))
        nozzle = nozzle.with_deflection(k, turn, float(rng.normal(0, 0.4)))
    order = [int(k) + 1 for k in rng.permutation(n)]

    def put(kind: str, hole: int) -> None:
        nonlocal nozzle
        clear = 1 - hard
        if kind == "blocked":
            nozzle = nozzle.with_flow(hole, 0.0)
        elif kind == "weak":
            nozzle = nozzle.with_flow(hole, float(rng.uniform(0.1 + 0.5 * hard, 0.4 + 0.5 * hard)))
        elif kind == "heavy":
            nozzle = nozzle.with_flow(
                hole, float(rng.uniform(1.3 + 0.5 * clear, 1.6 + 0.8 * clear))
            )
        elif kind == "off-line":
            size = rng.uniform(2 + 6 * clear, 8 + 12 * clear)
            room = 0.45 * 360 / n
            turn = float(min(size, room) * rng.choice([-1, 1]))
            nozzle = nozzle.with_deflection(hole, turn, float(rng.normal(0, 1.5)))

    if fault == "two":
        kinds = rng.permutation(["blocked", "weak", "heavy", "off-line"])[:2]
        for kind, hole in zip(kinds, order, strict=False):
            put(str(kind), hole)
    elif fault == "stray":
        between = nozzle.azimuth_deg[order[0] - 1] + rng.uniform(0.3, 0.7) * 360 / n
        stray = StrayJet(
            direction_deg=float(between % 360),
            axis_angle_deg=float(np.clip(rng.normal(np.mean(nozzle.axis_angles), 5), 30, 78)),
            share=float(rng.uniform(0.15, 0.3) + 0.3 * (1 - hard)),
        )
        shot = replace(shot, strays=(stray,))
    elif fault == "merging":
        # Two neighbours bent towards each other until their stains touch or run into one: a cone
        # is seen from the foot under asin(sin b / sin a) either side, its stain a little wider.
        hole = order[0]
        gap = (nozzle.azimuth_deg[hole % n] - nozzle.azimuth_deg[hole - 1]) % 360
        axis = math.radians(nozzle.axis_angles[hole - 1])
        width = math.degrees(math.asin(math.sin(math.radians(shot.half_cone_deg)) / math.sin(axis)))
        turn = max(2.5, (gap - 2 * width * float(rng.uniform(0.5, 1.3))) / 2)
        nozzle = nozzle.with_deflection(hole, turn).with_deflection(hole % n + 1, -turn)
    elif fault != "none":
        put(fault, order[0])
    flow = sum(nozzle.flows) / n
    # What a blocked hole holds back is shared only in part by the others (chosen: half).
    return nozzle, replace(shot, volume_mm3=max(1e-3, shot.volume_mm3 * (1 + flow) / 2))


# -- what it is sprayed on, and photographed with ------------------------------------------------


def _stationery(
    family: str, sheet: tuple[float, float], rng: np.random.Generator
) -> tuple[Paper, Fluid]:
    plain = family == "bench"
    weights = np.array([3.0, 2.0, 1.5, 1.5, 1.0, 0.5 if plain else 1.2, 0.2 if plain else 1.0])
    name = str(rng.choice(list(STOCKS), p=weights / weights.sum()))
    paper = Paper.stock(name, width_mm=sheet[0], height_mm=sheet[1])
    tint = np.clip(np.array(paper.colour) * np.exp(rng.normal(0, 0.03, 3)), 0.05, 0.93)
    paper = replace(
        paper,
        colour=(float(tint[0]), float(tint[1]), float(tint[2])),
        texture_frac=paper.texture_frac * float(np.exp(rng.uniform(-0.6, 0.9))),
        cloud_frac=paper.cloud_frac * float(rng.uniform(0.6, 1.8)),
        wick_mm_per_rt_s=paper.wick_mm_per_rt_s * float(rng.uniform(0.6, 1.6)),
        artwork=random_artwork(family, sheet, rng),
    )
    share = np.array([3.0, 4.0, 1.0, 0.7, 0.6])
    kind = str(rng.choice(["clear", "straw", "red", "green", "dark"], p=share / share.sum()))
    return paper, Fluid.kind(kind).diluted(float(rng.uniform(0.4, 1.2)))


def _camera(family: str, hard: float, megapixels: float, rng: np.random.Generator) -> Camera:
    long, short = math.sqrt(megapixels * 1e6 * 4 / 3), math.sqrt(megapixels * 1e6 * 3 / 4)
    upright = rng.uniform() < 0.6
    width, height = (short, long) if upright else (long, short)
    rough = {"bench": 0.15, "layout": 0.3, "workshop": 0.6}.get(family, 0.7) * (0.4 + 0.9 * hard)
    bad = family == "hard"
    exposure = float(rng.uniform(0.6, 0.92))
    if bad:
        exposure = float(rng.choice([rng.uniform(0.25, 0.5), rng.uniform(0.9, 1.15), exposure]))
    light = str(rng.choice(["ceiling", "window", "lamp", "flash"], p=[0.4, 0.2, 0.25, 0.15]))
    return Camera(
        width_px=round(width),
        height_px=round(height),
        focal_35mm=float(rng.choice([24, 26, 26, 28, 52])),
        fill_frac=float(rng.uniform(0.55, 0.95) if not bad else rng.uniform(0.6, 1.12)),
        obliquity_deg=float(abs(rng.normal(0, 2 + 22 * rough))) % 38,
        obliquity_to_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 8)) if family == "bench" else float(rng.uniform(-180, 180)),
        aim_mm=(float(rng.normal(0, 4)), float(rng.normal(0, 4))),
        distortion=(float(rng.normal(0, 0.012)), float(rng.normal(0, 0.005))),
        light=light,
        light_from_deg=float(rng.uniform(0, 360)),
        light_fall_frac=float(rng.uniform(0.1, 0.2 + 0.5 * rough)),
        warm_frac=float(rng.normal(0, 0.06)),
        shadow_frac=float(rng.uniform(0.1, 0.5)) if rng.uniform() < rough else 0.0,
        shadow_soft_mm=float(np.exp(rng.uniform(math.log(4), math.log(80)))),
        gloss=float(rng.uniform(0.02, 0.35)) if light == "flash" else 0.0,
        exposure=exposure,
        blur_px=float(rng.uniform(0.3, 1.0) if not bad else rng.uniform(0.7, 1.2 + 1.6 * hard)),
        motion_px=float(rng.uniform(1, 5)) if bad and rng.uniform() < 0.35 else 0.0,
        noise=float(rng.uniform(0.003, 0.010) if not bad else rng.uniform(0.008, 0.03)),
        vignette_frac=float(rng.uniform(0.05, 0.25)),
        sharpen=float(rng.uniform(0.0, 0.6)),
        contrast=float(rng.uniform(0.0, 0.3)),
        jpeg_quality=int(rng.integers(78, 96) if not bad else rng.integers(45, 92)),
    )


def _table(family: str, rng: np.random.Generator) -> Table:
    names = ["wood", "dark wood", "steel", "concrete", "oily tray", "blue mat", "rubber"]
    if family in ("workshop", "hard"):
        names += ["white bench", "cardboard"]
    elif rng.uniform() < 0.08:
        names = ["white bench"]
    cluttered = family in ("workshop", "hard")
    return Table(
        surface=str(rng.choice(names)),
        brightness=float(rng.uniform(0.7, 1.4)),
        clutter=int(rng.integers(0, 6)) if cluttered else 0,
        covering=cluttered and rng.uniform() < 0.15,
    )


def _curl(family: str, hard: float, rng: np.random.Generator) -> Curl:
    if family == "bench" or rng.uniform() < 0.4:
        return Curl()
    return Curl(
        lift_mm=float(np.clip(rng.normal(0, 2 + 5 * hard), -12, 12)),
        axis_deg=float(rng.uniform(0, 180)),
    )
