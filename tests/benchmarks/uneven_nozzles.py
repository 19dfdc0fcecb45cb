"""Slanted and two-row nozzles on simulated cards: verdicts, hole states, and what went wrong.

    python tests/benchmarks/uneven_nozzles.py [--cards 120] [--first 0] [--seed 260417]

Kinds take turns: a slanted five-hole nozzle and a two-row one. Every third of a kind is the shipped
example, the others vary its geometry. Half of the cards are healthy; of the others every third has
two faults. Faults: blocked, weak (flow 0.1 to 0.6), off-line (6 to 20 degrees, either way). What
the tool is told is the nozzle as designed. A photo that cannot be measured counts as recheck.

F1 is that of faulty holes: a hole is found when its state is one of the faults, whichever.
*Outright* leaves undecided holes out; *strict* counts an undecided faulty hole as missed.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np

from spraycheck import measure_photo
from spraycheck.errors import SprayCheckError
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.nozzles.nozzle_library import EXAMPLES
from spraycheck.nozzles.read import read_layout
from spraycheck.simulate import SyntheticNozzle, SyntheticPhoto, random_scene

KINDS = ("slanted", "two-row")
FAMILIES = ("bench", "workshop", "hard")
FAULTS = ("blocked", "weak", "off-line")
SEED = 260_417
"""Fixed before the first run; card ``number`` depends on it and on ``number`` alone."""

FAULTY_STATES = ("weak", "heavy", "blocked", "off-line", "misshapen")


@dataclass(frozen=True, kw_only=True)
class Case:
    """One card: the photo, what the nozzle should do, and which holes are faulty."""

    number: int
    kind: str
    family: str
    layout: Layout
    photo: SyntheticPhoto
    faults: dict[int, str]


def make_case(number: int, *, seed: int = SEED, megapixels: float = 1.2) -> Case:
    """Draw and photograph card ``number``."""
    rng = np.random.default_rng([seed, number])
    kind, turn = KINDS[number % 2], number // 2
    # Healthy and faulty take turns within each kind, and families go round within both.
    family, faulty = FAMILIES[turn // 2 % 3], turn % 2 == 1
    layout = _example(kind) if turn // 6 % 3 == 0 else _varied(kind, number, rng)
    nozzle, faults = _nozzle(layout, faulty, turn // 2 % 3 == 2, rng)
    scene = random_scene(
        int(rng.integers(2**31)), family=family, fault="none", megapixels=megapixels
    )
    paper, shot = scene.paper, scene.shot
    assert shot is not None
    # The shot of `random_scene` is for its own nozzle. A plume far off the axis spreads its fluid
    # along the card: it is wet through only from close by, and its neighbours near the axis, which
    # get as much, still have to leave room between them. So the tip comes close, the stroke is
    # what the farthest plume needs, and the card is laid under the tip with care.
    cone = float(rng.uniform(3.5, 6.0))
    half = min(paper.width_mm, paper.height_mm) / 2
    steep, flat = (math.radians(pick(layout.axis_angle_deg)) for pick in (min, max))
    height = float(rng.uniform(0.5, 0.65)) * half / math.tan(flat + 0.6 * math.radians(cone))
    room = 2 * math.pi * height * math.tan(steep) / (len(layout) / len(set(layout.row)))
    each = float(rng.uniform(0.8, 1.3)) * _footprint(flat, math.radians(cone), height)
    each = min(each, math.pi / 4 * (0.75 * room) ** 2)
    flow = sum(f * d**2 for f, d in zip(nozzle.flows, layout.diameter_mm, strict=True))
    whole = sum(d**2 for d in layout.diameter_mm)
    shot = replace(
        shot,
        height_mm=height,
        half_cone_deg=cone,
        volume_mm3=each * len(layout) * paper.capacity_mm3_per_mm2 * (1 + flow / whole) / 2,
        drip_mm3=min(shot.drip_mm3, 2.0),
    )
    foot = (float(rng.normal(0, 0.02 * half)), float(rng.normal(0, 0.02 * half)))
    scene = replace(scene, nozzle=nozzle, shot=shot, foot_mm=foot)
    return Case(
        number=number,
        kind=kind,
        family=family,
        layout=layout,
        photo=scene.photograph(),
        faults=faults,
    )


def _footprint(axis: float, cone: float, height_mm: float) -> float:
    """Area of the ellipse in which a plume's cone meets the card; angles in radians."""
    long = height_mm * (math.tan(axis + cone) - math.tan(axis - cone)) / 2
    across = height_mm * math.sin(cone) / math.sqrt(math.cos(axis) ** 2 - math.sin(cone) ** 2)
    return math.pi * long * across


