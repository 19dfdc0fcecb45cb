"""Find the one sheet in a photo, coarsely: four straight sides at a working size.

Candidates come from two sides that fail differently: regions of even colour (good when the sheet
stands out, spoiled by things lying over its edge) and straight edges grouped four at a time (good
behind clutter, for corners outside the photo and for pale paper on a pale table). Every candidate
is judged by the same measure: along each side, does the colour step from paper to something else,
the same way all along?
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.lines import find_lines, group_lines, lines_of_outline
from spraycheck.card.sampling import block_for, reduce_by
from spraycheck.card.score_quads import ScoreSettings, area_of, score_quads

WORKING_PX = 480
"""About how long the photo's long side is while searching (chosen: an edge of a small card is still
60 px long, and the search takes about as long as decoding)."""

OPPONENT = np.array([[29.9, 58.7, 11.4], [60, -60, 0], [30, 30, -60]], np.float32) / np.float32(255)
"""8-bit sRGB values to lightness (Rec. 601 luma, 0 to 100), red-green and yellow-blue. Scaled so
that equal distances look about equally different near grey, like CIE Lab at a tenth of its cost."""

LEAST_NOISE = 0.25
"""Least colour noise, about one 8-bit level of each channel after smoothing."""

LEAST_WORKING_PX = 32
"""A picture narrower than this at working size holds no four sides worth judging: each is looked at
8 px to either side."""

MIN_AREA_FRAC = 0.03
"""Least share of the photo a sheet covers."""


@dataclass(frozen=True, kw_only=True)
class Outline:
    """A sheet as found coarsely.

    Parameters
    ----------
    corners : (4, 2) ndarray of float64
        Clockwise in the image as seen, working pixels, possibly outside the photo.
    support : (4,) ndarray of float64
        Share of each side (from each corner to the next) that shows the paper's edge; NaN where
        the side lies along or beyond the photo's border.
    score : float
        Worth of the candidate; see `score_quads`.
    """

    corners: Float
    support: Float
    score: float


@dataclass(frozen=True, kw_only=True)
class Working:
    """The photo at working size.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        As it was.
    colour : (H, W, 3) ndarray of float32
        Opponent colours, see `OPPONENT`, lightly smoothed.
    noise : float
        Typical difference between neighbouring patches that is no edge.
    scale : float
        Pixels of the picture it was made from per working pixel.
    """

    rgb: NDArray[np.uint8]
    colour: FloatMap
    noise: float
    scale: float


def make_working(rgb: NDArray[np.uint8]) -> Working:
    """Reduce a photo to working size."""
    block = block_for(rgb, WORKING_PX)
    small = reduce_by(rgb, block)
    width = small.shape[1]
    colour = cv2.GaussianBlur(cv2.transform(small.astype(np.float32), OPPONENT), (0, 0), 1.0)
    # Against the mean of both neighbours, so that a slow fall-off of light is no noise.
    noise = LEAST_NOISE
    if width >= LEAST_WORKING_PX:
        rows = colour[::4]
        change = magnitude(rows[:, 6:-6] - (rows[:, :-12] + rows[:, 12:]) / 2)
        noise = max(1.15 * float(np.median(change)), LEAST_NOISE)
    return Working(
        rgb=small, colour=np.asarray(colour, np.float32), noise=noise, scale=float(block)
    )


def magnitude(colour: NDArray[Any]) -> FloatMap:
    """Length of each pixel's colour vector."""
    ones = np.ones((1, colour.shape[2]), np.float32)
    squared = cv2.transform(np.asarray(colour, np.float32) ** 2, ones)
    return np.asarray(np.sqrt(squared), np.float32).reshape(colour.shape[:2])


def find_outline(
    working: Working,
    settings: ScoreSettings,
    unlike: Callable[[Float], float] | None = None,
    *,
    asked: int = 14,
) -> Outline | None:
    """Find the sheet; None when nothing looks like one.

    Parameters
    ----------
    working : Working
        From `make_working`.
    settings : ScoreSettings
        What makes a sheet.
    unlike : callable, optional
        What corners ``(4, 2)`` in working pixels cost for what is known beforehand.
    asked : int
        How many of the best candidates are asked about.
    """
    if min(working.colour.shape[:2]) < LEAST_WORKING_PX:
        return None
    candidates = _candidates(working)
    if len(candidates) == 0:
        return None
    scores, support = score_quads(working.colour, working.noise, candidates, settings)
    if unlike is not None:
        for k in np.argsort(scores)[::-1][:asked]:
            scores[k] -= unlike(candidates[k])
    best = int(np.argmax(scores))
    return Outline(corners=candidates[best], support=support[best], score=float(scores[best]))


