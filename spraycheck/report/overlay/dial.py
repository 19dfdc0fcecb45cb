"""The dials of the strip below the photo: directions of plumes, or fluid by direction."""

from __future__ import annotations

import math

import numpy as np

from spraycheck.judge.result import HoleState, Outcome, Result
from spraycheck.report.looks import LOOKS, OUTCOME_LOOKS, Sight
from spraycheck.report.model.holes import pattern_fits, shared_plumes
from spraycheck.report.overlay.pen import PAPER, Box, Colour, Pen, circle
from spraycheck.report.overlay.signs import draw_sign
from spraycheck.report.words.sentences import say

BACK: Colour = (27, 32, 38)
DIM: Colour = (176, 186, 196)
RING: Colour = (96, 108, 120)


def draw_dial(pen: Pen, result: Result, x: float, y: float) -> list[tuple[str, Box]]:
    """Draw expected and measured directions; return words and boxes of the holes' numbers."""
    u = pen.unit
    ring = 12.5 * u
    pen.line(circle(x, y, ring, 96), RING, 0.35, closed=True, casing=0)
    for hour in range(12):
        s, c = math.sin(math.radians(30 * hour)), math.cos(math.radians(30 * hour))
        inner = ring - (1.3 if hour % 3 == 0 else 0.7) * u
        mark = np.array([[x + inner * s, y - inner * c], [x + ring * s, y - ring * c]])
        pen.line(mark, RING, 0.35, casing=0)
    rows = result.catalogue
    holes = result.holes if pattern_fits(result) else ()
    shared = shared_plumes(result)
    numbers: list[tuple[str, Box]] = []
    for row in range(len(rows)):  # strays and plumes without a hole, first, below the others
        if not any(h.plume == row + 1 for h in holes):
            stray = row + 1 in result.strays
            look = LOOKS[Sight.STRAY if stray else HoleState.UNSURE]
            _arrow(pen, x, y, float(rows.direction_deg[row]), 0.8 * ring, look.colour, look.dash)
    for hole in holes:
        look = LOOKS[hole.state]
        tick = _at(x, y, hole.expected_deg, np.array([0.93, 1.1]) * ring)
        pen.line(tick, PAPER, 0.6, casing=0.3, cased_in=BACK)
        if hole.plume is None:
            ray = _at(x, y, hole.expected_deg, np.array([0.15, 0.62]) * ring)
            pen.line(ray, look.colour, 0.45, dash=(0.7, 0.8), casing=0)
            at = _at(x, y, hole.expected_deg, np.array([0.76 * ring]))[0]
            draw_sign(pen, look.sign, at[0], at[1], 2.6, look.colour)
        else:
            alone = math.isfinite(hole.area_ratio) and hole.plume not in shared
            ratio = hole.area_ratio if alone else 1.0
            length = ring * 0.86 * min(1.15, max(0.3, ratio))
            direction = float(rows.direction_deg[hole.plume - 1])
            _arrow(pen, x, y, direction, length, look.colour, look.dash)
        number = str(hole.hole)
        at = _at(x, y, hole.expected_deg, np.array([1.29 * ring]))[0]
        half = 0.5 * pen.text_width(number, 3.2)
        pen.text(at[0], at[1], number, PAPER, 3.2, align=0.5)
        numbers.append((number, Box(at[0] - half, at[1] - 1.2 * u, at[0] + half, at[1] + 1.2 * u)))
    head = np.array(
        [[x, y - ring + 0.2 * u], [x - u, y - ring + 2.0 * u], [x + u, y - ring + 2 * u]]
    )
    pen.line(head, BACK, 0.6, closed=True, casing=0)
    pen.fill(head, DIM)
    pen.text(x, y - 1.53 * ring, say("twelve"), DIM, 2.7, align=0.5)
    pen.fill(circle(x, y, 0.6 * u, 16), PAPER)
    return numbers


def _at(x: float, y: float, direction_deg: float, radius: np.ndarray) -> np.ndarray:
    a = math.radians(direction_deg)
    return np.column_stack([x + radius * math.sin(a), y - radius * math.cos(a)])


def _arrow(
    pen: Pen,
    x: float,
    y: float,
    direction_deg: float,
    length: float,
    colour: Colour,
    dash: tuple[float, ...],
) -> None:
    """Draw a measured direction; the longer, the more it wets."""
    u = pen.unit
    a = math.radians(direction_deg)
    out, side = np.array([math.sin(a), -math.cos(a)]), np.array([math.cos(a), math.sin(a)])
    at = np.array([x, y])
    shaft = np.array([at + out * 1.2 * u, at + out * (length - 1.8 * u)])
    pen.line(shaft, colour, 0.6, dash=dash, casing=0)
    base = at + out * (length - 2.2 * u)
    pen.fill(np.array([at + out * length, base + side * 1.1 * u, base - side * 1.1 * u]), colour)


def draw_rose(pen: Pen, result: Result, x: float, y: float) -> None:
    """Draw how much fluid lies in each direction, against the mean as a ring."""
    u = pen.unit
    ring = 8.6 * u
    pen.line(circle(x, y, ring, 96), RING, 0.35, closed=True, casing=0)
    pen.line(circle(x, y, 1.5 * ring, 96), RING, 0.2, closed=True, casing=0)
    turn = np.radians(
        (np.arange(len(result.patch.by_angle)) + 0.5) * 360 / len(result.patch.by_angle)
    )
    reach = ring * np.clip(result.patch.by_angle, 0.0, 1.8)
    curve = np.column_stack([x + reach * np.sin(turn), y - reach * np.cos(turn)])
    streaks = (check.outcome for check in result.checks if check.limit == "streak_frac")
    look = OUTCOME_LOOKS[next(streaks, Outcome.NOT_JUDGED)]
    pen.line(curve, look.colour, 0.55, closed=True, casing=0.2)
    pen.fill(circle(x, y, 0.5 * u, 16), PAPER)
    pen.text(x, y - 1.85 * ring, say("twelve"), DIM, 2.7, align=0.5)
    pen.text(x, y + 1.95 * ring, say("by-direction"), DIM, 2.7, align=0.5)
