"""Pintle and single-hole nozzles on simulated cards: confusion, coverage, and what stays undecided.

    python tests/benchmarks/central_nozzles.py [--cards 120] [--first 5000] [--noaim]

Half of the cards are sound, half have one fault, each kind alike; settings were found on seeds
below 1000 and from 9000 on. A photo that cannot be measured counts as recheck.

A card is *near* when its true values break no limit by more than `MARGIN` or, for a sound nozzle,
do not keep all of them by as much: so near the limit a recheck is the right answer, and F1 is given
for the others, too.

Coverage: how often the true value lies within the stated 95 % interval, over all cards on which
values are judged at all (not where no sheet was found or the patch runs over its edge); the truth
is measured by the simulator on the card it drew.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter, defaultdict

import cv2

from spraycheck.card.spec import CardSpec
from spraycheck.errors import MeasurementError
from spraycheck.judge.axial import QUANTITY
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Result
from spraycheck.measuring import measure_photo
from spraycheck.simulate import TrueCentral, random_scene
from spraycheck.simulate.central_scene import CENTRAL_FAULTS
from spraycheck.spray.axial.containers import QUANTITIES

FAULTS = CENTRAL_FAULTS[1:]

MARGIN = {
    "ellipse_ratio": 0.06,
    "form_factor": 0.06,
    "heavy_side_frac": 0.04,
    "streak_frac": 0.06,
    "core_ratio": 0.10,
    "hollow_offset_ratio": 0.02,
    "offset_ratio": 0.05,
    "side_frac": 0.02,
}
"""Stands for the guard band: about the expanded uncertainty that a good photo of a usual patch
leaves (chosen; it does not depend on what the tool says)."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--cards", type=int, default=120)
    options.add_argument("--first", type=int, default=5000)
    options.add_argument("--noaim", action="store_true", help="no aim on the card")
    args = options.parse_args()
    cv2.setNumThreads(1)

    table: dict[str, Counter[str]] = defaultdict(Counter)
    clear: dict[bool, Counter[str]] = {False: Counter(), True: Counter()}
    inside: dict[str, list[bool]] = defaultdict(list)
    undecided: list[str] = []
    for k in range(args.cards):
        fault = "none" if k % 2 == 0 else FAULTS[k // 2 % len(FAULTS)]
        seed = args.first + k
        scene = random_scene(seed, family="central", fault=fault, megapixels=2.0)
        photo = scene.photograph()
        truth = photo.truth.central
        assert truth is not None
        nozzle = AxialNozzle(
            name="simulated", kind="pintle", fill="hollow" if truth.hollow else "filled"
        )
        sheet = CardSpec(width_mm=scene.paper.width_mm, height_mm=scene.paper.height_mm)
        aim = None if args.noaim else "centre"
        near = _near(truth, faulty=fault != "none", aim=not args.noaim)
        try:
            a = measure_photo(photo.rgb, nozzle=nozzle, aim=aim, sheet=sheet)
        except MeasurementError as error:
            table[fault]["recheck"] += 1
            clear[fault != "none"]["recheck"] += not near
            undecided.append(f"{seed} {fault}: {error}")
            continue
        table[fault][a.verdict] += 1
        clear[fault != "none"][a.verdict] += not near
        if a.verdict == "recheck":
            codes = "; ".join(f.code for f in a.findings)
            undecided.append(f"{seed} {fault}{' (near)' if near else ''}: {codes}")
        elif (a.verdict == "fail") != (fault != "none"):
            undecided.append(f"WRONG {seed} {fault}: {a.verdict}")
        if any(math.isfinite(one.probability) for one in a.checks):
            _cover(inside, a, truth)

    _print(table, clear, inside, undecided)


TRUE_NAMES = {"ellipse_ratio": "roundness", "form_factor": "circularity"}
"""What the simulated truth calls a value, where it is another word."""


def _true(truth: TrueCentral, name: str) -> float:
    if name == "offset_ratio":
        return math.hypot(truth.x_mm, truth.y_mm) / truth.diameter_mm
    return float(getattr(truth, TRUE_NAMES.get(name, name)))


def _cover(inside: dict[str, list[bool]], a: Result, truth: TrueCentral) -> None:
    for name in QUANTITIES:
        error, u = a.patch.value(name) - _true(truth, name), a.patch.u(name)
        if math.isfinite(error) and math.isfinite(u):
            inside[name].append(abs(error) <= u)
    for name in ("area_mm2", "diameter_mm"):
        error = getattr(a.patch, name) - getattr(truth, name)
        inside[name].append(abs(error) <= getattr(a.patch, name.replace("_mm", "_u_mm")))


def _near(truth: TrueCentral, *, faulty: bool, aim: bool) -> bool:
    """Whether the true values lie too close to their limits for a verdict to be expected."""
    limits = AxialLimits()
    kept = []
    for name, quantity in QUANTITY.items():
        if quantity not in MARGIN or name == f"core_{'filled' if truth.hollow else 'hollow'}_ratio":
            continue
        value = _true(truth, quantity)
        if math.isfinite(value) and (aim or quantity != "offset_ratio"):
            room = float(getattr(limits, name)) - value
            from_below = math.isinf(limits.tolerance(name)[1])
            kept.append((-room if from_below else room) / MARGIN[quantity])
    return min(kept) > -1 if faulty else min(kept) < 1


def _print(
    table: dict[str, Counter[str]],
    clear: dict[bool, Counter[str]],
    inside: dict[str, list[bool]],
    undecided: list[str],
) -> None:
    print(f"{'fault':12s} {'pass':>6s} {'fail':>6s} {'recheck':>8s}")
    for fault in CENTRAL_FAULTS:
        row = table[fault]
        print(f"{fault:12s} {row['pass']:6d} {row['fail']:6d} {row['recheck']:8d}")
    right = sum(table[f]["fail"] for f in FAULTS)
    missed = sum(table[f]["pass"] for f in FAULTS)
    open_ = sum(table[f]["recheck"] for f in FAULTS)
    false = table["none"]["fail"]
    print(f"F1 of outright verdicts: {2 * right / (2 * right + missed + false):.3f}")
    strict = 2 * right / (2 * right + missed + open_ + false)
    print(f"F1 with every recheck of a faulty nozzle counted as missed: {strict:.3f}")
    hit, other = clear[True]["fail"], clear[False]["fail"]
    left = clear[True]["recheck"] + clear[True]["pass"]
    print(f"the same without cards near a limit: {2 * hit / (2 * hit + left + other):.3f} "
          f"({sum(clear[True].values())} faulty, {sum(clear[False].values())} sound; "
          f"{clear[False]['recheck']} sound undecided)")  # fmt: skip
    total = sum(sum(row.values()) for row in table.values())
    print(f"recheck: {(open_ + table['none']['recheck']) / total:.1%} of {total}")
    for name, hits in inside.items():
        print(f"coverage {name:20s} {sum(hits) / len(hits):.3f} of {len(hits)}")
    every = [hit for name in QUANTITIES for hit in inside[name]]
    print(f"coverage of all judged values  {sum(every) / len(every):.3f} of {len(every)}")
    print("\n".join(undecided))


if __name__ == "__main__":
    main()
