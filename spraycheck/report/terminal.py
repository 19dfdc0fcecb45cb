"""The report as a technician reads it in a terminal: verdict, rows, what to do, how sure."""

from __future__ import annotations

import io
from typing import Final

from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table as Grid
from rich.text import Text

from spraycheck.report.looks import BADGES
from spraycheck.report.model.parts import WIDE, WIDER, Headline, ReportModel, Row, Table
from spraycheck.report.words.sentences import say

MIN_WIDTH, MAX_WIDTH = 60, 120

_LOOSE: Final = 76
"""From this width on the columns of a table stand two spaces apart."""

_ASCII: Final = str.maketrans(
    {"°": " deg", "±": "+-", "×": "x", "–": "-", "²": "2", "✓": "", "’": "'"}
)


def terminal_report(
    report: ReportModel, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write a report.

    Parameters
    ----------
    report : ReportModel
        What is told.
    colour : bool
        Add ANSI colours; they only repeat what words and signs say.
    width : int
        Columns of the terminal; used between 60 and 120.
    ascii_only : bool
        Use no character beyond ASCII, for streams that cannot encode others.

    Returns
    -------
    str
        Lines, the last one ended by a newline.
    """
    return _Writer(colour=colour, width=width, ascii_only=ascii_only).report(report)


class _Writer:
    """Holds the console and the choice of characters while one report is written."""

    def __init__(self, *, colour: bool, width: int, ascii_only: bool) -> None:
        self._out = io.StringIO()
        self._ascii = ascii_only
        self._colour = colour
        self._width = min(max(width, MIN_WIDTH), MAX_WIDTH)
        self._console = Console(
            file=self._out,
            width=self._width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            no_color=not colour,
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
        )

    def report(self, report: ReportModel) -> str:
        self._headline(report.headline)
        for table in report.tables:
            self._console.print()
            self._table(table)
        if report.findings:
            self._heading(say("findings"))
        for number, finding in enumerate(report.findings, start=1):
            self._console.print(Text(self._say(f"{number}. {finding.title}"), style="bold"))
            self._paragraph(finding.text, indent=3)
            if finding.causes:
                self._paragraph(finding.causes, indent=3, style="dim")
        if report.certainty:
            self._heading(say("certainty"))
        for line in report.certainty:
            self._item(line)
        self._heading(say("safety"))
        for caution in report.cautions:
            self._paragraph(caution)
        text = self._out.getvalue()
        if not self._colour:
            text = "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
        return text

    def _say(self, text: str) -> str:
        if not self._ascii:
            return text
        return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")

    def _heading(self, text: str) -> None:
        self._console.print()
        self._console.print(Text(self._say(text), style="bold"))

    def _paragraph(self, text: str, *, indent: int = 2, style: str = "") -> None:
        self._console.print(Padding(Text(self._say(text), style=style), (0, 0, 0, indent)))

    def _item(self, text: str, mark: str = "-") -> None:
        grid = Grid.grid(padding=(0, 1, 0, 0))
        grid.add_column(width=len(mark))
        grid.add_column()
        grid.add_row(mark, Text(self._say(text)))
        self._console.print(Padding(grid, (0, 0, 0, 2)))

    def _headline(self, headline: Headline) -> None:
        line = Text()
        if headline.verdict is None:
            line.append(self._say(f"{headline.title}: {headline.reason}"), style="bold")
        else:
            word = f" {headline.title} " if self._colour else headline.title
            line.append(word, style=BADGES[headline.verdict].style)
            line.append(f"  {self._say(headline.reason)}")
        self._console.print(line)
        self._console.print(Text(self._say(headline.about), style="dim"))

    def _table(self, table: Table) -> None:
        shown = [k for k, column in enumerate(table.columns) if self._width >= column.room]
        gap = 2 if self._width >= _LOOSE else 1
        grid = Grid(box=None, padding=(0, gap, 0, 0), pad_edge=False)
        for k in shown:
            column = table.columns[k]
            grid.add_column(
                Text(self._say(column.head), style="dim"),
                justify="left" if column.left else "right",
                no_wrap=True,
            )
        if table.state:
            grid.add_column(Text(self._say(table.state), style="dim"), no_wrap=True)
        cells = [[self._cell(row, k) for k in shown] for row in table.rows]
        for at, k in enumerate(shown):
            if table.columns[k].ends:
                taken = self._width_of(table, cells, shown) + gap * len(shown)
                self._cut_beginnings(cells, at, self._width - taken)
        for row, texts in zip(table.rows, cells, strict=True):
            grid.add_row(*texts, *([self._state(row)] if table.state else []))
        self._console.print(grid)
        for note in table.notes:
            self._paragraph(note, indent=0, style="dim")

    def _cell(self, row: Row, k: int) -> str:
        cell = row.cells[k]
        wide = cell.u and self._width >= WIDE
        return self._say(f"{cell.text} ±{cell.u}" if wide else cell.text)

    def _width_of(self, table: Table, cells: list[list[str]], shown: list[int]) -> int:
        """Return what the columns take that cannot be cut."""
        others = [at for at, k in enumerate(shown) if not table.columns[k].ends]
        heads = {at: cell_len(self._say(table.columns[shown[at]].head)) for at in others}
        return sum(max([heads[at], *(cell_len(row[at]) for row in cells)]) for at in others)

    def _cut_beginnings(self, cells: list[list[str]], at: int, room: int) -> None:
        """Leave out the beginning of long texts in a column."""
        for row in cells:
            if cell_len(row[at]) > room:
                row[at] = f"...{row[at][3 - room :]}"

    def _state(self, row: Row) -> Text:
        word = row.wide_word if row.wide_word and self._width >= WIDER else row.word
        if row.look is None:
            return Text(self._say(f"  {word}"))
        sign = row.look.ascii if self._ascii else row.look.mark
        return Text(self._say(f"{sign} {word}"), style=row.look.style)
