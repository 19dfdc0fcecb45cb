"""Thin print, ruling and handwriting: found by their width and filled from the paper beside."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck.arrays import FloatMap, Mask
from spraycheck.spray.settings import WetnessSettings
from spraycheck.spray.wetness.light import least

SUBCELL = 0.3
"""Gaussian sigma in cells that is added to any in mm, so that a coarse grid is smoothed at all."""

_LOW, _MID = (10.0, -1.2816), (30.0, -0.5244)
"""Two percentiles of a normal distribution and where they lie, in standard deviations."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ink:
    """Where thin ink is, and the log light without it.

    Parameters
    ----------
    mask : (M, N) ndarray of bool
        Inked cells.
    log_light : (M, N, 3) ndarray of float32
        Natural log of linear light with the ink filled in.
    """

    mask: Mask
    log_light: FloatMap


def remove_thin_ink(
    log_light: FloatMap, usable: Mask, cell_mm: float, *, settings: WetnessSettings
) -> Ink:
    """Find thin dark lines and fill them from beside.

    Print and handwriting are thinner than a plume and longer than a drop. A closing with a disc
    wider than the line removes it; what the closing lifts by much more than the paper's own grain
    is a candidate; candidates that hang together over ``ink_length_mm`` are ink.

    Parameters
    ----------
    log_light : (M, N, 3) ndarray of float32
        Natural log of linear light.
    usable : (M, N) ndarray of bool
        Cells that can be judged.
    cell_mm : float
        Side of a cell.
    settings : WetnessSettings
        The numbers that decide.
    """
    s = settings
    step = s.sample_step_cells
    seen = usable[::step, ::step]
    grey = _blurred(least(log_light), s.ink_blur_mm / cell_mm)
    grey[~usable] = float(np.median(grey[::step, ::step][seen]))
    lift = cv2.morphologyEx(grey, cv2.MORPH_BLACKHAT, _disc(s.ink_width_mm / cell_mm))
    # The grain's own level and spread from the low end, which ink cannot reach.
    low, mid = np.percentile(lift[::step, ::step][seen], [_LOW[0], _MID[0]])
    spread = max(float(mid - low) / (_MID[1] - _LOW[1]), 0.0)
    middle = float(mid) - _MID[1] * spread
    strong = (lift > middle + max(s.ink_seed_spreads * spread, s.ink_seed_depth)) & usable
    weak = (lift > middle + max(s.ink_line_spreads * spread, s.ink_line_depth)) & usable
    mask = _long_components(strong, weak, s.ink_length_mm / cell_mm, s)
    inked = int(mask.sum())
    if not inked:
        return Ink(mask=mask, log_light=log_light)
    if inked > s.ruled_frac * int(usable.sum()):
        knots = _disc((s.ink_width_mm + s.ruled_knot_mm) / cell_mm)
        soft = _blurred(log_light, s.ruled_blur_mm / cell_mm)
        closed = cv2.morphologyEx(soft, cv2.MORPH_CLOSE, knots)
        return Ink(mask=mask, log_light=np.asarray(closed, np.float32))
    reach = max(1, round(s.ink_rim_mm / cell_mm))
    mask = cv2.dilate(mask.astype(np.uint8), np.ones((2 * reach + 1,) * 2, np.uint8)).astype(bool)
    return Ink(mask=mask, log_light=_fill_from_beside(log_light, mask | ~usable, mask, cell_mm, s))


def _blurred(values: FloatMap, sigma_cells: float) -> FloatMap:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma_cells + SUBCELL), np.float32)


def _disc(width_cells: float) -> np.ndarray:
    """Disc of odd width, at least as wide as given."""
    size = 2 * math.ceil(width_cells / 2) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))


def _long_components(strong: Mask, weak: Mask, length: float, settings: WetnessSettings) -> Mask:
    """Keep the parts of ``weak`` that touch ``strong`` and are longer than ``length`` cells."""
    if not strong.any():
        return np.zeros_like(weak)
    joined = cv2.dilate(weak.astype(np.uint8), np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined)
    extent = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    seeds = np.bincount(labels[strong], minlength=count)
    # A line is long for its area; a ragged blob is not.
    thin = stats[:, cv2.CC_STAT_AREA] < settings.ink_thin_frac * extent.astype(float) ** 2
    keep = (extent > length) & (seeds > settings.ink_seed_share * length) & thin
    keep[0] = False
    return np.asarray(keep[labels] & weak)


def _fill_from_beside(
    values: FloatMap, unknown: Mask, fill: Mask, cell_mm: float, settings: WetnessSettings
) -> FloatMap:
    """Fill cells from the known ones around them (normalised box mean, widening until done)."""
    s = settings
    out = values.copy()
    stack = cv2.merge([*cv2.split(values), np.ones(fill.shape, np.float32)])
    stack[unknown] = 0
    todo = fill.copy()
    reach = s.ink_fill_mm / cell_mm
    for _ in range(s.ink_fill_rounds):
        if not todo.any():
            break
        size = 2 * max(1, round(_BOX_REACH * reach)) + 1
        total = cv2.blur(cv2.blur(stack, (size, size)), (size, size))  # twice: nearly a cone
        done = todo & (total[..., 3] > s.ink_fill_known_frac)
        out[done] = total[done, :3] / total[done, 3:]
        todo &= ~done
        reach *= s.ink_fill_growth
    return out


_BOX_REACH = 1.5
"""Half a box over the Gaussian sigma it stands for, run twice (a box of half-width ``h`` has a
variance of ``h**2 / 3``; chosen a little wider)."""
