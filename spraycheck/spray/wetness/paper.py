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

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask

_MAD_TO_SIGMA = 1.4826  # normal distribution

_LOW, _HIGH = -1.3, 0.7
"""Range of log light about the first layer that the 8-bit running median resolves (in steps of
0.008, averaged out by the third layer): deep shadow, 27 %, to a sunlit patch, 200 %."""

BORDER_MM = 26.0
"""A dark region that touches the sheet's border over more than this is no plume: the widest plume
that still measures is narrower (chosen a little above the 20 mm of the largest stains seen)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class DryPaper:
    """What the sheet would look like dry.

    Parameters
    ----------
    depth : (M, N, 3) ndarray of float32
        Natural-log loss of light against the dry paper, per colour.
    log_light : (M, N) ndarray of float32
        Natural log of the dry sheet's light, mean of the colours.
    foreign : (M, N) ndarray of bool
        Dark regions along the border that the model could not follow: objects, deep shadow.
    shadow : (M, N) ndarray of bool
        Those of them that lie along the border for longer than any plume, with their rim.
    """

    depth: FloatMap
    log_light: FloatMap
    foreign: Mask
    shadow: Mask


def model_dry_paper(
    log_light: FloatMap,
    usable: Mask,
    cell_mm: float,
    *,
    coarse_mm: float,
    windows_mm: tuple[float, ...],
    background_mm: float,
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
    coarse_mm : float
        Cell of the coarse grid the model lives on.
    windows_mm : tuple of float
        Widths of the running median, round by round.
    background_mm : float
        Sigma of the last layer.
    """
    rows, cols = usable.shape
    step = max(1.0, coarse_mm / cell_mm)
    size = (max(8, round(cols / step)), max(8, round(rows / step)))
    cell = cell_mm * cols / size[0]
    weight = cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(log_light * usable[..., None], size, interpolation=cv2.INTER_AREA)
    known = weight > 0.5
    coarse = np.where(known[..., None], light / np.maximum(weight, 1e-6)[..., None], 0.0)

    slope = _slow_light(np.asarray(coarse, float), known, cell)
    middle = slope + np.median((coarse - slope)[known], axis=0)
    rest = np.asarray(np.where(known[..., None], coarse - middle, 0.0), np.float32)
    wet = np.zeros_like(known)
    foreign, shadow = np.zeros_like(known), np.zeros_like(known)
    paper = np.zeros_like(rest)
    for window in windows_mm:
        kept = np.where((wet | ~known)[..., None], paper, rest)
        paper = _running_median(np.asarray(kept, np.float32), window / cell)
        wet, foreign, shadow = _find_wet((paper - rest).sum(axis=2), known, cell)
        if wet.sum() > 0.85 * known.sum():  # a flooded card: nothing dry is left to go by
            wet = known & (rest.sum(axis=2) < np.median(rest.sum(axis=2)[known]))
    dry = known & ~wet & ~foreign
    paper = paper + _carried(rest - paper, dry, background_mm / cell)

    model = np.asarray(middle + paper, np.float32)
    full = cv2.resize(model, (cols, rows), interpolation=cv2.INTER_LINEAR)
    grey = cv2.resize(model.mean(axis=2), (cols, rows), interpolation=cv2.INTER_LINEAR)
    masks = [
        cv2.resize(mask.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST)
        for mask in (foreign, shadow)
    ]
    return DryPaper(
        depth=np.asarray(full - log_light, np.float32),
        log_light=np.asarray(grey, np.float32),
        foreign=masks[0].astype(bool),
        shadow=masks[1].astype(bool),
    )


def _slow_light(values: Float, known: Mask, cell: float) -> Float:
    """Polynomial of third order whose differences fit those of the sheet, ``(rows, cols, 3)``.

    Iteratively re-weighted least squares with Tukey's biweight on differences over 10 mm, along and
    across.
    """
    lag = max(1, round(10.0 / cell))
    # Some two thousand differences settle nine terms; more would only wake the threads of BLAS.
    stride = max(1, round(8.0 / cell))
    rows, cols = known.shape
    y, x = np.meshgrid(np.linspace(-1, 1, rows), np.linspace(-1, 1, cols), indexing="ij")
    terms = np.stack([x ** (n - j) * y**j for n in range(1, 4) for j in range(n + 1)], axis=-1)
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
    if len(rise) < 200:
        return np.zeros_like(values)
    out = np.empty_like(values)
    for channel in range(values.shape[2]):
        wanted = light[:, channel]
        weight: Float = np.ones(len(wanted))
        solution: Float = np.zeros(terms.shape[-1])
        for _ in range(8):
            scaled = rise * weight[:, None]
            solution = np.linalg.solve(
                scaled.T @ rise + 1e-6 * np.eye(len(solution)), scaled.T @ wanted
            )
            residual = np.abs(wanted - rise @ solution)
            scale = _MAD_TO_SIGMA * float(np.median(residual)) + 1e-6
            weight = (1 - np.clip(residual / (4.685 * scale), 0, 1) ** 2) ** 2 + 1e-6
        out[..., channel] = terms @ solution
    return out


