"""Plane geometry: frames, invariants, uncertainty that scatters as stated, and the edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.stats import geometry

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=150)
coordinate = st.floats(-200, 200)


def test_directions_run_clockwise_from_the_top_with_y_down() -> None:
    points = [(0.0, -5.0), (5.0, 0.0), (0.0, 5.0), (-5.0, 0.0), (3.0, -3.0)]
    np.testing.assert_allclose(geometry.direction_to(points), [0, 90, 180, 270, 45])
    np.testing.assert_allclose(
        geometry.unit_vectors([0.0, 90.0, 180.0]), [[0, -1], [1, 0], [0, 1]], atol=1e-15
    )


def test_rotation_turns_clockwise_as_seen() -> None:
    np.testing.assert_allclose(geometry.rotate([(0.0, -5.0)], 90.0), [[5.0, 0.0]], atol=1e-12)
    np.testing.assert_allclose(
        geometry.rotate([(7.0, 1.0)], 90.0, about=(7.0, 3.0)), [[9.0, 3.0]], atol=1e-12
    )


@repeatable
@given(coordinate, coordinate, st.floats(0, 359.99), st.floats(1, 100), st.floats(-720, 720))
def test_rotating_points_turns_their_directions(
    x: float, y: float, direction: float, reach: float, turn: float
) -> None:
    origin = np.array([x, y])
    point = origin + reach * geometry.unit_vectors([direction])
    turned = geometry.rotate(point, turn, about=origin)
    got = geometry.direction_to(turned, origin)[0] - direction - turn
    assert abs((got + 180) % 360 - 180) < 1e-6


@repeatable
@given(st.floats(0, 80), st.floats(0.5, 40), st.floats(1, 100))
def test_footprint_agrees_with_itself(a: float, b: float, height: float) -> None:
    if a + b >= 89.5:
        return
    f = geometry.cone_footprint(a, b, height)
    assert f.near < f.axis_point < f.far
    assert f.axis_point <= f.centre * (1 + 1e-12) + 1e-9
    assert f.area == pytest.approx(math.pi * f.semi_major * f.semi_minor)
    # A tilted round cone is drawn out along its direction, an upright one leaves a circle.
    assert f.semi_major >= f.semi_minor * (1 - 1e-9)


def test_footprint_over_the_foot_surrounds_it() -> None:
    upright = geometry.cone_footprint(0.0, 10.0, 20.0)
    assert upright.semi_major == pytest.approx(upright.semi_minor)
    assert upright.centre == pytest.approx(0.0, abs=1e-12)
    assert upright.azimuth_half_width_deg == 180.0
    assert geometry.cone_footprint(5.0, 10.0, 20.0).near < 0
    assert geometry.cone_footprint(10.0, 10.0, 20.0).azimuth_half_width_deg == pytest.approx(90.0)


@pytest.mark.parametrize(
    ("a", "b", "h", "message"),
    [(70, 20, 10, "horizon"), (80, 15, 10, "horizon"), (90, 5, 10, "below 90"), (-1, 5, 10, "0 to"),
     (40, 0, 10, "above 0"), (40, 5, 0, "above 0"), (math.nan, 5, 1, "expected")],
)  # fmt: skip
def test_impossible_cones_are_refused(a: float, b: float, h: float, message: str) -> None:
    with pytest.raises(InputError, match=message):
        geometry.cone_footprint(a, b, h)


def test_separability_refuses_nonsense() -> None:
    with pytest.raises(InputError, match="2 or more"):
        geometry.largest_separate_half_cone(40.0, 1)


FITS = [geometry.fit_circle_kasa, geometry.fit_circle_algebraic, geometry.fit_circle]


@pytest.mark.parametrize("fit", FITS)
def test_exact_circles_are_found_by_every_fit(fit) -> None:  # type: ignore[no-untyped-def]
    directions = np.array([3.0, 50.0, 121.0, 180.0, 290.0])
    circle = fit(np.array([3.0, -7.0]) + 12.5 * geometry.unit_vectors(directions))
    assert (circle.x, circle.y, circle.radius) == pytest.approx((3.0, -7.0, 12.5), abs=1e-7)
    assert circle.rms < 1e-7


@pytest.mark.parametrize("fit", FITS)
def test_circle_fits_refuse_lines_and_too_few(fit) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="one line"):
        fit([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (5.0, 5.0)])
    with pytest.raises(InputError, match="N >= 3"):
        fit([(0.0, 0.0), (1.0, 1.0)])
    with pytest.raises(InputError, match="finite"):
        fit([(0.0, 0.0), (1.0, math.nan), (0.0, 1.0)])


@repeatable
@given(coordinate, coordinate, st.floats(0, 360), st.floats(0.1, 50), st.integers(0, 1000))
def test_geometric_fit_moves_turns_and_scales_with_its_points(
    x: float, y: float, turn: float, scale: float, seed: int
) -> None:
    rng = np.random.default_rng(seed)
    base = 10.0 * geometry.unit_vectors(np.arange(0, 360, 40)) + rng.normal(0, 0.4, (9, 2))
    first = geometry.fit_circle(base)
    moved = geometry.fit_circle(geometry.rotate(base * scale, turn) + np.array([x, y]))
    centre = geometry.rotate([(first.x * scale, first.y * scale)], turn)[0] + np.array([x, y])
    assert (moved.x, moved.y) == pytest.approx(tuple(centre), abs=1e-5 * max(1.0, scale))
    assert moved.radius == pytest.approx(first.radius * scale, rel=1e-6)


def test_circle_errors_scatter_as_the_covariance_claims() -> None:
    # 400 circles of seven points: the 95 % region of chi-square(3), 7.815, holds 95 % of the
    # truths; binomial standard error 1.1 %, tolerance three of them.
    rng = np.random.default_rng(5)
    ring = np.array([4.0, 9.0]) + 30.0 * geometry.unit_vectors(np.arange(7) * 51.0)
    inside = 0
    for _ in range(400):
        c = geometry.fit_circle(ring + rng.normal(0, 0.3, ring.shape), sigma=0.3)
        miss = np.array([c.x - 4.0, c.y - 9.0, c.radius - 30.0])
        inside += bool(miss @ np.linalg.solve(c.covariance, miss) < 7.815)
    assert inside / 400 == pytest.approx(0.95, abs=0.033)


def test_circle_of_three_points_has_no_scatter_to_judge_by() -> None:
    three = 5.0 * geometry.unit_vectors([0.0, 100.0, 220.0])
    assert np.isnan(geometry.fit_circle(three).covariance).all()
    assert np.isfinite(geometry.fit_circle(three, sigma=0.1).covariance).all()
    with pytest.raises(InputError, match="sigma"):
        geometry.fit_circle(three, sigma=0.0)


def _streaks(directions: np.ndarray, origin: tuple[float, float]) -> np.ndarray:
    reach = 35.0 + 4.0 * np.cos(np.arange(len(directions)))
    return np.array(origin) + reach[:, None] * geometry.unit_vectors(directions)


@repeatable
@given(coordinate, coordinate, st.integers(3, 12), st.floats(0, 360))
def test_lines_through_one_point_meet_there(x: float, y: float, n: int, turn: float) -> None:
    d = turn + np.arange(n) * 360.0 / n + 7.0 * np.sin(np.arange(n))
    flipped = d + 180.0 * (np.arange(n) % 2)  # which way along the axis must not matter
    found = geometry.common_origin(_streaks(d, (x, y)), flipped)
    assert (found.x, found.y) == pytest.approx((x, y), abs=1e-6)
    np.testing.assert_allclose(found.weights, 1.0)


def test_a_bent_streak_is_left_out_and_says_so() -> None:
    d = np.array([10.0, 75.0, 160.0, 230.0, 300.0])
    axis = d + np.array([0.0, 0.0, 0.0, 0.0, 15.0])
    found = geometry.common_origin(_streaks(d, (3.0, -4.0)), axis, 1.0)
    assert (found.x, found.y) == pytest.approx((3.0, -4.0), abs=1e-6)
    assert found.weights[4] == 0.0
    assert abs(found.miss[4]) > 10.0
    # Negative control: uncertainties wide enough to make the bend ordinary let it drag the origin.
    dragged = geometry.common_origin(_streaks(d, (3.0, -4.0)), axis, 20.0)
    assert math.hypot(dragged.x - 3.0, dragged.y + 4.0) > 1.0


def test_origin_errors_scatter_as_the_covariance_claims() -> None:
    # 600 patterns; the 95 % region of chi-square(2) is 5.991. Scatter larger than stated widens it,
    # never narrows it, so a little above 95 % is right; three binomial errors (0.9 %) below is not.
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(600):
        n = int(rng.integers(4, 9))
        d = rng.uniform(0, 360) + np.arange(n) * 360.0 / n
        found = geometry.common_origin(_streaks(d, (3.0, -4.0)), d + rng.normal(0, 1.0, n), 1.0)
        miss = np.array([found.x - 3.0, found.y + 4.0])
        inside += bool(miss @ np.linalg.solve(found.covariance, miss) < 5.991)
    assert 0.923 < inside / 600 < 0.985


def test_origin_weighs_sure_lines_more() -> None:
    d = np.array([0.0, 90.0, 180.0, 270.0])
    axis = d + np.array([0.0, 0.0, 2.0, 0.0])
    even = geometry.common_origin(_streaks(d, (0.0, 0.0)), axis, 2.0)
    unsure = geometry.common_origin(_streaks(d, (0.0, 0.0)), axis, [0.1, 0.1, 2.0, 0.1])
    assert abs(even.x) > 0.3
    assert abs(unsure.x) < 0.01


def test_origin_of_unusable_lines_is_refused() -> None:
    with pytest.raises(InputError, match="parallel"):
        geometry.common_origin([(0.0, 0.0), (5.0, 0.0)], [10.0, 190.0])
    with pytest.raises(InputError, match="N >= 2"):
        geometry.common_origin([(0.0, 0.0)], [10.0])
    with pytest.raises(InputError, match="finite directions"):
        geometry.common_origin([(0.0, 0.0), (5.0, 0.0)], [10.0])
    with pytest.raises(InputError, match="sigma"):
        geometry.common_origin([(0.0, 0.0), (5.0, 0.0)], [10.0, 80.0], 0.0)


SHEET = [(0.0, 0.0), (210.0, 0.0), (210.0, 297.0), (0.0, 297.0)]
SEEN = [(1203.0, 480.0), (2710.0, 655.0), (2440.0, 2811.0), (870.0, 2390.0)]


def test_homography_maps_corners_and_back() -> None:
    h = geometry.fit_homography(SHEET, SEEN)
    np.testing.assert_allclose(geometry.apply_homography(h, SHEET), SEEN, atol=1e-8)
    back = geometry.fit_homography(SEEN, SHEET)
    np.testing.assert_allclose(back @ h / (back @ h)[2, 2], np.eye(3), atol=1e-9)


def test_homography_keeps_lines_straight_and_averages_noise() -> None:
    h = geometry.fit_homography(SHEET, SEEN)
    line = geometry.apply_homography(h, [(10.0, 10.0), (60.0, 90.0), (110.0, 170.0)])
    (ax, ay), (bx, by) = line[1] - line[0], line[2] - line[0]
    assert ax * by - ay * bx == pytest.approx(0.0, abs=1e-6)
    rng = np.random.default_rng(3)
    grid = np.stack(np.meshgrid(np.linspace(0, 210, 8), np.linspace(0, 297, 8)), -1).reshape(-1, 2)
    noisy = geometry.apply_homography(h, grid) + rng.normal(0, 1.0, grid.shape)
    fitted = geometry.apply_homography(geometry.fit_homography(grid, noisy), grid)
    error = fitted - geometry.apply_homography(h, grid)
    assert (
        np.sqrt((error**2).mean()) < 0.5
    )  # 8 parameters from 128 numbers: about 0.25 of the noise


def test_homography_jacobian_is_the_derivative() -> None:
    h = geometry.fit_homography(SHEET, SEEN)
    at = np.array([[30.0, 200.0], [150.0, 40.0]])
    step = 1e-4
    for axis in range(2):
        d = np.zeros(2)
        d[axis] = step
        slope = (geometry.apply_homography(h, at + d) - geometry.apply_homography(h, at - d)) / (
            2 * step
        )
        np.testing.assert_allclose(
            geometry.homography_jacobian(h, at)[:, :, axis], slope, rtol=1e-6
        )


def test_horizon_is_infinite_and_unfixed_homographies_are_refused() -> None:
    h = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -0.01, 1.0]])
    assert np.isinf(geometry.apply_homography(h, [(5.0, 100.0)])).all()
    line = [(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (0.0, 5.0)]
    with pytest.raises(InputError, match="one line"):
        geometry.fit_homography(line, SEEN)
    with pytest.raises(InputError, match="N >= 4"):
        geometry.fit_homography(SHEET[:3], SEEN[:3])
    with pytest.raises(InputError, match="4 source but 5"):
        geometry.fit_homography(SHEET, [*SEEN, (1.0, 2.0)])
