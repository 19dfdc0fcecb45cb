"""Geometry against closed forms, an independent ray caster, and printed circle fits.

Sources
-------
Cone on a plane: plane geometry; the table was worked out by ray casting before this code existed.
Eight-hole open research nozzle ("Spray G" of the Engine Combustion Network): plume directions of 33
and 37 degrees, full cone 30 degrees (J. Eng. Gas Turb. Power 145(6) 061009, abstract); hole circle
radius 0.79 mm (from memory).
Circle fits: W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558 (printed values from memory,
recomputed).
"""

import math

import cv2
import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.stats import geometry

ROWS = [  # a, b, H, near, far, semi-major, semi-minor, area, axis point
    (37, 5, 30, 18.746, 27.012, 4.133, 3.294, 42.765, 22.607),
    (60, 5, 15, 21.422, 32.168, 5.373, 2.655, 44.819, 25.981),
    (70, 5, 10, 21.445, 37.321, 7.938, 2.635, 65.716, 27.475),
    (37, 10, 50, 25.476, 53.618, 14.071, 11.138, 492.363, 37.678),
]


@pytest.mark.parametrize("row", ROWS)
def test_footprint_table(row: tuple[float, ...]) -> None:
    # Half a unit of the third decimal.
    a, b, h, *printed = row
    f = geometry.cone_footprint(a, b, h)
    got = (f.near, f.far, f.semi_major, f.semi_minor, f.area, f.axis_point)
    assert got == pytest.approx(printed, abs=5.1e-4)
    # Negative control: the ellipse's middle is not where the axis meets the card.
    assert f.centre - f.axis_point > 0.2


def _cast(a: float, b: float, h: float, rays: int = 7200) -> np.ndarray:
    """Outline of the footprint from straight rays, sharing nothing with the code under test."""
    ar, br = math.radians(a), math.radians(b)
    axis = np.array([math.sin(ar), 0.0, -math.cos(ar)])
    across = np.array([0.0, 1.0, 0.0])
    up = np.cross(axis, across)
    turn = np.linspace(0, 2 * np.pi, rays, endpoint=False)[:, None]
    wall = math.cos(br) * axis + math.sin(br) * (np.cos(turn) * across + np.sin(turn) * up)
    return wall[:, :2] * (h / -wall[:, 2:])


@pytest.mark.parametrize("row", ROWS)
def test_footprint_against_cast_rays(row: tuple[float, ...]) -> None:
    a, b, h = row[:3]
    f = geometry.cone_footprint(a, b, h)
    x, y = _cast(a, b, h).T
    area = 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    assert f.area == pytest.approx(area, rel=1e-5)  # a polygon of 7200 corners lacks 1e-7
    assert (f.near, f.far) == pytest.approx((x.min(), x.max()), rel=1e-6)
    assert f.semi_minor == pytest.approx(y.max(), rel=1e-6)
    half = np.degrees(np.arctan2(y, x).max())
    assert f.azimuth_half_width_deg == pytest.approx(half, abs=1e-4)
    # On the ellipse, every one of them: proof that the footprint is that ellipse.
    on = ((x - f.centre) / f.semi_major) ** 2 + (y / f.semi_minor) ** 2
    np.testing.assert_allclose(on, 1.0, atol=1e-9)


@pytest.mark.parametrize(("a", "b", "half"), [(37, 5, 8.327), (60, 5, 5.776), (70, 5, 5.322)])
def test_azimuth_half_widths(a: float, b: float, half: float) -> None:
    assert geometry.cone_footprint(a, b, 1.0).azimuth_half_width_deg == pytest.approx(
        half, abs=5.1e-4
    )


@pytest.mark.parametrize(
    ("n", "a", "b"), [(8, 33, 12.03), (8, 37, 13.31), (6, 70, 28.02), (5, 75, 34.59)]
)
def test_separability(n: int, a: float, b: float) -> None:
    # Neighbours just touch: half cone printed to two decimals.
    touching = geometry.largest_separate_half_cone(a, n)
    assert touching == pytest.approx(b, abs=5.1e-3)
    if a + touching < 90:
        half = geometry.cone_footprint(a, touching, 10.0).azimuth_half_width_deg
        assert half == pytest.approx(180.0 / n, abs=1e-9)


def test_a_cone_past_the_horizon_has_no_footprint() -> None:
    # Five holes at 75 degrees could spread to 34.6 degrees and stay apart, but not on this card.
    with pytest.raises(InputError, match="horizon"):
        geometry.cone_footprint(75.0, 34.59, 10.0)


