"""Tables of repeated readings, for the proof of repeatability.

One line per reading: who read which part for the which time, and what came out.

```text
part,person,repeat,deviation_deg,area_ratio,verdict,tool_verdict
card 1,Ana,1,0.4,0.98,pass,pass
card 1,Ana,2,0.6,0.97,pass,pass
```

``part``, ``person`` and ``repeat`` are needed (``appraiser`` or ``operator``, and ``trial`` or
``run``, are understood too). A column ``hole`` makes every hole a part of its own. Every column of
numbers is studied, every column of verdicts compared: ``verdict`` is the person's, ``tool_verdict``
the tool's, ``true_verdict`` a known truth. The tables ``photos.csv`` and ``holes.csv`` of a batch
fit as they are, when its manifest names part, person and repeat.
"""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.photo.files import shown

SYNONYMS: Final = {
    "part": ("part", "card"),
    "person": ("person", "appraiser", "operator", "rater"),
    "repeat": ("repeat", "trial", "run", "replicate"),
}

VALUES: Final = ("direction_deg", "deviation_deg", "area_frac", "area_ratio")
"""Studied without being asked for when the table has them; of other tables all numbers are."""

_MAX_ROWS = 1_000_000
# Chosen because a study of a hundred thousand photos would still fit; more is another file.


