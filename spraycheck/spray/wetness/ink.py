"""Thin print, ruling and handwriting: found by their width and filled from the paper beside."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck.arrays import FloatMap, Mask
from spraycheck.card.infill import fill_hidden

RULED_SHARE = 0.06
"""From this share of the sheet on the ink is a ruling (squared or lined paper): there is too little
bare paper between the lines to fill from, and the lines are closed all over instead."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ink:
    """Where thin ink is, and the log light without it.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
        Inked cells.
    log_light : (M, N, 3) ndarray of float32
        Natural log of linear light with the ink filled in.
    ruled : bool
        Whether the whole sheet was closed.
    """

    mask: Mask
    log_light: FloatMap
    ruled: bool


def remove_thin_ink(
    log_light: FloatMap, usable: Mask, cell_mm: float, *, width_mm: float, length_mm: float
) -> Ink:
    """Find thin dark lines and fill them from beside.

    Print and handwriting are thinner than a plume and longer than a drop. A closing with a disc
    wider than the line removes it; what the closing lifts by much more than the paper's own grain
    is a candidate; candidates that hang together over ``length_mm`` are ink.

    Parameters
    ----------
    log_light : (M, N, 3) ndarray of float32
        Natural log of linear light.
    usable : (M, N) ndarray of bool
        Cells that can be judged.
    cell_mm : float
        Side of a cell.
    width_mm, length_mm : float
        Lines up to this width and from this length are ink.
    """
    grey = np.asarray(cv2.GaussianBlur(least(log_light), (0, 0), 0.25 / cell_mm + 0.3))
    grey[~usable] = float(np.median(grey[::4, ::4][usable[::4, ::4]]))
    size = 2 * int(np.ceil(width_mm / cell_mm / 2)) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    lift = cv2.morphologyEx(grey, cv2.MORPH_BLACKHAT, disc)
    sample = lift[::4, ::4][usable[::4, ::4]]
    # The grain's own level and spread from the low end, which ink cannot reach: the 10 % and 30 %
    # points of a normal distribution lie 1.2816 and 0.5244 standard deviations below its middle.
    low, mid = np.percentile(sample, [10, 30])
    spread = max(float(mid - low) / (1.2816 - 0.5244), 1e-4)
    middle = float(mid) + 0.5244 * spread
    strong = (lift > middle + max(7 * spread, 0.06)) & usable
    weak = (lift > middle + max(4 * spread, 0.035)) & usable
    mask = _long_components(strong, weak, length_mm / cell_mm)
    share = float(mask.sum()) / max(int(usable.sum()), 1)
    if share == 0:
        return Ink(mask=mask, log_light=log_light, ruled=False)
    if share > RULED_SHARE:
        # A little wider than a single line needs: lines meet in knots.
        size = 2 * int(np.ceil((width_mm + 1.0) / cell_mm / 2)) + 1
        knots = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
        soft = cv2.GaussianBlur(log_light, (0, 0), 0.2 / cell_mm + 0.3)
        closed = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, knots)
        return Ink(mask=mask, log_light=np.asarray(closed, np.float32), ruled=True)
    reach = max(1, round(0.35 / cell_mm))
    mask = cv2.dilate(mask.astype(np.uint8), np.ones((2 * reach + 1,) * 2, np.uint8)).astype(bool)
    beside = fill_hidden(log_light, mask | ~usable)
    return Ink(mask=mask, log_light=np.where(mask[..., None], beside, log_light), ruled=False)


def least(colours: FloatMap) -> FloatMap:
    """Least of the three colours, cell by cell (far faster than ``min(axis=2)``)."""
    one, two, three = colours[..., 0], colours[..., 1], colours[..., 2]
    return np.asarray(np.minimum(np.minimum(one, two), three), np.float32)


def _long_components(strong: Mask, weak: Mask, length: float) -> Mask:
    """Keep the parts of ``weak`` that touch ``strong`` and are longer than ``length`` cells."""
    joined = cv2.dilate(weak.astype(np.uint8), np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    extent = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    seeds = np.bincount(labels[strong], minlength=count)
    # A line is long for its area; a ragged blob is not.
    thin = stats[:, cv2.CC_STAT_AREA] < 0.5 * extent.astype(float) ** 2
    keep = (extent > length) & (seeds > 0.25 * length) & thin
    keep[0] = False
    return np.asarray(keep[labels] & weak)
