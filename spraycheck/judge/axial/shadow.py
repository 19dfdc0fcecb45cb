"""Whether a dark spot on the card is the edge of a shadow: wet paper is darker than what is dry."""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import Mask
from spraycheck.spray.containers import WetnessMap

NEAR_MM, FAR_MM = 1.0, 4.0
"""The dry paper beside a spot lies between these distances from it (chosen: beyond the blur of the
filtered map, and near enough for one light)."""

SECTORS: Final = 12
"""Directions in which the paper beside the spot is looked at."""

LEAST_CELLS: Final = 20
"""A direction with fewer dry cells says nothing (chosen: their mean is then surer than a cell by
four times)."""

EXPLAINED: Final = 0.5
"""A spot that is darker than the darkest paper beside it by less than this share of its own depth
is the edge of a shadow. A shadow's edge is never darker than the shadow, a wet spot in even light
is darker by all of it (chosen between the two; simulated shadows show up to 0.1, spray 1.0)."""


def is_shadow_edge(
    wet: WetnessMap, spot: Mask, elsewhere: Mask, *, explained: float = EXPLAINED
) -> bool:
    """Say whether a shadow explains a dark spot.

    The dry-paper model lies between light and shadow along a shadow's edge, so that paper in the
    shadow looks wet there. In the photo it is no darker than the rest of the shadow.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    spot : (M, N) ndarray of bool
        Its cells.
    elsewhere : (M, N) ndarray of bool
        All that looks wet; it is not taken for dry paper.
    explained : float
        By how much of its depth it may be darker than the darkest paper beside it.
    """
    card = wet.card
    room = math.ceil(FAR_MM / card.cell_mm) + 1
    rows, cols = np.flatnonzero(spot.any(axis=1)), np.flatnonzero(spot.any(axis=0))
    box = (
        slice(max(0, int(rows[0]) - room), int(rows[-1]) + room + 1),
        slice(max(0, int(cols[0]) - room), int(cols[-1]) + room + 1),
    )
    spot, smooth = spot[box], wet.smooth[box]
    light = np.log(np.maximum(card.linear_rgb[box].mean(axis=2), np.float32(1e-3)))
    away = cv2.distanceTransform((~spot).astype(np.uint8), cv2.DIST_L2, 5) * card.cell_mm
    dry = wet.valid[box] & ~elsewhere[box] & (away > NEAR_MM) & (away <= FAR_MM)
    core = spot & (smooth >= np.percentile(smooth[spot], 75))
    # Seen from the spot's wettest part: a shadow's edge can run far along the border.
    y, x = (float(part.mean()) for part in np.nonzero(core))
    at = np.nonzero(dry)
    sector = ((np.arctan2(at[1] - x, y - at[0]) / (2 * math.pi) + 0.5) * SECTORS).astype(int)
    sides = [light[dry][sector % SECTORS == k] for k in range(SECTORS)]
    known = [float(np.median(side)) for side in sides if len(side) >= LEAST_CELLS]
    if not known:
        return False
    depth = _depth(float(np.median(smooth[core])), wet.contrast)
    return min(known) - float(np.median(light[core])) < explained * depth


def _depth(wetness: float, contrast: float) -> float:
    """Optical depth of a wetness, by the law of Yule and Nielsen with n = 2."""
    return -2 * math.log(max(1 - wetness * -math.expm1(-contrast / 2), 1e-3))
