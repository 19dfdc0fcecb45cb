"""The strips above and below the photo: the verdict, and the report's rows beside a dial."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from spraycheck.judge.result import HoleState, Result, Verdict
from spraycheck.report.looks import BADGES, LOOKS
from spraycheck.report.model import Headline, ReportModel, Row, Table
from spraycheck.report.model.holes import centre_radius
from spraycheck.report.overlay.dial import BACK, DIM, RING, draw_dial, draw_rose
from spraycheck.report.overlay.pen import PAPER, Box, Pen
from spraycheck.report.overlay.signs import draw_badge, draw_sign
from spraycheck.report.words.numbers import UNKNOWN
from spraycheck.report.words.sentences import say

BANNER_UNITS: Final = 15.0
"""Height of the strip above, in hundredths of the width."""

HOLES_UNITS, PATCH_UNITS = 50.0, 49.0
"""Heights of the strip below, likewise."""

FOOT_UNITS: Final = 7.6
"""Of which the notes at its foot take."""

ONE_COLUMN: Final = 8
"""Up to so many holes stand below one another."""


def draw_banner(pen: Pen, headline: Headline) -> None:
    """Draw a verdict with its badge, a few words, and as many reasons as there is room for."""
    if headline.verdict is None:
        raise ValueError("a picture of one photo has a verdict")
    u = pen.unit
    badge = BADGES[headline.verdict]
    pen.flood(badge.back)
    draw_badge(pen, badge, 7.5 * u, 7.5 * u, 10.5)
    pen.text(15 * u, 5.4 * u, headline.title, badge.ink, 8.0, weight=800)
    pen.text(97.5 * u, 5.0 * u, headline.count, badge.ink, 4.2, align=1.0)
    # The margins that a pass ends with stand in the list below as well: they may be left out.
    told = headline.verdict is not Verdict.PASS
    reason = _fitted(pen, list(headline.reasons), 3.4, 82.5 * u, tell_rest=told)
    pen.text(15 * u, 12.0 * u, reason, badge.ink, 3.4)


def _fitted(pen: Pen, parts: list[str], size: float, room: float, *, tell_rest: bool) -> str:
    """Join as many parts as fit, and say how many were left out."""
    for kept in range(len(parts), 0, -1):
        left = len(parts) - kept
        text = "; ".join(parts[:kept]) + (
            f"; {say('more', count=left)}" if left and tell_rest else ""
        )
        if pen.text_width(text, size) <= room:
            return text
    text = parts[0]
    while len(text) > 1 and pen.text_width(f"{text}...", size) > room:
        text = text[:-1]
    return f"{text}..."


def draw_holes_panel(pen: Pen, result: Result, report: ReportModel) -> list[tuple[str, Box]]:
    """Draw dial, rows and notes; return the words and boxes of the dial's numbers."""
    pen.flood(BACK)
    numbers = draw_dial(pen, result, 20.5 * pen.unit, 22.0 * pen.unit)
    table = report.tables[0]
    if table.has("plume"):
        _plume_rows(pen, table)
    elif len(table.rows) <= ONE_COLUMN:
        _hole_rows(pen, table)
    else:
        _many_holes(pen, table)
    radius, unit = centre_radius(result)
    note = say("foot-plumes" if table.has("plume") else "foot-holes")
    told = say(f"foot-{unit}", radius=radius, caution=say("foot-caution"))
    _foot(pen, HOLES_UNITS, [note, told])
    return numbers


def draw_patch_panel(pen: Pen, result: Result, report: ReportModel) -> list[tuple[str, Box]]:
    """Draw the fluid by direction, the values and their limits."""
    u = pen.unit
    pen.flood(BACK)
    draw_rose(pen, result, 16.5 * u, 22.5 * u)
    table = report.tables[0]
    step = min(5.4, 41.0 / len(table.rows)) * u
    y = 22.0 * u - (len(table.rows) - 1) * step / 2
    for row in table.rows:
        allowed = table.cell(row, "limit").text
        judged = allowed != UNKNOWN
        if row.look is not None and judged:
            draw_sign(pen, row.look.sign, 33.5 * u, y, 2.4, row.look.colour)
        pen.text(36.0 * u, y, table.cell(row, "value").text, PAPER, 3.0)
        pen.text(79.5 * u, y, table.cell(row, "measured").text, PAPER, 3.0, align=1.0)
        pen.text(98.0 * u, y, allowed if judged else row.word, DIM, 2.8, align=1.0)
        y += step
    _foot(pen, PATCH_UNITS, [say("foot-axial", caution=say("foot-caution"))])
    return []


