"""Light on the card: noise, evenness, what is over-exposed, where a lamp is mirrored."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.spray.containers import WetnessMap
from spraycheck.spray.wetness import CLIPPED_LINEAR

DRY: Final = 0.15
"""Filtered wetness below which a cell counts as dry paper: half the wetted threshold (chosen)."""

COARSE_MM: Final = 8.0
"""Cell over which light is averaged to tell its evenness: wider than grain and ruling, far
narrower than a lamp's spot (chosen)."""

FULL_LINEAR: Final = 0.97
"""Linear light from which a colour counts as over-exposed here (sRGB 251 of 255): compression and
sharpening scatter clipped values by a few steps."""

RIM_MM: Final = 2.0
"""A little more than the rim the wetness stage leaves out."""

_MAD_TO_SIGMA: Final = 1.4826  # normal distribution


@dataclass(frozen=True, kw_only=True)
class LightFacts:
    """What the light does to the card.

    Parameters
    ----------
    noise_frac : float
        Standard deviation from cell to cell on dry paper over its light; the paper's own grain
        included. NaN without dry paper.
    evenness_frac : float
        Darkest over brightest light on dry paper (5th over 95th percentile), 0 to 1.
    clipped_frac : float
        Share of dry paper's colour values that are over-exposed.
    glare_frac : float
        Share of the card where a lamp is mirrored so brightly that nothing is left to see.
    """

    noise_frac: float
    evenness_frac: float
    clipped_frac: float
    glare_frac: float


def measure_light(wet: WetnessMap, sprayed: RectifiedCard | None = None) -> LightFacts:
    """Measure light and noise on a card.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2; its card's light is measured.
    sprayed : RectifiedCard, optional
        The same card as it was photographed, on the same grid, where the map's own light has been
        divided by that of the clean card: what is over-exposed can no longer be told from that.

    Notes
    -----
    Noise is taken from the cross-shaped second difference of J. Immerkaer (1996), "Fast noise
    variance estimation", Comput. Vis. Image Underst. 64, 300-302 (from memory): blind to slopes,
    its response to white noise is 6 sigma.
    """
    card = sprayed or wet.card
    light = np.asarray(card.linear_rgb[..., 1])
    dry = wet.valid & (wet.smooth < DRY)
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    fine = np.abs(cv2.filter2D(light, cv2.CV_32F, kernel))
    noise = math.nan
    if dry.any():
        noise = _MAD_TO_SIGMA * float(np.median(fine[dry])) / 6 / float(np.median(light[dry]))
    inner = _inner(card)
    blown = (card.linear_rgb > CLIPPED_LINEAR).all(axis=2) & inner
    whole = max(int(card.inside.sum()), 1)
    return LightFacts(
        noise_frac=noise,
        evenness_frac=_evenness(light, dry, card.cell_mm),
        clipped_frac=_clipped(card, dry),
        glare_frac=float((blown & ~wet.valid).sum()) / whole,
    )


def clipped_frac(clean: RectifiedCard) -> float:
    """Share of a clean card's colour values that are over-exposed."""
    return _clipped(clean, _inner(clean))


def _clipped(card: RectifiedCard, where: Mask) -> float:
    # Each colour for itself: paper that clips in red alone already reads too dark beside the spray.
    values = card.linear_rgb[where]
    return float((values > FULL_LINEAR).mean()) if values.size else 0.0


def _inner(card: RectifiedCard) -> Mask:
    """Leave out the rim, which is never judged."""
    rim = np.ones((2 * max(1, round(RIM_MM / card.cell_mm)) + 1,) * 2, np.uint8)
    return cv2.erode(card.inside.astype(np.uint8), rim).astype(bool)


def _evenness(light: np.ndarray, dry: np.ndarray, cell_mm: float) -> float:
    step = max(1.0, COARSE_MM / cell_mm)
    size = (max(2, round(light.shape[1] / step)), max(2, round(light.shape[0] / step)))
    weight = cv2.resize(dry.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    total = cv2.resize(
        np.where(dry, light, 0).astype(np.float32), size, interpolation=cv2.INTER_AREA
    )
    told = weight > 0.3
    if told.sum() < 4:
        return math.nan
    low, high = np.percentile(total[told] / weight[told], [5, 95])
    return float(low / max(float(high), 1e-6))
