"""Where labels go: beside what they describe, never on a plume and never on one another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.report.overlay.pen import Box, Points

_TURNS = np.radians([0, 12, -12, 25, -25, 40, -40, 60, -60, 80, -80, 100, -100])
_STEPS = np.array([0.0, 1.0, 2.0, 3.0, 4.5, 6.0, 8.0, 11.0])
"""Places around an anchor: turned against the ray outward, and farther out in gaps."""

_CELL_PX = 6
"""Side of a cell of the obstacle raster: fine beside a label, coarse enough to be quick."""


@dataclass(frozen=True, kw_only=True)
class Request:
    """A label that wants a place.

    Parameters
    ----------
    width, height : float
        Of its box, in pixels.
    anchor : (float, float)
        The point it belongs to, in pixels: the outer end of a plume.
    away : (float, float)
        Unit vector from the nozzle centre through the anchor.
    """

    width: float
    height: float
    anchor: tuple[float, float]
    away: tuple[float, float]


class Obstacles:
    """What labels must keep off, as a coarse raster of the picture."""

    def __init__(self, width: int, height: int) -> None:
        self._mask = np.zeros((height // _CELL_PX + 1, width // _CELL_PX + 1), np.uint8)
        self._sums: NDArray[np.int32] | None = None  # of the mask, until something is added

    def add_polygon(self, points: Points, margin_px: float = 0.0) -> None:
        """Add an area, widened by a margin."""
        pts = np.asarray(points, float)
        pts = pts[np.isfinite(pts).all(axis=1)]
        if len(pts) == 0:
            return
        self._sums = None
        cells = np.round(np.clip(pts, -2e4, 2e4) / _CELL_PX).astype(np.int32)[:, None]
        cv2.fillPoly(self._mask, [cells], 1)
        thick = max(1, round(2 * margin_px / _CELL_PX))
        cv2.polylines(self._mask, [cells], True, 1, thick)

    def covered(self, centres: Points, width: float, height: float) -> NDArray[np.float64]:
        """Return for boxes of one size the share of each that lies on obstacles."""
        if self._sums is None:
            self._sums = np.asarray(cv2.integral(self._mask), np.int32)
        table = self._sums
        rows, cols = self._mask.shape
        half = np.array([width, height]) / 2
        low = np.floor((centres - half) / _CELL_PX).astype(int)
        high = np.ceil((centres + half) / _CELL_PX).astype(int)
        x0, x1 = np.clip(low[:, 0], 0, cols), np.clip(high[:, 0], 0, cols)
        y0, y1 = np.clip(low[:, 1], 0, rows), np.clip(high[:, 1], 0, rows)
        total = table[y1, x1] - table[y0, x1] - table[y1, x0] + table[y0, x0]
        return np.asarray(total / np.maximum(1, (high - low).prod(axis=1)))


def place_labels(
    requests: Sequence[Request],
    obstacles: Obstacles,
    width: int,
    height: int,
    *,
    taken: Sequence[Box] = (),
    gap: float,
) -> list[Box]:
    """Find a box for every label.

    Parameters
    ----------
    requests : sequence of Request
        Most important first: each keeps its place against later ones.
    obstacles : Obstacles
        Plumes and marks to keep off; a label covers some of one only if nothing else is left.
    width, height : int
        Of the picture; every box lies inside.
    taken : sequence of Box
        Places already given away.
    gap : float
        Free pixels wanted between boxes, and between a label and its plume.

    Returns
    -------
    list of Box
        In the order of the requests. Two boxes never overlap while the picture has room.

    Notes
    -----
    Places are tried along the ray beyond the plume's end first, then turned to its sides, then
    anywhere on a grid; the nearest free one wins.
    """
    placed: list[Box] = []
    for request in requests:
        boxes = [*taken, *placed]
        near = _around(request, gap)
        best = _cheapest(request, near, obstacles, boxes, width, height, gap)
        if best is None:
            across, down = np.meshgrid(
                np.arange(0, width, 2 * _CELL_PX), np.arange(0, height, 2 * _CELL_PX)
            )
            grid = np.column_stack([across.ravel(), down.ravel()]).astype(float)
            best = _cheapest(request, grid, obstacles, boxes, width, height, gap, patient=True)
        if best is None:
            # No free place at all: stay beside the plume, inside the picture.
            best = _held(near[:1], request, width, height)[0]
        half_w, half_h = request.width / 2, request.height / 2
        x, y = float(best[0]), float(best[1])
        placed.append(Box(x - half_w, y - half_h, x + half_w, y + half_h))
    return placed


def _around(request: Request, gap: float) -> Points:
    """Return places to try around the anchor: outward first, then turned to both sides."""
    ex, ey = request.away
    way = math.atan2(ey, ex) + _TURNS
    dx, dy = np.cos(way), np.sin(way)
    # From the box's middle to its edge along this way, so that it just touches the anchor.
    inner = np.minimum(
        request.width / 2 / np.maximum(1e-9, np.abs(dx)),
        request.height / 2 / np.maximum(1e-9, np.abs(dy)),
    )
    r = inner[:, None] + gap * (1 + _STEPS)
    x, y = request.anchor
    return np.stack([x + dx[:, None] * r, y + dy[:, None] * r], axis=2).reshape(-1, 2)


def _held(places: Points, request: Request, width: int, height: int) -> Points:
    # A little inside the picture, so that a label's border shows whole.
    half = np.array([request.width, request.height]) / 2 + 0.004 * width
    # A picture narrower than the label keeps the label's left end.
    upper = np.maximum(half, np.array([width, height]) - half)
    return np.clip(places, half, upper)


def _cheapest(
    request: Request,
    places: Points,
    obstacles: Obstacles,
    boxes: Sequence[Box],
    width: int,
    height: int,
    gap: float,
    *,
    patient: bool = False,
) -> Points | None:
    """Return the nearest place free of labels and (unless ``patient``) of obstacles, if any."""
    held = _held(places, request, width, height)
    free = np.ones(len(held), bool)
    half = np.array([request.width, request.height]) / 2 + gap / 2
    for box in boxes:
        apart = (
            (held[:, 0] + half[0] <= box.left)
            | (held[:, 0] - half[0] >= box.right)
            | (held[:, 1] + half[1] <= box.top)
            | (held[:, 1] - half[1] >= box.bottom)
        )
        free &= apart
    cover = obstacles.covered(held, request.width + gap, request.height + gap)
    if not patient:
        free &= cover <= 0
    if not free.any():
        return None
    # Close to the anchor first, then close to the ray, so that a label reads as its plume's own.
    step = held - np.array(request.anchor)
    beside = np.maximum(0.0, np.abs(step) - np.array([request.width, request.height]) / 2)
    ex, ey = request.away
    sideways = np.abs(step[:, 0] * ey - step[:, 1] * ex)
    cost = np.hypot(*beside.T) + 0.25 * sideways + 4.0 * width * cover
    cost[~free] = np.inf
    return np.asarray(held[int(np.argmin(cost))])
