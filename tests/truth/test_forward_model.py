"""The simulator against closed forms and published geometry, none of it from this project's code.

Ellipse rows, azimuth half-widths and separability follow from a plane cut through a cone and were
checked by separate ray tracing when they were tabulated; hole layout of the 8-hole open research
nozzle: 8 plumes every 45 degrees, 33 degrees best direction (ASME J. Eng. Gas Turb. Power 145(6)
061009, abstract), 37 degrees drill angle and 0.79 mm hole circle radius (from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from spraycheck.simulate import Fluid, Paper, SprayShot, SyntheticNozzle, draw_card
from spraycheck.simulate.optics import k_over_s, sheet_reflectance, srgb_to_linear, wetness_table
from spraycheck.simulate.soaking import overflow, wick
from spraycheck.simulate.spray import Grid, Plume, cone_reach, flux_total, footprint, hole_axis

PLAIN = SprayShot(
    mist_frac=0.0, coarse_frac=0.0, satellites=0.0, mottle_frac=0.0, profile="uniform"
)
EVEN = Paper(grain_frac=0.0, texture_frac=0.0, cloud_frac=0.0)


def cone(axis_angle: float, half: float, height: float, azimuth: float = 112.0) -> Plume:
    return Plume(
        start=np.array([0.0, 0.0, -height]),
        axis=hole_axis(azimuth, axis_angle),
        half_cone_deg=half,
        volume_mm3=1.0,
        coarse_frac=0.0,
    )


def lit(plume: Plume, grid: Grid) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Density, and the x and y of every struck cell."""
    density, rows, cols = footprint(grid, plume, "uniform")
    y, x = np.meshgrid(grid.y_mm[rows], grid.x_mm[cols], indexing="ij")
    hit = density > 0
    return density, x[hit], y[hit]


# axis angle, half cone, height -> near, far, semi-major, semi-minor, area, axis point (mm, mm2)
ELLIPSES = [
    (37, 5, 30, 18.746, 27.012, 4.133, 3.294, 42.765, 22.607),
    (60, 5, 15, 21.422, 32.168, 5.373, 2.655, 44.819, 25.981),
    (70, 5, 10, 21.445, 37.321, 7.938, 2.635, 65.716, 27.475),
    (37, 10, 50, 25.476, 53.618, 14.071, 11.138, 492.363, 37.678),
]


@pytest.mark.parametrize("row", ELLIPSES)
def test_a_cone_strikes_the_card_in_the_exact_ellipse(row: tuple[float, ...]) -> None:
    a, b, h, near, far, long, short, area, axis_at = row
    grid = Grid(width_mm=120, height_mm=130, cell_mm=0.1)
    _, x, y = lit(cone(a, b, h), grid)
    r = np.hypot(x, y)
    t = math.radians(112.0)
    along, across = x * math.sin(t) - y * math.cos(t), x * math.cos(t) + y * math.sin(t)
    assert len(x) * grid.cell_mm**2 == pytest.approx(area, rel=0.01)
    assert r.min() == pytest.approx(near, abs=0.2)
    assert along.max() == pytest.approx(far, abs=0.2)
    assert np.ptp(along) / 2 == pytest.approx(long, abs=0.1)
    assert np.ptp(across) / 2 == pytest.approx(short, abs=0.1)
    # Negative control: the ellipse is not centred where the plume's axis strikes.
    assert along.mean() == pytest.approx((near + far) / 2, abs=0.05)
    assert abs(along.mean() - axis_at) > 0.15
    # The axis point itself.
    assert h * math.tan(math.radians(a)) == pytest.approx(axis_at, abs=5e-4)


@pytest.mark.parametrize(("a", "b", "half"), [(37, 5, 8.327), (60, 5, 5.776), (70, 5, 5.322)])
def test_azimuth_half_width_of_a_cone(a: float, b: float, half: float) -> None:
    # asin(sin b / sin a); 0.1 degree is two cells at the distance of the tangent.
    _, x, y = lit(cone(a, b, 15.0), Grid(width_mm=100, height_mm=110, cell_mm=0.05))
    turn = np.degrees(np.arctan2(x, -y)) - 112.0
    assert np.ptp(turn) / 2 == pytest.approx(half, abs=0.1)


