"""Numbers of one patch from one wetness map; pure, so that a budget can ask again and again."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from skimage.measure import find_contours

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.judge.axial.finding import outline_of

STREAK_ORDERS: Final = range(3, 13)
"""Harmonics of the wetness by angle that count as streaks: 1 is a heavy side, 2 an oval; beyond 12
(every 30 degrees) paper and drops rule (chosen)."""

CORE_SHARE: Final = 0.25
"""Radius of the middle, of the patch's (chosen: a sixteenth of its area, well inside any ring)."""

RINGS, PROFILE_REACH = 36, 1.5
"""Rings of the radial profile, and how many radii it goes out to."""

HOLLOW_LEVEL: Final = 0.6
"""A hollow is where the filtered wetness lies below this share of the crest (chosen: between dry
and wet, on the wet side so that a hollow that soaks in still shows its middle)."""

LEAST_HOLLOW_SHARE: Final = 0.01
"""A smaller hollow, of the filled outline's area, is a dry fleck (chosen)."""

INK_ABOVE: Final = 1.1
"""Wetness is cut off at this many times its 90th percentile within the outline (chosen: mottled
saturated paper shows up to 1.1 times its plateau, a cross covers far less than a tenth)."""


@dataclass(frozen=True, kw_only=True)
class Numbers:
    """Everything one map says about the patch; lengths in cells, angles clockwise from 12 o'clock.

    Parameters
    ----------
    wet, filled : (M, N) ndarray of bool
        Wet cells, and the filled outline.
    x, y : float
        Middle of the filled outline, column and row.
    radius : float
        Of the circle as large as the filled outline.
    roundness, circularity, streak_frac, core_ratio
        As of `CentralPatch`.
    heavy : complex
        First harmonic of the wetness by angle: its argument is the heavy side's direction.
    heavy_share : float
        Share of the wetness on that side.
    crest : float
        Largest value of the radial profile.
    core : float
        Wetness in the middle.
    hollow_x, hollow_y : float
        Middle of the hollow; NaN without one.
    profile : (RINGS,) ndarray of float64
        Wetness by distance.
    outline, hollow : (L, 2) ndarray of float64
        Column and row; empty without a hollow.
    """

    wet: Mask
    filled: Mask
    x: float
    y: float
    radius: float
    roundness: float
    circularity: float
    streak_frac: float
    core_ratio: float
    heavy: complex
    heavy_share: float
    crest: float
    core: float
    hollow_x: float
    hollow_y: float
    profile: Float
    outline: Float
    hollow: Float


def numbers_of(
    raw: FloatMap,
    smooth: FloatMap,
    zone: Mask,
    *,
    threshold: float,
    level: float,
    reach: float,
    blur: float,
    noise: float = 0.0,
    spot: float = 1.0,
) -> Numbers:
    """Work out the numbers of the patch in a zone.

    Parameters
    ----------
    raw, smooth : (M, N) ndarray of float32
        Unfiltered and filtered wetness.
    zone : (M, N) ndarray of bool
        Where the patch can lie.
    threshold : float
        Wetness from which paper counts as wetted.
    level : float
        Wetness at which the outline is drawn.
    reach, blur : float
        Bridged distance and blur of the outline, in cells.
    noise, spot : float
        Standard deviation of the filtered wetness on dry paper, and over how many cells it hangs
        together.

    Raises
    ------
    ValueError
        Nothing in the zone is wet.

    Notes
    -----
    With the wetness ``w`` and the angle ``a`` about the outline's middle, ``c_k = sum(w exp(i k
    a)) / sum(w)`` are the harmonics of the amount by angle, without any bins. Noise adds its own
    power to each: that of one spot over the number of spots, which is taken off again.
    """
    wet = (smooth >= threshold) & zone
    inside = outline_of(smooth, zone, level, reach)
    if not inside.any():
        raise ValueError("nothing is wet")
    rows, cols = np.nonzero(inside)
    x, y = float(cols.mean()), float(rows.mean())
    dx, dy = cols - x, rows - y
    radius = math.sqrt(len(rows) / math.pi)
    # A cell is a square, not a point: its own second moment, 1/12, belongs to the patch.
    xx, yy, xy = (
        float((dx * dx).mean()) + 1 / 12,
        float((dy * dy).mean()) + 1 / 12,
        float((dx * dy).mean()),
    )
    mean, half = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)

    # Ink under a patch, such as an aim cross, is darker than any wet paper: it is held to a little
    # above what the patch shows otherwise.
    raw = np.minimum(raw, np.float32(INK_ABOVE * np.percentile(smooth[inside], 90)))
    weight = raw[inside].astype(float)
    total = max(float(weight.sum()), 1e-6)
    turn = np.exp(1j * np.arctan2(dx, -dy))
    power = turn.copy()
    harmonics = [complex((weight * power).sum() / total)]
    for _ in range(1, STREAK_ORDERS.stop - 1):
        power *= turn
        harmonics.append(complex((weight * power).sum() / total))
    heavy = harmonics[0]
    on_side = (turn * np.conj(heavy)).real > 0
    grain2 = noise**2 * spot * len(rows) / total**2
    streak2 = 2 * sum(abs(harmonics[k - 1]) ** 2 - grain2 for k in STREAK_ORDERS)

    profile = _radial(raw, x, y, radius)
    away = np.hypot(dx, dy)
    middle = away <= max(CORE_SHARE * radius, 1.0)
    core = float(weight[middle].mean()) if middle.any() else math.nan
    # The innermost rings are a few cells each: the middle stands for them.
    rings = profile[round(RINGS * CORE_SHARE / PROFILE_REACH) : round(RINGS / PROFILE_REACH)]
    crest = max(float(np.max(rings)), core, 1e-6)
    outline, circularity = _outline(inside, blur)
    hollow, hollow_x, hollow_y = _hollow(smooth, inside, crest, x, y, radius)
    return Numbers(
        wet=wet,
        filled=inside,
        x=x,
        y=y,
        radius=radius,
        roundness=math.sqrt((mean - half) / (mean + half)),
        circularity=circularity,
        streak_frac=math.sqrt(max(streak2, 0.0)),
        core_ratio=core / crest,
        heavy=heavy,
        heavy_share=float(weight[on_side].sum()) / total,
        crest=crest,
        core=core,
        hollow_x=hollow_x,
        hollow_y=hollow_y,
        profile=profile,
        outline=outline,
        hollow=hollow,
    )


