"""Whether the sheet's exposure lets wet be told from dry, and where a lamp is mirrored."""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import PERCENT
from spraycheck.errors import PhotoQualityError
from spraycheck.spray.settings import WetnessSettings


def check_exposure(card: RectifiedCard, inside: Mask, settings: WetnessSettings) -> list[str]:
    """Flag a dark or over-exposed sheet.

    Parameters
    ----------
    card : RectifiedCard
        From stage 1.
    inside : (M, N) ndarray of bool
        Cells on the sheet.
    settings : WetnessSettings
        The numbers that decide.

    Raises
    ------
    PhotoQualityError
        The sheet is outside the photo, too dark, or too over-exposed, for anything to be told.
    """
    s = settings
    sample = card.linear_rgb[:: s.sample_step_cells, :: s.sample_step_cells]
    sample = sample[inside[:: s.sample_step_cells, :: s.sample_step_cells]]
    if len(sample) < s.least_sample_cells:
        raise PhotoQualityError("sheet-outside", stage="wetness")
    paper = float(np.percentile(sample, s.paper_percentile, axis=0).max())
    notes: list[str] = []
    if paper < s.dark_linear:
        raise PhotoQualityError(
            "too-dark",
            stage="wetness",
            found_percent=PERCENT * paper,
            least_percent=PERCENT * s.dark_linear,
        )
    if paper < s.dim_linear:
        notes.append(flag.DARK)
    clipped = float((sample > s.clipped_linear).all(axis=1).mean())
    if clipped > s.most_clipped_frac:
        raise PhotoQualityError(
            "over-exposed",
            stage="wetness",
            found_percent=PERCENT * clipped,
            most_percent=PERCENT * s.most_clipped_frac,
        )
    if clipped > s.some_clipped_frac:
        notes.append(flag.CLIPPED)
    return notes


def mirrored_lamps(card: RectifiedCard, inside: Mask, settings: WetnessSettings) -> Mask:
    """Find the cells, ``(M, N)`` bool, where a lamp is mirrored.

    They are clipped in every colour and clearly above the sheet.
    """
    s = settings
    blown = (least(card.linear_rgb) > s.clipped_linear) & inside
    if not blown.any():
        return np.zeros_like(inside)
    step = s.sample_step_cells
    sample = card.linear_rgb[::step, ::step][inside[::step, ::step]]
    paper = float(np.percentile(sample, s.paper_percentile, axis=0).min())
    if paper > s.full_scale_paper_frac * s.clipped_linear:
        return np.zeros_like(inside)
    kernel = np.ones((2 * s.glare_rim_cells + 1,) * 2, np.uint8)
    return cv2.dilate(blown.astype(np.uint8), kernel).astype(bool) & inside


def least(colours: FloatMap) -> FloatMap:
    """Least of the three colours, cell by cell (far faster than ``min(axis=2)``)."""
    one, two, three = colours[..., 0], colours[..., 1], colours[..., 2]
    return np.asarray(np.minimum(np.minimum(one, two), three), np.float32)
