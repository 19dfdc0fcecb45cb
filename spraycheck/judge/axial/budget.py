"""The uncertainty budget of the central patch, after the GUM (JCGM 100:2008).

What is common to the whole patch (the scale of wetness, the level and the slope of the dry-paper
model under it) is put in and the patch measured again; half the difference of the two answers is
that source's share, and the shares of one source belong together. What is local (photo noise,
paper, cells) is worked out from the noise and the number of independent spots in the patch. The
sheet's own geometry is added last.

The constants were fitted to the errors on simulated cards (seeds 0 to 519, 9000 to 9239), so that
in every sixth of them, sorted by what is stated, about 95 % of the intervals hold the truth, for
hollow sprays and filled ones alike; a script in ``tests/benchmarks`` reports others. The first of
`EDGE_MM` and `RADIUS_FRAC` were raised by a third after 240 others held area and diameter in 90 to
92 of 100.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, FloatMap
from spraycheck.judge.axial.numbers import Numbers
from spraycheck.spray.containers import WetnessMap

SPOT_MM2: Final = 6.2
"""Area over which the noise of the filtered map hangs together: ``4 pi sigma^2`` of its 0.7 mm."""

LEVEL, LEVEL_SHARE, TILT_SHARE = 0.03, 1.4, 0.75
"""Standard error of the dry-paper model under the patch, in wetness: a floor, and a share of the
map's noise; and what of it the model may be wrong by in opposite ways on two sides."""

PART: Final = 0.5
"""Such an error is put in at this part of its size and the answer scaled up: at full size it would
open outlines and join what lies beside them (chosen)."""

SCALE: Final = 0.08
"""Relative standard uncertainty of the scale of wetness under one patch: the plateau of a patch
that is not full anywhere is a guess."""

EDGE_MM, ROUND_MM, RAGGED_MM = 0.18, 0.085, 0.12
"""Standard scatter of the outline where it is drawn, from cells, paper and blur: of the whole of
it, of its long axis against the short one, and what its length makes of it."""

SLOPE_SHARE: Final = 0.45
"""On a gentle slope of wetness an error of level moves the outline far; it does so unevenly by this
share."""

MIDDLE_MM: Final = 0.1
"""Standard scatter of the outline's middle from the same."""

BENT_MM: Final = 0.4
"""The same where the sheet is curled or seen obliquely, beside what stage 1 states (the middles of
simulated patches scatter by 0.16 mm on flat sheets, by 0.7 on these)."""

NOISE_STREAK, CORE_FRAC = 3.0, 0.028
"""What is local to the spots of a patch: noise over mean wetness in the streaks (10 harmonics add
up), and the scatter of wetness between spots that the photo adds to the spray's own."""

DRY_NOISES, RAGGED_NOISES = 0.5, 0.5
"""Standard uncertainty of the dry-paper model inside a hollow, where no dry paper around it helps,
and of what noise makes of the outline, in units of the map's noise over the patch's crest."""

HEAVY_FLOOR, STREAK_FLOOR, CORE_FLOOR, RAGGED_FLOOR = 0.0048, 0.004, 0.012, 0.006
"""Standard uncertainties that are left however large and clear the patch."""

RADIUS_FRAC: Final = 0.013
"""The same of its radius, relative."""

THIN_MM: Final = 0.9
"""Streaks thinner than about this are taken for pencil lines in part, or blurred."""

DROPS_MM2: Final = 2.0
"""Standard uncertainty of the area beside the patch from drops that are just counted or not: one of
the smallest size that counts (chosen)."""

ROUND_FRAC: Final = 0.003
"""Relative standard uncertainty of the axis ratio from the sheet's own geometry, beside what stage
1 states."""