def _example(kind: str) -> Layout:
    return read_layout(EXAMPLES / ("slanted-5.toml" if kind == "slanted" else "two-row-8.toml"))


def _varied(kind: str, number: int, rng: np.random.Generator) -> Layout:
    """Vary the geometry of an example: slant and its direction, hole count and angles of rows."""
    if kind == "slanted":
        made = SyntheticNozzle.slanted(
            5,
            # No steeper than 75 degrees: beyond it a plume grazes the card.
            axis_angle_deg=float(rng.uniform(57, 64)),
            slant_deg=float(rng.uniform(4, 11)),
            slant_to_deg=float(rng.uniform(0, 360)),
            first_deg=float(rng.uniform(0, 360)),
        )
        row = (1,) * 5
    else:
        holes, lower = 2 * int(rng.integers(3, 6)), float(rng.uniform(54, 62))
        made = SyntheticNozzle.two_row(
            holes,
            upper_angle_deg=lower + float(rng.uniform(8, 17)),
            lower_angle_deg=lower,
            lower_flow=float(rng.uniform(0.8, 1.15)),
            first_deg=float(rng.uniform(0, 360)),
        )
        row = (1, 2) * (holes // 2)
    diameter = made.diameter_mm
    assert isinstance(diameter, tuple)
    return Layout(
        name=f"{kind} {number}",
        azimuth_deg=tuple(a % 360.0 % 360.0 for a in made.azimuth_deg),
        axis_angle_deg=made.axis_angles,
        diameter_mm=diameter,
        row=row,
    )


def _nozzle(
    layout: Layout, faulty: bool, two: bool, rng: np.random.Generator
) -> tuple[SyntheticNozzle, dict[int, str]]:
    """Make the real nozzle: healthy spread (as `random_scene` has it), then the faults."""
    nozzle = SyntheticNozzle(
        azimuth_deg=layout.azimuth_deg,
        axis_angle_deg=layout.axis_angle_deg,
        diameter_mm=layout.diameter_mm,
    )
    for k in range(1, len(layout) + 1):
        nozzle = nozzle.with_flow(k, float(np.clip(rng.normal(1, 0.03), 0.93, 1.07)))
        turn = float(np.clip(rng.normal(0, 0.5), -1.5, 1.5))
        nozzle = nozzle.with_deflection(k, turn, float(rng.normal(0, 0.4)))
    faults: dict[int, str] = {}
    if faulty:
        places = rng.permutation(len(layout))[: 2 if two else 1]
        for place, fault in zip(places, rng.permutation(FAULTS), strict=False):
            hole = int(place) + 1
            faults[hole] = str(fault)
            if fault == "off-line":
                size = float(rng.uniform(6, 20) * rng.choice([-1, 1]))
                nozzle = nozzle.with_deflection(hole, size)
            else:
                weak = float(rng.uniform(0.1, 0.6))
                nozzle = nozzle.with_flow(hole, 0.0 if fault == "blocked" else weak)
    return nozzle, faults


def measure_case(case: Case, **options: Any) -> Result:
    """Measure a card as its user would: sheet named, file compressed by a phone."""
    coded = cv2.imencode(".jpg", case.photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])[1]
    rgb = np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR)[..., ::-1])
    sheet = "{:g}x{:g}".format(*case.photo.sheet_mm)
    return measure_photo(rgb, layout=case.layout, sheet=sheet, **options)


