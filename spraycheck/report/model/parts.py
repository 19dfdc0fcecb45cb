"""What a report is made of; plain values, and no sentence that is not from the catalogue."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from spraycheck.judge.result import Verdict
from spraycheck.report.looks import Look
from spraycheck.report.words import AID, CAUTION, say

if TYPE_CHECKING:
    from spraycheck.judge.result import Result
    from spraycheck.judge.shots import Comparison

WIDE, WIDER, WIDEST = 84, 96, 104
"""Columns of a terminal from which a table states uncertainties, differences, and millimetres."""


@dataclass(frozen=True, kw_only=True)
class Headline:
    """The answer in one line.

    Parameters
    ----------
    verdict : Verdict or None
        None where there is none: two photos compared, or one not measured.
    title : str
        The verdict's word, or what stands in its place.
    count : str
        How many holes are clear, or how large a patch is; may be empty.
    reasons : tuple of str
        What decided, most important first; never empty.
    about : str
        Which photo was held against which nozzle.
    """

    verdict: Verdict | None
    title: str
    count: str
    reasons: tuple[str, ...]
    about: str

    @property
    def reason(self) -> str:
        """Count and reasons as one line."""
        told = "; ".join(self.reasons)
        return f"{self.count}: {told}" if self.count else told


@dataclass(frozen=True, kw_only=True)
class Column:
    """One column of a table.

    Parameters
    ----------
    key : str
        What it holds, for a medium that shows some columns only.
    head : str
        Its heading.
    left : bool
        Words, which stand to the left; numbers stand to the right.
    room : int
        Characters of a line from which there is room for it.
    ends : bool
        Of a long text the end counts: with little room its beginning is left out.
    unit : str
        Written behind the value where the heading is not there to say it.
    """

    key: str
    head: str
    left: bool = False
    room: int = 0
    ends: bool = False
    unit: str = ""


def column(
    key: str,
    head: str = "",
    *,
    left: bool = False,
    room: int = 0,
    ends: bool = False,
    unit: str = "",
) -> Column:
    """Make a column whose heading stands in the catalogue under ``head``, or else its key."""
    words = say(f"head-{head or key}")
    return Column(key=key, head=words, left=left, room=room, ends=ends, unit=unit)


@dataclass(frozen=True)
class Cell:
    """A value in words, and its uncertainty, which needs room."""

    text: str
    u: str = ""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row: its cells, and the state it ends with.

    Parameters
    ----------
    cells : tuple of Cell
        One for every column.
    word : str
        The state in words; empty for a table without states.
    look : Look or None
        Of the state.
    decisive : str
        Key of the column that decided the state; empty for none.
    brief : str
        The value that decided, for a medium with little room; empty for none.
    wide_word : str
        The state in words where there is room for more.
    """

    cells: tuple[Cell, ...]
    word: str = ""
    look: Look | None = None
    decisive: str = ""
    brief: str = ""
    wide_word: str = ""


@dataclass(frozen=True, kw_only=True)
class Table:
    """A table with its notes; ``state`` heads the last column, where rows have states."""

    columns: tuple[Column, ...]
    rows: tuple[Row, ...]
    notes: tuple[str, ...] = ()
    state: str = ""

    def cell(self, row: Row, key: str) -> Cell:
        """Return a row's cell by its column's key."""
        return row.cells[[column.key for column in self.columns].index(key)]

    def has(self, key: str) -> bool:
        """Whether there is a column of that key."""
        return any(column.key == key for column in self.columns)


@dataclass(frozen=True, kw_only=True)
class ToldFinding:
    """A finding in words.

    Parameters
    ----------
    code : str
        Its stable word.
    title : str
        What it is called, with the hole.
    found, next_step, causes : str
        What was found, what to do, and what it may come from; the last two may be empty.
    """

    code: str
    title: str
    found: str
    next_step: str
    causes: str

    @property
    def text(self) -> str:
        """What was found and what to do."""
        return f"{self.found} {self.next_step}".rstrip()


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture that belongs to the report: its caption, and what is drawn."""

    caption: str
    shows: Result | Comparison


@dataclass(frozen=True, kw_only=True)
class ReportModel:
    """Everything a reader is told.

    Parameters
    ----------
    headline : Headline
        Stands first.
    tables : tuple of Table
        Rows: holes, plumes, values of a patch, photos.
    findings : tuple of ToldFinding
        Most important first.
    certainty : tuple of str
        How sure the result is, a sentence or two each.
    pictures : tuple of Picture
        What can be drawn of it.
    cautions : tuple of str
        Stand in every medium that a person reads.
    """

    headline: Headline
    tables: tuple[Table, ...] = ()
    findings: tuple[ToldFinding, ...] = ()
    certainty: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()
    cautions: tuple[str, ...] = (CAUTION, AID)
