"""How certain a plume's wetted area is: every source of error that the card itself shows.

Most plumes lie on evenly lit paper and are known to one or two per cent. What spoils an area is
local: the edge of a shadow under the plume, grain or print around it, flat light that makes it
pale, a part that is missing or joined on. Each is seen in the photo, and each widens the areas it
touches and no others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.flags import Flags
from spraycheck.spray.containers import PlumeSegmentation, WetnessMap

TEXTURE_FRAC = 0.022
"""Relative standard uncertainty that is left whatever the edge: paper texture, the randomness of
wicking, and trouble that nothing below shows (texture alone: 0.006). This and the next two groups
were chosen on 3700 plumes of the verdict study's first 750 simulated cards and on photographs with
known truth. A maximum likelihood fit to the first (Student's, 4 degrees of freedom: errors have
longer tails than a normal's) told which sources matter; their sizes keep weak holes on the second
provable while 94 of 100 intervals hold the drawn share."""

LEVEL_FLOOR, LEVEL_BY_NOISE, LEVEL_BY_UNREST, LEVEL_BY_BEND = 0.006, 0.22, 0.9, 1.2
"""Standard error of the dry-paper model under a plume, in wetness: a floor, and shares of the map's
noise, of the unrest around the plume, and of the bend of the modelled paper."""

USUAL_UNREST = 0.03
"""Standard deviation of the map around a plume on plain paper: halo and grain (simulated cards)."""

LIGHT_SHARE, PEAK_SHARE, USUAL_PEAK = 0.6, 0.04, 1.02
"""Where the plumes' wettest parts grow paler towards one side of the card, flat light is the likely
reason (glare, a bright side that clips), and a threshold lower by as much would be right there: the
share of what that would change. And relative uncertainty per difference of a plume's wettest part
from the usual, whatever the reason. The fit alone gives 1.0 and 0.5; on photographs with known
truth weak holes and wide fuzzy plumes are as pale and not as uncertain."""

NOISY, NOISE_SHARE = 0.06, 1.0
"""Noise of the map from which patches are joined at a level above the threshold, which cuts them
short, and relative uncertainty per noise beyond it (chosen: at 0.18 areas were off by a tenth)."""

AROUND_MM = (1.0, 6.0)
"""What counts as around a plume, in mm from where its halo ends."""

PEAK_SCATTER, LIGHT_SLOPE = 0.04, 0.15
"""Standard scatter of log peaks of healthy plumes, and standard slope of flat light in log peak per
pattern radius (chosen: simulated cards in even light show 0.03; 0.15 is a clear veil)."""

HALF_FULL, USUAL_TAIL = 0.5, 0.1
"""A plume whose area is large at the common threshold and not so at half full has something pale
joined to it, such as a shadow: the difference of the two log areas to the middle plume's, beyond
what healthy plumes show (two standard deviations, simulated cards), is uncertain."""

LEVELS = np.linspace(0.1, 0.8, 15)
"""Thresholds at which areas are counted to see what another threshold would change."""

CUT_FRAC = 0.035
"""Texture of a plume cut from its neighbour: where the cut runs is a guess (chosen because pairs
that touch on simulated cards traded 3 to 5 % of their area)."""

EDGE_FRAC, MERGED_FRAC = 0.15, 0.25
"""The same for a plume that runs over the sheet's edge, and for two in one (chosen: part of it is
not there to be counted)."""


class PlumeAreas(NamedTuple):
    """What the budget starts from; one row per plume.

    Parameters
    ----------
    x_mm, y_mm : (K,) ndarray of float64
        Centroids.
    area_mm2 : (K,) ndarray of float64
        Wetted areas at the threshold.
    slope : (K,) ndarray of float64
        What the area loses per unit of threshold, mm2.
    peak : (K,) ndarray of float64
        Wettest part.
    hollow_mm2 : (K,) ndarray of float64
        What lacks to the hull of a plume that is not solid.
    levels_mm2 : (K, L) ndarray of float64
        Areas at each of `LEVELS`.
    cut : (K,) ndarray of bool
        Cut from a neighbour.
    flags : sequence of tuple of str
        Of each plume.
    """

    x_mm: Float
    y_mm: Float
    area_mm2: Float
    slope: Float
    peak: Float
    hollow_mm2: Float
    levels_mm2: Float
    cut: Mask
    flags: Sequence[Flags]


def area_uncertainty(
    wet: WetnessMap, plumes: PlumeSegmentation, areas: PlumeAreas, threshold: float
) -> Float:
    """Standard uncertainty of each wetted area, without what all plumes share.

    Parameters
    ----------
    wet, plumes
        From stages 2 and 4.
    areas : PlumeAreas
        Measured on them.
    threshold : float
        Wetness from which paper counts as wetted.

    Returns
    -------
    (K,) ndarray of float64
        In mm2.
    """
    if len(areas.area_mm2) == 0:
        return np.zeros(0)
    unrest, bend = _surroundings(wet, plumes)
    level = np.sqrt(
        LEVEL_FLOOR**2
        + (LEVEL_BY_NOISE * wet.noise) ** 2
        + LEVEL_BY_UNREST**2 * np.maximum(unrest**2 - USUAL_UNREST**2 - wet.noise**2, 0)
        + (LEVEL_BY_BEND * bend / max(wet.contrast, 1e-6)) ** 2
    )
    fraction = np.where(areas.cut, CUT_FRAC, TEXTURE_FRAC)
    for name, share in ((flag.AT_SHEET_EDGE, EDGE_FRAC), (flag.MERGED, MERGED_FRAC)):
        fraction = np.where([name in flags for flags in areas.flags], share, fraction)
    relative = (
        fraction,
        PEAK_SHARE * np.abs(areas.peak - USUAL_PEAK),
        np.full(len(fraction), NOISE_SHARE * max(wet.noise - NOISY, 0.0)),
        _pale_tail(areas, threshold),
    )
    parts = (
        areas.slope * level,
        *(areas.area_mm2 * part for part in relative),
        LIGHT_SHARE * _by_own_threshold(areas, threshold),
        areas.hollow_mm2,
    )
    return np.asarray(np.sqrt(sum(part**2 for part in parts)))


def _surroundings(wet: WetnessMap, plumes: PlumeSegmentation) -> tuple[Float, Float]:
    """Unrest of the map around each plume, and bend of the modelled paper under and around it.

    The first is the standard deviation of the filtered wetness on the dry paper around the plume,
    the second that of the modelled paper's log light about a plane.
    """
    cell = wet.card.cell_mm
    step = max(1, round(0.5 / cell))
    labels = plumes.labels[::step, ::step]
    smooth, valid = wet.smooth[::step, ::step], wet.valid[::step, ::step]
    paper = None if wet.paper is None else wet.paper[::step, ::step]
    near, far = (mm / (cell * step) for mm in AROUND_MM)
    pad = math.ceil(far) + 1
    unrest, bend = np.full(plumes.count, USUAL_UNREST), np.zeros(plumes.count)
    for k in range(plumes.count):
        rows, cols = (np.flatnonzero((labels == k + 1).any(axis=axis)) for axis in (1, 0))
        if len(rows) == 0:
            continue
        box = np.s_[
            max(0, rows[0] - pad) : rows[-1] + pad + 1, max(0, cols[0] - pad) : cols[-1] + pad + 1
        ]
        away = cv2.distanceTransform((labels[box] != k + 1).astype(np.uint8), cv2.DIST_L2, 3)
        ring = (away > near) & (away <= far) & (labels[box] == 0) & valid[box]
        if ring.sum() > 20:
            unrest[k] = float(smooth[box][ring].std())
        if paper is not None:
            bend[k] = _bend(paper[box], (away <= far) & valid[box])
    return unrest, bend


def _bend(paper: Float, where: Mask) -> float:
    """Standard deviation of values about the plane that fits them best."""
    y, x = np.nonzero(where)
    if len(x) < 20:
        return 0.0
    values = paper[where].astype(float)
    design = np.column_stack([np.ones(len(x)), x - x.mean(), y - y.mean()])
    plane = np.linalg.solve(
        np.einsum("ki,kj->ij", design, design) + 1e-9 * np.eye(3),
        np.einsum("ki,k->i", design, values),
    )
    return float(np.std(values - np.einsum("ki,i->k", design, plane)))


def _pale_tail(areas: PlumeAreas, threshold: float) -> Float:
    """Part of each plume's log area that only its pale part makes larger than the others'."""
    if len(areas.area_mm2) < 3:
        return np.zeros(len(areas.area_mm2))
    larger, fuller = (
        np.log([max(float(np.interp(t, LEVELS, levels)), 1.0) for levels in areas.levels_mm2])
        for t in (threshold, HALF_FULL)
    )
    larger, fuller = larger - np.median(larger), fuller - np.median(fuller)
    tail = np.maximum(larger, 0) - np.maximum(fuller, 0)
    return np.asarray(np.maximum(tail - USUAL_TAIL, 0))


def _by_own_threshold(areas: PlumeAreas, threshold: float) -> Float:
    """What each area would change by, were the threshold lower where the light is flatter."""
    if len(areas.area_mm2) < 3:
        return np.zeros(len(areas.area_mm2))
    own = threshold * np.exp(_flat_light(areas))
    return np.array(
        [
            np.interp(t, LEVELS, levels) - np.interp(threshold, LEVELS, levels)
            for t, levels in zip(own, areas.levels_mm2, strict=True)
        ]
    )


def _flat_light(areas: PlumeAreas) -> Float:
    """Part of each plume's log peak that a steady change across the card explains.

    A plane through the log peaks, its slope held near zero by a prior and single pale plumes by
    Cauchy's weights: a weak hole alone tilts nothing.
    """
    at = np.column_stack([areas.x_mm, areas.y_mm])
    at = at - at.mean(axis=0)
    at = at / max(float(np.median(np.hypot(*at.T))), 1e-6)
    log = np.log(np.maximum(areas.peak, 0.05))
    design = np.column_stack([np.ones(len(at)), at])
    prior = np.diag([1e-6, *[LIGHT_SLOPE**-2] * 2])
    residual = log - np.median(log)
    solution = np.zeros(3)
    for _ in range(20):
        weight = PEAK_SCATTER**-2 / (1 + (residual / PEAK_SCATTER / 2.4) ** 2)
        information = (design * weight[:, None]).T @ design + prior
        solution = np.linalg.solve(information, design.T @ (weight * log))
        residual = log - design @ solution
    return np.asarray(at @ solution[1:])
