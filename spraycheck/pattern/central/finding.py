"""Which wet cells are the central patch, and which lie beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np

from spraycheck.errors import SprayNotFoundError
from spraycheck.pattern.containers import FloatMap, Mask, WetnessMap

REACH: Final = 1.15
"""Separate wet spots within this many radii of the patch's middle belong to it (chosen: thrown
drops land around the rim, side spray does not)."""

LEAST_AREA_MM2: Final = 12.0
"""A smaller patch cannot be judged: below 4 mm across soaking and paper rule its shape (chosen)."""

DROP_MM2: Final = 2.0
"""Smaller wet spots beside the patch are thrown drops (a drop of 0.4 mm leaves about 1 mm2)."""

SIDE_WETNESS: Final = 0.6
"""Side spray is at least this wet in its wettest tenth; fainter ones are shadow or paper (chosen:
corners of shadow left over by the dry-paper model show 0.3 to 0.5)."""

RIM_SHARE: Final = 0.1
"""What has more than this share of its outline against the border of what can be judged runs over
it (chosen; a corner of shadow has more, a spray beside the border less)."""

_LIKELIHOOD_AT_RIM: Final = 0.1
"""Weight of a patch at the border in the choice of the central one (chosen: it is taken only when
nothing else is nearly as large, for what lies along a border is as a rule its shadow)."""


@dataclass(frozen=True, kw_only=True)
class Found:
    """The central patch and what lies beside it, as masks on the card's grid.

    Parameters
    ----------
    zone : (M, N) ndarray of bool
        Where cells of the central patch can lie: the patch, bridged, filled and grown a little.
    sides : tuple of (M, N) ndarray of bool
        Wet cells of each patch beside it, largest first.
    doubtful : tuple of (M, N) ndarray of bool
        The same, of patches that lie against the border of what can be judged: side spray that
        runs over it, or the border's own shadow.
    box : (slice, slice)
        Rows and columns that hold the zone with room around it.
    at_edge : bool
        The central patch runs over the border of what can be judged.
    """

    zone: Mask
    sides: tuple[Mask, ...]
    doubtful: tuple[Mask, ...]
    box: tuple[slice, slice]
    at_edge: bool


def find_central(wet: WetnessMap, *, threshold: float, bridge_mm: float) -> Found:
    """Find the central patch: the wet patch whose filled outline is the largest.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    threshold : float
        Wetness from which paper counts as wetted.
    bridge_mm : float
        Gaps up to twice this do not part a patch.

    Raises
    ------
    SprayNotFoundError
        No wet patch that is large enough.
    """
    cell = wet.card.cell_mm
    seen = (wet.smooth >= threshold) & wet.valid
    joined = bridged(seen, bridge_mm / cell)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    rim = cv2.erode(wet.valid.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0
    pieces = [_piece(labels, stats, k, seen, rim) for k in range(1, count)]
    pieces = [p for p in pieces if p.wet_cells > 0]
    size = [p.filled_cells * (_LIKELIHOOD_AT_RIM if p.at_rim else 1.0) for p in pieces]
    main = pieces[int(np.argmax(size))] if pieces else None
    if main is None or main.wet_cells * cell**2 < LEAST_AREA_MM2:
        found = 0.0 if main is None else main.wet_cells * cell**2
        raise SprayNotFoundError(
            f"no central patch found: the largest wet patch has {found:.0f} mm2, expected at least "
            f"{LEAST_AREA_MM2:.0f}",
            stage="measurement",
            hint="check that this is the sprayed side; spray a fresh card with a full stroke",
        )
    middle, reach = main.middle, REACH * main.extent / 2
    own, sides = [main], []
    for piece in pieces:
        if piece is main:
            continue
        if math.dist(piece.centroid, middle) <= reach:
            own.append(piece)
        elif piece.wet_cells * cell**2 >= DROP_MM2:
            sides.append(piece)
    zone = filled(np.isin(labels, [p.label for p in own]).astype(np.uint8))
    grow = round(bridge_mm / cell)
    zone = np.asarray(cv2.dilate(zone, _disc(grow)))
    masks = {True: [], False: []}  # type: dict[bool, list[Mask]]
    for piece in sorted(sides, key=lambda p: -p.wet_cells):
        mask = (labels == piece.label) & seen & (zone == 0)
        if mask.any() and float(np.percentile(wet.smooth[mask], 90)) >= SIDE_WETNESS:
            masks[piece.touches_rim].append(mask)
    return Found(
        zone=zone.astype(bool) & wet.valid,
        sides=tuple(masks[False]),
        doubtful=tuple(masks[True]),
        box=_box(zone, round(0.35 * main.extent) + 2 * grow),
        at_edge=main.at_rim,
    )


def bridged(mask: Mask, reach: float) -> np.ndarray:
    """Close gaps of up to twice ``reach`` cells, ``(M, N)`` uint8."""
    n = max(1, math.ceil(reach))
    # Padded, because closing at the border of a picture would otherwise eat what lies there.
    wide = np.pad(mask.astype(np.uint8), n)
    return np.asarray(cv2.morphologyEx(wide, cv2.MORPH_CLOSE, _disc(n)))[n:-n, n:-n].copy()


def filled(mask: np.ndarray) -> np.ndarray:
    """Fill the holes of a mask, ``(M, N)`` uint8."""
    pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    out = np.zeros_like(mask)
    cv2.drawContours(out, pieces, -1, 1, cv2.FILLED)
    return np.asarray(out | mask)


def body_of(smooth: FloatMap, zone: Mask, threshold: float, reach: float) -> tuple[Mask, Mask]:
    """Wet cells of the patch, and its filled outline, for any map on the zone's grid."""
    wet = (smooth >= threshold) & zone
    return wet, filled(bridged(wet, reach)).astype(bool)


@dataclass(frozen=True, kw_only=True)
class _Piece:
    label: int
    wet_cells: int
    filled_cells: float
    at_rim: bool
    touches_rim: bool
    middle: tuple[float, float]
    extent: float
    centroid: tuple[float, float]


def _piece(labels: np.ndarray, stats: np.ndarray, k: int, seen: Mask, rim: Mask) -> _Piece:
    left, top, width, height = (int(v) for v in stats[k, :4])
    box = np.s_[top : top + height, left : left + width]
    mine = labels[box] == k
    rows, cols = np.nonzero(mine & seen[box])
    outline, _ = cv2.findContours(mine.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    length = sum(len(o) for o in outline)
    against = int((mine & rim[box]).sum())
    return _Piece(
        label=k,
        wet_cells=len(rows),
        filled_cells=sum(cv2.contourArea(o) for o in outline),
        at_rim=against > max(2.0, RIM_SHARE * length),
        touches_rim=against > 2,
        middle=(top + (height - 1) / 2, left + (width - 1) / 2),
        extent=float(max(width, height)),
        centroid=(float(rows.mean()) + top, float(cols.mean()) + left)
        if len(rows)
        else (math.inf, math.inf),
    )


def _box(zone: np.ndarray, room: int) -> tuple[slice, slice]:
    rows, cols = np.flatnonzero(zone.any(axis=1)), np.flatnonzero(zone.any(axis=0))
    return (
        slice(max(0, int(rows[0]) - room), int(rows[-1]) + room + 1),
        slice(max(0, int(cols[0]) - room), int(cols[-1]) + room + 1),
    )


def _disc(radius: int) -> np.ndarray:
    return np.asarray(
        cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    )
