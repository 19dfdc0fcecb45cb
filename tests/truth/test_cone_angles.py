"""Angle and cone of a plume from the ends of its stain and the tip's height.

Source: plane geometry; the table was worked out by ray casting before this code existed. A cone of
half angle b whose axis stands at a from the plumb line, its tip H above the card, wets the card
from H tan(a - b) to H tan(a + b).
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from spraycheck.judge.standoff import Standoff, spray_angles

ROWS = [  # a, b, H, near, far, where the axis meets the card
    (37, 5, 30, 18.746, 27.012, 22.607),
    (60, 5, 15, 21.422, 32.168, 25.981),
    (70, 5, 10, 21.445, 37.321, 27.475),
    (37, 10, 50, 25.476, 53.618, 37.678),
]
DIRECTIONS = np.arange(6) * 60.0 + 7.0


class Plumes(SimpleNamespace):
    """As much of a catalogue as the angles need."""

    def __len__(self) -> int:
        return len(self.direction_deg)


@pytest.mark.parametrize(("a", "b", "height", "near", "far", "axis"), ROWS)
def test_printed_ends_give_back_angle_and_cone(
    a: float, b: float, height: float, near: float, far: float, axis: float
) -> None:
    # Half a unit of the third decimal of an end is 0.003 degrees of the wall at most.
    plumes = Plumes(direction_deg=DIRECTIONS, near_mm=np.full(6, near), reach_mm=np.full(6, far))
    got = spray_angles(plumes, Standoff(height_mm=height))
    np.testing.assert_allclose(got.axis_angle_deg, a, atol=0.003)
    np.testing.assert_allclose(got.cone_deg, 2 * b, atol=0.006)
    # Negative control: the stain's middle is not where the axis meets the card.
    middle = math.degrees(math.atan2((near + far) / 2, height))
    assert middle - math.degrees(math.atan2(axis, height)) > 0.2