def _hole_rows(pen: Pen, table: Table) -> None:
    u = pen.unit
    top, room = 3.6, 34.5
    pen.text(44.0 * u, top * u, say("head-hole"), DIM, 2.7)
    pen.text(83.0 * u, top * u, say("head-wets"), DIM, 2.7, align=1.0)
    pen.text(97.5 * u, top * u, say("head-off"), DIM, 2.7, align=1.0)
    pitch = min(6.0, room / len(table.rows))
    for k, row in enumerate(table.rows):
        y = (top + 4.6 + pitch * k) * u
        _hole_and_state(pen, table, row, 42.0 * u, y, 3.6)
        for key, right in (("wets", 83.0), ("off", 97.5)):
            ink = PAPER if row.decisive == key else DIM
            pen.text(right * u, y, _with_unit(table, row, key), ink, 3.6, align=1.0)


def _many_holes(pen: Pen, table: Table) -> None:
    """List holes in two columns, each with the value that decided its state."""
    u = pen.unit
    top, room = 3.6, 38.5
    each = math.ceil(len(table.rows) / 2)
    pitch = room / each
    for k, row in enumerate(table.rows):
        x, y = (39.5 if k < each else 69.5) * u, (top + pitch * (k % each)) * u
        _hole_and_state(pen, table, row, x, y, 2.8)
        pen.text(x + 28.5 * u, y, row.brief, PAPER, 2.8, align=1.0)


def _hole_and_state(pen: Pen, table: Table, row: Row, x: float, y: float, size: float) -> None:
    u = pen.unit
    pen.text(x + 5.2 * u, y, table.cell(row, "hole").text, PAPER, size, align=1.0)
    if row.look is not None:
        draw_sign(pen, row.look.sign, x + 8.0 * u, y, 2.5, row.look.colour)
    bright = row.look is not LOOKS[HoleState.CLEAR]
    pen.text(x + 10.6 * u, y, row.word, PAPER if bright else DIM, size)


def _plume_rows(pen: Pen, table: Table) -> None:
    """List the plumes as they lie, when they fit no pattern."""
    u = pen.unit
    top, room = 3.6, 34.5
    pen.text(44.0 * u, top * u, say("head-plume"), DIM, 2.7)
    pen.text(80.0 * u, top * u, say("head-direction"), DIM, 2.7, align=1.0)
    pen.text(97.5 * u, top * u, say("head-share"), DIM, 2.7, align=1.0)
    pitch = min(6.0, room / max(1, len(table.rows)))
    size = min(3.6, 0.85 * pitch)
    for k, row in enumerate(table.rows):
        y = (top + 4.6 + pitch * k) * u
        pen.text(47.2 * u, y, table.cell(row, "plume").text, PAPER, size, align=1.0)
        pen.text(80.0 * u, y, _with_unit(table, row, "direction"), PAPER, size, align=1.0)
        pen.text(97.5 * u, y, table.cell(row, "share").text, PAPER, size, align=1.0)


def _with_unit(table: Table, row: Row, key: str) -> str:
    """Return a cell with its unit, which the heading does not say."""
    text = table.cell(row, key).text
    unit = next(column.unit for column in table.columns if column.key == key)
    return text if text == UNKNOWN else f"{text}{unit}"


def _foot(pen: Pen, height: float, notes: list[str]) -> None:
    """Draw a line and notes at the foot of the strip below."""
    u = pen.unit
    top = height - FOOT_UNITS + 3.0 * (2 - len(notes))
    pen.line(np.array([[2 * u, top * u], [98 * u, top * u]]), RING, 0.15, casing=0)
    for k, note in enumerate(notes):
        size = min(2.6, 2.6 * 95 * u / pen.text_width(note, 2.6, 400))
        pen.text(2.5 * u, (top + 2.2 + 3.0 * k) * u, note, DIM, size, weight=400)
