"""How the signs of states and verdicts are drawn; which one belongs to what stands in `looks`."""

from __future__ import annotations

import numpy as np

from spraycheck.report.looks import Badge, Colour
from spraycheck.report.overlay.pen import Pen, circle


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