@pytest.mark.parametrize("profile", ["uniform", "gaussian"])
@pytest.mark.parametrize(("a", "b", "h"), [(37, 5, 30), (60, 6, 20), (70, 5, 10)])
def test_everything_that_leaves_the_hole_lands(profile: str, a: float, b: float, h: float) -> None:
    grid = Grid(width_mm=260, height_mm=270, cell_mm=0.2)
    density, _, _ = footprint(grid, cone(a, b, h), profile)
    # 1 % for the hard rim, whose cells are struck or not; 0.1 % for the smooth profile.
    tolerance = 0.01 if profile == "uniform" else 0.001
    assert float(density.sum()) * grid.cell_mm**2 == pytest.approx(1.0, abs=tolerance)


def test_a_uniform_cone_fills_its_solid_angle() -> None:
    # Solid angle of a cone: 2 pi (1 - cos b).
    assert flux_total(7.0, "uniform") == pytest.approx(
        2 * math.pi * (1 - math.cos(math.radians(7.0))), rel=1e-5
    )
    assert cone_reach(7.0, "uniform") == pytest.approx(math.radians(7.0))


@pytest.mark.parametrize(
    ("holes", "a", "limit"), [(8, 33, 12.03), (8, 37, 13.31), (6, 70, 28.03), (5, 75, 34.59)]
)
def test_plumes_stay_apart_up_to_the_exact_cone(holes: int, a: float, limit: float) -> None:
    # Neighbours touch from b = asin(sin a sin(180 / n)) on; the ray halfway between them is free
    # below it and struck above (0.4 degrees either side; the tabulated limits have two decimals).
    half = 180.0 / holes
    ray = np.array([math.sin(math.radians(half)), -math.cos(math.radians(half))])

    def struck(b: float) -> bool:
        grid = Grid(width_mm=160, height_mm=160, cell_mm=0.1)
        density, rows, cols = footprint(grid, cone(a, b, 10.0, azimuth=0.0), "uniform")
        y, x = np.meshgrid(grid.y_mm[rows], grid.x_mm[cols], indexing="ij")
        past = (x * -ray[1] + y * ray[0]) > 0  # clockwise of the ray
        return bool(((density > 0) & past & (x > 0)).any())

    if a + limit < 88:  # above that the ellipse is open and the sheet too small to hold it
        assert struck(limit + 0.4)
    assert not struck(limit - 0.4)


@pytest.mark.parametrize("n", range(4, 13))
def test_a_missing_hole_pulls_the_mean_the_other_way(n: int) -> None:
    # Algebra of n - 1 of n equal directions: resultant 1 / (n - 1), opposite to the gap, largest
    # gap 720 / n, Rao's U = 360 (n - 2) / (n (n - 1)).
    missing = 2
    nozzle = SyntheticNozzle.evenly(n, axis_angle_deg=62, first_deg=17).with_flow(missing, 0.0)
    shot = replace(PLAIN, volume_mm3=2.5 * n, height_mm=24, half_cone_deg=3.0)
    card = draw_card(nozzle, shot, EVEN, seed=5, foot_mm=(4.0, -9.0), cell_mm=0.5)
    holes = [h for h in card.truth.holes if h.state == "clear"]
    assert len(holes) == n - 1
    drawn = np.array([h.direction_deg for h in holes])
    seen = np.degrees(
        [math.atan2(h.centroid_mm[0] - 4.0, -(h.centroid_mm[1] + 9.0)) for h in holes]
    )
    gone = 17 + 360 / n
    for angles, tolerance in ((drawn, 1e-9), (seen, 0.003)):
        mean = np.exp(1j * np.radians(angles)).mean()
        assert abs(mean) == pytest.approx(1 / (n - 1), abs=max(tolerance, 1e-9))
        off = (math.degrees(np.angle(mean)) - gone - 180 + 180) % 360 - 180
        assert off == pytest.approx(0, abs=max(1e-6, 250 * tolerance))
    order = np.sort(drawn % 360)
    gaps = np.diff(np.append(order, order[0] + 360))
    assert gaps.max() == pytest.approx(720 / n)
    rao = np.abs(gaps - 360 / (n - 1)).sum() / 2
    assert rao == pytest.approx(360 * (n - 2) / (n * (n - 1)))


