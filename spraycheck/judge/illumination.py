"""Whether plumes grow paler towards a hole: a veil of light, not the hole, may hide its spray."""

from __future__ import annotations

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Mask
from spraycheck.spray.containers import PlumeCatalogue

PALEST = 0.6
"""Wettest part a plume would show at a place, over the best of the others, below which nothing is
proved there (chosen: half full still counts as wetted at 0.3, of 0.6 it is at the edge of that)."""

SLOPE_PRIOR, SCATTER = 0.5, 0.1
"""Standard slope of log peaks across the pattern, per radius, and their scatter about it (chosen:
strong glare on simulated cards gives slopes of 0.5 to 1.2; healthy ones scatter by at most 0.1)."""


LEAST_AREA = 0.15
"""A plume smaller than this share of the usual one is a few drops: its wettest part tells nothing
about the light (chosen: the width of the map's filter then takes half of it)."""


def fades_towards(
    catalogue: PlumeCatalogue, direction_deg: float, of_holes: Mask, leave: int = -1
) -> bool:
    """Say whether the other plumes' wettest parts fade towards a direction.

    A plane through the logarithms of the peaks, its slope held near none by a prior, so that one
    pale plume among several does not make a slope.

    Parameters
    ----------
    catalogue : PlumeCatalogue
        Measured plumes.
    direction_deg : float
        Where to look.
    of_holes : (K,) ndarray of bool
        Plumes that belong to a hole: strays, which may be shadows, have no say.
    leave : int
        Row of the plume that lies there, which has no say; -1 for none.
    """
    area = catalogue.area_mm2
    usual = float(np.median(area[of_holes])) if of_holes.any() else 0.0
    whole = [flag.AT_SHEET_EDGE not in flags for flags in catalogue.flags]
    able = of_holes & np.array(whole, bool) & (area >= LEAST_AREA * usual)
    others = np.flatnonzero(able & (np.arange(len(catalogue)) != leave))
    if len(others) < 3:
        return False
    log = np.log(np.maximum(catalogue.peak[others], 0.05))
    best = float(np.percentile(log, 75))
    turn = np.radians(catalogue.direction_deg[others])
    design = np.column_stack([np.ones(len(others)), np.sin(turn), np.cos(turn)])
    prior = np.diag([1e-6, *[(SCATTER / SLOPE_PRIOR) ** 2] * 2])
    found = np.linalg.solve(design.T @ design + prior, design.T @ (log - best))
    there = np.radians(direction_deg)
    return bool(found @ [1.0, np.sin(there), np.cos(there)] < np.log(PALEST))
