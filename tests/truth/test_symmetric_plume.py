"""Left and right half-angle of symmetric plumes under uneven light.

Source: Chen, Hung, Xu, Zhong, J. Vis. 17 (2014) 197-209 (abstract): on a symmetric spray a single
grey threshold read half-angles 3 to 4 degrees apart, a local threshold 0.5 degrees. A straight cone
is symmetric about its axis; its soft edge is what lets a wrong threshold move.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from drawn_photos import Blot, Card, flat
from skimage.filters import threshold_otsu

from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

DIRECTIONS = (40.0, 130.0, 220.0, 310.0)
CARD = Card(
    plumes=tuple(Blot(direction=d, radius=56.0, length=22.0, width=11.0) for d in DIRECTIONS),
    centre=(4.0, -5.0),
    size=(190.0, 210.0),
    softness=9.0,  # wicking leaves rims of several millimetres
    falloff=0.5,
)


@functools.cache
def _masks() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """The tool's wetted cells, a global grey threshold's, and each cell's place."""
    card = flat(CARD, cell=0.4, noise=0.003)
    wet = map_wetness(card)
    centre = locate_centre(wet)
    plumes = segment_plumes(wet, centre)
    assert len(measure_plumes(wet, plumes, centre)) == 4
    grey = card.linear_rgb.mean(axis=2)
    x = card.x0_mm + card.cell_mm * np.arange(grey.shape[1]) - CARD.centre[0]
    y = card.y0_mm + card.cell_mm * np.arange(grey.shape[0]) - CARD.centre[1]
    gx, gy = np.meshgrid(x, y)
    dark = grey < threshold_otsu(grey)
    near = (np.hypot(gx, gy) > 30) & (np.hypot(gx, gy) < 82)
    direction = np.degrees(np.arctan2(gx, -gy))
    return plumes.core & near, dark & near, direction, wet.smooth


def _half_angles(mask: np.ndarray, direction: np.ndarray, at: float) -> tuple[float, float]:
    off = (direction[mask] - at + 180) % 360 - 180
    off = off[np.abs(off) < 40]
    left, right = np.percentile(off, [0.5, 99.5])
    return -float(left), float(right)


@pytest.mark.parametrize("at", DIRECTIONS)
def test_half_angles_agree(at: float) -> None:
    wetted, _, direction, _ = _masks()
    left, right = _half_angles(wetted, direction, at)
    assert left == pytest.approx(right, abs=0.5)
    assert left > 8


def test_a_single_grey_threshold_is_the_negative_control() -> None:
    _, dark, direction, _ = _masks()
    apart = [abs(np.subtract(*_half_angles(dark, direction, at))) for at in DIRECTIONS]
    assert max(apart) > 3.0


def test_opposite_plumes_are_alike_although_one_lies_in_the_dark() -> None:
    wetted, _, direction, _ = _masks()
    sums = [sum(_half_angles(wetted, direction, at)) for at in DIRECTIONS]
    assert np.ptp(sums) < 1.0