@pytest.mark.parametrize(("angle", "radius"), [(37.0, 12.09), (33.0, 10.53)])
def test_open_eight_hole_research_geometry(angle: float, radius: float) -> None:
    nozzle = replace(
        SyntheticNozzle.evenly(8, axis_angle_deg=angle, first_deg=11), hole_radius_mm=0.79
    )
    shot = replace(PLAIN, height_mm=15.0, half_cone_deg=10.0, volume_mm3=6.0)
    card = draw_card(nozzle, shot, replace(EVEN, width_mm=80, height_mm=90), seed=2, cell_mm=0.1)
    centroids = np.array([h.centroid_mm for h in card.truth.holes])
    assert [h.state for h in card.truth.holes] == ["clear"] * 8
    for hole in card.truth.holes:
        assert math.hypot(*hole.impact_mm) == pytest.approx(radius, abs=0.01)
    seen = np.degrees(np.arctan2(centroids[:, 0], -centroids[:, 1])) % 360
    gaps = np.diff(np.append(seen, seen[0] + 360))
    assert np.abs(gaps - 45).max() < 1.0


# -- paper ------------------------------------------------------------------------------------


def strip(seconds: float, immobile: float, cell: float = 0.1) -> float:
    """Front of half saturation in a strip fed at one end, mm from the fed edge."""
    length = 420
    capacity = np.full((5, length), 1.0, np.float32)
    fed = np.zeros(capacity.shape, bool)
    fed[:, :2] = True
    out = wick(
        np.zeros_like(capacity),
        capacity,
        cell,
        seconds=seconds,
        wick_mm_per_rt_s=1.0,
        immobile_frac=immobile,
        source=fed,
    )[2]
    k = int(np.argmax(out < 0.5))
    return float((k - 1 + (out[k - 1] - 0.5) / (out[k - 1] - out[k]) - 1) * cell)


@pytest.mark.parametrize("immobile", [0.0, 0.4])
def test_a_fed_front_follows_washburn(immobile: float) -> None:
    # Washburn 1921: l = c sqrt(t), so the exponent is 1/2; the constant is the one asked for.
    times = np.array([10.0, 28.0, 80.0])
    fronts = np.array([strip(t, immobile) for t in times])
    slope = np.polyfit(np.log(times), np.log(fronts), 1)[0]
    assert slope == pytest.approx(0.5, abs=0.05)
    assert fronts[-1] / math.sqrt(80.0) == pytest.approx(1.0, abs=0.10)


def test_a_stain_fed_at_a_constant_rate_grows_with_the_root_of_time() -> None:
    # Volume in a full disc: Q t = c pi r^2, so r goes with t^0.5 and has a known size.
    capacity = np.full((420, 420), 0.055 * 0.25**2, np.float32)
    doses = np.array([4.0, 8.0, 16.0, 32.0, 64.0])
    radii = []
    for dose in doses:
        volume = np.zeros_like(capacity)
        volume[200, 190] = dose
        full = overflow(volume, capacity, 0.25) >= 0.5 * capacity
        radii.append(math.sqrt(np.count_nonzero(full) * 0.25**2 / math.pi))
    slope = np.polyfit(np.log(doses), np.log(radii), 1)[0]
    assert slope == pytest.approx(0.5, abs=0.05)
    assert radii[-1] == pytest.approx(math.sqrt(64.0 / (0.055 * math.pi)), rel=0.05)