@dataclass(frozen=True, kw_only=True)
class Readings:
    """One value, read by everyone, of every part, equally often.

    Parameters
    ----------
    name : str
        The column.
    values : (parts, people, repeats) ndarray of float64
        The readings; directions are unwrapped, so that 359 and 1 degree lie side by side.
    parts, people : tuple of str
        Their names.
    left_out : tuple of str
        Parts that not everyone read equally often.
    """

    name: str
    values: NDArray[np.float64]
    parts: tuple[str, ...]
    people: tuple[str, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """Verdicts of one reading; empty where none was given."""

    part: str
    person: str
    repeat: str
    verdict: str
    tool: str
    truth: str


@dataclass(frozen=True, kw_only=True)
class StudyTable:
    """A table as read.

    Parameters
    ----------
    readings : tuple of Readings
        Per column of numbers.
    judgements : tuple of Judgement
        Lines with a verdict.
    notes : tuple of str
        What was left out, and why.
    """

    readings: tuple[Readings, ...]
    judgements: tuple[Judgement, ...]
    notes: tuple[str, ...]


Key = tuple[str, str, str]
"""Part, person and repeat of a reading."""


@dataclass(frozen=True, kw_only=True)
class _Row:
    """A line of the file: its number, and column to cell."""

    line: int
    cells: Mapping[str, str]


def read_study(path: str, columns: Sequence[str] = ()) -> StudyTable:
    """Read a table of repeated readings.

    Parameters
    ----------
    path : str
        A CSV file; commas, semicolons or tabs.
    columns : sequence of str
        Columns to study; the usual ones when empty.

    Raises
    ------
    InputError
        Unreadable, a needed column is missing, the same reading twice, nothing to study.
    """
    header, rows = _read(path)
    named = {name: _find(path, header, names) for name, names in SYNONYMS.items()}
    keyed: dict[Key, _Row] = {}
    for row in rows:
        part, person, repeat = (row.cells[named[name]] for name in SYNONYMS)
        if not (part and person and repeat):
            raise InputError(
                f"table {shown(path)}, line {row.line}: part, person or repeat is empty",
                "fill it in, or take the line out",
            )
        if "hole" in row.cells:
            part = f"{part} hole {row.cells['hole']}"
        key = (part, person, repeat)
        if key in keyed:
            raise InputError(
                f"table {shown(path)}, line {row.line}: part {part!r}, person {person!r}, repeat "
                f"{repeat!r} stands on line {keyed[key].line} already",
                "number the repeats of a person and part",
            )
        keyed[key] = row
    notes: list[str] = []
    studied = []
    for name in _numbers(path, header, rows, columns, named.values()):
        found = _balanced(name, {key: _float(row.cells[name]) for key, row in keyed.items()})
        if found is None:
            notes.append(
                f"{name}: fewer than two parts, people or repeats are complete; not studied"
            )
            continue
        if found.left_out:
            notes.append(f"{name}: left out as incomplete: {', '.join(found.left_out)}")
        studied.append(found)
    judged = _judgements(keyed)
    if not studied and not judged:
        raise InputError(
            f"table {shown(path)} has nothing to study ({'; '.join(notes) or 'no values'}), "
            "expected two or more parts, people and repeats, all read equally often",
            "see spraycheck repeatability --help for the form of the table",
        )
    return StudyTable(readings=tuple(studied), judgements=judged, notes=tuple(notes))


def _read(path: str) -> tuple[list[str], list[_Row]]:
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            first = file.readline()
            file.seek(0)
            reader = csv.reader(file, delimiter=max(",;\t", key=first.count), strict=True)
            header = [cell.strip().lower() for cell in next(reader, [])]
            rows = []
            for row in reader:
                if not any(cell.strip() for cell in row):
                    continue
                cells = [cell.strip() for cell in row]
                named: dict[str, str] = {}
                for name, cell in itertools.zip_longest(header, cells[: len(header)], fillvalue=""):
                    named.setdefault(name, cell)  # of two columns of one name the first counts
                rows.append(_Row(line=reader.line_num, cells=named))
                if len(rows) > _MAX_ROWS:
                    raise InputError(f"table {shown(path)} has more than {_MAX_ROWS} lines")
    except UnicodeDecodeError:
        raise InputError(
            f"table {shown(path)} is not UTF-8 text, expected CSV", 'save it as "CSV UTF-8"'
        ) from None
    except csv.Error as error:
        raise InputError(
            f"table {shown(path)}: {error}, expected CSV", "check the quotes"
        ) from None
    except OSError as error:
        raise InputError(
            f"table {shown(path)} cannot be read ({error.strerror})", "check the path"
        ) from None
    if not rows:
        raise InputError(f"table {shown(path)} holds no readings", "give a line per reading")
    return header, rows


def _find(path: str, header: Sequence[str], names: tuple[str, ...]) -> str:
    for name in names:
        if name in header:
            return name
    raise InputError(
        f"table {shown(path)} has no column {names[0]} among {', '.join(header)}",
        f"name a column {' or '.join(names)}",
    )


def _numbers(
    path: str,
    header: Sequence[str],
    rows: Sequence[_Row],
    wanted: Sequence[str],
    taken: Collection[str],
) -> list[str]:
    """Return the columns to study: those wanted, else the usual ones, else all of numbers."""
    for name in wanted:
        if name not in header:
            raise InputError(
                f"table {shown(path)} has no column {name!r}", f"it has {', '.join(header)}"
            )
    chosen = list(wanted) or [name for name in VALUES if name in header]
    if chosen:
        return chosen
    found = []
    for name in header:
        cells = [row.cells[name] for row in rows if row.cells[name]]
        numeric = cells and not any(math.isnan(_float(cell)) for cell in cells)
        if name and name != "hole" and name not in taken and numeric:
            found.append(name)
    return found


def _balanced(name: str, cells: dict[Key, float]) -> Readings | None:
    """Arrange the readings as parts x people x repeats; leave incomplete parts out."""
    people = sorted({person for _, person, _ in cells})
    by_part: dict[str, dict[str, list[float]]] = {}
    for (part, person, _), value in cells.items():
        mine = by_part.setdefault(part, {}).setdefault(person, [])
        if math.isfinite(value):
            mine.append(value)
    most = max(len(mine) for of_part in by_part.values() for mine in of_part.values())
    whole = {
        part: of_part
        for part, of_part in by_part.items()
        if all(len(of_part.get(person, ())) == most for person in people)
    }
    if len(whole) < 2 or len(people) < 2 or most < 2:
        return None
    values = np.array([[of_part[person] for person in people] for of_part in whole.values()])
    if name.endswith("direction_deg"):
        values = _unwrapped(values)
    return Readings(
        name=name,
        values=values,
        parts=tuple(whole),
        people=tuple(people),
        left_out=tuple(part for part in by_part if part not in whole),
    )


def _unwrapped(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Bring the directions of each part side by side, and the parts near their common mean."""
    first = values[:, :1, :1]
    together = first + (values - first + 180.0) % 360.0 - 180.0
    means = together.mean(axis=(1, 2), keepdims=True)
    middle = np.degrees(np.angle(np.exp(1j * np.radians(means)).mean()))
    nearest = middle + (means - middle + 180.0) % 360.0 - 180.0
    return np.asarray(together + nearest - means)


def _judgements(keyed: Mapping[Key, _Row]) -> tuple[Judgement, ...]:
    found = []
    for (part, person, repeat), row in keyed.items():
        # In a batch's table "verdict" is the tool's, and the person's has a name of its own.
        theirs, tool = ("person_verdict", "verdict")
        if theirs not in row.cells:
            theirs, tool = ("verdict", "tool_verdict")
        said = [row.cells.get(name, "").lower() for name in (theirs, tool, "true_verdict")]
        if said[0] or said[1]:
            found.append(
                Judgement(
                    part=part, person=person, repeat=repeat, verdict=said[0], tool=said[1],
                    truth=said[2],
                )
            )  # fmt: skip
    return tuple(found)


def _float(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan
