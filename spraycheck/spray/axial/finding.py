"""Which wet cells are the central patch, and which lie beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import FloatMap, Mask
from spraycheck.errors import SprayNotFoundError
from spraycheck.spray.axial.shadow import is_shadow_edge
from spraycheck.spray.containers import WetnessMap
from spraycheck.spray.patches import Patch, find_patches

Bytes = NDArray[np.uint8]

REACH: Final = 1.15
"""Separate wet spots within this many radii of the patch's middle belong to it (chosen: thrown
drops land around the rim, side spray does not)."""

LEAST_AREA_MM2: Final = 12.0
"""A smaller patch cannot be judged: below 4 mm across soaking and paper rule its shape (chosen)."""

DROP_MM2: Final = 2.0
"""Smaller wet spots beside the patch are thrown drops (a drop of 0.4 mm leaves about 1 mm2)."""

FAINT_LEVEL: Final = 0.15
"""Wetness from which fine drops are looked for: half the wetted threshold (chosen)."""

SIDE_WETNESS, FAINT_WETNESS, SIDE_NOISES = 0.6, 0.4, 6.0
"""Side spray is at least as wet as the first in its wettest tenth, and so many times the noise;
from the second on it is doubtful, below it shadow or paper (chosen: what the dry-paper model leaves
of shadows shows 0.3 to 0.5)."""

AT_EDGE: Final = 0.1
"""A patch with more than this share of its outline against the border of what can be judged runs
over it (chosen)."""

RIM_WEIGHT: Final = 0.05
"""Weight of a patch that touches that border in the choice of the central one (chosen: it is taken
only when nothing else comes near, for what lies along a border is as a rule its shadow)."""

LOW_LEVEL, LOW_NOISES = 0.12, 3.0
"""Where the outline breaks at the wetness threshold, it is drawn at this wetness, or at so many
times the noise (chosen: the fainter parts of streaky rings show 0.15 to 0.25)."""

FAR_SHARE: Final = 0.25
"""A patch that lies this share of the sheet's short side off the aim weighs half in the choice of
the central one (chosen: a spray that far off would miss the sheet from twice the height)."""

DROP_SHARE, ROUND_RATIO = 0.2, 1.2
"""Drops of a broken ring have at least the first share of the largest one's area, and spread across
the direction from the ring's middle by the second more than along it, in mean square (chosen: the
plumes of a nozzle with holes show 0.05 to 0.7)."""

WHOLE_SHARE: Final = 0.6
"""A piece with this share of the filled area of all is a whole patch by itself, and what hangs on
it by a faint bridge lies beside it; without such a piece the patch is broken (chosen: the largest
drop of a ring in drops has up to a half)."""

OPEN_SHARE: Final = 1 / 3
"""A patch is broken, too, when a hollow of more than this share of what is wet stays open
(chosen)."""


ARM_SHARE: Final = 0.3
"""What is narrower than twice this share of the patch's radius is an arm of it and may be the edge
of a shadow (chosen: such edges look 2 to 6 mm wide, patches are 10 to 70 mm across)."""

ARM_EXPLAINED: Final = 0.15
"""As `EXPLAINED` of a spot beside the patch, but stricter (chosen just above the 0.1 that simulated
shadows show): the paper between the fingers of a ragged spray is not dry all through."""

CLOSES_LEVEL, CLOSES_NOISES = 0.06, 1.5
"""Wetness of the more strongly blurred map, and so many times the noise, from which a hollow counts
as closed: the dry-paper model takes up about half of what is fainter than `LOW_LEVEL` (simulated
rings whose faint side is wet to 0.12 show 0.06 to 0.10 there)."""

JOIN_BLUR_MM: Final = 1.2
"""Blur in which patches are joined, as where they are found."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """The central patch and what lies beside it, as masks on the card's grid.

    Parameters
    ----------
    zone : (M, N) ndarray of bool
        Where cells of the central patch can lie: the patch, filled and grown a little.
    sides : tuple of (M, N) ndarray of bool
        Wet cells of each patch beside it, largest first.
    doubtful : tuple of (M, N) ndarray of bool
        The same, of patches that may be spray or shadow: faint ones, and those against the border
        of what can be judged.
    level : float
        Wetness at which its outline is drawn.
    box : (slice, slice)
        Rows and columns that hold the zone with room around it.
    at_edge : bool
        The central patch runs over the border of what can be judged.
    """

    zone: Mask
    sides: tuple[Mask, ...]
    doubtful: tuple[Mask, ...]
    level: float
    box: tuple[slice, slice]
    at_edge: bool


def find_patch(
    wet: WetnessMap,
    *,
    threshold: float,
    bridge_mm: float,
    near_mm: tuple[float, float] = (0.0, 0.0),
) -> Found:
    """Find the central patch: the patch with the widest and wettest outline, not far from the aim.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    threshold : float
        Wetness from which paper counts as wetted.
    bridge_mm : float
        Gaps up to twice this are closed when the outline is drawn.
    near_mm : (float, float)
        The aim, or the middle of the sheet.

    Raises
    ------
    SprayNotFoundError
        No wet patch that is large enough.
    """
    cell = wet.card.cell_mm
    patches = find_patches(wet, threshold=threshold, min_area_mm2=DROP_MM2)
    seen = [_Seen.of(wet, patch, threshold, near_mm) for patch in patches]
    main = max(seen, key=lambda one: one.score, default=None)
    if main is None or main.patch.area_mm2 < LEAST_AREA_MM2:
        found = 0.0 if main is None else main.patch.area_mm2
        raise SprayNotFoundError(
            "no-patch", stage="measurement", found_mm2=found, least_mm2=LEAST_AREA_MM2
        )
    own: list[_Seen] = [main]
    beside: list[_Seen] = []
    for one in seen:
        if one is not main:
            inside = math.dist(one.middle, main.middle) <= REACH * main.radius
            (own if inside else beside).append(one)
    low = max(LOW_LEVEL, LOW_NOISES * wet.noise)
    joined = np.zeros(wet.smooth.shape, np.uint8)
    if ring := _ring_of_drops(main, beside):
        own += ring
        beside = [one for one in beside if one not in ring]
        cells = np.concatenate([one.points for one in own])
        (x, y), radius = cv2.minEnclosingCircle(cells.astype(np.float32))
        rows, cols = wet.smooth.shape
        across, down = np.arange(cols) - x, np.arange(rows) - y
        joined[(np.hypot(across, down[:, None]) <= radius) & (wet.smooth >= low)] = 1
    for one in own:
        joined[one.patch.rows, one.patch.cols] = 1
    part = _part(wet, joined, threshold, bridge_mm / cell)
    grow = round(bridge_mm / cell)
    arms = _shadow_arms(wet, part.joined, threshold, bridge_mm / cell)
    part = replace(part, joined=part.joined & ~arms)
    zone = np.asarray(cv2.dilate(filled(part.joined), _disc(grow))).astype(bool) & wet.valid
    rest = (joined > 0) & ~zone & (wet.smooth >= threshold)
    others = [(_cells(rest, k), False) for k in _labels(rest)] if part.apart else []
    for one in beside:
        mask = np.zeros_like(zone)
        mask[one.patch.rows, one.patch.cols] = True
        others.append((mask & (wet.smooth >= threshold) & ~zone, one.patch.at_edge > 0))
    rim = _rim(wet.valid)
    seems_wet = wet.smooth >= threshold
    sides: dict[bool, list[Mask]] = {True: [], False: []}
    for mask, at_rim in sorted(others, key=lambda pair: -int(pair[0].sum())):
        if mask.sum() * cell**2 < DROP_MM2:
            continue
        wetness = float(np.percentile(wet.smooth[mask], 90))
        if wetness < max(FAINT_WETNESS, SIDE_NOISES * wet.noise):
            continue
        at_rim = at_rim or bool((mask & rim).any())
        if at_rim and wetness < SIDE_WETNESS:
            continue
        doubtful = at_rim or wetness < SIDE_WETNESS
        if doubtful and is_shadow_edge(wet, mask, seems_wet):
            continue
        sides[doubtful].append(mask)
    taken = np.logical_or.reduce([zone, seems_wet & (joined > 0), *sides[True], *sides[False]])
    sides[True] += _faint_spots(wet, taken, seems_wet)
    return Found(
        zone=zone,
        sides=tuple(sides[False]),
        doubtful=tuple(sides[True]),
        level=low if part.broken else threshold,
        box=_box(zone, grow + round(0.7 * main.radius)),
        at_edge=main.patch.at_edge > AT_EDGE and not part.apart,
    )


def _faint_spots(wet: WetnessMap, taken: Mask, seems_wet: Mask) -> list[Mask]:
    """Find fine drops beside the patch, which the map's filter has made too pale to count.

    Filtering spreads a drop and keeps its amount: the spot is given as many of its wettest cells as
    the amount would soak.
    """
    found = []
    for patch in find_patches(wet, threshold=FAINT_LEVEL, min_area_mm2=DROP_MM2):
        if patch.at_edge > 0 or taken[patch.rows, patch.cols].any():
            continue
        values = wet.smooth[patch.rows, patch.cols]
        if float(np.percentile(values, 90)) < max(FAINT_LEVEL, SIDE_NOISES * wet.noise):
            continue
        soaked = int(np.clip(values, 0, 1).sum())
        if soaked * wet.card.cell_mm**2 < DROP_MM2:
            continue
        spot = np.zeros_like(taken)
        spot[patch.rows, patch.cols] = True
        if is_shadow_edge(wet, spot, seems_wet | spot):
            continue
        wettest = np.argsort(values)[-soaked:]
        spot[:] = False
        spot[patch.rows[wettest], patch.cols[wettest]] = True
        found.append(spot)
    return found


def _ring_of_drops(main: _Seen, beside: list[_Seen]) -> list[_Seen]:
    """Find the patches that form one ring with the main one: a hollow spray gathered in streaks.

    The drops of a ring lie along it, the plumes of a nozzle with holes point away from its middle.
    """
    alike = [
        one
        for one in beside
        if one.patch.at_edge == 0
        and one.wetness >= SIDE_WETNESS
        and one.patch.area_mm2 >= DROP_SHARE * main.patch.area_mm2
    ]
    if len(alike) < 2 or main.patch.at_edge > 0:
        return []
    drops = [one.points.astype(float) for one in (main, *alike)]
    (x, y), _ = cv2.minEnclosingCircle(np.concatenate(drops).astype(np.float32))
    along = across = 0.0
    for points in drops:
        middle = points.mean(axis=0)
        out = (middle - (x, y)) / max(math.dist(middle, (x, y)), 1e-6)
        off = points - middle
        along += float(((off @ out) ** 2).sum())
        across += float(((off @ (-out[1], out[0])) ** 2).sum())
    return alike if across > ROUND_RATIO * along else []


@dataclass(frozen=True, kw_only=True, eq=False)
class _Part:
    """What of a faintly joined patch is the spray: its cells, and how it hangs together."""

    joined: Bytes
    broken: bool
    apart: bool


def _part(wet: WetnessMap, joined: Bytes, threshold: float, reach: float) -> _Part:
    """Take away what only a faint bridge joins to the patch: shadow at the border, a side jet."""
    closed = bridged((wet.smooth >= threshold) & (joined > 0), reach)
    rim = _rim(wet.valid)
    pieces = []
    for k in _labels(closed > 0):
        mask = _cells(closed > 0, k)
        pieces.append((float(filled(mask.astype(np.uint8)).sum()), bool((mask & rim).any()), mask))
    inner = [p for p in pieces if not p[1]]
    pieces = sorted(inner or pieces, key=lambda p: -p[0])
    if not pieces:
        return _Part(joined=joined, broken=False, apart=False)
    whole = pieces[0][0] >= WHOLE_SHARE * sum(p[0] for p in pieces)
    core = pieces[0][2] if whole else np.logical_or.reduce([p[2] for p in pieces])
    open_ = False
    for ring in (joined, joined | (_faint(wet) & _within(core, REACH))):
        hollow = filled(ring) & (ring == 0) & (filled(closed) == 0)
        if float(hollow.sum()) > OPEN_SHARE * float(core.sum()):
            # An arc whose faint rest closes the ring.
            joined, core, open_ = ring, ring > 0, True
            break
    broken = (not whole or open_) and max(LOW_LEVEL, LOW_NOISES * wet.noise) < threshold
    near = _within(core, REACH)
    kept = (joined * near).astype(np.uint8)
    apart = bool(((wet.smooth >= threshold) & (joined > kept)).any())
    return _Part(joined=kept if apart else joined, broken=broken, apart=apart)


def _shadow_arms(wet: WetnessMap, joined: Bytes, threshold: float, reach: float) -> Bytes:
    """Cells of the edge of a shadow that runs through the patch and looks like part of it."""
    seems_wet = wet.smooth >= threshold
    faint = wet.smooth >= LOW_LEVEL
    core = bridged(seems_wet & (joined > 0), reach)
    solid = filled(core)
    radius = math.sqrt(float(solid.sum()) / math.pi)
    wide = cv2.morphologyEx(solid, cv2.MORPH_OPEN, _disc(max(1, round(ARM_SHARE * radius))))
    # A little more than the opened patch: its rounded corners are no arms.
    wide = cv2.dilate(wide, _disc(max(1, round(reach))))
    arms = (solid > 0) & (wide == 0)
    out = np.zeros_like(joined)
    for k in _labels(arms):
        arm = _cells(arms, k)
        large = arm.sum() * wet.card.cell_mm**2 >= DROP_MM2
        if large and is_shadow_edge(wet, arm, faint, explained=ARM_EXPLAINED):
            out |= cv2.dilate(arm.astype(np.uint8), _disc(max(1, round(reach)))) & (wide == 0)
    return np.asarray(out, np.uint8)


def _faint(wet: WetnessMap) -> Bytes:
    """Cells that may close a ring."""
    blurred = cv2.GaussianBlur(wet.smooth, (0, 0), JOIN_BLUR_MM / wet.card.cell_mm)
    level = max(CLOSES_LEVEL, CLOSES_NOISES * wet.noise)
    return np.asarray((blurred >= level) & wet.valid, np.uint8)


def _within(core: Mask, reach: float) -> Mask:
    """Cells within so many radii of the middle of the circle around the core."""
    (x, y), radius = cv2.minEnclosingCircle(
        np.column_stack(np.nonzero(core)[::-1]).astype(np.float32)
    )
    across, down = np.arange(core.shape[1]) - x, np.arange(core.shape[0]) - y
    return np.asarray(np.hypot(across, down[:, None]) <= reach * radius)


def _rim(valid: Mask) -> Mask:
    """Cells next to the border of what can be judged."""
    inner = cv2.erode(valid.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0)
    return np.asarray(valid & (inner == 0))


def _labels(mask: Mask) -> range:
    return range(1, cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)[0])


def _cells(mask: Mask, k: int) -> Mask:
    return np.asarray(cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)[1] == k)


def bridged(mask: Mask, reach: float) -> Bytes:
    """Close gaps of up to twice ``reach`` cells, ``(M, N)`` uint8."""
    n = max(1, math.ceil(reach))
    # Padded, because closing at the border of a picture would otherwise eat what lies there.
    wide = np.pad(mask.astype(np.uint8), n)
    closed: Bytes = np.asarray(cv2.morphologyEx(wide, cv2.MORPH_CLOSE, _disc(n)), np.uint8)
    return closed[n:-n, n:-n].copy()


def filled(mask: Bytes) -> Bytes:
    """Fill the holes of a mask, ``(M, N)`` uint8."""
    pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(mask)
    cv2.drawContours(out, pieces, -1, 1, cv2.FILLED)
    return np.asarray(out | mask, np.uint8)


def outline_of(smooth: FloatMap, zone: Mask, level: float, reach: float) -> Mask:
    """Filled outline of the patch, for any map on the zone's grid."""
    return filled(bridged((smooth >= level) & zone, reach)).astype(bool)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """A wet patch with what the choice goes by; lengths in cells."""

    patch: Patch
    points: NDArray[np.int32]
    middle: tuple[float, float]
    radius: float
    wetness: float
    score: float

    @classmethod
    def of(
        cls, wet: WetnessMap, patch: Patch, threshold: float, near_mm: tuple[float, float]
    ) -> _Seen:
        values = wet.smooth[patch.rows, patch.cols]
        inside = values >= threshold
        points = np.column_stack([patch.cols[inside], patch.rows[inside]]).astype(np.int32)
        hull = cv2.convexHull(points)
        (x, y), radius = cv2.minEnclosingCircle(hull)
        wetness = float(np.percentile(values[inside], 90))
        # Shadow covers much and darkens little: its square tells the two apart.
        away = math.dist(wet.card.to_mm(np.array([[x, y]]))[0], near_mm)
        far = away / (FAR_SHARE * min(wet.card.size_mm))
        score = (cv2.contourArea(hull) + 1.0) * min(wetness, 1.0) ** 2 / (1 + far**2)
        return cls(
            patch=patch,
            points=points,
            middle=(float(x), float(y)),
            radius=float(radius),
            wetness=wetness,
            score=score * (RIM_WEIGHT if patch.at_edge > 0 else 1.0),
        )


def _box(zone: Mask, room: int) -> tuple[slice, slice]:
    rows, cols = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    return (
        slice(max(0, int(rows[0]) - room), int(rows[-1]) + room + 1),
        slice(max(0, int(cols[0]) - room), int(cols[-1]) + room + 1),
    )


def _disc(radius: int) -> Bytes:
    size = (2 * radius + 1, 2 * radius + 1)
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, size), np.uint8)
