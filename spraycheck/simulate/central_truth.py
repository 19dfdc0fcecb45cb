"""What is true about the patch of a central spray, measured on the drawn wetness itself.

Wetness counts against the plateau of the darkest patch, because a photograph knows no other scale.

The measurands are those of a measured result; the way they are worked out is not: masks and
binned profiles on the card's own fine grid, with SciPy's labelling and morphology.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.measure import perimeter_crofton

from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.simulate.nozzle import CentralSpray
from spraycheck.simulate.shot import SprayShot

Float = NDArray[np.float64]
Mask = NDArray[np.bool_]

BRIDGE_MM, JOIN_MM, LEAST_SIDE_MM2, FAINT = 1.5, 8.0, 2.0, 0.12
"""Gaps up to twice the first are closed when the outline is drawn. Where it breaks it is drawn at
the wetness of the fourth, within the second of what is wet. Wet spots below the third are drops and
no side spray. All chosen, as in the measured result."""

ANGLE_BINS, STREAK_ORDERS = 180, range(3, 13)
"""Bins of 2 degrees, and the harmonics that count as streaks: one is lopsided, two is oval."""

SEEN_MM = 0.7
"""Standard deviation of the blur in which wet and dry are told apart."""

HOLLOW_BELOW = 0.6
"""A hollow is drier than this share of the ring's crest (chosen, as in the measured result)."""

LOPSIDED_FROM, STREAKY_FROM, FILLED_FROM, LEANING_FROM = 0.3, 0.25, 0.4, 0.25
"""From which drawn values a central spray is called faulty; a lean counts against the half cone.
Chosen well above what a sound nozzle is drawn with."""


@dataclass(frozen=True, kw_only=True)
class TrueCentral:
    """The patch of a central spray.

    Parameters
    ----------
    faults : tuple of str
        What was drawn in: ``lopsided``, ``streaky``, ``not-hollow``, ``side-spray``,
        ``off-centre``; empty for a sound nozzle.
    hollow : bool
        Whether a sound nozzle of this kind sprays a ring.
    x_mm, y_mm : float
        Middle of the patch's filled outline on the card.
    area_mm2, diameter_mm : float
        Wetted area of the patch; diameter of the circle as large as its filled outline.
    roundness : float
        Minor over major axis of the filled outline's second moments.
    circularity : float
        ``4 pi`` times the area of the filled outline over its squared length.
    heavy_side_frac, heavy_side_deg : float
        Share of the patch's wetness on its heavy side, and that side's clockwise direction.
    streak_frac : float
        Root mean square of the streaks in the wetness by angle, over its mean.
    core_ratio : float
        Wetness in the middle (a quarter of the radius) over the crest of the radial profile.
    hollow_offset_ratio : float
        Distance of the hollow's middle from the outline's, over the diameter; NaN without a hollow.
    side_frac : float
        Share of the wetted area that lies beside the patch.
    """

    faults: tuple[str, ...]
    hollow: bool
    x_mm: float
    y_mm: float
    area_mm2: float
    diameter_mm: float
    roundness: float
    circularity: float
    heavy_side_frac: float
    heavy_side_deg: float
    streak_frac: float
    core_ratio: float
    hollow_offset_ratio: float
    side_frac: float


def central_faults(central: CentralSpray, shot: SprayShot) -> tuple[str, ...]:
    """Name what was drawn in as faulty."""
    found = (
        ("lopsided", central.lopsided_frac >= LOPSIDED_FROM),
        ("streaky", central.streak_frac >= STREAKY_FROM),
        ("not-hollow", central.kind == "hollow" and central.fill_frac >= FILLED_FROM),
        ("side-spray", bool(shot.strays)),
        ("off-centre", central.lean_deg >= LEANING_FROM * central.half_cone_deg),
    )
    return tuple(name for name, is_so in found if is_so)