def test_a_finite_dose_stops_growing() -> None:
    capacity = np.full((160, 160), 0.055 * 0.25**2, np.float32)
    volume = np.zeros_like(capacity)
    volume[80, 70] = 4.0
    start = overflow(volume, capacity, 0.25)

    def radius(seconds: float) -> float:
        out = wick(start, capacity, 0.25, seconds=seconds, wick_mm_per_rt_s=0.4, immobile_frac=0.5)
        assert float(out.sum(dtype=np.float64)) == pytest.approx(4.0, rel=1e-3)
        return math.sqrt(np.count_nonzero(out >= 0.3 * capacity) * 0.25**2 / math.pi)

    first, late, later = radius(0.0), radius(600.0), radius(2400.0)
    # It can never wet more than its volume at the immobile saturation.
    bound = math.sqrt(4.0 / (0.055 * 0.5 * math.pi))
    assert first < late < later < bound
    # It closes in on that: the exponent, 0.5 while fed, is a twentieth of that or so.
    assert math.log(later / late) / math.log(4) < 0.04


@pytest.mark.parametrize("soak_s", [0.0, 45.0])
def test_volume_is_kept(soak_s: float) -> None:
    shot = SprayShot(volume_mm3=90, height_mm=16, drip_mm3=4, half_cone_deg=5, mist_mm=2)
    nozzle = SyntheticNozzle.evenly(5, axis_angle_deg=58).with_flow(2, 0.4)
    card = draw_card(nozzle, shot, Paper(), seed=3, soak_s=soak_s)
    assert card.truth.sprayed_mm3 == pytest.approx(94.0)
    # Nothing misses an A4 sheet from this height but the last thousandth of a plume's mist.
    assert card.truth.landed_mm3 == pytest.approx(94.0, rel=1e-3)
    assert float(card.volume_mm3.sum(dtype=np.float64)) == pytest.approx(94.0, rel=1e-3)


def test_volume_shares_follow_flow_and_hole_area() -> None:
    # Algebra: one hole at fraction f of n has the share f / (n - 1 + f); flow goes with d^2.
    nozzle = SyntheticNozzle.evenly(8).with_flow(3, 0.8)
    assert nozzle.volume_shares[2] == pytest.approx(0.8 / 7.8)
    wide = replace(SyntheticNozzle.evenly(4), diameter_mm=(0.2, 0.2, 0.2, 0.4))
    assert wide.volume_shares[3] == pytest.approx(4 / 7)


# -- light ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("r", "ks"),
    [(0.9, 0.00556), (0.85, 0.01324), (0.8, 0.025), (0.7, 0.06429), (0.5, 0.25), (0.4, 0.45)],
)
def test_kubelka_munk_table(r: float, ks: float) -> None:
    assert float(k_over_s(r)) == pytest.approx(ks, abs=5e-6)


def test_a_sheet_over_its_own_stack_does_not_show() -> None:
    # Whatever its thickness, a sheet laid on a thick stack of itself reflects like the stack.
    for r in (0.3, 0.6, 0.85):
        for s_x in (0.5, 2.0, 6.0):
            seen = sheet_reflectance(np.array(s_x), s_x * k_over_s(r), r)
            assert float(seen) == pytest.approx(r, abs=1e-9)


def test_a_sheet_without_absorption_over_black() -> None:
    # Kubelka-Munk limit for K = 0 over black: R = S X / (1 + S X).
    for s_x in (0.5, 2.0, 6.0):
        seen = sheet_reflectance(np.array(s_x), np.array(0.0), 0.0)
        assert float(seen) == pytest.approx(s_x / (1 + s_x), rel=1e-3)


def test_clear_fluid_darkens_on_dark_tables_only() -> None:
    # Scattering falls, nothing absorbs: over white the sheet hardly changes, over black it does.
    paper, clear = Paper(colour=(0.97, 0.97, 0.97)), Fluid(absorb_per_mm=(0, 0, 0), name="water")
    over = {b: wetness_table(paper, clear, (b, b, b))[:, 1] for b in (0.05, 0.97)}
    assert over[0.05][-1] / over[0.05][0] < 0.75
    assert over[0.97][-1] / over[0.97][0] > 0.97


def test_srgb_of_middle_grey() -> None:
    # IEC 61966-2-1 (from memory): code 0.5 is 0.21404 of linear white; 0.04045 ends the straight
    # part at 0.0031308.
    assert float(srgb_to_linear(np.array([0.5]))[0]) == pytest.approx(0.21404, abs=1e-5)
    assert float(srgb_to_linear(np.array([0.04045]))[0]) == pytest.approx(0.0031308, abs=1e-7)
