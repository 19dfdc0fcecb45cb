"""One hole of n evenly drilled ones missing: closed forms, independent of any code.

The n unit vectors add up to nothing, so the n - 1 left add up to minus the missing one: mean
resultant length 1/(n-1), mean direction opposite the missing hole. Two spacings merge into one of
720/n, the other n - 2 stay 360/n: Rao's U = (n-2) |360/n - 360/(n-1)|/2 + |720/n - 360/(n-1)|/2
= 360 (n-2) / (n (n-1)). Tolerance 1e-9: rounding only.
"""

import math

import numpy as np
import pytest

from spraycheck.stats import circular

CASES = [(n, k) for n in range(4, 13) for k in range(n)]


@pytest.mark.parametrize(("n", "missing"), CASES)
def test_missing_hole(n: int, missing: int) -> None:
    full = 17.3 + np.arange(n) * 360.0 / n
    left = np.delete(full, missing)
    got = circular.resultant(left)
    assert got.length == pytest.approx(1 / (n - 1), abs=1e-9)
    opposite = circular.wrap_180(got.direction_deg - full[missing] - 180.0)
    assert opposite == pytest.approx(0.0, abs=1e-9)
    gaps = circular.spacings(left)
    assert gaps.max() == pytest.approx(720.0 / n, abs=1e-9)
    before = left[int(np.argmax(gaps))]
    assert circular.wrap_180(before + 360.0 / n - full[missing]) == pytest.approx(0.0, abs=1e-9)
    assert circular.rao_spacing(left) == pytest.approx(360 * (n - 2) / (n * (n - 1)), abs=1e-9)


@pytest.mark.parametrize("n", range(4, 13))
def test_full_pattern_is_the_negative_control(n: int) -> None:
    full = 17.3 + np.arange(n) * 360.0 / n
    assert circular.resultant(full).length == pytest.approx(0.0, abs=1e-12)
    assert math.isnan(circular.resultant(full).direction_deg)
    assert circular.rao_spacing(full) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("n", "length", "gap", "u"),
    [(4, 0.33333, 180, 60), (5, 0.25, 144, 54), (6, 0.2, 120, 48), (7, 0.16667, 102.857, 42.8571),
     (8, 0.14286, 90, 38.5714), (10, 0.11111, 72, 32), (12, 0.09091, 60, 27.2727)],
)  # fmt: skip
def test_worked_table(n: int, length: float, gap: float, u: float) -> None:
    # The same worked out by hand, to the digits shown.
    left = np.arange(1, n) * 360.0 / n
    assert circular.resultant(left).length == pytest.approx(length, abs=5e-6)
    assert circular.spacings(left).max() == pytest.approx(gap, abs=5e-4)
    assert circular.rao_spacing(left) == pytest.approx(u, abs=5e-5)


@pytest.mark.parametrize(("n", "missing"), CASES)
def test_rotation_is_found_whichever_hole_is_missing(n: int, missing: int) -> None:
    expected = np.delete(np.arange(n) * 360.0 / n, missing)
    turn = 5.25
    assert circular.best_rotation(expected + turn, expected) == pytest.approx(turn, abs=1e-9)
