"""Robust fits: the loss, invariants, uncertainty that scatters as stated, and the edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.stats.robust import (
    SCALE,
    common_origin,
    fit_circle,
    robust_lstsq,
    robust_weights,
)

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=60)
coordinate = st.floats(-200, 200)


def rays(directions_deg: np.ndarray | list[float]) -> np.ndarray:
    angle = np.deg2rad(directions_deg)
    return np.column_stack([np.cos(angle), np.sin(angle)])


# --- the loss -------------------------------------------------------------------------------------


def test_scale_gives_95_percent_efficiency_on_normal_data() -> None:
    # Asymptotic efficiency (E psi')^2 / E psi^2, by integration: the constant's own definition.
    r = np.linspace(-12, 12, 40001)
    phi = np.exp(-0.5 * r**2) / math.sqrt(2 * math.pi) * (r[1] - r[0])
    psi = r * robust_weights(r)
    assert (phi @ np.gradient(psi, r)) ** 2 / (phi @ psi**2) == pytest.approx(0.95, abs=1e-5)


def test_a_mean_ignores_what_is_far_off_and_a_plain_one_does_not() -> None:
    x = np.array([0.3, -0.4, 0.1, 0.0, 60.0])

    def model(at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return x - at, -np.ones((5, 1))

    robust = robust_lstsq(model, np.zeros(1))
    # An outlier r standard deviations off pulls as one of SCALE^2 / r would: 0.095 here, shared.
    assert robust.at[0] == pytest.approx(0.095 / 4, abs=0.005)
    assert robust.weights[4] == pytest.approx(1.58e-3, rel=0.01)
    assert robust.covariance[0, 0] == pytest.approx(1 / 4, rel=0.03)
    assert robust.squares == pytest.approx(0.26 + SCALE**2, rel=0.02)
    plain = robust_lstsq(model, np.zeros(1), robust=False)
    assert plain.at[0] == pytest.approx(12.0, abs=1e-6)


# --- circles --------------------------------------------------------------------------------------


@repeatable
@given(coordinate, coordinate, st.floats(0, 360), st.floats(0.1, 50), st.integers(0, 1000))
def test_circle_moves_turns_and_scales_with_its_points(
    x: float, y: float, turn: float, scale: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    base = 10.0 * rays(np.arange(0, 360, 40)) + rng.normal(0, 0.4, (9, 2))
    first = fit_circle(base, 0.4)
    c, s = rays([turn])[0]
    turned = np.array([[c, -s], [s, c]])
    shift = np.array([x, y])
    moved = fit_circle(scale * base @ turned.T + shift, 0.4 * scale)
    centre = scale * turned @ (first.x, first.y) + shift
    assert (moved.x, moved.y) == pytest.approx(tuple(centre), abs=1e-5 * max(1.0, scale))
    assert moved.radius == pytest.approx(first.radius * scale, rel=1e-6)


def test_circle_leaves_an_outlier_out() -> None:
    p = np.array([3.0, -7.0]) + 12.5 * rays([3.0, 50.0, 121.0, 180.0, 240.0, 290.0])
    p[2] += (2.5, 4.0)
    found = fit_circle(p, 0.1)
    assert (found.x, found.y, found.radius) == pytest.approx((3.0, -7.0, 12.5), abs=0.02)
    assert found.misses[2] == pytest.approx(2.73, abs=0.05)
    assert np.abs(np.delete(found.misses, 2)).max() < 0.05
    plain = fit_circle(p, 0.1, robust=False)  # negative control
    assert math.hypot(plain.x - 3.0, plain.y + 7.0) > 0.5


def test_circle_errors_scatter_as_the_covariance_claims() -> None:
    # 400 circles of seven points: the 95 % region of chi-square(3), 7.815, holds 95 % of the
    # truths; binomial standard error 1.1 %, tolerance three of them.
    rng = np.random.default_rng(5)
    ring = np.array([4.0, 9.0]) + 30.0 * rays(np.arange(7) * 51.0)
    inside = 0
    for _ in range(400):
        c = fit_circle(ring + rng.normal(0, 0.3, ring.shape), 0.3)
        miss = np.array([c.x - 4.0, c.y - 9.0, c.radius - 30.0])
        inside += bool(miss @ np.linalg.solve(c.covariance, miss) < 7.815)
    assert inside / 400 == pytest.approx(0.95, abs=0.033)


@pytest.mark.parametrize(
    ("points", "sigma", "message"),
    [
        ([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (5.0, 5.0)], 1.0, "one line"),
        ([(0.0, 0.0), (1.0, 1.0)], 1.0, "3 or more"),
        ([(0.0, 0.0), (1.0, math.nan), (0.0, 1.0)], 1.0, "finite"),
        ([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)], 0.0, "above 0"),
    ],
)
def test_circle_refuses_what_fixes_none(
    points: list[tuple[float, float]], sigma: float, message: str
) -> None:
    with pytest.raises(InputError, match=message):
        fit_circle(np.array(points), sigma)


# --- common origins -------------------------------------------------------------------------------


def streaks(directions_deg: np.ndarray, origin: tuple[float, float]) -> np.ndarray:
    reach = 35.0 + 4.0 * np.cos(np.arange(len(directions_deg)))
    return np.array(origin) + reach[:, None] * rays(directions_deg)


def origin_of(points: np.ndarray, axes_deg: np.ndarray, sigma_deg: object = 1.0):  # type: ignore[no-untyped-def]
    return common_origin(
        points,
        np.deg2rad(axes_deg),
        np.deg2rad(np.asarray(sigma_deg, float)),
        points.mean(axis=0),
        shortest_lever=3.0,
    )


@repeatable
@given(coordinate, coordinate, st.integers(3, 12), st.floats(0, 360))
def test_lines_through_one_point_meet_there(x: float, y: float, n: int, turn: float) -> None:
    d = turn + np.arange(n) * 360.0 / n + 7.0 * np.sin(np.arange(n))
    flipped = d + 180.0 * (np.arange(n) % 2)  # which way along the axis must not matter
    found = origin_of(streaks(d, (x, y)), flipped)
    assert tuple(found.at) == pytest.approx((x, y), abs=1e-4)
    np.testing.assert_allclose(found.weights, 1.0, atol=1e-6)


def test_a_bent_streak_loses_its_say() -> None:
    d = np.array([10.0, 75.0, 160.0, 230.0, 300.0])
    axis = d + np.array([0.0, 0.0, 0.0, 0.0, 25.0])
    found = origin_of(streaks(d, (3.0, -4.0)), axis)
    assert tuple(found.at) == pytest.approx((3.0, -4.0), abs=0.15)  # 24 sigma pull as 0.24
    assert found.weights[4] < 0.02
    assert abs(found.residuals[4]) == pytest.approx(math.degrees(math.sin(math.radians(25))), abs=1)
    # Negative control: uncertainties wide enough to make the bend ordinary let it drag the origin.
    dragged = origin_of(streaks(d, (3.0, -4.0)), axis, 20.0)
    assert math.hypot(dragged.at[0] - 3.0, dragged.at[1] + 4.0) > 1.0


def test_origin_errors_scatter_as_the_covariance_claims() -> None:
    # 600 patterns against the 95 % region of chi-square(2), 5.991. Down-weighted scatter makes the
    # covariance a little too small (95 % efficiency): three binomial errors, 2.7 %, below 95 %.
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(600):
        n = int(rng.integers(4, 9))
        d = rng.uniform(0, 360) + np.arange(n) * 360.0 / n
        found = origin_of(streaks(d, (3.0, -4.0)), d + rng.normal(0, 1.0, n))
        miss = found.at - (3.0, -4.0)
        inside += bool(miss @ np.linalg.solve(found.covariance, miss) < 5.991)
    assert 0.923 < inside / 600 < 0.977


def test_origin_weighs_sure_lines_more() -> None:
    d = np.array([0.0, 90.0, 180.0, 270.0])
    axis = d + np.array([2.0, 0.0, 0.0, 0.0])
    even = origin_of(streaks(d, (0.0, 0.0)), axis, 2.0)
    unsure = origin_of(streaks(d, (0.0, 0.0)), axis, [2.0, 0.1, 0.1, 0.1])
    assert abs(even.at[1]) > 0.3
    assert abs(unsure.at[1]) < 0.01


def test_parallel_lines_leave_an_enormous_covariance_along_them() -> None:
    found = origin_of(np.array([(-30.0, 0.0), (30.0, 0.0)]), np.array([0.0, 180.0]))
    assert math.sqrt(found.covariance[0, 0]) > 1e6
    assert math.sqrt(found.covariance[1, 1]) < 1.0


def test_one_line_has_no_origin() -> None:
    with pytest.raises(InputError, match="2 lines or more"):
        origin_of(np.array([(0.0, 0.0)]), np.array([10.0]))
