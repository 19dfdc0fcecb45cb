"""Circular statistics: invariants over many inputs, and the edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.stats import circular

angle = st.floats(-1e4, 1e4)
angles = st.lists(angle, min_size=1, max_size=20)
repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=200)


def apart(a: float, b: float) -> float:
    return abs(circular.wrap_180(a - b))


@repeatable
@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_wraps_stay_in_their_half_open_ranges(a: float) -> None:
    assert 0.0 <= circular.wrap_360(a) < 360.0
    assert -180.0 < circular.wrap_180(a) <= 180.0


@repeatable
@given(angle, st.integers(-5, 5))
def test_whole_turns_change_nothing(a: float, turns: int) -> None:
    assert apart(circular.wrap_360(a + 360.0 * turns), a) < 1e-8
    assert apart(circular.wrap_180(a + 360.0 * turns), a) < 1e-8


@pytest.mark.parametrize("tiny", [-1e-20, -5e-324, -0.0, 0.0, 1e-20])
def test_wrap_360_of_a_hair_below_zero_is_not_360(tiny: float) -> None:
    # The trap: plain Python says -1e-20 % 360 is 360.0.
    assert -1e-20 % 360 == 360.0
    assert circular.wrap_360(tiny) < 1e-19
    assert math.copysign(1.0, circular.wrap_360(tiny)) == 1.0


def test_wrap_180_keeps_small_angles_bit_for_bit_and_maps_the_ends() -> None:
    assert circular.wrap_180(1e-20) == 1e-20
    assert circular.wrap_180(-180.0) == 180.0
    assert circular.wrap_180(180.0 + 1e-9) == pytest.approx(-180.0 + 1e-9, abs=1e-12)


def test_wraps_take_scalars_arrays_and_lists_and_hand_on_nan() -> None:
    assert isinstance(circular.wrap_360(370.0), float)
    np.testing.assert_array_equal(circular.wrap_360([370.0, -10.0]), [10.0, 350.0])
    np.testing.assert_array_equal(circular.wrap_180(np.array([[190.0], [-190.0]])), [[-170], [170]])
    for bad in (math.nan, math.inf, -math.inf):
        assert math.isnan(circular.wrap_360(bad))
        assert math.isnan(circular.wrap_180(bad))


@repeatable
@given(st.lists(st.floats(-80, 80), min_size=1, max_size=20), angle, angle)
def test_turning_the_data_turns_the_mean(a: list[float], at: float, turn: float) -> None:
    # All within a half turn, so that there is a mean.
    before = circular.mean_direction([at + x for x in a])
    after = circular.mean_direction([at + x + turn for x in a])
    assert apart(after, before + turn) < 1e-6


@repeatable
@given(st.lists(st.integers(0, 150), min_size=1, max_size=12), st.data())
def test_weights_are_counts(a: list[int], data: st.DataObject) -> None:
    counts = data.draw(st.lists(st.integers(1, 4), min_size=len(a), max_size=len(a)))
    spelled_out = circular.mean_direction(np.repeat(a, counts))
    assert apart(circular.mean_direction(a, counts), spelled_out) < 1e-6


def test_vectors_that_cancel_have_no_direction() -> None:
    for n in range(2, 17):
        assert math.isnan(circular.mean_direction([13.0 + 360.0 * k / n for k in range(n)]))


@repeatable
@given(st.lists(st.floats(-60, 60), min_size=1, max_size=15), angle)
def test_median_of_a_narrow_bundle_is_the_ordinary_median(a: list[float], turn: float) -> None:
    assert apart(circular.median_direction([x + turn for x in a]), np.median(a) + turn) < 1e-6


def test_median_is_not_dragged_by_an_outlier_but_the_mean_is() -> None:
    a = [358.0, 359.0, 0.0, 1.0, 95.0]
    assert circular.median_direction(a) == pytest.approx(0.0, abs=1e-9)
    assert apart(circular.mean_direction(a), 0.0) > 13.0  # negative control


def test_median_of_a_flat_choice_is_its_middle_and_of_an_even_spread_nothing() -> None:
    assert circular.median_direction([350.0, 30.0]) == pytest.approx(10.0)
    assert circular.median_direction([350.0, 350.0, 30.0], [1, 1, 2]) == pytest.approx(10.0)
    assert math.isnan(circular.median_direction([0.0, 90.0, 180.0, 270.0]))


@repeatable
@given(st.integers(3, 16), st.floats(-180, 180), st.floats(-1, 1), st.integers(0, 15))
def test_rotation_of_a_layout_is_found_with_one_hole_off_line(
    n: int, turn: float, wobble: float, which: int
) -> None:
    expected = np.array([360.0 * k / n + 3.0 * (k % 2) for k in range(n)])
    measured = expected + turn
    assert apart(circular.best_rotation(measured, expected), turn) < 1e-8
    measured[which % n] += 12.0 + wobble
    assert apart(circular.best_rotation(measured, expected), turn) < 1e-6
    # Negative control: a plain mean is dragged by a whole hole's share of the error.
    dragged = circular.mean_direction(measured - expected)
    assert apart(dragged, turn) > 0.5 * 11.0 / n


def test_rotation_weighs_ordinary_scatter_like_a_mean() -> None:
    off = np.array([0.2, -0.3, 0.1, 0.0])
    expected = np.array([0.0, 90.0, 180.0, 270.0])
    assert circular.best_rotation(expected + 40.0 + off, expected) == pytest.approx(40.0, abs=0.01)
    heavy = circular.best_rotation(expected + 40.0 + off, expected, [1e6, 1, 1, 1])
    assert heavy == pytest.approx(40.2, abs=0.01)


@pytest.mark.parametrize("n", range(4, 13))
def test_rotation_is_found_whichever_hole_is_missing(n: int) -> None:
    for missing in range(n):
        expected = np.delete(np.arange(n) * 360.0 / n, missing)
        assert circular.best_rotation(expected + 5.25, expected) == pytest.approx(5.25, abs=1e-9)


def test_rotation_without_a_preferred_direction_is_nan() -> None:
    assert math.isnan(circular.best_rotation([0.0, 180.0], [0.0, 0.0]))


def test_tukey_constant_gives_95_percent_efficiency_on_normal_data() -> None:
    # Asymptotic efficiency (E psi')^2 / E psi^2, by integration: the constant's own definition.
    z = np.linspace(-circular.TUKEY, circular.TUKEY, 20001)
    phi = np.exp(-0.5 * z**2) / math.sqrt(2 * math.pi) * (z[1] - z[0])
    r2 = (z / circular.TUKEY) ** 2
    psi, slope = z * circular.tukey_weights(z), (1 - r2) * (1 - 5 * r2)
    assert (phi @ slope) ** 2 / (phi @ psi**2) == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize(
    ("a", "w", "message"),
    [
        ([], None, "N >= 1"),
        ([1.0, math.nan], None, "finite"),
        ([[1.0, 2.0]], None, "shape"),
        ([1.0, 2.0], [1.0], "weights: expected shape"),
        ([1.0, 2.0], [1.0, -1.0], "negative"),
        ([1.0, 2.0], [0.0, 0.0], "positive"),
    ],
)
def test_unusable_input_is_named(a: list[float], w: list[float] | None, message: str) -> None:
    with pytest.raises(InputError, match=message):
        circular.mean_direction(a, w)
    with pytest.raises(InputError, match=message):
        circular.median_direction(a, w)


def test_unpaired_directions_are_refused() -> None:
    with pytest.raises(InputError, match="paired"):
        circular.best_rotation([1.0, 2.0], [1.0])
