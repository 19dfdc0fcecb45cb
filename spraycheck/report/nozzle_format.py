"""Nozzles as a person reads them in a terminal."""

from __future__ import annotations

import io
import math

from rich.console import Console
from rich.table import Table
from rich.text import Text

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import LimitSet, limit_fields
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.nozzles.model import Nozzle, Pressure
from spraycheck.nozzles.nozzle_library import Library
from spraycheck.nozzles.read import read_nozzle
from spraycheck.report.nozzle_dial import text_dial
from spraycheck.report.words.numbers import clock_position, printable
from spraycheck.units import convert_pressure

_ASCII = str.maketrans({"°": " deg", "±": "+-", "–": "-", "×": "x", "’": "'"})


class Screen:
    """A console that writes to a text, plain and with outside characters made inert."""

    def __init__(self, *, width: int, ascii_only: bool) -> None:
        self.ascii_only = ascii_only
        self._out = io.StringIO()
        self._console = Console(
            file=self._out,
            width=min(max(width, 60), 120),
            no_color=True,
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
        )

    def say(self, text: str) -> str:
        """Return a text with what does not print, or cannot be shown, made inert."""
        text = printable(text)
        if not self.ascii_only:
            return text
        return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")

    def table(self, *headings: str) -> Table:
        """Begin a table."""
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False)
        for heading in headings:
            table.add_column(Text(self.say(heading)))
        return table

    def row(self, table: Table, *cells: str) -> None:
        """Add a row to a table."""
        table.add_row(*(Text(self.say(cell)) for cell in cells))

    def print(self, *what: object) -> None:
        """Add a line, a table or nothing but a line's end."""
        self._console.print(*what)

    def text(self) -> str:
        """Return everything, without trailing blanks."""
        return "\n".join(line.rstrip() for line in self._out.getvalue().splitlines()) + "\n"


def list_text(library: Library, screen: Screen) -> str:
    """Return a table of every nozzle, the user's before the shipped ones."""
    table = screen.table("name", "kind", "holes", "limits", "from", "what it is")
    table.columns[2].justify = "right"
    for column in table.columns[:5]:
        column.no_wrap = True
    for folder, name in library:
        try:
            nozzle = read_nozzle(folder.place_of(name))
        except InputError:
            problem = "cannot be used: spraycheck nozzle check"
            screen.row(table, name, "?", "?", "?", folder.origin, problem)
            continue
        holes = "-" if nozzle.kind != "holes" else str(len(nozzle.layout))
        own = "own" if nozzle.limits else "default"
        screen.row(table, name, nozzle.kind, holes, own, folder.origin, nozzle.name)
    screen.print(table)
    for folder in library.folders[:-1]:
        screen.print(Text(screen.say(f"{folder.origin}: {folder.path}")))
    return screen.text()


def nozzle_text(nozzle: Nozzle, path: str, screen: Screen) -> str:
    """Return everything a nozzle file says."""
    screen.print(Text(screen.say(nozzle.name), style="bold"))
    screen.print(Text(screen.say(path)))
    if isinstance(nozzle.expected, AxialNozzle):
        _show_central(screen, nozzle.expected)
    else:
        _show_holes(screen, nozzle.expected)
    for what, pressure in (("Opens at", nozzle.opening), ("Seat held at", nozzle.seat_hold)):
        if pressure is not None:
            screen.print(Text(screen.say(f"{what} {_both_units(pressure)}.")))
    if nozzle.remarks:
        screen.print(Text(screen.say(" ".join(nozzle.remarks.split()))))
    screen.print()
    _show_limits(screen, nozzle.limits_under(), own=nozzle.limits)
    return screen.text()


def _show_central(screen: Screen, nozzle: AxialNozzle) -> None:
    angle = nozzle.full_angle_deg
    spray = {"either": "hollow or filled, not judged"}.get(nozzle.fill, nozzle.fill)
    wide = f", full angle {angle:g}°" if math.isfinite(angle) else ", full angle not known"
    screen.print(Text(screen.say(f"A {nozzle.kind} nozzle, one central spray: {spray}{wide}.")))


def _show_holes(screen: Screen, layout: Layout) -> None:
    screen.print()
    screen.print(Text(text_dial(layout, ascii_only=screen.ascii_only)))
    screen.print()
    angled = all(map(math.isfinite, layout.axis_angle_deg))
    sized = all(map(math.isfinite, layout.diameter_mm))
    rows = len(set(layout.row)) > 1
    headings = ["hole", "azimuth °", "clock", "to next °", "axis angle °", "diameter mm"]
    wanted = [True, True, True, True, angled, sized, rows, True]
    headings = [h for h, on in zip([*headings, "row", "wets"], wanted, strict=True) if on]
    table = screen.table(*headings)
    for column in table.columns:
        column.justify = "right"
    expected = layout.expected_area()
    order = sorted(layout.azimuth_deg)
    for n, azimuth in enumerate(layout.azimuth_deg):
        after = order[(order.index(azimuth) + 1) % len(order)]
        cells = [
            str(n + 1),
            f"{azimuth:.1f}",
            clock_position(azimuth),
            f"{(after - azimuth) % 360:.1f}",
            f"{layout.axis_angle_deg[n]:.1f}",
            f"{layout.diameter_mm[n]:.3f}",
            str(layout.row[n]),
            f"{expected[n]:.0%}",
        ]
        screen.row(table, *[c for c, on in zip(cells, wanted, strict=True) if on])
    screen.print(table)
    zero = f" 0° is the {layout.counts_from}." if layout.counts_from else ""
    screen.print(
        Text(
            screen.say(
                "Clockwise as the streaks lie on the card; wets: the area a sound hole should wet, "
                f"their median 100 %.{zero}"
            )
        )
    )


def _show_limits(screen: Screen, limits: LimitSet, *, own: LimitSet | None) -> None:
    whose = "its own" if own else "the defaults"
    screen.print(Text(screen.say(f"Limits, {whose}: {limits.name}"), style="bold"))
    table = screen.table("limit", "value", "unit", "source")
    table.columns[0].no_wrap = table.columns[1].no_wrap = table.columns[2].no_wrap = True
    table.columns[1].justify = "right"
    told = dict(own.sources) if own else {}
    for one in limit_fields(type(limits)):
        held = limits.held(one.name)
        value = f"{getattr(limits, one.name):g}" if held else "off"
        mark = " *" if one.name in told else ""
        unit = limits.unit(one.name) if held else ""
        screen.row(table, one.name + mark, value, unit, limits.source(one.name))
    screen.print(table)
    marked = "* from the file; all others are defaults. " if told else ""
    screen.print(
        Text(screen.say(f"{marked}Limits are settings to be agreed in the workshop, no standard."))
    )


def _both_units(pressure: Pressure) -> str:
    other = "bar" if pressure.unit == "psi" else "psi"
    value = convert_pressure(pressure.value, pressure.unit, other)
    source = f" ({pressure.source})" if pressure.source else ""
    return f"{pressure.value:g} {pressure.unit}, {value:.0f} {other}{source}"