STRETCHING: Final = 2
"""So many sources, the first, act all around the patch alike: scale and level."""

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
    *,
    slope: float,
    crest: float,
    mean: float,
) -> tuple[Float, Float, Float]:
    """Covariance of `VECTOR`, and the parts of the uncertainty that are not the same everywhere.

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
    crest, mean : float
        Largest value of the radial profile of wetness, and the mean within the outline.

    Returns
    -------
    covariance : (N, N) ndarray of float64
    grows : (N,) ndarray of float64
        Standard uncertainties, contained in it, of what stretches all unevenness alike: errors in
        scale and level.
    lost : (N,) ndarray of float64
        The same of what can only have lessened a value: streaks blurred.
    """
    area, radius, roundness = vector[0], vector[1], vector[4]
    level = math.hypot(LEVEL, LEVEL_SHARE * wet.noise)
    rows, cols = raw.shape
    reach = radius / wet.card.cell_mm
    across = np.broadcast_to((np.arange(cols) - (cols - 1) / 2) / reach, raw.shape)
    down = np.broadcast_to(((np.arange(rows) - (rows - 1) / 2) / reach)[:, None], raw.shape)
    part = PART * level
    sources: list[tuple[float, Callable[[FloatMap, float], FloatMap]]] = [
        (1.0, lambda w, sign: w * np.float32(1 + sign * math.hypot(SCALE, wet.threshold_u))),
        (1 / PART, lambda w, sign: w + np.float32(sign * part)),
        (TILT_SHARE / PART, lambda w, sign: w + (sign * part * across).astype(np.float32)),
        (TILT_SHARE / PART, lambda w, sign: w + (sign * part * down).astype(np.float32)),
    ]
    total = np.zeros((len(vector), len(vector)))
    grows = np.zeros(len(vector))
    for k, (gain, change) in enumerate(sources):
        steps = []
        for sign in (1.0, -1.0):
            out = again(change(raw, sign), change(smooth, sign))
            if out is not None:
                steps.append(sign * (out - vector))
        if steps:
            # A hollow that comes and goes with the disturbance has no derivative.
            step = gain * np.nan_to_num(np.mean(steps, axis=0))
            total += np.outer(step, step)
            if k < STRETCHING:
                grows = np.hypot(grows, step)
    disc = math.pi * radius**2
    noise, wet_spots = wet.noise / max(crest, 0.1), max(area / SPOT_MM2, 1.0)
    local = wet.noise / max(mean, 0.1) / math.sqrt(max(disc / SPOT_MM2, 1.0))
    card = wet.card
    uneven = SLOPE_SHARE * level / max(slope, 1e-3)
    own = np.zeros(len(vector))
    # An outline wrong by `EDGE_MM` changes the area by its length times that; a hollow has one too,
    # of the radius that leaves the wetted area.
    inner = math.sqrt(max(0.0, 1 - area / disc))
    own[0] = math.hypot(2 * EDGE_MM / radius * (1 + inner) * disc, 2 * card.aspect_u_frac * area)
    own[1] = math.hypot(card.aspect_u_frac * radius, RADIUS_FRAC * radius)
    bent = BENT_MM if {flag.SHEET_CURLED, flag.OBLIQUE} & {*card.flags} else 0.0
    own[2] = own[3] = math.hypot(MIDDLE_MM, 0.5 * card.geometry_u_mm, bent)
    own[4] = roundness * math.hypot(
        ROUND_MM / radius, uneven / radius, card.aspect_u_frac, ROUND_FRAC
    )
    own[5] = math.hypot(RAGGED_MM / radius, RAGGED_NOISES * noise, RAGGED_FLOOR)
    own[6] = HEAVY_FLOOR
    thin = vector[7] * min(1.0, 2 * THIN_MM / radius)
    own[7] = math.hypot(NOISE_STREAK * local, thin, STREAK_FLOOR)
    own[8] = math.hypot(CORE_FRAC / math.sqrt(wet_spots), DRY_NOISES * noise, CORE_FLOOR)
    own[9] = own[10] = MIDDLE_MM
    # Thrown drops near the limit of what counts as one.
    own[11] = math.hypot(0.1 * vector[11], DROPS_MM2)
    lost = np.zeros(len(vector))
    lost[7] = thin
    return total + np.diag(own**2), grows, lost