def _radial(raw: FloatMap, x: float, y: float, radius: float) -> Float:
    """Mean wetness in `RINGS` rings of equal width; empty rings take their inner neighbour's."""
    across, down = np.arange(raw.shape[1]) - x, np.arange(raw.shape[0]) - y
    ring = (np.hypot(across, down[:, None]) * (RINGS / (PROFILE_REACH * radius))).astype(np.int64)
    near = ring < RINGS
    count = np.bincount(ring[near], minlength=RINGS)
    total = np.bincount(ring[near], raw[near], RINGS)
    profile = total / np.maximum(count, 1)
    for k in np.flatnonzero(count == 0):
        profile[k] = profile[k - 1] if k else raw[round(y), round(x)]
    return np.asarray(profile, float)


def _outline(inside: Mask, blur: float) -> tuple[Float, float]:
    """Outline of the largest piece (column, row), and the circularity of it."""
    wide = np.pad(inside.astype(np.float32), math.ceil(3 * blur) + 1)
    soft = cv2.GaussianBlur(wide, (0, 0), blur)
    pieces = find_contours(soft, 0.5)  # type: ignore[no-untyped-call]
    if not pieces:
        return np.zeros((0, 2)), math.nan
    outline = max(pieces, key=len)[:, ::-1] - (math.ceil(3 * blur) + 1)
    step = np.diff(outline, axis=0)
    length = float(np.hypot(step[:, 0], step[:, 1]).sum())
    area = 0.5 * abs(float((outline[:-1, 0] * step[:, 1] - outline[:-1, 1] * step[:, 0]).sum()))
    return outline, 4 * math.pi * area / max(length, 1e-6) ** 2


def _hollow(
    smooth: FloatMap, inside: Mask, crest: float, x: float, y: float, radius: float
) -> tuple[Float, float, float]:
    """Outline and middle of the hollow: what is drier than the ring, off the rim, near the middle.

    What is dry and touches the patch's outline is a dent in it, no hollow.
    """
    dry = (inside & (smooth < HOLLOW_LEVEL * crest)).astype(np.uint8)
    count, labels, stats, centres = cv2.connectedComponentsWithStats(dry, connectivity=4)
    # Everything that touches the outside, seen from the outside.
    border = cv2.dilate((~inside).astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    open_ = np.unique(labels[border & (dry > 0)])
    best, at = 0, 0
    for k in range(1, count):
        area = int(stats[k, cv2.CC_STAT_AREA])
        near = math.hypot(centres[k][0] - x, centres[k][1] - y) < 0.6 * radius
        if k not in open_ and near and area > best:
            best, at = area, k
    if best < max(4.0, LEAST_HOLLOW_SHARE * math.pi * radius**2):
        return np.zeros((0, 2)), math.nan, math.nan
    pieces, _ = cv2.findContours(
        (labels == at).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    outline = max(pieces, key=len).reshape(-1, 2).astype(float)
    return outline, float(centres[at][0]), float(centres[at][1])
