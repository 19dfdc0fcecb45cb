"""A regular chart of 36 sectors, drawn from its definition, read as spray.

Source: the star chart's own definition. 36 sectors of 10 degrees round a known centre, dark and
light in turn; here a ring of it, 32 to 76 mm from the centre. Every third sector makes a regular
12-hole pattern, every second one the chart itself with its 18 dark sectors. Directions are
multiples of 10 degrees off the start, all shares equal, and the centre is known exactly.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from drawn_photos import Camera, Card, Sector, flat, photograph

from spraycheck import measure_photo
from spraycheck.judge.result import Result
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

START = 6.0
CENTRE = (5.0, -13.0)


def _chart(every: int) -> Card:
    sectors = tuple(Sector(direction=START + 10.0 * k) for k in range(0, 36, every))
    return Card(plumes=sectors, centre=CENTRE)


@functools.cache
def _measured(every: int, tilt: float) -> Result:
    shot = photograph(_chart(every), Camera(tilt=tilt))
    return measure_photo(shot.rgb, holes=min(36 // every, 16), sheet="a4")


@pytest.mark.parametrize("tilt", [0.0, 15.0])
def test_every_third_sector_is_a_twelve_hole_pattern(tilt: float) -> None:
    got = _measured(3, tilt)
    rows = got.catalogue
    assert len(rows) == 12
    # 0.5 mm and 0.4 degrees: half of what is asked of a bench photo. Truth is exact.
    assert math.hypot(got.centre.x_mm - CENTRE[0], got.centre.y_mm - CENTRE[1]) < 0.5
    np.testing.assert_allclose(rows.direction_deg, START + 30.0 * np.arange(12), atol=0.4)
    # 2 % of an even share: equal sectors, light of every strength.
    np.testing.assert_allclose(rows.area_frac, 1 / 12, rtol=0.02)
    # 10 degrees less a hundredth of the area at either flank, and a rim of blur (0.7 mm at 54).
    np.testing.assert_allclose(rows.width_deg, 10.0, atol=1.0)
    # The wetted ring piece, with a rim of up to half a millimetre.
    area = math.radians(10) / 2 * (76.0**2 - 32.0**2)
    around = math.radians(10) * (76 + 32) + 2 * (76 - 32)
    assert (rows.area_mm2 > area).all()
    assert (rows.area_mm2 < area + 0.7 * around).all()


def test_the_whole_chart_has_eighteen_dark_sectors() -> None:
    # More than any nozzle has: the stages measure blind and must count them all the same.
    wet = map_wetness(flat(_chart(2), cell=0.3))
    centre = locate_centre(wet)
    rows = measure_plumes(wet, segment_plumes(wet, centre), centre)
    assert math.hypot(centre.x_mm - CENTRE[0], centre.y_mm - CENTRE[1]) < 0.3
    assert len(rows) == 18
    np.testing.assert_allclose(rows.direction_deg, START + 20.0 * np.arange(18), atol=0.3)
    np.testing.assert_allclose(rows.area_frac, 1 / 18, rtol=0.02)


def test_the_whole_chart_is_no_sixteen_hole_pattern() -> None:
    got = _measured(2, 0.0)
    assert got.verdict != "pass"
    assert "blocked" not in {hole.state for hole in got.holes}
