"""How far an edge spreads in the photo: the one measure of sharpness.

The slanted-edge idea of ISO 12233:2017: many profiles across an edge that is not in line with the
pixel rows fill one another's gaps, so the edge's rise is known to a fraction of a pixel. A printed
card's markers serve, and a plain sheet's own four edges where they stand out from what lies
beneath. A Gaussian blur of standard deviation s rises from 10 % to 90 % over 2.563 s.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.sampling import LINEAR, LUMINANCE, sample
from spraycheck.card.target import MARKER_MODULES
from spraycheck.photo.containers import Photo

GAUSSIAN_10_90: Final = 2.5631 / 1.6832
"""Rise from 10 % to 90 % over that from 20 % to 80 % of a Gaussian edge: the quantiles of the
normal distribution. What lies beside an edge is no even grey, which moves the foot of the step."""


@dataclass(frozen=True, kw_only=True)
class RiseSettings:
    """How an edge is looked at.

    Parameters
    ----------
    reach_mm : float
        How far to either side of a sheet's edge is looked: more than a rise that leaves anything to
        measure, less than the white margin of a sheet (chosen).
    reach_modules : float
        The same of a marker's side: within its black border and the white around it.
    least_step : float
        Least step of light from dark to bright, of the bright: a weaker edge is not told (chosen).
    least_followed : float
        Share of the lines across a side that must show one clean step (chosen).
    lines : int
        Lines across a side.
    step_px : float
        Between samples on a line.
    most_of_reach : float
        A rise of a marker's side beyond this share of the reach leaves no flat light at the ends to
        count from: it is too wide to be told (a Gaussian edge then still shows 94 % of its step;
        chosen). A sheet's side is told however wide, since a blurred photo must not pass unseen.
    """

    reach_mm: float = 6.0
    reach_modules: float = 0.95
    least_step: float = 0.15
    least_followed: float = 0.4
    lines: int = 64
    step_px: float = 0.25
    most_of_reach: float = 0.8


RISE: Final = RiseSettings()


def edge_spread_mm(photo: Photo, card: RectifiedCard) -> tuple[float, float, str]:
    """Tell over how many mm upright and level edges rise from 10 % to 90 %.

    Parameters
    ----------
    photo : Photo
        Upright.
    card : RectifiedCard
        Found in it.

    Returns
    -------
    across_mm, down_mm : float
        Of upright edges (left, right) and of level ones (top, bottom); NaN where none can be told.
        They differ when the phone moved.
    measured_on : str
        ``markers``, ``sheet``, or empty when neither can be told.
    """
    if card.printed is not None:
        return card.printed.edge_x_mm, card.printed.edge_y_mm, "markers"
    if card.found_by == "none":
        return math.nan, math.nan, ""
    half = np.array(card.size_mm) / 2
    rises = []
    for way in ((-1.0, 0.0), (1.0, 0.0), (0.0, -1.0), (0.0, 1.0)):
        outward = np.array(way)
        part = np.linspace(-0.84, 0.84, RISE.lines)[:, None]  # clear of the corners
        edge_mm = (outward + part * outward[::-1]) * half
        edge = photo.to_decoded(card.to_photo(edge_mm))
        inward = photo.to_decoded(card.to_photo(edge_mm - outward)) - edge  # pixels per mm
        px_per_mm = float(np.median(np.linalg.norm(inward, axis=1)))
        if not (math.isfinite(px_per_mm) and px_per_mm > 0):
            continue
        reach_px = max(RISE.reach_mm * px_per_mm, 6.0)
        rises.append(edge_rise_px(photo.rgb, edge, inward, reach_px) / px_per_mm)
    across, down = _narrower(rises[:2]), _narrower(rises[2:])
    told = math.isfinite(across) or math.isfinite(down)
    return across, down, "sheet" if told else ""


def _narrower(rises: list[float]) -> float:
    """Take the narrower of two sides: shadow and clutter widen an edge, nothing narrows it."""
    return min((r for r in rises if math.isfinite(r)), default=math.nan)


def marker_rise(rgb: NDArray[np.uint8], corners: Float) -> tuple[float, float]:
    """Measure how wide a marker's printed edges show.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        The picture at its full size.
    corners : (4, 2) ndarray of float64
        From `markers.place_corners`.

    Returns
    -------
    (float, float)
        Across its upright sides (left and right) and across its level ones (top and bottom), in
        sides of the marker; NaN where the edge is wider than can be told. They differ when the
        phone moved.
    """
    rises = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        way = b - a
        length = float(np.linalg.norm(way))
        outward = np.broadcast_to(np.array([way[1], -way[0]]), (RISE.lines, 2))
        edge = a + np.linspace(0.1, 0.9, RISE.lines)[:, None] * way
        reach_px = RISE.reach_modules / MARKER_MODULES * length
        rise = edge_rise_px(rgb, edge, outward, reach_px)
        rises.append(rise / length if rise < RISE.most_of_reach * reach_px else math.nan)
    return float(np.mean([rises[1], rises[3]])), float(np.mean([rises[0], rises[2]]))


def edge_rise_px(rgb: NDArray[np.uint8], edge: Float, bright: Float, reach_px: float) -> float:
    """Measure over how many pixels an edge's light rises from 10 % to 90 %.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        sRGB-encoded.
    edge : (K, 2) ndarray of float64
        Places along the edge, in order.
    bright : (K, 2) ndarray of float64
        Across it towards the bright side; any length.
    reach_px : float
        How far to either side is looked.

    Returns
    -------
    float
        NaN when the places show no one clean step. One nearly as wide as the reach is told too
        narrow, and yet as wide.
    """
    off = np.arange(-reach_px, reach_px + RISE.step_px / 2, RISE.step_px)
    way = bright / np.linalg.norm(bright, axis=1, keepdims=True)
    at = edge[:, None] + off[None, :, None] * way[:, None]
    inside = ((at >= 0) & (at <= np.array(rgb.shape[1::-1]) - 1)).all(axis=(1, 2))
    along = np.linspace(0, 1, len(edge))[inside]
    if inside.sum() < RISE.least_followed * len(edge):
        return math.nan
    profile = LINEAR[sample(rgb, at[inside].astype(np.float32))] @ LUMINANCE
    crossing = _crossings(profile, off)
    told = np.isfinite(crossing)
    if told.sum() < RISE.least_followed * len(edge):
        return math.nan
    shift = _smooth_line(along, crossing)[told]
    lines = [np.interp(off, off - s, line) for s, line in zip(shift, profile[told], strict=True)]
    return _rise(np.median(lines, axis=0), off)


def _crossings(profile: FloatMap, off: Float) -> Float:
    """Where each line's light passes half way from dark to bright nearest the edge; NaN unclear."""
    third = len(off) // 3
    outer = np.median(profile[:, :third], axis=1)
    inner = np.median(profile[:, -third:], axis=1)
    half = ((outer + inner) / 2)[:, None]
    rising = (profile[:, :-1] < half) & (profile[:, 1:] >= half)
    at = np.where(rising, np.abs(off[:-1]), np.inf).argmin(axis=1)
    rows = np.arange(len(profile))
    low, high = profile[rows, at], profile[rows, at + 1]
    clear = rising[rows, at] & (inner - outer >= RISE.least_step * inner)
    part = (half[:, 0] - low) / np.where(high > low, high - low, 1)
    return np.where(clear, off[at] + part * (off[at + 1] - off[at]), np.nan)


