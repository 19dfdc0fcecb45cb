"""How states, marks and verdicts look: word, sign, line and colour, none on colour alone.

The colours lie near the set of Okabe and Ito (2008, "Color universal design", from memory),
lightened so that each stands out from its dark casing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from spraycheck.report.overlay.pen import INK, PAPER, Colour, Pen, circle


@dataclass(frozen=True)
class Style:
    """The look of one state or mark.

    Parameters
    ----------
    word : str
        The state in words.
    sign : str
        A key of `draw_sign`.
    colour : Colour
        Of the outline's core and the label's border.
    width : float
        Of the outline, in units.
    dash : tuple of float
        Of the outline, in units; empty is solid.
    alarm : bool
        Light letters on a dark label; the other way round when nothing is wrong.
    """

    word: str
    sign: str
    colour: Colour
    width: float
    dash: tuple[float, ...]
    alarm: bool


STYLES: Final[dict[str, Style]] = {
    "clear": Style("clear", "tick", (125, 222, 255), 0.36, (), False),
    "weak": Style("weak", "down", (255, 190, 55), 0.45, (2.4, 1.3), True),
    "heavy": Style("heavy", "up", (255, 225, 80), 0.95, (), True),
    "blocked": Style("blocked", "cross", (255, 112, 67), 0.45, (0.9, 0.9), True),
    "off-line": Style("off-line", "turn", (240, 150, 255), 0.45, (4.5, 1.0, 0.8, 1.0), True),
    "misshapen": Style("misshapen", "lozenge", (255, 160, 200), 0.45, (1.6, 0.7), True),
    "unsure": Style("unsure", "query", (245, 245, 245), 0.45, (0.5, 1.1), False),
    "stray": Style("stray", "star", (190, 255, 120), 0.45, (1.2, 0.8, 0.4, 0.8), True),
    "drip": Style("drip", "drop", (245, 245, 245), 0.40, (), False),
}


@dataclass(frozen=True)
class Badge:
    """The look of one verdict: word, sign, background and letters."""

    word: str
    sign: str
    back: Colour
    ink: Colour


BADGES: Final[dict[str, Badge]] = {
    "pass": Badge("PASS", "tick", (0, 122, 102), PAPER),
    "fail": Badge("FAIL", "cross", (140, 18, 10), PAPER),
    "recheck": Badge("RECHECK", "query", (250, 196, 66), INK),
}


def draw_sign(pen: Pen, name: str, x: float, y: float, size: float, colour: Colour) -> None:
    """Draw a sign centred on (x, y), about ``size`` units high, without casing."""
    s = size * pen.unit / 2
    at = np.array([x, y])

    def path(*points: tuple[float, float]) -> np.ndarray:
        return at + s * np.array(points)

    width = size * 0.17
    if name == "tick":
        pen.line(path((-0.8, 0.1), (-0.25, 0.7), (0.85, -0.7)), colour, width, casing=0)
    elif name == "cross":
        pen.line(path((-0.7, -0.7), (0.7, 0.7)), colour, width, casing=0)
        pen.line(path((-0.7, 0.7), (0.7, -0.7)), colour, width, casing=0)
    elif name == "down":
        pen.fill(path((-0.85, -0.6), (0.85, -0.6), (0.0, 0.8)), colour)
    elif name == "up":
        pen.fill(path((-0.85, 0.6), (0.85, 0.6), (0.0, -0.8)), colour)
    elif name == "turn":
        pen.line(path((-0.75, 0.85), (-0.75, -0.25), (0.2, -0.25)), colour, width, casing=0)
        pen.fill(path((0.1, -0.85), (0.95, -0.25), (0.1, 0.35)), colour)
    elif name == "star":
        for a in (0, 60, 120):
            dx, dy = np.cos(np.radians(a)) * 0.85, np.sin(np.radians(a)) * 0.85
            pen.line(path((-dx, -dy), (dx, dy)), colour, width, casing=0)
    elif name == "drop":
        pen.fill(
            np.vstack([path((0.0, -1.0)), circle(x, y + 0.25 * s, 0.62 * s, 24)[4:21]]), colour
        )
    elif name == "lozenge":
        pen.line(
            path((0, -0.95), (0.7, 0), (0, 0.95), (-0.7, 0)), colour, width, closed=True, casing=0
        )
    elif name == "query":
        pen.text(x, y, "?", colour, size * 1.15, weight=800, align=0.5)
    else:
        raise KeyError(name)


def draw_badge(pen: Pen, badge: Badge, x: float, y: float, size: float) -> None:
    """Draw a verdict's sign in its frame: round for pass, eight-sided for fail, else a triangle."""
    r = size * pen.unit / 2
    if badge.sign == "tick":
        frame = circle(x, y, r)
    elif badge.sign == "cross":
        a = np.radians(np.arange(8) * 45 + 22.5)
        frame = np.column_stack([x + r * np.cos(a), y + r * np.sin(a)])
    else:
        frame = np.array([[x, y - r], [x + 1.08 * r, y + 0.85 * r], [x - 1.08 * r, y + 0.85 * r]])
    pen.fill(frame, badge.ink)
    inner = 0.62 if badge.sign != "query" else 0.5
    low = 0.2 * r if badge.sign == "query" else 0.0
    draw_sign(pen, badge.sign, x, y + low, size * inner, badge.back)
