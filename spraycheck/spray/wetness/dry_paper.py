"""The dry sheet under the spray, carried in from the dry sheet around it.

In log light, uneven light is an added surface. Three layers:

1. a low-order polynomial, fitted to the *differences* between places a centimetre apart: in these
   the edge of a shadow or of a plume is a rare outlier, so the polynomial follows the slow fall-off
   of light only (fitted to the values it would turn a shadow's edge into a saw-tooth);
2. a running median far wider than a plume, of dry cells only: a median keeps ramps and straight
   edges, so fall-off of light stays and the edge of a shadow stays an edge, while plumes, being
   less than half of its window, vanish; the window narrows as what is wet becomes known;
3. a wide Gaussian of what is left on dry cells: slow clouds in the paper.

A dark region that lies along the sheet's border over a long stretch is a shadow, or something lying
on the sheet, and not spray.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.constants import MAD_TO_SIGMA, TINY
from spraycheck.spray.settings import WetnessSettings

_TUKEY = 4.685
"""Scale of Tukey's biweight, 95 % efficient on normal errors (Holland and Welsch 1977)."""

_ORDER = 3  # of the polynomial: fall-off of a lamp and of a lens, and their lop-sidedness

_MIDDLE, _LOW, _LOW_AT = 50.0, 20.0, -0.8416
"""Two percentiles, and where the second lies in a normal distribution, in standard deviations."""

_MOST_MEDIAN = 255  # cells: the widest 8-bit median that OpenCV takes


@dataclass(frozen=True, kw_only=True, eq=False)
class DryPaper:
    """What the sheet would look like dry.

    Parameters
    ----------
    depth : (M, N, 3) ndarray of float32
        Natural-log loss of light against the dry paper, per colour.
    foreign : (M, N) ndarray of bool
        Dark regions along the border that the model could not follow: objects, deep shadow.
    shadow : (M, N) ndarray of bool
        Those of them that lie along the border for longer than any plume, with their rim.
    """

    depth: FloatMap
    foreign: Mask
    shadow: Mask


class _Dark(NamedTuple):
    """Coarse cells, ``(m, n)`` bool, that are clearly darker than the paper."""

    wet: Mask
    foreign: Mask
    shadow: Mask