def measure_central(
    wetness: NDArray[np.floating[Any]],
    x_mm: Float,
    y_mm: Float,
    *,
    faults: tuple[str, ...],
    hollow: bool,
) -> TrueCentral:
    """Measure the patch on a drawn card.

    Parameters
    ----------
    wetness : (M, N) ndarray of float
        The card.
    x_mm, y_mm : (N,), (M,) ndarray of float64
        Cell centres.
    faults, hollow
        See `TrueCentral`.
    """
    cell = float(x_mm[1] - x_mm[0])
    share = np.asarray(wetness, float) / _plateau(np.asarray(wetness, float), cell)
    wet = ndimage.gaussian_filter(share, SEEN_MM / cell) >= WET_THRESHOLD_FRAC
    body, side, broken = _split(share, wet, cell)
    if not body.any():
        nan = math.nan
        return TrueCentral(
            faults=faults,
            hollow=hollow,
            x_mm=nan,
            y_mm=nan,
            area_mm2=0.0,
            diameter_mm=nan,
            roundness=nan,
            circularity=nan,
            heavy_side_frac=nan,
            heavy_side_deg=nan,
            streak_frac=nan,
            core_ratio=nan,
            hollow_offset_ratio=nan,
            side_frac=nan,
        )
    drawn = ndimage.gaussian_filter(share, SEEN_MM / cell) >= FAINT if broken else wet
    near = ndimage.distance_transform_edt(~body) * cell <= JOIN_MM
    filled = ndimage.binary_fill_holes(_closed(drawn & (body | (near & broken)), cell))
    rows, cols = np.nonzero(filled)
    px, py = x_mm[cols], y_mm[rows]
    cx, cy = float(px.mean()), float(py.mean())
    axes = np.linalg.eigvalsh(np.cov(px, py))
    radius = math.sqrt(len(px) * cell**2 / math.pi)
    weight = share[filled]
    around = np.arctan2(px - cx, -(py - cy))
    away = np.hypot(px - cx, py - cy)

    bins = np.minimum(((around + math.pi) / (2 * math.pi) * ANGLE_BINS).astype(int), ANGLE_BINS - 1)
    profile = np.bincount(bins, weight, ANGLE_BINS)
    spectrum = np.fft.rfft(profile) / profile.sum()
    # Bin 0 starts at -pi; the phase is turned back to clockwise from 12 o'clock.
    heavy = (math.degrees(-np.angle(spectrum[1])) - 180 + 180 / ANGLE_BINS) % 360
    on_side = np.cos(around - math.radians(heavy)) > 0
    streak = math.sqrt(2 * sum(abs(spectrum[k]) ** 2 for k in STREAK_ORDERS))

    rings = np.minimum((away / (radius / 12)).astype(int), 30)
    mean = np.bincount(rings, weight, 31) / np.maximum(np.bincount(rings, minlength=31), 1)
    core = float(weight[away <= radius / 4].mean()) if (away <= radius / 4).any() else math.nan
    crest = max(float(mean[:12].max()), 1e-6)
    body_mm2 = float(body.sum()) * cell**2
    side_mm2 = float(side.sum()) * cell**2
    return TrueCentral(
        faults=faults,
        hollow=hollow,
        x_mm=cx,
        y_mm=cy,
        area_mm2=body_mm2,
        diameter_mm=2 * radius,
        roundness=math.sqrt(axes[0] / axes[1]),
        circularity=4 * math.pi * len(px) * cell**2 / _length(filled, cell) ** 2,
        heavy_side_frac=float(weight[on_side].sum() / weight.sum()),
        heavy_side_deg=heavy,
        streak_frac=streak,
        core_ratio=core / crest,
        hollow_offset_ratio=_hollow(share, filled, crest, cell, (cx, cy), x_mm, y_mm)
        / (2 * radius),
        side_frac=side_mm2 / (body_mm2 + side_mm2),
    )


def _plateau(wetness: Float, cell: float) -> float:
    """Return the wetness of the darkest patch: a photograph shows wetness against that only."""
    seen = np.sort(ndimage.gaussian_filter(wetness, SEEN_MM / cell).ravel())
    top = seen[-min(len(seen), max(10, round(30 / cell**2)))]
    if top <= 0:
        return 1.0
    return max(float(np.percentile(seen[seen > 0.5 * top], 75)), 1e-6)


def _closed(mask: Mask, cell: float) -> Mask:
    """Bridge narrow gaps: near the mask, and not nearer than that to what is outside."""
    reach = BRIDGE_MM / cell
    grown = ndimage.distance_transform_edt(~mask) <= reach
    return np.asarray(ndimage.distance_transform_edt(grown) > reach, bool)


