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
import math
from collections.abc import Sequence
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
    index = {name: _find(path, header, names) for name, names in SYNONYMS.items()}
    hole = header.index("hole") if "hole" in header else None
    names, people, repeats = [], [], []
    for line, row in rows:
        part = row[index["part"]]
        if hole is not None:
            part = f"{part} hole {row[hole]}"
        names.append(part)
        people.append(row[index["person"]])
        repeats.append(row[index["repeat"]])
        if not (row[index["part"]] and people[-1] and repeats[-1]):
            raise InputError(
                f"table {shown(path)}, line {line}: part, person or repeat is empty",
                "fill it in, or take the line out",
            )
    seen: dict[tuple[str, str, str], int] = {}
    for (line, _), *who in zip(rows, names, people, repeats, strict=True):
        key = (who[0], who[1], who[2])
        if key in seen:
            raise InputError(
                f"table {shown(path)}, line {line}: part {key[0]!r}, person {key[1]!r}, repeat "
                f"{key[2]!r} stands on line {seen[key]} already",
                "number the repeats of a person and part",
            )
        seen[key] = line
    notes: list[str] = []
    studied = []
    for name in _numbers(path, header, rows, columns, set(index.values())):
        where = header.index(name)
        cells = {key: _float(rows[n][1][where]) for n, key in enumerate(seen)}
        found = _balanced(name, cells)
        if found is None:
            notes.append(
                f"{name}: fewer than two parts, people or repeats are complete; not studied"
            )
            continue
        if found.left_out:
            notes.append(f"{name}: left out as incomplete: {', '.join(found.left_out)}")
        studied.append(found)
    judged = _judgements(header, rows, list(seen))
    if not studied and not judged:
        raise InputError(
            f"table {shown(path)} has nothing to study ({'; '.join(notes) or 'no values'}), "
            "expected two or more parts, people and repeats, all read equally often",
            "see spraycheck repeatability --help for the form of the table",
        )
    return StudyTable(readings=tuple(studied), judgements=judged, notes=tuple(notes))


def _read(path: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
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
                rows.append((reader.line_num, cells + [""] * (len(header) - len(cells))))
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


def _find(path: str, header: list[str], names: tuple[str, ...]) -> int:
    for name in names:
        if name in header:
            return header.index(name)
    raise InputError(
        f"table {shown(path)} has no column {names[0]} among {', '.join(header)}",
        f"name a column {' or '.join(names)}",
    )


def _numbers(
    path: str,
    header: list[str],
    rows: list[tuple[int, list[str]]],
    wanted: Sequence[str],
    taken: set[int],
) -> list[str]:
    if wanted:
        for name in wanted:
            if name not in header:
                raise InputError(
                    f"table {shown(path)} has no column {name!r}", f"it has {', '.join(header)}"
                )
        return list(wanted)
    usual: list[str] = [name for name in VALUES if name in header]
    if usual:
        return usual
    found = []
    for where, name in enumerate(header):
        cells = [row[where] for _, row in rows if row[where]]
        numeric = cells and not any(math.isnan(_float(cell)) for cell in cells)
        if name and name != "hole" and where not in taken and numeric:
            found.append(name)
    return found


def _balanced(name: str, cells: dict[tuple[str, str, str], float]) -> Readings | None:
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


def _judgements(
    header: list[str], rows: list[tuple[int, list[str]]], keys: list[tuple[str, str, str]]
) -> tuple[Judgement, ...]:
    # In a batch's table "verdict" is the tool's, and the person's has a name of its own.
    person, tool = ("person_verdict", "verdict")
    if "person_verdict" not in header:
        person, tool = ("verdict", "tool_verdict")

    def cell(row: list[str], name: str) -> str:
        return row[header.index(name)].lower() if name in header else ""

    found = []
    for (_, row), (part, who, repeat) in zip(rows, keys, strict=True):
        judged = Judgement(
            part=part,
            person=who,
            repeat=repeat,
            verdict=cell(row, person),
            tool=cell(row, tool),
            truth=cell(row, "true_verdict"),
        )
        if judged.verdict or judged.tool:
            found.append(judged)
    return tuple(found)


def _float(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return math.nan
