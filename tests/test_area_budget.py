"""Stage 5: what makes a plume's area less certain than the paper and the edge alone would."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from cards import Scene, draw, even

from spraycheck.spray.containers import PlumeCatalogue, WetnessMap
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

WET = map_wetness(draw(Scene(plumes=even(5))))
CENTRE = locate_centre(WET)
PLUMES = segment_plumes(WET, CENTRE)


def relative_u(wet: WetnessMap) -> np.ndarray:
    rows: PlumeCatalogue = measure_plumes(wet, segment_plumes(wet, CENTRE), CENTRE)
    assert len(rows) == 5
    return rows.area_u_mm2 / rows.area_mm2


def changed(place: np.ndarray, value: float) -> WetnessMap:
    wetness, smooth = WET.wetness.copy(), WET.smooth.copy()
    wetness[place], smooth[place] = value, value
    return replace(WET, wetness=wetness, smooth=smooth)


def test_healthy_plumes_are_alike() -> None:
    u = relative_u(WET)
    assert u.max() < 1.3 * u.min()


def test_a_pale_tail_is_uncertain() -> None:
    """Half as much again, but only where it is just wet: a shadow looks like that."""
    first = PLUMES.labels == 1
    rows, cols = np.nonzero(PLUMES.mask & first)
    beside = np.zeros_like(first)
    reach = round(0.6 * (np.ptp(cols) + 1))
    beside[rows, np.minimum(cols + reach, first.shape[1] - 1)] = True
    beside &= WET.smooth < 0.3
    u = relative_u(changed(beside, 0.4))
    assert u[0] > 2 * np.median(u[1:])


def test_a_hollowed_plume_is_uncertain() -> None:
    """Sheen on wet paper: only a crescent of the plume reads as wet."""
    first = PLUMES.labels == 1
    rows, cols = np.nonzero(PLUMES.mask & first)
    y, x = rows.mean(), cols.mean()
    down, across = np.mgrid[: first.shape[0], : first.shape[1]]
    size = 0.33 * np.sqrt(len(rows))
    sheen = first & (np.hypot(down - y, across - x - 0.5 * size) < size)
    u = relative_u(changed(sheen, 0.05))
    assert u[0] > 2 * np.median(u[1:])
