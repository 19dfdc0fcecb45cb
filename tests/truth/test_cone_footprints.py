"""Straight cones on a flat card: the ray-cast wetted set, closed forms and the measuring stages.

Source: plane geometry, worked out independently. A cone of half-angle b whose axis leaves the tip
(height H) at a from the plumb line wets an ellipse from H tan(a - b) to H tan(a + b): semi-major A
half of that length, semi-minor B = H sin b / sqrt(cos^2 a - sin^2 b), area pi A B, seen from the
centre under +-asin(sin b / sin a). Its middle is not where the axis meets the card (H tan a).
Each row is drawn larger by ``zoom`` (ratios do not change) to a size real plumes have.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
import pytest
from drawn_photos import SATURATED, Card, Cone, flat, wetness
from scipy import ndimage, stats

from spraycheck.spray.containers import PlumeCatalogue
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.settings import PlumeSettings, WetnessSettings
from spraycheck.spray.wetness import map_wetness


@dataclass(frozen=True)
class Row:
    a: float
    b: float
    height: float
    near: float
    far: float
    semi_major: float
    semi_minor: float
    area: float
    axis_point: float
    half_width: float
    zoom: float


ROWS = (
    Row(37, 5, 30, 18.746, 27.012, 4.133, 3.294, 42.765, 22.607, 8.327, 2.2),
    Row(60, 5, 15, 21.422, 32.168, 5.373, 2.655, 44.819, 25.981, 5.776, 2.2),
    Row(70, 5, 10, 21.445, 37.321, 7.938, 2.635, 65.716, 27.475, 5.322, 2.1),
    Row(37, 10, 50, 25.476, 53.618, 14.071, 11.138, 492.363, 37.678, 16.776, 1.4),
)
STARTS = {row: 7.0 + 5 * k for k, row in enumerate(ROWS)}
COUNT = 6
CENTRE = (3.0, -4.0)
SIZE = (172.0, 188.0)
DETECT_MM = 0.7  # the default blur of the wetness map
ROW = pytest.mark.parametrize("row", ROWS, ids=lambda r: f"a{r.a}-b{r.b}")


def _card(row: Row) -> Card:
    plumes = tuple(
        Cone(direction=STARTS[row] + 60 * k, angle=row.a, half_cone=row.b) for k in range(COUNT)
    )
    return Card(plumes=plumes, centre=CENTRE, size=SIZE, height=row.height * row.zoom, softness=0.0)


@functools.cache
def _measured(row: Row, *, plain: bool) -> PlumeCatalogue:
    """Measure a card; ``plain``: no blur, and wetted from half way up, where a pixel's share is."""
    card = flat(_card(row), oversample=3)
    wet = map_wetness(card, settings=WetnessSettings(detect_mm=0.05 if plain else DETECT_MM))
    settings = PlumeSettings(threshold_frac=0.5 if plain else 0.3)
    centre = locate_centre(wet, settings=settings)
    assert math.hypot(centre.x_mm - CENTRE[0], centre.y_mm - CENTRE[1]) < 0.1
    return measure_plumes(wet, segment_plumes(wet, centre, settings=settings))


