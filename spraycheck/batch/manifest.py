"""The manifest: a table (CSV) that says what each photo shows.

```text
file,holes,nozzle,injector,date,verdict
2019/card-001.jpg,4,lorry A,cyl 1,2019-03-04,pass
```

Only ``file`` is needed: a path from the manifest's own folder, or an absolute one. `COLUMNS` lists
the others. Commas, semicolons or tabs; UTF-8 with or without the mark that spreadsheets write.
"""

from __future__ import annotations

import csv
import datetime
import difflib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.judge.layout import MAX_HOLES, MIN_HOLES
from spraycheck.judge.result import Verdict
from spraycheck.photo.files import shown

COLUMNS: Final[dict[str, str]] = {
    "file": "the photo: a path from the manifest's folder, or an absolute one",
    "holes": "number of equal, evenly spread holes the nozzle should have",
    "layout": "nozzle or layout file (TOML), a path from the manifest's folder",
    "sheet": "size of the sheet, as --sheet takes it",
    "nozzle": "what kind of nozzle it is: a name to sort by; where neither holes nor layout is "
    "given and a nozzle file has this name, that file is meant",
    "injector": "which injector it is: a name or serial number to follow over time",
    "date": "when it was sprayed, YYYY-MM-DD; goes before the photo's own date",
    "verdict": "a person's verdict: pass, fail or recheck",
    "part": "for a repeatability study: which card or injector",
    "person": "for a repeatability study: who took the photo or judged",
    "repeat": "for a repeatability study: first, second, ... time",
    "lined_up": "the feature of nozzle or holder that 12 o'clock on the card was lined up with, "
    "the one the nozzle file counts from; the turn of the whole pattern is then judged",
}

_MAX_FIELD = 1 << 20
# Chosen because no path or name is a megabyte long; the csv module's own 128 kB is enough too.


@dataclass(frozen=True, kw_only=True)
class Labels:
    """What a person says of a photo; empty where nothing is said."""

    nozzle: str = ""
    injector: str = ""
    date: str = ""
    person_verdict: str = ""
    part: str = ""
    person: str = ""
    repeat: str = ""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the manifest.

    Parameters
    ----------
    file : str
        Absolute path of the photo.
    holes : int or None
        How many holes, when stated.
    layout, sheet : str
        Absolute path of the layout file, and size of the sheet; empty when not stated.
    labels : Labels
        Everything else.
    lined_up : str
        The feature the card was lined up with; empty when not stated.
    line : int
        Where it stands, for messages.
    """

    file: str
    holes: int | None
    layout: str
    sheet: str
    labels: Labels
    line: int
    lined_up: str = ""


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """All rows by the photo's absolute path, and the columns that were not understood."""

    path: str
    rows: dict[str, Row]
    unused: tuple[str, ...]


def read_manifest(path: str) -> Manifest:
    """Read a manifest.

    Raises
    ------
    InputError
        Unreadable, empty, no ``file`` column, a value that is not understood, or the same photo
        twice; with the line.
    """
    folder = os.path.dirname(os.path.abspath(path))
    rows: dict[str, Row] = {}
    header: list[str] = []
    for line, cells in _lines(path):
        if not header:
            header = [cell.strip().lower() for cell in cells]
            _check_header(path, header)
            continue
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) > len(header):
            _fail(path, line, f"{len(cells)} cells under {len(header)} headings",
                  "put names that hold the separator in double quotes")  # fmt: skip
        cell = dict(zip(header, (c.strip() for c in cells), strict=False))
        row = _row(path, folder, line, cell)
        if row.file in rows:
            _fail(
                path,
                line,
                f"{shown(cell['file'])} stands on line {rows[row.file].line} already",
                "name each photo once",
            )
        rows[row.file] = row
    if not header:
        raise InputError(f"manifest {shown(path)} is empty, expected a table", _EXAMPLE)
    unused = tuple(name for name in header if name and name not in COLUMNS)
    return Manifest(path=path, rows=rows, unused=unused)


_EXAMPLE = "the first line names the columns, for example: file,holes,nozzle,verdict"


def _lines(path: str) -> Iterator[tuple[int, list[str]]]:
    """Give each row with the number of the line it ends on."""
    csv.field_size_limit(_MAX_FIELD)
    try:
        with open(path, encoding="utf-8-sig", newline="") as file:
            first = file.readline()
            file.seek(0)
            separator = max(",;\t", key=first.count)
            reader = csv.reader(file, delimiter=separator, strict=True)
            for cells in reader:
                yield reader.line_num, cells
    except UnicodeDecodeError:
        raise InputError(
            f"manifest {shown(path)} is not UTF-8 text, expected a CSV table",
            'save it as "CSV UTF-8"',
        ) from None
    except csv.Error as error:
        raise InputError(
            f"manifest {shown(path)}: {error}, expected a CSV table", "check the quotes"
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"manifest {shown(path)} cannot be read ({reason}), expected a CSV table",
            "check the path",
        ) from None


def _check_header(path: str, header: list[str]) -> None:
    if "file" not in header:
        close = difflib.get_close_matches("file", header, n=1, cutoff=0.5)
        hint = f"rename the column {close[0]!r} to file" if close else _EXAMPLE
        _fail(path, 1, f"no column named file among {', '.join(header) or 'none'}", hint)
    for name in COLUMNS:
        if header.count(name) > 1:
            _fail(path, 1, f"{header.count(name)} columns named {name}", "keep one of them")


def _row(path: str, folder: str, line: int, cell: dict[str, str]) -> Row:
    if not cell.get("file"):
        _fail(path, line, "no file is named", "name the photo, or take the line out")
    holes = None
    if text := cell.get("holes", ""):
        holes = int(text) if text.isascii() and text.isdigit() else 0
        if not MIN_HOLES <= holes <= MAX_HOLES:
            _fail(path, line, f"holes is {text!r}",
                  f"give a whole number from {MIN_HOLES} to {MAX_HOLES}")  # fmt: skip
    if holes is not None and cell.get("layout"):
        _fail(path, line, "both holes and layout are given", "leave one of them empty")
    verdict = cell.get("verdict", "").lower()
    if verdict and verdict not in tuple(Verdict):
        _fail(path, line, f"verdict is {cell['verdict']!r}", "write pass, fail or recheck")
    date = cell.get("date", "")
    if date:
        try:
            datetime.datetime.fromisoformat(date)
        except ValueError:
            _fail(path, line, f"date is {date!r}", "write it as YYYY-MM-DD")
    layout = cell.get("layout", "")
    return Row(
        file=_absolute(folder, cell["file"]),
        holes=holes,
        layout=_absolute(folder, layout) if layout else "",
        sheet=cell.get("sheet", ""),
        labels=Labels(
            nozzle=cell.get("nozzle", ""),
            injector=cell.get("injector", ""),
            date=date,
            person_verdict=verdict,
            part=cell.get("part", ""),
            person=cell.get("person", ""),
            repeat=cell.get("repeat", ""),
        ),
        line=line,
        lined_up=cell.get("lined_up", ""),
    )


def _absolute(folder: str, name: str) -> str:
    if "://" in name:
        return name
    wanted = os.path.abspath(os.path.join(folder, name))
    # A table filled in on another system separates folders with backslashes.
    if os.sep == "/" and "\\" in name and not os.path.lexists(wanted):
        wanted = os.path.abspath(os.path.join(folder, name.replace("\\", "/")))
    return wanted


def _fail(path: str, line: int, found: str, hint: str) -> None:
    raise InputError(f"manifest {shown(path)}, line {line}: {found}", hint)
