"""A centre that is off turns the directions of plumes by a known angle, and the tool says so.

Source: plane geometry. Seen from a centre off by e, a plume at distance r is turned by up to
asin(e / r); worked out for e = 1 mm: 1.91 degrees at 30 mm and 1.15 at 50 mm; for 0.5 mm at 40 mm
0.72.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from cards import Scene, draw, even

from spraycheck import locate_centre, map_wetness, measure_plumes, segment_plumes


@pytest.mark.parametrize(
    ("off_mm", "radius_mm", "worked_out"), [(1.0, 30.0, 1.91), (1.0, 50.0, 1.15), (0.5, 40.0, 0.72)]
)
def test_a_wrong_centre_turns_directions_by_asin_e_over_r(
    off_mm: float, radius_mm: float, worked_out: float
) -> None:
    # Half a unit of the second decimal, and 0.06 degrees for the drawn outlines' cells of 0.4 mm.
    wet = map_wetness(draw(Scene(plumes=even(8, radius=radius_mm, length=8.0, width=4.0))))
    true = locate_centre(wet)
    labels = segment_plumes(wet, true)
    right = measure_plumes(wet, labels, true).direction_deg
    # Square to the first plume's ray, where the turn is greatest.
    ray = np.deg2rad(right[0])
    x, y = true.x_mm + off_mm * math.cos(ray), true.y_mm + off_mm * math.sin(ray)
    wrong = measure_plumes(wet, labels, replace(true, x_mm=x, y_mm=y)).direction_deg
    turned = (wrong - right + 180) % 360 - 180
    worst = math.degrees(math.asin(off_mm / radius_mm))
    assert worst == pytest.approx(worked_out, abs=5.1e-3)
    # Seen from the wrong centre the plume lies a little farther: atan instead of asin.
    assert abs(turned[0]) == pytest.approx(worst, abs=0.07)
    assert np.abs(turned).max() < worst + 0.07
    # Negative control: a plume a quarter turn away is not turned at all.
    assert abs(turned[2]) < 0.1


def test_stated_uncertainty_holds_the_turn_that_the_centre_causes() -> None:
    # A centre known to 1 mm (95 %, each way) alone makes asin(1 / 46) = 1.25 degrees.
    wet = map_wetness(draw(Scene(plumes=even(8))))
    true = locate_centre(wet)
    labels = segment_plumes(wet, true)
    vague = replace(true, covariance_mm2=np.eye(2) / 1.96**2)
    stated = measure_plumes(wet, labels, vague).direction_u_deg
    assert (stated > math.degrees(math.asin(1 / 46)) - 0.03).all()
    sure = replace(true, covariance_mm2=np.eye(2) * 1e-6)  # negative control
    assert (measure_plumes(wet, labels, sure).direction_u_deg < 0.8 * stated).all()