def main() -> None:
    """Measure every card and print the tables."""
    options = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    options.add_argument("--cards", type=int, default=120)
    options.add_argument("--first", type=int, default=0)
    options.add_argument("--seed", type=int, default=SEED)
    args = options.parse_args()
    cv2.setNumThreads(1)

    table: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    holes: dict[str, Counter[str]] = defaultdict(Counter)
    notes: list[str] = []
    for number in range(args.first, args.first + args.cards):
        case = make_case(number, seed=args.seed)
        truth = "faulty" if case.faults else "good"
        try:
            a = measure_case(case)
        except SprayCheckError as error:
            verdict, said = "recheck", f"not measured: {error}"
            holes[case.kind]["open"] += len(case.faults)
        else:
            verdict = a.verdict
            said = "; ".join(f"{f.code}{f.hole or ''}" for f in a.findings if f.code != "no-scale")
            wrong = _count(holes[case.kind], case, a)
            said = f"{said} HOLES {wrong}" if wrong else said
        table[case.kind, truth][verdict] += 1
        if verdict != ("fail" if case.faults else "pass") or "HOLES" in said:
            told = ", ".join(f"{h} {f}" for h, f in sorted(case.faults.items())) or "healthy"
            notes.append(f"{number} {case.kind} {case.family} [{told}] {verdict}: {said}")
    _print(table, holes, notes)


def _count(holes: Counter[str], case: Case, a: Result) -> list[str]:
    """Count hits and misses of holes; return those that were called wrongly outright."""
    wrong = []
    faulty = _numbered_alike(case, a)
    for hole in a.holes:
        truly, said = hole.hole in faulty, hole.state in FAULTY_STATES
        if hole.state == "unsure":
            holes["open" if truly else "open sound"] += 1
        else:
            names = {(1, 1): "hit", (1, 0): "miss", (0, 1): "false", (0, 0): "sound"}
            holes[names[truly, said]] += 1
            if truly != said:
                wrong.append(f"{hole.hole} {hole.state}")
    return wrong


def _numbered_alike(case: Case, a: Result) -> set[int]:
    """Number the faulty holes as the assessment does.

    A nozzle that looks the same after a part of a turn has no first hole on a plain sheet: of the
    numberings that its symmetry allows, the one that agrees best counts.
    """
    n = len(case.layout)
    azimuth, angle = np.array(case.layout.azimuth_deg), np.array(case.layout.axis_angle_deg)
    order = np.argsort(azimuth)
    gap = np.diff(azimuth[order], append=azimuth[order][0] + 360)
    said = {hole.hole for hole in a.holes if hole.state in FAULTY_STATES}
    best: set[int] = set(case.faults)
    for step in range(1, n):
        same = np.allclose(gap, np.roll(gap, -step), atol=0.5)
        if same and np.allclose(angle[order], angle[np.roll(order, -step)], atol=0.5):
            place = {int(order[k]) + 1: int(order[(k + step) % n]) + 1 for k in range(n)}
            turned = {place[hole] for hole in case.faults}
            if len(turned ^ said) < len(best ^ said):
                best = turned
    return best


def _print(
    table: dict[tuple[str, str], Counter[str]], holes: dict[str, Counter[str]], notes: Sequence[str]
) -> None:
    print(f"{'kind':10s} {'truth':8s} {'pass':>6s} {'recheck':>8s} {'fail':>6s}")
    for kind in KINDS:
        for truth in ("good", "faulty"):
            row = table[kind, truth]
            print(f"{kind:10s} {truth:8s} {row['pass']:6d} {row['recheck']:8d} {row['fail']:6d}")
    for kind in (*KINDS, "all"):
        n = holes[kind] if kind in holes else sum(holes.values(), Counter())
        outright = _f1(n["hit"], n["miss"], n["false"])
        strict = _f1(n["hit"], n["miss"] + n["open"], n["false"])
        print(
            f"{kind:10s} holes: F1 outright {outright:.3f}, strict {strict:.3f} "
            f"({n['hit']} found, {n['miss']} missed, {n['open']} undecided, {n['false']} false, "
            f"{n['sound']} sound, {n['open sound']} sound undecided)"
        )
        rows = [table[k, t] for k in (KINDS if kind == "all" else (kind,)) for t in ("faulty",)]
        good = [table[k, "good"] for k in (KINDS if kind == "all" else (kind,))]
        hit, missed = sum(r["fail"] for r in rows), sum(r["pass"] for r in rows)
        left, false = sum(r["recheck"] for r in rows), sum(r["fail"] for r in good)
        print(
            f"{kind:10s} cards: F1 outright {_f1(hit, missed, false):.3f}, strict "
            f"{_f1(hit, missed + left, false):.3f}; faulty passed {missed}, sound failed {false}"
        )
    print("\n".join(notes))


def _f1(hit: int, missed: int, false: int) -> float:
    return 2 * hit / max(2 * hit + missed + false, 1)


if __name__ == "__main__":
    main()