def test_eight_hole_research_nozzle() -> None:
    # 15 mm below the tip: plume centre radii 12.09 mm at 37 degrees and 10.53 mm at 33 degrees, the
    # hole circle's 0.79 mm included; at 50 mm 38.47 and 33.26. Printed to two decimals.
    for h, a, radius in ((15, 37, 12.09), (15, 33, 10.53), (50, 37, 38.47), (50, 33, 33.26)):
        axis = geometry.cone_footprint(a, 10.0, h).axis_point + 0.79
        assert axis == pytest.approx(radius, abs=5.1e-3)
    # At the published 30 degree cone footprints overlap (half-width 28.4 > 22.5 degrees); at 20
    # degrees they do not.
    wide = geometry.cone_footprint(33.0, 15.0, 15.0).azimuth_half_width_deg
    assert wide == pytest.approx(28.4, abs=0.05)
    assert wide > 22.5 > geometry.cone_footprint(33.0, 10.0, 15.0).azimuth_half_width_deg


@pytest.mark.parametrize(
    ("e", "r", "worst"), [(1.0, 30.0, 1.91), (1.0, 50.0, 1.15), (0.5, 40.0, 0.72)]
)
def test_a_wrong_centre_turns_directions_by_asin_e_over_r(e: float, r: float, worst: float) -> None:
    # A centre off by e makes a plume at radius r (from the wrong centre) look turned by asin(e / r)
    # at most; printed to two decimals.
    directions = np.arange(0.0, 360.0, 0.05)
    points = np.array([e, 0.0]) + r * geometry.unit_vectors(directions)
    # Seen from the true centre the points lie at other directions than from the wrong one.
    off = geometry.direction_to(points, (e, 0.0)) - geometry.direction_to(points)
    seen = np.abs((off + 180.0) % 360.0 - 180.0).max()
    assert seen == pytest.approx(math.degrees(math.asin(e / r)), abs=1e-4)
    assert seen == pytest.approx(worst, abs=5.1e-3)


GANDER = [(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)]


@pytest.mark.parametrize(
    ("fit", "x", "y", "radius"),
    [
        pytest.param(geometry.fit_circle_algebraic, 5.3794, 7.2532, 3.0370, id="algebraic"),
        pytest.param(geometry.fit_circle, 4.7398, 2.9835, 4.7142, id="geometric"),
        pytest.param(geometry.fit_circle_kasa, 4.7423, 3.8351, 4.1088, id="Kasa (recomputed)"),
    ],
)
def test_gander_golub_strebel_circles(  # type: ignore[no-untyped-def]
    fit, x: float, y: float, radius: float
) -> None:
    # Half a unit of the fourth decimal. The three differ by up to 4 units, so each is the negative
    # control of the others.
    got = fit(GANDER)
    assert (got.x, got.y, got.radius) == pytest.approx((x, y, radius), abs=5.1e-5)


def test_geometric_fit_is_the_least_of_its_kind() -> None:
    best = geometry.fit_circle(GANDER)
    assert best.rms < geometry.fit_circle_kasa(GANDER).rms
    assert best.rms < geometry.fit_circle_algebraic(GANDER).rms
    p = np.array(GANDER, float)
    for dx, dy, dr in ((0.01, 0, 0), (0, 0.01, 0), (0, 0, 0.01), (0, -0.01, 0.01)):
        miss = np.hypot(p[:, 0] - best.x - dx, p[:, 1] - best.y - dy) - best.radius - dr
        assert np.sqrt(np.mean(miss**2)) > best.rms


def test_circle_fit_agrees_with_an_independent_optimiser() -> None:
    # scipy's least_squares on the same distances, covariance from its Jacobian: 1e-6.
    from scipy.optimize import least_squares

    rng = np.random.default_rng(8)
    p = np.array([12.0, -3.0]) + 25.0 * geometry.unit_vectors([0, 40, 95, 170, 210, 300])
    p += rng.normal(0, 0.5, p.shape)
    other = least_squares(
        lambda c: np.hypot(p[:, 0] - c[0], p[:, 1] - c[1]) - c[2], [10.0, 0.0, 20.0], xtol=1e-14
    )
    mine = geometry.fit_circle(p)
    assert (mine.x, mine.y, mine.radius) == pytest.approx(tuple(other.x), abs=1e-6)
    covariance = np.linalg.inv(other.jac.T @ other.jac) * 2 * other.cost / (len(p) - 3)
    np.testing.assert_allclose(mine.covariance, covariance, rtol=1e-4, atol=1e-8)


def test_homography_agrees_with_opencv() -> None:
    # The same four corners through an independent solver; relative 1e-8.
    source = np.array([(0, 0), (210, 0), (210, 297), (0, 297)], float)
    target = np.array([(1203, 480), (2710, 655), (2440, 2811), (870, 2390)], float)
    other = cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32))
    np.testing.assert_allclose(
        geometry.fit_homography(source, target), other, rtol=1e-8, atol=1e-10
    )
