"""PhotoDrawing that stays readable on any background: every stroke and letter has a casing.

Sizes are in units of one hundredth of the picture's width, so that what is readable on a phone is
readable at any pixel count. Positions are in pixels.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.report.looks import INK, PAPER, Colour

__all__ = ["INK", "PAPER", "Box", "Colour", "Pen", "Points", "circle"]

Points = NDArray[np.floating]

_SHIFT = 4  # sub-pixel bits of OpenCV's drawing functions
_CAP_HEIGHT = 0.70  # of the type size; measured on OpenCV's built-in sans face


@functools.cache
def _face() -> cv2.FontFace:
    # OpenCV's built-in face: no font file has to exist on the user's machine.
    return cv2.FontFace("sans")


@functools.lru_cache(maxsize=512)
def _measure(text: str, size_px: int, weight: int) -> int:
    x, _, width, _ = cv2.getTextSize((0, 0), text, (0, 0), _face(), size_px, weight)
    return int(x + width)


@dataclass(frozen=True)
class Box:
    """A rectangle in pixels, edges included on the left and top only."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def centre(self) -> tuple[float, float]:
        """Its middle."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def overlaps(self, other: Box) -> bool:
        """Tell whether the two share an area."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def shifted(self, x: float, y: float) -> Box:
        """Return it moved by (x, y)."""
        return Box(self.left + x, self.top + y, self.right + x, self.bottom + y)


@dataclass(frozen=True)
class Pen:
    """Draws onto an RGB image in place.

    Parameters
    ----------
    image : (H, W, 3) ndarray of uint8
        Contiguous, writeable.
    unit : float
        Pixels per drawing unit.
    """

    image: NDArray[np.uint8]
    unit: float

    def _px(self, units: float) -> int:
        return max(1, round(units * self.unit))

    def line(
        self,
        points: Points,
        colour: Colour,
        width: float,
        *,
        dash: Sequence[float] = (),
        closed: bool = False,
        casing: float = 0.25,
        cased_in: Colour = INK,
    ) -> None:
        """Draw a polyline, solid or dashed, with a casing on both sides.

        Parameters
        ----------
        points : (K, 2) ndarray of float64
            In pixels; non-finite ones break the line.
        colour, cased_in : Colour
            Of the core and of the casing.
        width, casing : float
            In units; casing 0 draws none.
        dash : sequence of float
            Lengths drawn and left out in turn, in units; empty for a solid line.
        closed : bool
            Join the last point to the first.
        """
        pts = np.asarray(points, float).reshape(-1, 2)
        pts = pts[np.isfinite(pts).all(axis=1)]
        if len(pts) < 2:
            return
        if closed and dash:
            pts = np.vstack([pts, pts[:1]])
        pieces = _dashes(pts, [d * self.unit for d in dash], 4 if closed else 1) if dash else [pts]
        # 16.4 fixed point must fit an int32 in OpenCV: far-away points are held at a border.
        fixed = [
            np.round(np.clip(p, -2e4, 2e4) * 2**_SHIFT).astype(np.int32)[:, None] for p in pieces
        ]
        join = closed and not dash
        if casing > 0:
            thick = self._px(width) + 2 * self._px(casing)
            cv2.polylines(self.image, fixed, join, cased_in, thick, cv2.LINE_AA, _SHIFT)
        cv2.polylines(self.image, fixed, join, colour, self._px(width), cv2.LINE_AA, _SHIFT)

    def flood(self, colour: Colour) -> None:
        """Fill the whole image."""
        # Five times quicker than assigning the colour through NumPy.
        cv2.rectangle(self.image, (0, 0), self.image.shape[1::-1], colour, cv2.FILLED)

    def fill(self, points: Points, colour: Colour) -> None:
        """Fill a polygon given in pixels."""
        fixed = np.round(np.asarray(points, float) * 2**_SHIFT).astype(np.int32)
        cv2.fillPoly(self.image, [fixed[:, None]], colour, cv2.LINE_AA, _SHIFT)

    def text_width(self, text: str, size: float, weight: int = 600) -> float:
        """Return the width of a text in pixels."""
        return _measure(text, self._px(size), weight)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        colour: Colour,
        size: float,
        *,
        weight: int = 600,
        align: float = 0.0,
    ) -> None:
        """Write a text with capitals centred on ``y``; ``align`` 0 left, 0.5 centred, 1 right."""
        left = x - align * self.text_width(text, size, weight)
        baseline = y + _CAP_HEIGHT * size * self.unit / 2
        at = (round(left), round(baseline))
        cv2.putText(self.image, text, at, colour, _face(), self._px(size), weight)

    def panel(
        self, box: Box, fill: Colour, border: Colour, *, width: float = 0.25, radius: float = 1.0
    ) -> None:
        """Draw a filled rectangle with rounded corners and a border."""
        r = min(radius * self.unit, (box.bottom - box.top) / 2)
        corners = [
            (box.right - r, box.top + r, -90),
            (box.right - r, box.bottom - r, 0),
            (box.left + r, box.bottom - r, 90),
            (box.left + r, box.top + r, 180),
        ]
        turn = np.linspace(0, 90, 7)
        outline = np.vstack(
            [
                np.column_stack(
                    [x + r * np.cos(np.radians(a + turn)), y + r * np.sin(np.radians(a + turn))]
                )
                for x, y, a in corners
            ]
        )
        self.fill(outline, fill)
        self.line(outline, border, width, closed=True, casing=0)


def circle(x: float, y: float, radius: float, count: int = 64) -> Points:
    """Return ``count`` points on a circle, clockwise from the top."""
    a = np.linspace(0, 2 * math.pi, count, endpoint=False)
    return np.column_stack([x + radius * np.sin(a), y - radius * np.cos(a)])


def _dashes(points: Points, pattern: Sequence[float], least: int) -> list[Points]:
    """Cut a polyline into the drawn pieces of a dash pattern (lengths in pixels).

    The pattern is stretched so that whole periods fit (closed outlines then show no seam), and
    shrunk where fewer than ``least`` would, so that a small outline still reads as dashed.
    """
    step = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(step)])
    total = along[-1]
    period = sum(pattern)
    if total <= 0 or period <= 0 or total / period > 2000:
        return [points]
    stretch = total / period / max(least, round(total / period))
    edges = np.cumsum([0.0, *(p * stretch for p in pattern)])
    starts = np.arange(0.0, total - 1e-9, edges[-1])[:, None]
    begin = (starts + edges[:-1:2]).ravel()
    end = np.minimum(starts + edges[1::2], total).ravel()
    heads, tails = (
        np.column_stack([np.interp(at, along, points[:, i]) for i in (0, 1)]) for at in (begin, end)
    )
    first = np.searchsorted(along, begin, side="right")
    last = np.searchsorted(along, end, side="left")
    return [
        np.vstack([head, points[a:b], tail])
        for head, tail, a, b in zip(heads, tails, first, last, strict=True)
    ]
