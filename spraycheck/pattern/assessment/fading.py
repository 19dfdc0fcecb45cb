"""Whether plumes grow paler towards a hole: a veil of light, not the hole, may hide its spray."""

from __future__ import annotations

import numpy as np

from spraycheck.pattern.containers import PlumeCatalogue

PALEST = 0.6
"""Wettest part a plume would show at a place, over the best of the others, below which nothing is
proved there (chosen: half full still counts as wetted at 0.3, of 0.6 it is at the edge of that)."""

FADES = "the plumes grow paler towards it: the light may hide its spray"

SLOPE_PRIOR, SCATTER = 0.5, 0.1
"""Standard slope of log peaks across the pattern, per radius, and their scatter about it (chosen:
strong glare on simulated cards gives slopes of 0.5 to 1.2; healthy ones scatter by at most 0.1)."""


def fades_towards(catalogue: PlumeCatalogue, direction_deg: float, leave: int = -1) -> bool:
    """Say whether the other plumes' wettest parts fade towards a direction.

    A plane through the logarithms of the peaks, its slope held near none by a prior, so that one
    pale plume among several does not make a slope.

    Parameters
    ----------
    catalogue : PlumeCatalogue
        Measured plumes.
    direction_deg : float
        Where to look.
    leave : int
        Row of the plume that lies there, which has no say; -1 for none.
    """
    others = np.flatnonzero(np.arange(len(catalogue)) != leave)
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
