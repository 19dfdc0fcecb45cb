"""The strips above and below the photo: the verdict, the direction dial and the list of holes."""

from __future__ import annotations

import math

import numpy as np

from spraycheck.judge.layout import Assessment, Hole
from spraycheck.report.overlay.pen import PAPER, Box, Colour, Pen, circle
from spraycheck.report.overlay.signs import BADGES, STYLES, draw_badge, draw_sign
from spraycheck.report.summary import (
    count_in_words,
    explain_verdict,
    pattern_fits,
    shared_plumes,
    signed,
)

BANNER_UNITS = 15.0
PANEL_UNITS = 50.0
"""Heights of the strips, in hundredths of the width."""

BACK: Colour = (27, 32, 38)
DIM: Colour = (176, 186, 196)
RING: Colour = (96, 108, 120)


def draw_banner(pen: Pen, assessment: Assessment) -> None:
    """Draw the verdict, the count of clear holes and the reason."""
    # The margins that a pass ends with stand in the list below as well: they may be left out.
    tell_verdict(pen, assessment.verdict, count_in_words(assessment), explain_verdict(assessment))


def tell_verdict(pen: Pen, verdict: str, count: str, reasons: list[str]) -> None:
    """Draw a verdict with its badge, a few words, and as many reasons as there is room for."""
    u = pen.unit
    badge = BADGES[verdict]
    pen.flood(badge.back)
    draw_badge(pen, badge, 7.5 * u, 7.5 * u, 10.5)
    pen.text(15 * u, 5.4 * u, badge.word, badge.ink, 8.0, weight=800)
    pen.text(97.5 * u, 5.0 * u, count, badge.ink, 4.2, align=1.0)
    reason = _fitted(pen, reasons, 3.4, 82.5 * u, tell_rest=verdict != "pass")
    pen.text(15 * u, 12.0 * u, reason, badge.ink, 3.4)


def _fitted(pen: Pen, parts: list[str], size: float, room: float, *, tell_rest: bool) -> str:
    """Join as many parts as fit, and say how many were left out."""
    for kept in range(len(parts), 0, -1):
        left = len(parts) - kept
        text = "; ".join(parts[:kept]) + (f"; {left} more" if left and tell_rest else "")
        if pen.text_width(text, size) <= room:
            return text
    text = parts[0]
    while len(text) > 1 and pen.text_width(f"{text}...", size) > room:
        text = text[:-1]
    return f"{text}..."


def draw_panel(pen: Pen, assessment: Assessment) -> list[tuple[str, Box]]:
    """Draw dial, list and footnotes; return the words and boxes of the dial's numbers."""
    pen.flood(BACK)
    numbers = _dial(pen, assessment, 20.5 * pen.unit, 22.0 * pen.unit)
    if pattern_fits(assessment):
        _list(pen, assessment.holes, shared_plumes(assessment))
    else:
        _plume_list(pen, assessment)
    _footnotes(pen, assessment)
    return numbers


def _dial(pen: Pen, a: Assessment, x: float, y: float) -> list[tuple[str, Box]]:
    u = pen.unit
    ring = 12.5 * u
    pen.line(circle(x, y, ring, 96), RING, 0.35, closed=True, casing=0)
    for hour in range(12):
        s, c = math.sin(math.radians(30 * hour)), math.cos(math.radians(30 * hour))
        inner = ring - (1.3 if hour % 3 == 0 else 0.7) * u
        mark = np.array([[x + inner * s, y - inner * c], [x + ring * s, y - ring * c]])
        pen.line(mark, RING, 0.35, casing=0)
    head = np.array(
        [[x, y - ring + 0.2 * u], [x - u, y - ring + 2.0 * u], [x + u, y - ring + 2 * u]]
    )
    cat = a.catalogue
    holes = a.holes if pattern_fits(a) else ()
    shared = shared_plumes(a)
    numbers: list[tuple[str, Box]] = []
    for row in range(len(cat)):  # strays and plumes without a hole, first, below the others
        if not any(h.plume == row + 1 for h in holes):
            style = STYLES["stray" if row + 1 in a.strays else "unsure"]
            _arrow(pen, x, y, float(cat.direction_deg[row]), 0.8 * ring, style.colour, style.dash)
    for hole in holes:
        style = STYLES[hole.state]
        tick = _at(x, y, hole.expected_deg, np.array([0.93, 1.1]) * ring)
        pen.line(tick, PAPER, 0.6, casing=0.3, cased_in=BACK)
        if hole.plume is None:
            ray = _at(x, y, hole.expected_deg, np.array([0.15, 0.62]) * ring)
            pen.line(ray, style.colour, 0.45, dash=(0.7, 0.8), casing=0)
            at = _at(x, y, hole.expected_deg, np.array([0.76 * ring]))[0]
            draw_sign(pen, style.sign, at[0], at[1], 2.6, style.colour)
        else:
            alone = math.isfinite(hole.area_ratio) and hole.plume not in shared
            ratio = hole.area_ratio if alone else 1.0
            length = ring * 0.86 * min(1.15, max(0.3, ratio))
            direction = float(cat.direction_deg[hole.plume - 1])
            _arrow(pen, x, y, direction, length, style.colour, style.dash)
        number = str(hole.hole)
        at = _at(x, y, hole.expected_deg, np.array([1.29 * ring]))[0]
        half = 0.5 * pen.text_width(number, 3.2)
        pen.text(at[0], at[1], number, PAPER, 3.2, align=0.5)
        numbers.append((number, Box(at[0] - half, at[1] - 1.2 * u, at[0] + half, at[1] + 1.2 * u)))
    pen.line(head, BACK, 0.6, closed=True, casing=0)
    pen.fill(head, DIM)
    pen.text(x, y - 1.53 * ring, "12 o'clock", DIM, 2.7, align=0.5)
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