def _running_median(values: FloatMap, window: float) -> FloatMap:
    """Median over a square window, in 8 bits, colour by colour."""
    size = 2 * max(1, round(window / 2)) + 1
    scaled = (np.clip(values, _LOW, _HIGH) - _LOW) * np.float32(255 / (_HIGH - _LOW))
    # Mirrored margins: the border's own paper goes on beyond it.
    pad = min(size // 2, min(values.shape[:2]) - 1)
    coded = cv2.copyMakeBorder(
        np.asarray(np.round(scaled), np.uint8), pad, pad, pad, pad, cv2.BORDER_REFLECT_101
    )
    middle = [cv2.medianBlur(one, min(size, 255)) for one in cv2.split(coded)]
    back = np.stack(middle, axis=-1)[pad : pad + values.shape[0], pad : pad + values.shape[1]]
    return np.asarray(back * np.float32((_HIGH - _LOW) / 255) + _LOW, np.float32)


def _find_wet(loss: FloatMap, known: Mask, cell: float) -> tuple[Mask, Mask, Mask]:
    """Find what is clearly darker than the paper.

    Wet cells, foreign ones along the border, and those of the latter that lie along it for longer
    than any plume, with their rim.
    """
    loss = np.asarray(cv2.GaussianBlur(loss, (0, 0), max(0.6, 1.0 / cell)))
    inner = loss[known]
    low, mid = np.percentile(inner, [20, 50])
    spread = float(mid - low) / 0.8416 + 1e-4  # 20 % point of the normal distribution
    peak = float(np.percentile(inner, 99.5))
    level = float(mid) + max(3 * spread, 0.06 * peak, 0.02)
    dark = (loss > level) & known
    # Whether something is spray is asked of its dark part: haloes run into one another.
    deep = ((loss > max(level, 0.3 * peak)) & known).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(deep, connectivity=8)
    rim = known & (cv2.erode(known.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0)
    rim[0], rim[-1], rim[:, 0], rim[:, -1] = known[0], known[-1], known[:, 0], known[:, -1]
    contact = np.bincount(labels[rim], minlength=count) * cell
    across = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
    long = across > 0.55 * min(loss.shape)  # from border to border, or nearly: the edge of a shadow
    along_border = (contact > BORDER_MM) | (long & (contact > 2.0))
    along_border[0] = False
    # Something small that lies over the border (a finger, a pen) is foreign as well.
    extent = np.sqrt(stats[:, cv2.CC_STAT_AREA].astype(float)) * cell
    over_border = (contact > 0.35 * extent) & (contact > 4.0)
    over_border[0] = False
    foreign = (along_border | over_border)[labels]
    reach = 2 * round(3.0 / cell) + 1  # 3 mm: the halo the level does not show
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    shadow = cv2.dilate(along_border[labels].astype(np.uint8), disc).astype(bool)
    wet = (dark & ~shadow).astype(np.uint8)
    # The middle of a plume wider than the window looks dry: what wet cells enclose is wet.
    outlines, _ = cv2.findContours(wet, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    wet = cv2.drawContours(wet, outlines, -1, 1, cv2.FILLED)
    grown = cv2.dilate(wet, disc).astype(bool)
    return grown & known, np.asarray(foreign), shadow


def _carried(residual: FloatMap, dry: Mask, sigma: float) -> FloatMap:
    """Smooth what is left, from dry cells only; fades to zero far from any."""
    known = dry.astype(np.float32)
    near = cv2.GaussianBlur(known, (0, 0), sigma)
    total = cv2.GaussianBlur(residual * known[..., None], (0, 0), sigma)
    return np.asarray(total / (near + 0.02)[..., None], np.float32)
