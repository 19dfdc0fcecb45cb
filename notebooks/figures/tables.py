"""Tables as Markdown, which a notebook sets as tables and a person can read as text."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from spraycheck.errors import InputError

AGREES, DIFFERS = "yes", "**no**"


def markdown_table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Set a table.

    Parameters
    ----------
    header : sequence of str
        Names of the columns.
    rows : iterable of sequence
        Cells; anything that prints.
    """
    lines = [_row(header), "|" + " --- |" * len(header)]
    return "\n".join([*lines, *(_row(row) for row in rows)])


def _row(cells: Sequence[object]) -> str:
    return "| " + " | ".join(str(cell).replace("|", "\\|") for cell in cells) + " |"


def chosen_columns(rows: Sequence[Mapping[str, str]], columns: Sequence[str]) -> str:
    """Set some columns of a table of texts, as ``csv.DictReader`` reads it.

    Parameters
    ----------
    rows : sequence of mapping
        Column to cell.
    columns : sequence of str
        What to show, in this order. Decimals are cut to three significant digits; of the path in
        the column ``file`` only the name is shown.

    Raises
    ------
    InputError
        There is no such column.
    """
    for name in columns:
        if rows and name not in rows[0]:
            raise InputError(f"no column {name!r} among {', '.join(rows[0])}")
    return markdown_table(columns, [[_short(name, row[name]) for name in columns] for row in rows])


def _short(name: str, cell: str) -> str:
    if name == "file":
        return PurePath(cell).name
    try:
        return f"{float(cell):.3g}" if "." in cell else cell
    except ValueError:
        return cell


@dataclass(frozen=True, kw_only=True)
class Checked:
    """One value of the package beside a published one.

    Parameters
    ----------
    what : str
        The quantity.
    printed : str
        As published, for example ``-0.1712``.
    ours : float
        What the package's function returns.
    within : float or None
        How far apart they may be; half a unit of the last printed digit by default.
    why : str
        Needed with ``within``: why that far.
    """

    what: str
    printed: str
    ours: float
    within: float | None = None
    why: str = ""

    def __post_init__(self) -> None:
        if self.within is not None and not self.why:
            raise InputError(f"{self.what}: a tolerance of its own, expected a reason for it")

    @property
    def tolerance(self) -> float:
        """How far apart the two may be."""
        if self.within is not None:
            return self.within
        mantissa, _, power = self.printed.lower().partition("e")
        digits = len(mantissa.partition(".")[2])
        # A hair more than half a unit: a value on the very edge may have been rounded either way.
        return 0.501 * 10.0 ** (int(power or 0) - digits)

    @property
    def agrees(self) -> bool:
        """Whether they are as near as they should be."""
        return math.isfinite(self.ours) and abs(self.ours - float(self.printed)) <= self.tolerance

    def cells(self) -> tuple[str, str, str, str]:
        """Return quantity, published, ours with two digits more, and whether they agree."""
        digits = len(self.printed.lower().partition("e")[0].partition(".")[2])
        form = "e" if "e" in self.printed.lower() else "f"
        ours = f"{self.ours:.{digits + 2}{form}}"
        note = f" ({self.why})" if self.why else ""
        return self.what, self.printed, ours, (AGREES if self.agrees else DIFFERS) + note


@dataclass(frozen=True, kw_only=True, repr=False)
class Comparison:
    """Some values from one source; a notebook shows it as a table.

    Parameters
    ----------
    source : str
        Where the published values stand; says so when a value is from memory.
    checked : tuple of Checked
        The values.
    """

    source: str
    checked: tuple[Checked, ...]

    @classmethod
    def of(
        cls, source: str, *rows: tuple[str, str, float] | tuple[str, str, float, float, str]
    ) -> Comparison:
        """Make one from rows of what, printed and ours, and where needed tolerance and reason."""
        return cls(
            source=source,
            checked=tuple(
                Checked(what=row[0], printed=row[1], ours=float(row[2]),
                        within=row[3] if len(row) == 5 else None,
                        why=row[4] if len(row) == 5 else "")
                for row in rows
            ),
        )  # fmt: skip

    @property
    def agreeing(self) -> int:
        """How many values agree."""
        return sum(one.agrees for one in self.checked)

    def __repr__(self) -> str:
        return f"{self.agreeing} of {len(self.checked)} agree: {self.source}"

    def _repr_markdown_(self) -> str:
        rows = [one.cells() for one in self.checked]
        table = markdown_table(("quantity", "published", "spraycheck", "agrees"), rows)
        return f"{table}\n\nSource: {self.source}"


def tally(comparisons: Iterable[Comparison]) -> str:
    """Say how many of all values agree, source by source, as Markdown."""
    every = list(comparisons)
    rows = [(one.source, f"{one.agreeing} of {len(one.checked)}") for one in every]
    good, count = sum(one.agreeing for one in every), sum(len(one.checked) for one in every)
    return markdown_table(
        ("source", "agree"), [*rows, ("**all together**", f"**{good} of {count}**")]
    )