def _length(filled: Mask, cell: float) -> float:
    """Length of the outline by Crofton's formula, corners of cells rounded off first."""
    soft = ndimage.gaussian_filter(np.pad(filled, 20).astype(float), SEEN_MM / cell) > 0.5
    return float(perimeter_crofton(soft, 4)) * cell  # type: ignore[no-untyped-call]


def _hollow(
    share: Float, filled: Mask, crest: float, cell: float, middle: tuple[float, float],
    x_mm: Float, y_mm: Float,
) -> float:  # fmt: skip
    """Distance of the hollow's middle from the outline's in mm; NaN without a hollow."""
    seen = ndimage.gaussian_filter(share, SEEN_MM / cell)
    wall = filled & (seen >= HOLLOW_BELOW * crest)
    # A hollow is what fluid closes in on all sides.
    inside = ndimage.binary_fill_holes(wall) & ~wall
    labels, count = ndimage.label(inside)
    radius = math.sqrt(float(filled.sum()) * cell**2 / math.pi)
    best, offset = 0.01 * math.pi * radius**2, math.nan
    for k in range(1, count + 1):
        rows, cols = np.nonzero(labels == k)
        off = math.hypot(x_mm[cols].mean() - middle[0], y_mm[rows].mean() - middle[1])
        if off < 0.6 * radius and len(rows) * cell**2 > best:
            best, offset = len(rows) * cell**2, off
    return offset


def _split(share: Float, wet: Mask, cell: float) -> tuple[Mask, Mask, bool]:
    """Part the wet cells into the patch and side spray, and tell whether its outline is broken.

    What hangs together at a faint wetness, a little blurred, is one patch; the one with the widest
    outline is the central one, with what lies within its circle.
    """
    faint = ndimage.gaussian_filter(share, math.hypot(SEEN_MM, 1.2) / cell) >= FAINT
    labels, count = ndimage.label(faint, np.ones((3, 3)))
    where = labels * wet
    sizes = np.bincount(where.ravel(), minlength=count + 1)[1:] * cell**2
    held = [n for n in range(1, count + 1) if sizes[n - 1] > 0]
    if not held:
        return wet, np.zeros_like(wet), False
    around = {n: np.argwhere(where == n) for n in held}
    main = max(held, key=lambda n: float(np.prod(np.ptp(around[n], axis=0) + 1)))
    middle = (around[main].min(axis=0) + around[main].max(axis=0)) / 2
    reach = float(np.hypot(*(around[main] - middle).T).max()) * 1.15
    body, side = where == main, np.zeros_like(wet)
    for name in held:
        if name == main:
            continue
        if float(np.hypot(*(around[name].mean(axis=0) - middle))) <= reach:
            body |= where == name
        elif sizes[name - 1] >= LEAST_SIDE_MM2:
            side |= where == name
    closed = _closed(body, cell)
    pieces, several = ndimage.label(closed, np.ones((3, 3)))
    each = [float(ndimage.binary_fill_holes(pieces == k).sum()) for k in range(1, several + 1)]
    whole = max(each) >= 0.6 * sum(each)
    if whole and several > 1:
        # What only a faint bridge joins to a patch that is whole by itself lies beside it.
        big = np.argwhere(pieces == int(np.argmax(each)) + 1)
        middle = (big.min(axis=0) + big.max(axis=0)) / 2
        reach = float(np.hypot(*(big - middle).T).max()) * 1.15
        rows, cols = np.indices(body.shape, sparse=True)
        far = body & (np.hypot(rows - middle[0], cols - middle[1]) > reach)
        spots, number = ndimage.label(far, np.ones((3, 3)))
        for k in range(1, number + 1):
            if float((spots == k).sum()) * cell**2 >= LEAST_SIDE_MM2:
                side |= spots == k
        body = body & ~far
        closed = _closed(body, cell)
    patch = labels == main
    hollow = ndimage.binary_fill_holes(patch) & ~patch
    stays_open = float((hollow & ~ndimage.binary_fill_holes(closed)).sum())
    broken = not whole or stays_open > closed.sum() / 3
    return body, side, bool(broken)
