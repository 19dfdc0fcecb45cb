"""The result as a technician reads it in a terminal: verdict, holes, what to do, how sure."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spraycheck.judge.findings import AID, CAUTION, KINDS, clock_position
from spraycheck.judge.layout import Assessment, Finding, Hole
from spraycheck.judge.limits import Limits
from spraycheck.report.how_sure import printable, sheet_line, sure_lines
from spraycheck.report.summary import (
    count_in_words,
    explain_verdict,
    limits_in_words,
    pattern_fits,
    shared_plumes,
    signed,
    title_of,
)

__all__ = ["MAX_WIDTH", "MIN_WIDTH", "Writer", "printable", "sheet_line", "terminal_report"]

MIN_WIDTH, MAX_WIDTH = 60, 120

_WIDE = 84
"""From this width on the table states each value's uncertainty."""

_WIDEST = 104
"""From this width on the table has room for millimetres."""

_SIGNS = {
    "clear": "✓",
    "weak": "▼",
    "heavy": "▲",
    "blocked": "✗",
    "off-line": "↷",
    "misshapen": "◇",
    "unsure": "?",
}
_ASCII_SIGNS = {
    "clear": " ", "weak": "-", "heavy": "+", "blocked": "x", "off-line": ">", "misshapen": "~",
    "unsure": "?",
}  # fmt: skip
_ASCII = str.maketrans({"°": " deg", "±": "+-", "×": "x", "–": "-", "²": "2", "✓": "", "’": "'"})

_VERDICT_STYLE = {
    "pass": "bold white on green",
    "fail": "bold white on red",
    "recheck": "bold black on yellow",
}
_STATE_STYLE = {
    "clear": "green",
    "weak": "bold yellow",
    "heavy": "bold yellow",
    "blocked": "bold red",
    "off-line": "bold magenta",
    "misshapen": "bold magenta",
    "unsure": "bold",
}