def _smooth_line(along: Float, crossing: Float) -> Float:
    """Carry the crossings by a parabola, so that a single line's noise does not widen the edge.

    Twice: what lies more than three times the usual distance off is left out the second time.
    """
    told = np.isfinite(crossing)
    for _ in range(2):
        fitted = np.polyval(np.polyfit(along[told], crossing[told], 2), along)
        off = np.abs(crossing - fitted)
        told &= off <= max(3 * float(np.nanmedian(off)), RISE.step_px)
        if told.sum() < 3:
            break
    return np.asarray(fitted)


def _rise(mean: Float, off: Float) -> float:
    """Rise of a mean profile in the units of ``off``, as that of a Gaussian edge; NaN without."""
    quarter = len(off) // 4
    outer, inner = float(np.median(mean[:quarter])), float(np.median(mean[-quarter:]))
    if inner - outer < RISE.least_step * inner:
        return math.nan
    step = (mean - outer) / (inner - outer)
    middle = int(np.argmin(np.abs(off)))
    # From the middle outwards, so that stripes of the table farther out are not the edge.
    below = np.flatnonzero(step[: middle + 1] < 0.2)
    above = np.flatnonzero(step[middle:] > 0.8)
    if not 0.2 < step[middle] < 0.8 or len(below) == 0 or len(above) == 0:
        return math.nan
    i, j = int(below[-1]), middle + int(above[0])
    low = off[i] + (0.2 - step[i]) / (step[i + 1] - step[i]) * (off[i + 1] - off[i])
    high = off[j - 1] + (0.8 - step[j - 1]) / (step[j] - step[j - 1]) * (off[j] - off[j - 1])
    return float((high - low) * GAUSSIAN_10_90)
