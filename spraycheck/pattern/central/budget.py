"""The uncertainty budget of the central patch, after the GUM (JCGM 100:2008).

What is common to the whole patch (the scale of wetness, the level and the slope of the dry-paper
model under it) is put in and the patch measured again; half the difference of the two answers is
that source's share, and the shares of one source belong together. What is local (photo noise,
paper, cells) is worked out from the noise and the number of independent spots in the patch. The
sheet's own geometry is added last.

The constants were chosen so that the 95 % intervals hold the truth of simulated cards in 90 to 96 %
of cases, value by value, on the seeds below 1000; a script in ``tests/benchmarks`` reports others.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from spraycheck.pattern import flags as flag
from spraycheck.pattern.central.numbers import Numbers
from spraycheck.pattern.containers import Float, FloatMap, WetnessMap

SPOT_MM2: Final = 6.2
"""Area over which the noise of the filtered map hangs together: ``4 pi sigma^2`` of its 0.7 mm."""

LEVEL, LEVEL_SHARE = 0.015, 0.7
"""Standard error of the dry-paper model under the patch, in wetness: a floor, and a share of the
map's noise."""

SCALE: Final = 0.08
"""Relative standard uncertainty of the scale of wetness under one patch: the plateau of a patch
that is not full anywhere is a guess."""

EDGE_MM: Final = 0.22
"""Standard scatter of the outline where it is drawn, from cells, paper and blur."""

MIDDLE_MM: Final = 0.15
"""Standard scatter of the outline's middle from the same."""

BENT_MM: Final = 0.4
"""The same where the sheet is curled or seen obliquely, beside what stage 1 states (the middles of
simulated patches scatter by 0.16 mm on flat sheets, by 0.7 on these)."""

LOCAL_FRAC, LOCAL_STREAK = 0.06, 0.025
"""Standard scatter of wetness between spots of one patch that the photo adds to the spray's own,
and what of it is left in the streaks however many spots there are (printed and pencilled lines)."""

DRY_NOISES: Final = 0.8
"""Standard uncertainty of the dry-paper model inside a hollow, where no dry paper around it helps,
in units of the map's noise."""

HEAVY_FLOOR: Final = 0.010
"""Standard uncertainty of the share on the heavy side that is left however large the patch."""

THIN_MM: Final = 0.35
"""Streaks thinner than about this are taken for pencil lines in part, or blurred."""

DROPS_MM2: Final = 2.0
"""Standard uncertainty of the area beside the patch from drops that are just counted or not: one of
the smallest size that counts (chosen)."""

ROUND_FRAC: Final = 0.014
"""Relative standard uncertainty of the axis ratio from the sheet's own geometry, beside what stage
1 states."""

VECTOR = (
    *("area", "radius", "x", "y", "roundness", "circularity", "heavy", "streak", "core"),
    *("hollow_x", "hollow_y", "side"),
)
"""What is asked for under every disturbance; lengths in mm, areas in mm2."""


def vector_of(n: Numbers, side_mm2: float, cell_mm: float) -> Float:
    """Put the numbers of one map in the order of `VECTOR`."""
    return np.array(
        [
            float(n.wet.sum()) * cell_mm**2,
            n.radius * cell_mm,
            n.x * cell_mm,
            n.y * cell_mm,
            n.roundness,
            n.circularity,
            n.heavy_share,
            n.streak_frac,
            n.core_ratio,
            (n.hollow_x - n.x) * cell_mm,
            (n.hollow_y - n.y) * cell_mm,
            side_mm2,
        ]
    )


def vector_covariance(
    wet: WetnessMap,
    vector: Float,
    again: Callable[[FloatMap, FloatMap], Float | None],
    raw: FloatMap,
    smooth: FloatMap,
    slope: float,
) -> Float:
    """Covariance of `VECTOR`.

    Parameters
    ----------
    wet : WetnessMap
        For its noise and scale.
    vector : (N,) ndarray of float64
        As measured.
    again : callable
        Measures changed maps, unfiltered and filtered; ``(N,)``, or None where the change made
        another patch of it.
    raw, smooth : (M, N) ndarray of float32
        The maps, cut to the patch.
    slope : float
        How fast the wetness falls at the outline, per mm.
    """
    area, radius, roundness = vector[0], vector[1], vector[4]
    level = math.hypot(LEVEL, LEVEL_SHARE * wet.noise)
    rows, cols = raw.shape
    reach = radius / wet.card.cell_mm
    across = np.broadcast_to((np.arange(cols) - (cols - 1) / 2) / reach, raw.shape)
    down = np.broadcast_to(((np.arange(rows) - (rows - 1) / 2) / reach)[:, None], raw.shape)
    sources: list[Callable[[FloatMap, float], FloatMap]] = [
        lambda w, sign: w * np.float32(1 + sign * math.hypot(SCALE, wet.threshold_u)),
        lambda w, sign: w + np.float32(sign * level),
        lambda w, sign: w + (sign * level * across).astype(np.float32),
        lambda w, sign: w + (sign * level * down).astype(np.float32),
    ]
    total = np.zeros((len(vector), len(vector)))
    for change in sources:
        both = (again(change(raw, sign), change(smooth, sign)) for sign in (1.0, -1.0))
        steps = [(one - vector) * sign for one, sign in zip(both, (1.0, -1.0), strict=True)
                 if one is not None]
        if steps:
            step = np.nan_to_num(sum(steps) / len(steps))
            total += np.outer(step, step)
    spots = max(area / SPOT_MM2, 1.0)
    # The wetness within the outline of a patch is about 0.7 in the mean.
    local = math.hypot(wet.noise / 0.7, LOCAL_FRAC) / math.sqrt(spots)
    card = wet.card
    # On a gentle slope of wetness an error of level moves the outline far.
    edge = math.hypot(EDGE_MM, 0.5 * level / max(slope, 1e-3))
    shape = edge / radius
    own = np.zeros(len(vector))
    # An outline wrong by ``edge`` changes the area by its length times that; a hollow has one too,
    # of the radius that leaves the wetted area.
    disc = math.pi * radius**2
    inner = math.sqrt(max(0.0, 1 - area / disc))
    own[0] = math.hypot(
        2 * shape * (1 + inner) * disc, math.hypot(2 * card.aspect_u_frac, 0.05) * area
    )
    own[1] = math.hypot(edge, card.aspect_u_frac * radius, 0.015 * radius)
    bent = BENT_MM if {flag.SHEET_CURLED, flag.OBLIQUE} & {*card.flags} else 0.0
    own[2] = own[3] = math.hypot(MIDDLE_MM, 0.5 * card.geometry_u_mm, bent)
    own[4] = math.hypot(shape, card.aspect_u_frac, ROUND_FRAC) * roundness
    own[5] = math.hypot(0.5 * shape, 0.025, 0.5 * wet.noise)
    own[6] = math.hypot(0.5 * local, HEAVY_FLOOR)
    own[7] = math.hypot(local, LOCAL_STREAK, vector[7] * min(1.0, THIN_MM * 2 / radius))
    own[8] = math.hypot(2 * local, 0.03, DRY_NOISES * wet.noise)
    own[9] = own[10] = MIDDLE_MM
    # Thrown drops near the limit of what counts as one.
    own[11] = math.hypot(0.1 * vector[11], DROPS_MM2)
    return total + np.diag(own**2)
