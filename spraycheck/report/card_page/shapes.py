"""What a card is drawn with."""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.card.target import Box


@dataclass(frozen=True, kw_only=True)
class Rect:
    """A filled rectangle."""

    box: Box
    grey: float


@dataclass(frozen=True, kw_only=True)
class Polyline:
    """A line of a given pen width, round joined."""

    points: tuple[tuple[float, float], ...]
    width_mm: float
    grey: float


@dataclass(frozen=True, kw_only=True)
class Polygon:
    """A filled shape."""

    points: tuple[tuple[float, float], ...]
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