def model_dry_paper(
    log_light: FloatMap, usable: Mask, cell_mm: float, *, settings: WetnessSettings
) -> DryPaper:
    """Model the dry sheet and say what is missing of its light.

    Parameters
    ----------
    log_light : (M, N, 3) ndarray of float32
        Natural log of linear light, ink filled.
    usable : (M, N) ndarray of bool
        Cells that can be judged.
    cell_mm : float
        Side of a cell.
    settings : WetnessSettings
        The numbers that decide.
    """
    s = settings
    rows, cols = usable.shape
    step = max(1.0, s.coarse_mm / cell_mm)
    size = (max(_LEAST_CELLS, round(cols / step)), max(_LEAST_CELLS, round(rows / step)))
    cell = cell_mm * cols / size[0]
    weight = cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    told = cv2.copyTo(log_light, usable.astype(np.uint8))
    light = cv2.resize(told, size, interpolation=cv2.INTER_AREA)
    known = weight > s.coarse_known_frac
    coarse = np.where(known[..., None], light / np.maximum(weight, TINY)[..., None], 0.0)

    slope = _slow_light(np.asarray(coarse, float), known, cell, s)
    middle = slope + np.median((coarse - slope)[known], axis=0)
    rest = np.asarray(np.where(known[..., None], coarse - middle, 0.0), np.float32)
    dark = _Dark(*(np.zeros_like(known) for _ in _Dark._fields))
    paper = np.zeros_like(rest)
    for window in s.windows_mm:
        kept = np.where((dark.wet | ~known)[..., None], paper, rest)
        paper = _running_median(np.asarray(kept, np.float32), window / cell, s.log_range)
        dark = _find_dark(_sum(paper - rest), known, cell, s)
        if dark.wet.sum() > s.flooded_frac * known.sum():
            total = _sum(rest)
            dark = dark._replace(wet=known & (total < np.median(total[known])))
    dry = known & ~dark.wet & ~dark.foreign
    paper = paper + _carried(rest - paper, dry, s.background_mm / cell, s.background_floor)

    model = np.asarray(middle + paper, np.float32)
    full = cv2.resize(model, (cols, rows), interpolation=cv2.INTER_LINEAR)
    foreign, shadow = (
        cv2.resize(mask.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
        for mask in (dark.foreign, dark.shadow)
    )
    return DryPaper(
        depth=np.asarray(cv2.subtract(full, log_light, dst=full), np.float32),
        foreign=foreign.astype(bool),
        shadow=shadow.astype(bool),
    )


_LEAST_CELLS = 8  # of the coarse grid, across and down


def _sum(colours: FloatMap) -> FloatMap:
    """Sum of the three colours (far faster than ``sum(axis=2)``)."""
    return np.asarray(colours[..., 0] + colours[..., 1] + colours[..., 2], np.float32)


def _slow_light(values: Float, known: Mask, cell: float, settings: WetnessSettings) -> Float:
    """Polynomial whose differences fit those of the sheet, ``(rows, cols, 3)``.

    Iteratively re-weighted least squares with Tukey's biweight on differences along and across.
    """
    s = settings
    lag = max(1, round(s.slope_lag_mm / cell))
    stride = max(1, round(s.slope_stride_mm / cell))
    rows, cols = known.shape
    y = np.vander(np.linspace(-1, 1, rows), _ORDER + 1, increasing=True)
    x = np.vander(np.linspace(-1, 1, cols), _ORDER + 1, increasing=True)
    powers = [(n - j, j) for n in range(1, _ORDER + 1) for j in range(n + 1)]
    terms = np.stack([y[:, j, None] * x[:, i] for i, j in powers], axis=-1)
    design: list[Float] = []
    target: list[Float] = []
    for far, near in (
        (np.s_[lag::stride, ::stride], np.s_[:-lag:stride, ::stride]),
        (np.s_[::stride, lag::stride], np.s_[::stride, :-lag:stride]),
    ):
        both = known[far] & known[near]
        design.append((terms[far] - terms[near])[both])
        target.append((values[far] - values[near])[both])
    rise, light = np.concatenate(design), np.concatenate(target)
    if len(rise) < s.slope_least_differences:
        return np.zeros_like(values)
    out = np.empty_like(values)
    for channel in range(values.shape[-1]):
        wanted = light[:, channel]
        weight: Float = np.ones(len(wanted))
        for _ in range(s.slope_rounds):
            scaled = rise * weight[:, None]
            solution = np.linalg.solve(
                scaled.T @ rise + TINY * np.eye(len(powers)), scaled.T @ wanted
            )
            residual = np.abs(wanted - rise @ solution)
            scale = MAD_TO_SIGMA * float(np.median(residual)) + TINY
            weight = (1 - np.clip(residual / (_TUKEY * scale), 0, 1) ** 2) ** 2 + TINY
        out[..., channel] = terms @ solution
    return out


def _running_median(values: FloatMap, window: float, log_range: tuple[float, float]) -> FloatMap:
    """Median over a square window, in 8 bits, colour by colour."""
    low, high = log_range
    size = 2 * max(1, round(window / 2)) + 1
    steps = np.float32(np.iinfo(np.uint8).max / (high - low))
    scaled = (np.clip(values, low, high) - low) * steps
    # Mirrored margins: the border's own paper goes on beyond it.
    pad = min(size // 2, min(values.shape[:2]) - 1)
    coded = cv2.copyMakeBorder(
        np.asarray(np.round(scaled), np.uint8), pad, pad, pad, pad, cv2.BORDER_REFLECT_101
    )
    middle = [cv2.medianBlur(one, min(size, _MOST_MEDIAN)) for one in cv2.split(coded)]
    back = cv2.merge(middle)[pad : pad + values.shape[0], pad : pad + values.shape[1]]
    return np.asarray(back / steps + low, np.float32)


def _find_dark(loss: FloatMap, known: Mask, cell: float, settings: WetnessSettings) -> _Dark:
    """Find what is clearly darker than the paper, and what of it lies along the border."""
    s = settings
    loss = np.asarray(cv2.GaussianBlur(loss, (0, 0), max(_LEAST_SIGMA, s.wet_blur_mm / cell)))
    inner = loss[known]
    low, mid, peak = np.percentile(inner, [_LOW, _MIDDLE, s.peak_percentile])
    spread = float(mid - low) / -_LOW_AT
    level = float(mid) + max(s.wet_spreads * spread, s.wet_peak_frac * peak, s.wet_least_depth)
    dark = (loss > level) & known
    # Whether something is spray is asked of its dark part: haloes run into one another.
    deep = ((loss > max(level, s.deep_peak_frac * peak)) & known).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(deep)
    rim = known & (cv2.erode(known.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0)
    rim[0], rim[-1], rim[:, 0], rim[:, -1] = known[0], known[-1], known[:, 0], known[:, -1]
    contact = np.bincount(labels[rim], minlength=count) * cell
    extent = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    crossing = extent > s.crossing_frac * min(loss.shape)
    along_border = (contact > s.border_mm) | (crossing & (contact > s.crossing_contact_mm))
    size = np.sqrt(stats[:, cv2.CC_STAT_AREA].astype(float)) * cell
    over_border = (contact > s.over_border_frac * size) & (contact > s.over_border_mm)
    along_border[0] = over_border[0] = False  # the background
    reach = 2 * round(s.halo_mm / cell) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    shadow = cv2.dilate(along_border[labels].astype(np.uint8), disc).astype(bool)
    wet = (dark & ~shadow).astype(np.uint8)
    # The middle of a plume wider than the window looks dry: what wet cells enclose is wet.
    outlines, _ = cv2.findContours(wet, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    wet = cv2.drawContours(wet, outlines, -1, 1, cv2.FILLED)
    grown = cv2.dilate(wet, disc).astype(bool)
    return _Dark(grown & known, np.asarray((along_border | over_border)[labels]), shadow)


_LEAST_SIGMA = 0.6  # cells: a narrower Gaussian does not smooth


def _carried(residual: FloatMap, dry: Mask, sigma: float, floor: float) -> FloatMap:
    """Smooth what is left, from dry cells only; fades to zero far from any."""
    known = dry.astype(np.float32)
    near = cv2.GaussianBlur(known, (0, 0), sigma)
    total = cv2.GaussianBlur(residual * known[..., None], (0, 0), sigma)
    return np.asarray(total / (near + floor)[..., None], np.float32)
