"""What target cards and sketches are drawn with: one list of shapes for every way to draw it.

``x`` right, ``y`` down, about an origin of the drawing's own; greys run from 0, black, to 1, paper.
"""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.card.target import Box

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Rect:
    """A filled rectangle."""

    box: Box
    grey: float


@dataclass(frozen=True, kw_only=True)
class Polyline:
    """A line of a given pen width, round joined; dashed where ``dashes`` says how."""

    points: Points
    width: float
    grey: float
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Polygon:
    """A filled closed outline."""

    points: Points
    grey: float


@dataclass(frozen=True, kw_only=True)
class Words:
    """A line of text on its baseline.

    Parameters
    ----------
    x_mm, y_mm : float
        Where the baseline starts (align 0), has its middle (0.5) or ends (1).
    text : str
        One line.
    size_pt : float
        Type size.
    bold : bool
        Weight.
    grey : float
        0 black.
    align : float
        See above.
    upright : bool
        Turned a quarter to the left: reads from bottom to top.
    """

    x_mm: float
    y_mm: float
    text: str
    size_pt: float
    bold: bool = False
    grey: float = 0.0
    align: float = 0.0
    upright: bool = False


Shape = Rect | Polyline | Polygon | Words
