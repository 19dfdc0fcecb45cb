"""The open eight-hole research geometry: eight plumes, 45 degrees apart, on a plane below the tip.

Sources: eight equal holes in steps of 45 degrees, drilled at 37 degrees from the injector axis (37
from memory); the plume direction that fitted flow simulations best is 33 degrees, with a full cone
of 30 degrees (ASME J. Eng. Gas Turb. Power 145(6) 061009, abstract). The axes meet a plane at
height H in a circle of H tan(a): 10.53 and 12.09 mm at 15 mm with a hole circle of 0.79 mm added.
Here all plumes leave one point and H is 60 mm, for marks as large as on a hand-lever card. Plane
geometry: neighbours overlap on the card when asin(sin b / sin a) > 22.5 degrees; b = 10 gives 18.6
and 16.8, b = 15 gives 28.4 and 25.5.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from drawn_photos import Camera, Card, Cone, Shot, photograph

from spraycheck import measure_photo
from spraycheck.errors import MeasurementError
from spraycheck.judge.result import Result

HEIGHT = 60.0
START = 8.0


@functools.cache
def _shot(angle: float, half_cone: float, gone: tuple[int, ...] = ()) -> Shot:
    plumes = tuple(
        Cone(direction=START + 45 * k, angle=angle, half_cone=half_cone)
        for k in range(8)
        if k not in gone
    )
    card = Card(plumes=plumes, centre=(5.0, -11.0), size=(240.0, 260.0), height=HEIGHT)
    return photograph(card, Camera(distance=410.0, tilt=6.0))


@functools.cache
def _measured(angle: float, half_cone: float, gone: tuple[int, ...] = ()) -> Result:
    return measure_photo(_shot(angle, half_cone, gone).rgb, holes=8, sheet="240x260")


@pytest.mark.parametrize("angle", [33.0, 37.0])
def test_separate_plumes_are_counted_and_placed(angle: float) -> None:
    got = _measured(angle, 10.0)
    assert len(got.catalogue) == 8
    assert got.verdict == "pass"
    # 45 +- 1 degree and 0.5 mm: what the published geometry asks of a measuring method here.
    spacing = np.array([hole.spacing_deg for hole in got.holes])
    np.testing.assert_allclose(spacing, 45.0, atol=1.0)
    assert math.hypot(got.centre.x_mm - 5.0, got.centre.y_mm + 11.0) < 0.5
    # The footprints' middles, (tan(a - b) + tan(a + b)) H / 2, not the axis points. 0.5 mm as
    # for the centre.
    a, b = math.radians(angle), math.radians(10.0)
    ring = HEIGHT * (math.tan(a - b) + math.tan(a + b)) / 2
    radius = np.hypot(*(got.catalogue.centroid_mm - [got.centre.x_mm, got.centre.y_mm]).T)
    np.testing.assert_allclose(radius, ring, atol=0.5)
    assert got.centre.ring_radius_mm == pytest.approx(ring, abs=0.5)
    assert ring - HEIGHT * math.tan(a) > 1.5  # negative control: the axis points lie elsewhere


def test_published_ring_radii() -> None:
    # The drawing above by hand: 0.79 mm hole circle, 15 mm plane; half a unit of the last digit.
    assert 0.79 + 15 * math.tan(math.radians(37)) == pytest.approx(12.09, abs=0.006)
    assert 0.79 + 15 * math.tan(math.radians(33)) == pytest.approx(10.53, abs=0.006)


@pytest.mark.parametrize("angle", [33.0, 37.0])
def test_overlapping_plumes_are_counted_or_refused(angle: float) -> None:
    # All eight footprints are one wet ring; its angular profile still has eight crests. The ring of
    # 37 degrees is the wider one and leaves little dry sheet to compare with: there a plain refusal
    # or "does not fit" is as good an answer as eight, but never another number.
    b, a = math.radians(15.0), math.radians(angle)
    assert math.degrees(math.asin(math.sin(b) / math.sin(a))) > 22.5  # they do overlap
    try:
        got = _measured(angle, 15.0)
    except MeasurementError:
        assert angle == 37.0  # refused, with its reason: not a wrong number
        return
    if angle == 37.0 and got.verdict == "recheck":
        assert {f.code for f in got.findings} & {"plumes-merged", "count-does-not-fit"}
        return
    assert len(got.catalogue) == 8
    assert len(got.segmentation.cut) == 8
    spacing = np.array([hole.spacing_deg for hole in got.holes])
    np.testing.assert_allclose(spacing, 45.0, atol=1.0)
    assert math.hypot(got.centre.x_mm - 5.0, got.centre.y_mm + 11.0) < 0.5
    # Cut plumes are less sure: their directions must say so.
    apart = _measured(angle, 10.0).catalogue.direction_u_deg
    assert got.catalogue.direction_u_deg.min() > apart.max()


@pytest.mark.parametrize("gone", [0, 5])
def test_the_hole_missing_among_overlapping_plumes_is_named(gone: int) -> None:
    got = _measured(33.0, 15.0, (gone,))
    assert len(got.catalogue) == 7
    assert got.verdict == "fail"
    assert [hole.state == "blocked" for hole in got.holes] == [k == gone for k in range(8)]