def _candidates(working: Working) -> Float:
    """Quadrilaterals worth judging, ``(K, 4, 2)``."""
    quads: list[Float] = []
    outlines: list[Float] = []
    for mask in _regions(working):
        for hull, filled in _pieces(mask):
            quad = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2)
            if len(quad) == 4:
                quads.append(quad.astype(float))
            if filled:
                outlines.append(hull.reshape(-1, 2).astype(float))
    lines = find_lines(working.colour)
    extra = [lines_of_outline(outline, working.colour.shape[:2]) for outline in outlines]
    lines = np.concatenate([lines, *extra]) if extra else lines
    found = group_lines(lines, working.colour, working.noise, MIN_AREA_FRAC)
    everything = np.concatenate([np.array(quads).reshape(-1, 4, 2), found])
    return _unlike(_clockwise(everything), working.colour.shape[:2])


def _regions(working: Working) -> list[Mask]:
    """Masks of even colour, by distance from the colour of a few places, and between edges.

    At half the working size: they only suggest.
    """
    colour = cv2.resize(working.colour, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    rows, cols = colour.shape[:2]
    masks: list[Mask] = []
    # Light falls off across a sheet, its colour hardly does.
    flattened = colour * np.array([0.6, 1, 1], np.float32)
    for fx, fy in ((0.5, 0.5), (0.35, 0.5), (0.65, 0.5), (0.5, 0.35), (0.5, 0.65)):
        x, y = int(cols * fx), int(rows * fy)
        r = max(2, rows // 30)
        paper = np.median(flattened[y - r : y + r + 1, x - r : x + r + 1].reshape(-1, 3), axis=0)
        far = magnitude(flattened - paper.astype(np.float32))
        level, _ = cv2.threshold(np.minimum(far * 4, 255).astype(np.uint8), 0, 255, cv2.THRESH_OTSU)
        masks += [far < level / 4 * factor for factor in (0.5, 1.0)]
    gx, gy = cv2.Sobel(colour, cv2.CV_32F, 1, 0), cv2.Sobel(colour, cv2.CV_32F, 0, 1)
    slope = magnitude(np.concatenate([gx, gy], axis=2))
    masks += [slope < level for level in np.percentile(slope[::2, ::2], (70, 82, 90))]
    light = colour[..., 0].astype(np.uint8)
    level, _ = cv2.threshold(light, 0, 255, cv2.THRESH_OTSU)
    masks += [light > level, light <= level]
    return masks


def _pieces(mask: Mask) -> list[tuple[np.ndarray, bool]]:
    """Hulls of a mask's large pieces."""
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    contours, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = []
    for contour in sorted(contours, key=cv2.contourArea, reverse=True)[:2]:
        area = cv2.contourArea(contour)
        if area < MIN_AREA_FRAC * mask.size:
            continue
        hull = cv2.convexHull(contour)
        filled = area > 0.8 * cv2.contourArea(hull)
        out.append((hull.astype(np.float32) * 2 + 0.5, filled))
    return out


def _clockwise(quads: Float) -> Float:
    """Turn every quadrilateral to run clockwise as seen (y down)."""
    x, y = quads[..., 0], quads[..., 1]
    area = (x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1)
    return np.where((area < 0)[:, None, None], quads[:, ::-1], quads)


def _unlike(quads: Float, shape: tuple[int, ...], limit_px: float = 3.0) -> Float:
    """Leave out near repeats and what is far too small."""
    quads = quads[area_of(quads) > MIN_AREA_FRAC * shape[0] * shape[1]]
    first = quads.sum(axis=2).argmin(axis=1)
    turn = (first[:, None] + np.arange(4)) % 4
    quads = np.take_along_axis(quads, turn[:, :, None], axis=1)
    apart = np.abs(quads[:, None] - quads[None]).max(axis=(2, 3))
    keep = ~(np.tril(apart < limit_px, -1).any(axis=1))
    return np.asarray(quads[keep])
