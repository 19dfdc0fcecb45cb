"""Where a nozzle's holes point: a small dial in characters, and a drawing."""

from __future__ import annotations

import math
from typing import Final

from spraycheck.judge.layout import Layout
from spraycheck.report.plots import figure, png

_HALF_HEIGHT: Final = 8
_ASPECT: Final = 2.1
# A character of a terminal is about twice as high as it is wide.

_MARKERS: Final = "osD^vP*X"
_COLOURS: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#000000")
# Okabe & Ito's colours, told apart with any colour vision; the marker says the row as well.


def text_dial(layout: Layout, *, ascii_only: bool = False) -> str:
    """Draw the directions of the holes as characters.

    Parameters
    ----------
    layout : Layout
        Holes with their azimuths.
    ascii_only : bool
        Use no character beyond ASCII.

    Returns
    -------
    str
        Lines without trailing blanks: each hole's number where its plume lies on the card, the
        nozzle in the middle, 12 o'clock at the top. Inner holes spray more steeply.
    """
    dot, middle = (".", "+") if ascii_only else ("·", "⊕")
    half_width = round(_HALF_HEIGHT * _ASPECT)
    rows = [[" "] * (2 * half_width + 4) for _ in range(2 * _HALF_HEIGHT + 1)]

    def put(azimuth: float, radius: float, text: str) -> None:
        turn = math.radians(azimuth)
        row = _HALF_HEIGHT - round(radius * _HALF_HEIGHT * math.cos(turn))
        col = half_width + 1 + round(radius * half_width * math.sin(turn))
        for n, mark in enumerate(text):
            rows[row][col + n] = mark

    radii = _radii(layout)
    for azimuth, radius in zip(layout.azimuth_deg, radii, strict=True):
        for step in range(2, 7):
            put(azimuth, radius * step / 8, dot)
    put(0.0, 0.0, middle)
    for n, (azimuth, radius) in enumerate(zip(layout.azimuth_deg, radii, strict=True), start=1):
        put(azimuth, radius, str(n))
    lines = ["".join(row).rstrip() for row in rows]
    return "\n".join([" " * half_width + "12", *lines]).rstrip()


def dial_png(layout: Layout) -> bytes:
    """Draw the directions of the holes as a PNG picture, 12 o'clock at the top."""
    made, panes = figure(6.0, 6.4)
    axes = panes[0, 0]
    axes.set_aspect("equal")
    axes.set_axis_off()
    for hour in range(1, 13):
        x, y = _at(30.0 * hour, 1.3)
        axes.text(x, y, str(hour), ha="center", va="center", color="0.45", fontsize=10)
        axes.plot(*zip(_at(30.0 * hour, 1.18), _at(30.0 * hour, 1.22), strict=True), color="0.6")
    turns = [_at(3.0 * k, 1.2) for k in range(121)]
    axes.plot(*zip(*turns, strict=True), color="0.6", lw=1)
    rows = sorted(set(layout.row))
    looks = {row: (_COLOURS[k % len(_COLOURS)], _MARKERS[k % len(_MARKERS)])
             for k, row in enumerate(rows)}  # fmt: skip
    holes = zip(layout.azimuth_deg, _radii(layout), layout.row, strict=True)
    for n, (azimuth, radius, row) in enumerate(holes, start=1):
        colour, marker = looks[row]
        x, y = _at(azimuth, radius)
        axes.plot([0.0, x], [0.0, y], color=colour, lw=2)
        axes.plot(x, y, marker, color=colour, ms=22, mfc="white", mew=2)
        axes.text(x, y, str(n), ha="center", va="center_baseline", fontsize=11)
    if len(rows) > 1:
        for row, (colour, marker) in looks.items():
            axes.plot([], [], marker, color=colour, mfc="white", ms=10, mew=2, label=f"row {row}")
        axes.legend(loc="lower left", frameon=False)
    made.suptitle(_plain(layout.name), fontsize=12, parse_math=False)
    zero = f"0° is the {_plain(layout.counts_from)}; " if layout.counts_from else ""
    made.supxlabel(f"{zero}clockwise as the streaks lie on the card", fontsize=10, parse_math=False)
    return png(made, dpi=110)


def _radii(layout: Layout) -> list[float]:
    """Return how far out each hole is drawn: as its plume would land, within reason."""
    if not all(map(math.isfinite, layout.axis_angle_deg)):
        return [1.0] * len(layout)
    # Beyond 80 degrees a plume lands so far out that the others would shrink to nothing.
    reach = [math.tan(math.radians(min(angle, 80.0))) for angle in layout.axis_angle_deg]
    return [max(r / max(reach), 0.45) for r in reach]


def _at(azimuth: float, radius: float) -> tuple[float, float]:
    """Return where a direction lies in the drawing, 12 o'clock up."""
    turn = math.radians(azimuth)
    return radius * math.sin(turn), radius * math.cos(turn)


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)[:60]
