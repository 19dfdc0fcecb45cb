"""The catalogue in a terminal."""

from __future__ import annotations

import io
from collections.abc import Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from spraycheck.report.catalogue import ABOUT, NEXT, Entry, Group
from spraycheck.report.terminal import MAX_WIDTH, MIN_WIDTH
from spraycheck.report.words import AID, CAUTION

_ASCII = str.maketrans({"°": " deg", "±": "+-", "×": "x", "’": "'", "…": "..."})
_INDENT = 4


def catalogue_text(
    groups: Sequence[Group], *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the catalogue.

    Parameters
    ----------
    groups : sequence of Group
        From `catalogue`.
    colour : bool
        Set titles in bold.
    width : int
        Columns of the terminal; used between 60 and 120.
    ascii_only : bool
        Use no character beyond ASCII.

    Returns
    -------
    str
        Lines, the last one ended by a newline.
    """
    out = io.StringIO()
    console = Console(
        file=out,
        width=min(max(width, MIN_WIDTH), MAX_WIDTH),
        force_terminal=colour,
        no_color=not colour,
        highlight=False,
        markup=False,
        emoji=False,
        legacy_windows=False,
    )
    console.print(Text(ABOUT))
    for group in groups:
        console.print()
        console.print(Text(group.title.upper(), style="bold"))
        for entry in group.entries:
            console.print()
            _entry(console, entry)
    console.print()
    console.print(Text(f"{CAUTION} {AID}"))
    text = "\n".join(line.rstrip() for line in out.getvalue().splitlines()) + "\n"
    return text.translate(_ASCII).encode("ascii", "replace").decode() if ascii_only else text


def _entry(console: Console, entry: Entry) -> None:
    console.print(Text.assemble((entry.title, "bold"), f"  {entry.code}"))
    for line in (entry.example, entry.causes_line):
        console.print(_indented(line))
    if entry.next_step:
        console.print(_indented(f"{NEXT}: {entry.next_step}"))
    for case, step in entry.cases:
        console.print(_indented(f"- {case} {step}"))


def _indented(text: str) -> Padding:
    return Padding(Text(text), (0, 0, 0, _INDENT))