def terminal_report(
    assessment: Assessment, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the report of one photo.

    Parameters
    ----------
    assessment : Assessment
        The judged photo.
    colour : bool
        Add ANSI colours; they only repeat what words and signs say.
    width : int
        Columns of the terminal; used between 60 and 120.
    ascii_only : bool
        Use no character beyond ASCII, for streams that cannot encode others.

    Returns
    -------
    str
        Lines, the last one ended by a newline. Lengths and areas in mm appear only when the
        scale is known.
    """
    return Writer(colour=colour, width=width, ascii_only=ascii_only).report(assessment)


class Writer:
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

    def report(self, a: Assessment) -> str:
        """Write the report of one photo."""
        self._verdict(a)
        self._console.print()
        if pattern_fits(a):
            self._holes(a)
        else:
            self._plumes(a)
        self._findings(a.findings)
        self._how_sure(a)
        self._heading("Safety")
        self._paragraph(CAUTION)
        self._paragraph(AID)
        return self.text()

    def text(self) -> str:
        """Return what was written so far."""
        text = self._out.getvalue()
        if not self._colour:
            text = "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
        return text

    # -- pieces -----------------------------------------------------------------------------
    def _say(self, text: str) -> str:
        if not self._ascii:
            return text
        return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")

    def _heading(self, text: str) -> None:
        self._console.print()
        self._console.print(Text(text, style="bold"))

    def _paragraph(self, text: str, *, indent: int = 2, style: str = "") -> None:
        self._console.print(Padding(Text(self._say(text), style=style), (0, 0, 0, indent)))

    def _item(self, text: str, mark: str = "-") -> None:
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(width=len(mark))
        grid.add_column()
        grid.add_row(mark, Text(self._say(text)))
        self._console.print(Padding(grid, (0, 0, 0, 2)))

    def _verdict(self, a: Assessment) -> None:
        reasons = "; ".join(explain_verdict(a))
        self.verdict_line(a.verdict, f"{count_in_words(a)}: {reasons}")
        names = [printable(a.photo.file)] if a.photo.file else []
        names.append(f"against {printable(a.layout.name)}" if a.layout.name else "")
        self._console.print(Text(self._say(" ".join(n for n in names if n)), style="dim"))

    def verdict_line(self, verdict: str, reason: str) -> None:
        """Write the first line of a report."""
        line = Text()
        word = f" {verdict.upper()} " if self._colour else verdict.upper()
        line.append(word, style=_VERDICT_STYLE[verdict])
        line.append(f"  {self._say(reason)}")
        self._console.print(line)

    def mark(self, state: str, word: str) -> Text:
        """Return a state's sign and the word to write for it."""
        signs = _ASCII_SIGNS if self._ascii else _SIGNS
        return Text(f"{signs[state]} {word}", style=_STATE_STYLE[state])

    def limits_line(self, limits: Limits) -> None:
        """Write which limits were held, and what they are."""
        self._item(
            f"Limits, {printable(limits_in_words(limits))}. They are settings to be agreed, "
            "not a standard; --json tells where each comes from."
        )

    def _table(self, headers: Sequence[str]) -> Table:
        table = Table(box=None, padding=(0, 2 if self._width >= 76 else 1, 0, 0), pad_edge=False)
        for header in headers:
            left = header in ("state", "photo", "each photo", "of any hole", "change")
            table.add_column(
                Text(self._say(header), style="dim"),
                justify="left" if left else "right",
                no_wrap=True,
            )
        return table

    # -- table of holes ---------------------------------------------------------------------
    def _holes(self, a: Assessment) -> None:
        wide = self._width >= _WIDE
        metric = self._width >= _WIDEST and a.card.scale_known
        headers = ["hole", "direction", "clock", "off by", "to next", "share", "wets"]
        headers += ["reach mm", "area mm²"] if metric else []
        table = self._table([*headers, "state"])
        shared = shared_plumes(a)
        for hole in a.holes:
            cells = self._cells(a, hole, wide=wide, merged=hole.plume in shared)
            if metric:
                cells += self._metric(a, hole)
            state = "merged" if hole.plume in shared else hole.state
            table.add_row(*(self._say(c) for c in cells), self.mark(hole.state, state))
        self._console.print(table)
        notes = ["Angles in degrees, clockwise from 12 o'clock on the card, + is clockwise.",
                 "wets: wetted area against what the hole should wet."]  # fmt: skip
        if any(hole.plume is None for hole in a.holes):
            notes.append("( ): where the hole should spray.")
        if wide:
            notes.append("± holds 95 %.")
        self._paragraph(" ".join(notes), indent=0, style="dim")

    def _cells(self, a: Assessment, hole: Hole, *, wide: bool, merged: bool) -> list[str]:
        if hole.plume is None:
            share = "0%" if hole.state == "blocked" else "-"
            where = f"({hole.expected_deg:.1f})"
            clock = f"({clock_position(hole.expected_deg)})"
            return [str(hole.hole), where, clock, "-", "-", share, share]
        direction = float(a.catalogue.direction_deg[hole.plume - 1])
        off, ratio = signed(hole.deviation_deg), _percent(hole.area_ratio)
        if wide and math.isfinite(hole.deviation_u_deg):
            off += f" ±{hole.deviation_u_deg:.1f}"
        if wide and math.isfinite(hole.area_ratio_u):
            ratio += f" ±{_percent(hole.area_ratio_u)}"
        if merged:  # the plume's values speak for two holes at once
            off, ratio = "-", "-"
        return [
            str(hole.hole),
            f"{direction:.1f}",
            clock_position(direction),
            off,
            f"{hole.spacing_deg:.1f}" if math.isfinite(hole.spacing_deg) else "-",
            _percent(hole.area_frac),
            ratio,
        ]

    def _metric(self, a: Assessment, hole: Hole) -> list[str]:
        if hole.plume is None:
            return ["-", "-"]
        row = hole.plume - 1
        return [f"{a.catalogue.reach_mm[row]:.1f}", f"{a.catalogue.area_mm2[row]:.0f}"]

    def _plumes(self, a: Assessment) -> None:
        """List the plumes as they lie, for a pattern that fits no holes."""
        table = self._table(["plume", "direction", "clock", "to next", "share"])
        directions = a.catalogue.direction_deg
        for row, direction in enumerate(directions):
            gap = (directions[(row + 1) % len(directions)] - direction) % 360 or 360.0
            table.add_row(
                str(row + 1),
                f"{direction:.1f}",
                clock_position(float(direction)),
                f"{gap:.1f}",
                _percent(float(a.catalogue.area_frac[row])),
            )
        self._console.print(table)
        self._paragraph("Angles in degrees, clockwise from 12 o'clock.", indent=0, style="dim")

    # -- what to do, how sure ---------------------------------------------------------------
    def _findings(self, findings: Sequence[Finding]) -> None:
        if not findings:
            return
        self._heading("What was found, and what to do")
        advised: dict[str, int] = {}
        for number, finding in enumerate(findings, start=1):
            title = title_of(finding)
            about = f"Hole {finding.hole}: {title.lower()}" if finding.hole else title
            self._console.print(Text(self._say(f"{number}. {about}"), style="bold"))
            kind = KINDS.get(finding.code)
            text = printable(finding.text)
            if kind and finding.code in advised and text.endswith(kind.next_step):
                text = text.removesuffix(kind.next_step)
                self._paragraph(f"{text}Do as under {advised[finding.code]}.", indent=3)
                continue
            advised.setdefault(finding.code, number)
            self._paragraph(text, indent=3)
            if kind and kind.causes:
                self._paragraph(f"May come from: {'; '.join(kind.causes)}.", indent=3, style="dim")

    def _how_sure(self, a: Assessment) -> None:
        self._heading("How sure")
        for line in sure_lines(a):
            self._item(line)
        self.limits_line(a.limits)


def _percent(value: float) -> str:
    return f"{value:.0%}" if math.isfinite(value) else "-"
