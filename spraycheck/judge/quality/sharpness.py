"""How far an edge spreads in the photo, in mm on the card, across and down.

The slanted-edge idea of ISO 12233:2017: many profiles across an edge that is not in line with the
pixel rows fill one another's gaps, so the edge's rise is known to a fraction of a pixel. A printed
card's markers have been measured already; a plain sheet's own four edges serve as well, where they
stand out from what lies beneath.
"""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap
from spraycheck.card.containers import RectifiedCard
from spraycheck.optics import srgb_decode
from spraycheck.photo.containers import Photo

REACH_MM: Final = 6.0
"""How far to either side of an edge is looked: more than a rise that leaves anything to measure,
less than the white margin of a sheet (chosen)."""

LEAST_STEP: Final = 0.15
"""Least step of light from table to paper, of the paper's: a weaker edge is not told (chosen)."""

LEAST_FOLLOWED: Final = 0.4
"""Share of the lines across a side that must show one clean step (chosen)."""

GAUSSIAN_10_90: Final = 2.5631 / 1.6832
"""Rise from 10 % to 90 % over that from 20 % to 80 % of a Gaussian edge: the quantiles of the
normal distribution. The table beside a sheet is no even grey, which moves the foot of the step."""

_LINES: Final = 64
_LUMA: Final = np.array([0.2126, 0.7152, 0.0722], np.float32)  # IEC 61966-2-1, linear light


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
    width, height = card.size_mm
    light = _light(photo)
    rises = [
        _side_rise_mm(light, photo, card, along, inward)
        for along, inward in (
            (((-width / 2, -height / 2), (-width / 2, height / 2)), (1.0, 0.0)),
            (((width / 2, -height / 2), (width / 2, height / 2)), (-1.0, 0.0)),
            (((-width / 2, -height / 2), (width / 2, -height / 2)), (0.0, 1.0)),
            (((-width / 2, height / 2), (width / 2, height / 2)), (0.0, -1.0)),
        )
    ]
    across, down = _narrower(rises[:2]), _narrower(rises[2:])
    told = math.isfinite(across) or math.isfinite(down)
    return across, down, "sheet" if told else ""


def _narrower(rises: list[float]) -> float:
    """Take the narrower of two sides: shadow and clutter widen an edge, nothing narrows it."""
    return min((r for r in rises if math.isfinite(r)), default=math.nan)


def _light(photo: Photo) -> FloatMap:
    """Linear light of the photo as one channel."""
    table = srgb_decode(np.arange(256) / 255).astype(np.float32)
    light = np.zeros(photo.rgb.shape[:2], np.float32)
    for channel in range(3):
        light += cv2.LUT(np.ascontiguousarray(photo.rgb[..., channel]), table * _LUMA[channel])
    return light


def _side_rise_mm(
    light: FloatMap,
    photo: Photo,
    card: RectifiedCard,
    along: tuple[tuple[float, float], tuple[float, float]],
    inward: tuple[float, float],
) -> float:
    """Measure the 10-90 % rise of one side, mm; NaN when it does not show one clean step."""
    part = np.linspace(0.08, 0.92, _LINES)[:, None]
    edge_mm = (1 - part) * np.array(along[0]) + part * np.array(along[1])
    edge = photo.to_decoded(card.to_photo(edge_mm))
    step = photo.to_decoded(card.to_photo(edge_mm + np.array(inward))) - edge  # pixels per mm
    px_per_mm = np.linalg.norm(step, axis=1)
    if not np.isfinite(px_per_mm).all() or px_per_mm.min() <= 0:
        return math.nan
    scale = float(np.median(px_per_mm))
    reach = max(REACH_MM * scale, 6.0)
    off = np.arange(-reach, reach + 0.125, 0.25)
    profile, inside = _profiles(light, edge, step / px_per_mm[:, None], off)
    profile = profile[inside]
    if len(profile) < LEAST_FOLLOWED * _LINES:
        return math.nan
    crossing = _crossings(profile, off)
    told = np.isfinite(crossing)
    if told.sum() < LEAST_FOLLOWED * _LINES:
        return math.nan
    shift = _smooth_line(part[inside, 0], crossing)
    lines = [
        np.interp(off, off - s, line)
        for s, line, good in zip(shift, profile, told, strict=True)
        if good
    ]
    rise = _rise(np.median(lines, axis=0), off)
    return rise / scale


def _profiles(light: FloatMap, edge: Float, inward: Float, off: Float) -> tuple[Float, np.ndarray]:
    """Light along lines across an edge, from outside in, and which of them lie in the photo."""
    at = edge[:, None] + off[None, :, None] * inward[:, None]
    profile = cv2.remap(
        light,
        at[..., 0].astype(np.float32),
        at[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=-1,
    )
    return np.asarray(profile, float), np.asarray(profile.min(axis=1) >= 0)


def _crossings(profile: Float, off: Float) -> Float:
    """Where each line's light passes half way from table to paper nearest the edge; NaN unclear."""
    third = len(off) // 3
    outer = np.median(profile[:, :third], axis=1)
    inner = np.median(profile[:, -third:], axis=1)
    half = (outer + inner) / 2
    rising = (profile[:, :-1] < half[:, None]) & (profile[:, 1:] >= half[:, None])
    out = np.full(len(profile), math.nan)
    for row in range(len(profile)):
        if inner[row] - outer[row] < LEAST_STEP * inner[row]:
            continue
        places = np.flatnonzero(rising[row])
        if len(places) == 0:
            continue
        at = places[np.argmin(np.abs(off[places]))]
        low, high = profile[row, at], profile[row, at + 1]
        out[row] = off[at] + (half[row] - low) / (high - low) * (off[at + 1] - off[at])
    return out


def _smooth_line(along: Float, crossing: Float) -> Float:
    """Carry the crossings by a parabola, so that a single line's noise does not widen the edge."""
    told = np.isfinite(crossing)
    weight = told.astype(float)
    filled = np.where(told, crossing, 0.0)
    fitted: Float = np.zeros(len(along))
    for _ in range(5):
        fitted = np.polyval(np.polyfit(along, filled, 2, w=weight + 1e-9), along)
        spread = max(1.4826 * float(np.median(np.abs(crossing - fitted)[told])), 0.05)
        weight = told / (1 + ((filled - fitted) / (2 * spread)) ** 2)
    return np.asarray(fitted)


def _rise(mean: Float, off: Float) -> float:
    """Rise of a mean profile in steps of ``off``, as that of a Gaussian edge; NaN without one."""
    quarter = len(off) // 4
    outer, inner = float(np.median(mean[:quarter])), float(np.median(mean[-quarter:]))
    if inner - outer < LEAST_STEP * inner:
        return math.nan
    step = (mean - outer) / (inner - outer)
    middle = int(np.argmin(np.abs(off)))
    below = np.flatnonzero(step[: middle + 1] < 0.2)
    # From the middle outwards, so that stripes of the table farther out are not the edge.
    above = np.flatnonzero(step[middle:] > 0.8)
    if step[middle] <= 0.2 or step[middle] >= 0.8 or len(below) == 0 or len(above) == 0:
        return math.nan
    i, j = int(below[-1]), middle + int(above[0])
    low = off[i] + (0.2 - step[i]) / (step[i + 1] - step[i]) * (off[i + 1] - off[i])
    high = off[j - 1] + (0.8 - step[j - 1]) / (step[j] - step[j - 1]) * (off[j] - off[j - 1])
    return float((high - low) * GAUSSIAN_10_90)
