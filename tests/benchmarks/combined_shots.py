"""Do three combined shots know a weak hole's share as much better as theory says? A script.

    python tests/benchmarks/combined_shots.py [--cards 60]

Four nozzles, each with one weak hole, spray up to fifteen cards each. What scatters
from shot to shot does so independently, so the mean of three is known better by 1 / sqrt(3).
Printed are

- *stated*: uncertainty of the weak hole's area combined from three shots over that of one shot;
- *observed*: standard deviation of the combined values over that of the single ones, over many ways
  to part the same cards into threes (this shows that holes are matched and averaged rightly; it
  would be 1 / sqrt(3) for any right average of independent shots);
- *honest*: root mean square of the combined values' difference from the mean of all other shots of
  that nozzle, over the uncertainty stated for that difference;
- *single*: the same of single shots. Where both are alike the shrinking is true; both above 1 say
  that the uncertainty of one shot is understated, which averaging inherits.
"""

from __future__ import annotations

import argparse
import math
from dataclasses import replace

import cv2
import numpy as np

from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.result import Result
from spraycheck.judge.shots import combine_shots
from spraycheck.measuring import measure_photo
from spraycheck.simulate import SyntheticNozzle
from spraycheck.simulate.camera import Camera
from spraycheck.simulate.card import draw_card
from spraycheck.simulate.photo import photograph
from spraycheck.simulate.shot import SprayShot

SEED = 20_261_126
NOZZLES = ((4, 0.50), (5, 0.62), (6, 0.45), (7, 0.70))  # holes, flow of the weak one
CAMERA = Camera(width_px=1060, height_px=1414)


def shots_of(holes: int, flow: float, count: int, rng: np.random.Generator) -> list[Result]:
    """Spray, photograph and measure one nozzle again and again."""
    nozzle = SyntheticNozzle.evenly(holes, first_deg=float(rng.uniform(0, 360)))
    for hole in range(1, holes + 1):
        nozzle = nozzle.with_flow(hole, float(rng.normal(1, 0.03)))
        nozzle = nozzle.with_deflection(hole, float(rng.normal(0, 0.5)))
    nozzle = nozzle.with_flow(1, flow)
    found = []
    for _ in range(count):
        turn = float(rng.uniform(0, 360))
        turned = replace(nozzle, azimuth_deg=tuple((a + turn) % 360 for a in nozzle.azimuth_deg))
        foot = (float(rng.normal(0, 4)), float(rng.normal(0, 4)))
        card = draw_card(turned, SprayShot(), seed=int(rng.integers(2**31)), foot_mm=foot)
        camera = replace(
            CAMERA,
            roll_deg=float(rng.normal(0, 8)),
            obliquity_deg=float(abs(rng.normal(0, 8))),
            obliquity_to_deg=float(rng.uniform(0, 360)),
        )
        photo = photograph(card, camera, seed=int(rng.integers(2**31)))
        found.append(measure_photo(photo.rgb, holes=holes, sheet="a4"))
    return found


def weak(result: Result) -> tuple[float, float]:
    """Logarithm of the weak hole's area and its standard uncertainty."""
    hole = min(result.holes, key=lambda h: h.area_ratio)
    return math.log(hole.area_ratio), hole.area_ratio_u / hole.area_ratio / COVERAGE_FACTOR_95


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--cards", type=int, default=60, help="at most 60")
    parser.add_argument("--partings", type=int, default=30)
    args = parser.parse_args()
    cv2.setNumThreads(1)
    rng = np.random.default_rng(SEED)
    each = max(6, min(args.cards, 60) // len(NOZZLES) // 3 * 3)
    theory = 1 / math.sqrt(3)
    print(
        f"{'nozzle':24}{'stated':>9}{'observed':>10}{'honest':>9}{'single':>9}{'not matched':>13}"
    )
    total: list[tuple[float, float, float, float]] = []
    for holes, flow in NOZZLES:
        shots = shots_of(holes, flow, each, rng)
        single = [min((h for h in s.holes), key=lambda h: h.area_ratio) for s in shots]
        log = np.array([math.log(h.area_ratio) for h in single])
        u = np.array([h.area_ratio_u / h.area_ratio / COVERAGE_FACTOR_95 for h in single])
        variance, stated, honest, unmatched = [], [], [], 0
        for _ in range(args.partings):
            order = rng.permutation(each)
            means = []
            for part in order.reshape(-1, 3):
                result = combine_shots([replace_digest(shots[k], k) for k in part])
                if not result.together.matching.sure:
                    unmatched += 1
                    continue
                value, own = weak(result)
                rest = np.setdiff1d(order, part)
                means.append(value)
                stated.append(own / float(np.mean(u[part])))
                there = float(np.sqrt((u[rest] ** 2).sum())) / len(rest)
                honest.append((value - float(log[rest].mean())) / math.hypot(own, there))
            if len(means) > 1:
                variance.append(float(np.var(means, ddof=1)))
        others = [np.setdiff1d(np.arange(each), [k]) for k in range(each)]
        alone = [
            (log[k] - log[o].mean()) / math.hypot(u[k], float(np.sqrt((u[o] ** 2).sum())) / len(o))
            for k, o in enumerate(others)
        ]
        row = (
            float(np.mean(stated)),
            math.sqrt(float(np.mean(variance))) / float(np.std(log, ddof=1)),
            float(np.sqrt(np.mean(np.square(honest)))),
            float(np.sqrt(np.mean(np.square(alone)))),
        )
        total.append(row)
        name = f"{holes} holes, one at {flow:.0%}"
        print(
            f"{name:24}{row[0]:9.3f}{row[1]:10.3f}{row[2]:9.2f}{row[3]:9.2f}{unmatched:13d}",
            flush=True,
        )
    middle = np.mean(np.array(total), axis=0)
    print(f"{'mean':24}{middle[0]:9.3f}{middle[1]:10.3f}{middle[2]:9.2f}{middle[3]:9.2f}")
    print(f"theory 1 / sqrt(3) = {theory:.3f}; stated off by {middle[0] / theory - 1:+.1%}, "
          f"observed by {middle[1] / theory - 1:+.1%}")  # fmt: skip


def replace_digest(shot: Result, number: int) -> Result:
    """Give an array's photo a name of its own."""
    return replace(
        shot,
        measurement=replace(shot.measurement, photo=replace(shot.photo, file=f"shot {number + 1}")),
    )


if __name__ == "__main__":
    main()