@functools.cache
def _cast(row: Row, step: float = 0.1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The wetted set of one plume at 12 o'clock, and each point's distance and direction."""
    card = Card(
        plumes=(Cone(direction=0.0, angle=row.a, half_cone=row.b),),
        centre=(0.0, 0.0),
        height=row.height * row.zoom,
        softness=0.0,
    )
    wide = row.semi_minor * row.zoom + 6
    x = np.arange(-wide, wide, step)
    y = -np.arange(row.near * row.zoom - 6, row.far * row.zoom + 6, step)
    gx, gy = np.meshgrid(x, y)
    return wetness(card, gx, gy) > 0.5, np.hypot(gx, gy), np.degrees(np.arctan2(gx, -gy))


@ROW
def test_ray_caster_and_closed_forms_agree(row: Row) -> None:
    # 0.3 %: the caster's 0.1 mm grid. Ends and half-widths to one and a half steps of it.
    wet, distance, direction = _cast(row)
    z = row.zoom
    assert wet.sum() * 0.01 == pytest.approx(row.area * z * z, rel=3e-3)
    assert distance[wet].min() == pytest.approx(row.near * z, abs=0.15)
    assert distance[wet].max() == pytest.approx(row.far * z, abs=0.15)
    assert direction[wet].max() == pytest.approx(row.half_width, abs=0.2)
    assert math.pi * row.semi_major * row.semi_minor == pytest.approx(row.area, rel=3e-4)


@ROW
def test_areas_without_the_blur(row: Row) -> None:
    # 1 %: a quarter-millimetre cell counts when half wet, which neither gains nor loses.
    got = _measured(row, plain=True)
    assert len(got) == COUNT
    np.testing.assert_allclose(got.area_mm2, row.area * row.zoom**2, rtol=0.01)


@ROW
def test_ends_and_half_widths_without_the_blur(row: Row) -> None:
    # 0.3 mm: one cell and a bit. The outline passes through the outermost cells' centres. Photo
    # pixels of these cards are a quarter of a millimetre (see `flat`).
    got = _measured(row, plain=True)
    half = np.array(SIZE) / 2
    for outline, toward in zip(got.outlines_px, got.direction_deg, strict=True):
        offset = (outline - [30, 55]) / 4 - half - CENTRE
        distance = np.hypot(*offset.T)
        assert distance.min() == pytest.approx(row.near * row.zoom, abs=0.3)
        assert distance.max() == pytest.approx(row.far * row.zoom, abs=0.3)
        off = np.degrees(np.arctan2(offset[:, 0], -offset[:, 1])) - toward
        off = (off + 180) % 360 - 180
        # The same 0.3 mm at the distance of the middle, as an angle.
        fine = math.degrees(0.3 / (row.axis_point * row.zoom))
        assert np.ptp(off) / 2 == pytest.approx(row.half_width, abs=fine)


@ROW
def test_what_the_blur_adds(row: Row) -> None:
    # Default map: the optical depth is blurred with sigma 0.7 mm, so a sharp edge crosses wetness
    # 0.3 outside itself, at the quantile of the normal distribution where the depth fraction g
    # solves the Yule-Nielsen law. Parallel curve of a convex outline: area + perimeter d + pi d^2.
    # 2 %: colours saturate a little differently, and cells are 0.25 mm.
    depth = float(np.mean(-np.log(SATURATED)))
    g = -2 * math.log(1 - 0.3 * -math.expm1(-depth / 2)) / depth
    out = DETECT_MM * stats.norm.ppf(1 - g)
    a, b = row.semi_major * row.zoom, row.semi_minor * row.zoom
    t = np.linspace(0, 2 * math.pi, 20001)
    perimeter = np.trapezoid(np.hypot(a * np.sin(t), b * np.cos(t)), t)
    expected = math.pi * a * b + perimeter * out + math.pi * out**2
    got = _measured(row, plain=False)
    np.testing.assert_allclose(got.area_mm2, expected, rtol=0.02)
    # Negative control: this is well above the bare ellipse.
    assert got.area_mm2.min() > 1.02 * row.area * row.zoom**2


@ROW
def test_near_reach_and_width_are_one_percent_from_the_ends(row: Row) -> None:
    # The stated near, reach and width leave out the outermost hundredth of the area; the same from
    # the caster's set, blurred by scipy. 0.3 mm as above.
    wet, distance, direction = _cast(row)
    depth = float(np.mean(-np.log(SATURATED)))
    blurred = ndimage.gaussian_filter(wet * depth, DETECT_MM / 0.1)
    core = -np.expm1(-blurred / 2) / -math.expm1(-depth / 2) >= 0.3
    got = _measured(row, plain=False)
    low, high = np.percentile(distance[core], [1, 99])
    np.testing.assert_allclose(got.inner_mm, low, atol=0.3)
    np.testing.assert_allclose(got.outer_mm, high, atol=0.3)
    left, right = np.percentile(direction[core], [1, 99])
    np.testing.assert_allclose(got.width_deg, right - left, atol=0.6)


@ROW
def test_centroid_is_the_middle_of_the_ellipse_not_the_axis_point(row: Row) -> None:
    got = _measured(row, plain=True)
    away = np.hypot(*(got.centroid_mm - CENTRE).T)
    middle = (row.near + row.far) / 2 * row.zoom
    np.testing.assert_allclose(away, middle, atol=0.15)
    assert middle - row.axis_point * row.zoom > 0.4  # negative control: they do differ
    want = (STARTS[row] + 60 * np.arange(COUNT)) % 360
    np.testing.assert_allclose(np.sort(got.direction_deg), np.sort(want), atol=0.15)
