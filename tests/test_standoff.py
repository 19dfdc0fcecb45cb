"""Angles from the tip's height: against the exact footprint of a cone, with and without a tilt."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.judge.standoff import Standoff, parse_standoff, spray_angles


class Plumes(SimpleNamespace):
    """As much of a catalogue as the angles need."""

    def __len__(self):
        return len(self.direction_deg)


def ends(angle, half_cone, height):
    """Near and far end of the stain of a straight cone: plane geometry."""
    return [height * math.tan(math.radians(angle + sign * half_cone)) for sign in (-1, 1)]


def sprayed(angles, half_cone, height, directions, *, tilt=0.0, towards=0.0):
    near, far = [], []
    for angle, direction in zip(angles, directions, strict=True):
        leaned = angle + tilt * math.cos(math.radians(direction - towards))
        closer, farther = ends(leaned, half_cone, height)
        near.append(closer)
        far.append(farther)
    return Plumes(
        direction_deg=np.array(directions, float), near_mm=np.array(near), reach_mm=np.array(far)
    )


def test_the_cone_is_read_back_exactly():
    plumes = sprayed([62.0] * 5, 6.5, 24.0, [3, 75, 147, 219, 291])
    angles = spray_angles(plumes, Standoff(height_mm=24.0))
    np.testing.assert_allclose(angles.axis_angle_deg, 62.0, atol=1e-9)
    np.testing.assert_allclose(angles.cone_deg, 13.0, atol=1e-9)
    assert angles.spray_angle_deg == pytest.approx(124.0)
    assert angles.tilt_deg == pytest.approx(0.0, abs=1e-9)


def test_the_middle_of_the_patch_would_not_do():
    # Negative control: taken for the axis, the ellipse's middle reads more than a degree high.
    assert math.degrees(math.atan2(sum(ends(62.0, 6.5, 24.0)) / 2, 24.0)) > 62.4


@pytest.mark.parametrize("towards", [20.0, 200.0, 359.9])
def test_a_tilt_is_found_and_taken_off(towards):
    plumes = sprayed([65.0] * 6, 5.0, 20.0, np.arange(6) * 60 + 7.0, tilt=2.5, towards=towards)
    angles = spray_angles(plumes, Standoff(height_mm=20.0))
    assert angles.tilt_deg == pytest.approx(2.5, abs=1e-6)
    assert abs((angles.tilt_towards_deg - towards + 180) % 360 - 180) < 1e-6
    assert angles.tilt_u_deg > 0
    np.testing.assert_allclose(angles.axis_angle_deg, 65.0, atol=1e-6)


def test_a_slanted_layout_is_no_tilt():
    design = np.array([55.0, 60.0, 70.0, 70.0, 60.0])
    plumes = sprayed(design, 5.0, 22.0, [0, 60, 130, 230, 300])
    angles = spray_angles(plumes, Standoff(height_mm=22.0), nominal_deg=design)
    assert angles.tilt_deg < 1e-6
    np.testing.assert_allclose(angles.axis_angle_deg, design, atol=1e-6)
    assert spray_angles(plumes, Standoff(height_mm=22.0)).tilt_deg > 3  # without the layout


def test_three_plumes_tell_no_tilt():
    plumes = sprayed([60.0] * 3, 5.0, 20.0, [0, 120, 240])
    angles = spray_angles(plumes, Standoff(height_mm=20.0))
    assert math.isnan(angles.tilt_deg)
    assert all(u > 2 for u in angles.axis_angle_u_deg)


def test_uncertainty_follows_the_height():
    plumes = sprayed([60.0] * 4, 5.0, 20.0, [0, 90, 180, 270])
    u = [
        spray_angles(plumes, Standoff(height_mm=20.0, u_mm=mm)).spray_angle_u_deg
        for mm in (0.01, 4.0)
    ]
    # d(2 atan(r / H)) = -sin(2 a) dH / H; the two ends of the patch average to nearly that.
    expected = math.degrees(math.sin(math.radians(120)) * 4.0 / 20.0)
    assert math.sqrt(u[1] ** 2 - u[0] ** 2) == pytest.approx(expected, rel=0.03)


def test_no_plumes_give_no_angles():
    nothing = np.empty(0)
    angles = spray_angles(
        Plumes(direction_deg=nothing, near_mm=nothing, reach_mm=nothing), Standoff(height_mm=20)
    )
    assert math.isnan(angles.spray_angle_deg)
    assert angles.axis_angle_deg == ()


@pytest.mark.parametrize(
    ("text", "height", "u"),
    [("20", 20, 1.0), ("20+-0.5", 20, 0.5), ("19,5 ± 0,3 mm", 19.5, 0.3), ("20+/-2", 20, 2)],
)
def test_heights_are_read_as_people_write_them(text, height, u):
    standoff = parse_standoff(text)
    assert (standoff.height_mm, standoff.u_mm) == (height, u)


@pytest.mark.parametrize("text", ["", "tall", "-20", "1", "300", "20+-15", "20+-0", "20+-"])
def test_impossible_heights_are_refused(text):
    with pytest.raises(InputError, match="standoff"):
        parse_standoff(text)