def _list(pen: Pen, holes: tuple[Hole, ...], shared: frozenset[int]) -> None:
    u = pen.unit
    top, room = 3.6, 34.5
    if len(holes) <= 8:
        pen.text(44.0 * u, top * u, "hole", DIM, 2.7)
        pen.text(83.0 * u, top * u, "wets", DIM, 2.7, align=1.0)
        pen.text(97.5 * u, top * u, "off by", DIM, 2.7, align=1.0)
        pitch = min(6.0, room / len(holes))
        for k, hole in enumerate(holes):
            y = (top + 4.6 + pitch * k) * u
            _row(pen, hole, 42.0 * u, y, 3.6, wide=True, merged=hole.plume in shared)
        return
    each = math.ceil(len(holes) / 2)
    pitch = (room + 4) / each
    for k, hole in enumerate(holes):
        x, y = (39.5 if k < each else 69.5) * u, (top + pitch * (k % each)) * u
        _row(pen, hole, x, y, 2.8, wide=False, merged=hole.plume in shared)


def _plume_list(pen: Pen, a: Assessment) -> None:
    """List the plumes as they lie, when they fit no pattern."""
    u = pen.unit
    cat = a.catalogue
    top, room = 3.6, 34.5
    pen.text(44.0 * u, top * u, "plume", DIM, 2.7)
    pen.text(80.0 * u, top * u, "direction", DIM, 2.7, align=1.0)
    pen.text(97.5 * u, top * u, "share", DIM, 2.7, align=1.0)
    pitch = min(6.0, room / max(1, len(cat)))
    size = min(3.6, 0.85 * pitch)
    for k in range(len(cat)):
        y = (top + 4.6 + pitch * k) * u
        pen.text(47.2 * u, y, str(k + 1), PAPER, size, align=1.0)
        pen.text(80.0 * u, y, f"{cat.direction_deg[k]:.0f}°", PAPER, size, align=1.0)
        pen.text(97.5 * u, y, f"{cat.area_frac[k]:.0%}", PAPER, size, align=1.0)


def _row(
    pen: Pen, hole: Hole, x: float, y: float, size: float, *, wide: bool, merged: bool
) -> None:
    u = pen.unit
    style = STYLES[hole.state]
    pen.text(x + 5.2 * u, y, str(hole.hole), PAPER, size, align=1.0)
    draw_sign(pen, style.sign, x + 8.0 * u, y, 2.5, style.colour)
    bright = hole.state != "clear"
    pen.text(x + 10.6 * u, y, "merged" if merged else style.word, PAPER if bright else DIM, size)
    if merged:  # its numbers speak for two holes at once
        return
    share = f"{hole.area_ratio:.0%}" if math.isfinite(hole.area_ratio) else "?"
    if wide:
        turn = f"{signed(hole.deviation_deg)}°" if math.isfinite(hole.deviation_deg) else "-"
        strong = PAPER if hole.state in ("weak", "heavy", "blocked") else DIM
        pen.text(x + 41.0 * u, y, share, strong, size, align=1.0)
        strong = PAPER if hole.state == "off-line" else DIM
        pen.text(x + 55.5 * u, y, turn, strong, size, align=1.0)
    elif hole.state in ("weak", "heavy"):
        pen.text(x + 28.5 * u, y, share, PAPER, size, align=1.0)
    elif hole.state == "off-line":
        pen.text(x + 28.5 * u, y, f"{hole.deviation_deg:+.0f}°", PAPER, size, align=1.0)


def _footnotes(pen: Pen, a: Assessment) -> None:
    u = pen.unit
    if a.card.scale_known:
        centre = f"centre ± {a.centre.u95_mm:.1f} mm"
    else:
        at = np.array([a.centre.x_mm, a.centre.y_mm])
        centre = f"centre ± {a.centre.u95_mm * a.card.px_per_mm(at):.0f} photo pixels"
    pen.line(np.array([[2 * u, 42.4 * u], [98 * u, 42.4 * u]]), RING, 0.15, casing=0)
    if pattern_fits(a):
        notes = "wets: of what it should  |  off by: + is clockwise  |  long arrow: wets more"
    else:
        notes = "direction: clockwise from 12 o'clock  |  share: of the wetted area"
    pen.line(np.array([[2 * u, 42.4 * u], [98 * u, 42.4 * u]]), RING, 0.15, casing=0)
    for y, line in ((44.6, notes), (47.6, f"{centre}  |  an aid, not a certificate")):
        size = min(2.6, 2.6 * 95 * u / pen.text_width(line, 2.6, 400))
        pen.text(2.5 * u, y * u, line, DIM, size, weight=400)
