"""Golden documents: how one is asked for, and what of the answer is kept.

Only what stays is used: the command line as ``python -m spraycheck`` starts it, and the JSON
documents and tables it gives. Everything about a document lies in its golden line, layout files
included; pictures are found by their digest in any folder.
"""

from __future__ import annotations

import contextlib
import csv
import gzip
import hashlib
import io
import json
import os
import runpy
import sys
import tempfile
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from unittest import mock

HERE: Final = Path(__file__).parent
GOLDENS: Final = HERE / "documents"
SHIPPED: Final = (HERE / "photos", HERE.parents[1] / "sample_images")
"""Folders whose pictures are in the repository."""

GROUPS: Final = tuple(sorted(path.name.partition(".")[0] for path in GOLDENS.glob("*.jsonl.gz")))

LEFT_OUT: Final = frozenset({"provenance", "file", "files"})
"""Keys that say when, where and with what; not what was found."""

OUTLINES: Final = frozenset({"outline_px", "hollow_px"})
"""Polygons, of which only area, middle and length are kept: how many corners they have is free."""

COLUMNS_LEFT_OUT: Final = frozenset({"key", "spraycheck", "results_version"})

Document = dict[str, Any]


@dataclass(frozen=True, kw_only=True)
class Golden:
    """One frozen answer.

    Parameters
    ----------
    name, group : str
        ``group`` is the file it is kept in.
    command : str
        ``measure``, ``compare`` or ``batch``.
    photos : tuple of str
        Names of the pictures, in the order they are given.
    others : tuple of str
        Pictures that an option names.
    sha256 : dict
        Name of a picture to its digest.
    options : tuple of str
        As on the command line.
    files : dict
        Name of a file that an option names to its text.
    words : str
        What is shown, for people.
    code : int
        Exit code.
    raised : str
        Name of the error that `measure_photo` raises, where the photo is refused.
    document : dict
        What is kept of the answer.
    """

    name: str
    group: str
    command: str
    photos: tuple[str, ...]
    others: tuple[str, ...] = ()
    sha256: Mapping[str, str] = field(default_factory=dict)
    options: tuple[str, ...] = ()
    files: Mapping[str, str] = field(default_factory=dict)
    words: str = ""
    code: int = -1
    raised: str = ""
    document: Document = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Group and name."""
        return f"{self.group}/{self.name}"


def goldens(groups: Iterable[str] = GROUPS) -> Iterator[Golden]:
    """Read the frozen answers of some groups."""
    for group in groups:
        with gzip.open(GOLDENS / f"{group}.jsonl.gz", "rt", encoding="utf-8") as lines:
            for line in lines:
                read = json.loads(line)
                for key in ("photos", "others", "options"):
                    read[key] = tuple(read.get(key, ()))
                yield Golden(**read)


def digests(folders: Iterable[Path]) -> dict[str, Path]:
    """Return the pictures in some folders by their digest."""
    found = {}
    for folder in folders:
        for path in sorted(folder.iterdir()):
            if path.suffix.lower() in (".jpg", ".jpeg", ".png"):
                found[hashlib.sha256(path.read_bytes()).hexdigest()] = path
    return found


@dataclass(frozen=True)
class Said:
    """What a command answered."""

    code: int
    out: str
    err: str


def call(arguments: Sequence[str]) -> Said:
    """Run a command in this process, as ``python -m spraycheck`` does."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with (
        mock.patch.object(sys, "argv", ["spraycheck", *arguments]),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        warnings.catch_warnings(),
    ):
        # Another test may have imported the module that is run here.
        warnings.filterwarnings("ignore", "'spraycheck.__main__' found", RuntimeWarning)
        try:
            runpy.run_module("spraycheck", run_name="__main__")
        except SystemExit as stop:
            code = stop.code
    return Said(code if isinstance(code, int) else int(bool(code)), out.getvalue(), err.getvalue())


def answer(golden: Golden, pictures: Mapping[str, Path]) -> Golden | None:
    """Ask again what a golden asked.

    Parameters
    ----------
    golden : Golden
        The question; its answer is not looked at.
    pictures : mapping
        Digest to picture.

    Returns
    -------
    Golden or None
        The same question with today's answer; None where a picture is not there.
    """
    names = (*golden.photos, *golden.others)
    if any(golden.sha256[name] not in pictures for name in names):
        return None
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        shown = Path("photos") if golden.command == "batch" else Path()
        shown.mkdir(exist_ok=True)
        for name in names:
            (shown / name).write_bytes(pictures[golden.sha256[name]].read_bytes())
        for name, text in golden.files.items():
            (shown / name).write_text(text, encoding="utf-8")
        if golden.command == "batch":
            code, document = _batch(golden.options)
        else:
            said = call([golden.command, *golden.photos, *golden.options, "--json"])
            code, document = said.code, kept(json.loads(said.out)) if said.out else {}
        raised = _raised(golden) if "error" in document else ""
    return Golden(**{**vars(golden), "code": code, "raised": raised, "document": document})


def kept(value: Any, name: str = "") -> Any:
    """Return what is compared of a document."""
    if isinstance(value, dict):
        return {
            key: kept(item, key)
            for key, item in value.items()
            if key not in LEFT_OUT and not (key == "sha256" and "width_px" in value)
        }
    if name in OUTLINES and value:
        return _moments(value)
    if isinstance(value, list):
        return [kept(item) for item in value]
    return value


def _moments(polygon: list[list[float]]) -> dict[str, float]:
    """Area, middle and length of a closed polygon (shoelace formula)."""
    area = x = y = length = 0.0
    for (x1, y1), (x2, y2) in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        cross = x1 * y2 - x2 * y1
        area += cross / 2
        x, y = x + (x1 + x2) * cross / 6, y + (y1 + y2) * cross / 6
        length += ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    area = area or 1e-9
    values = {"area_px2": abs(area), "x_px": x / area, "y_px": y / area, "length_px": length}
    return {key: round(value, 2) for key, value in values.items()}


def _batch(options: Sequence[str]) -> tuple[int, Document]:
    """Run a batch over the folder ``photos``, and read its tables."""
    said = call(["batch", "photos", *options, "--out", "out", "--no-pictures", "--jobs", "1"])
    document: Document = {}
    for table in ("photos", "holes"):
        with open(os.path.join("out", f"{table}.csv"), encoding="utf-8-sig", newline="") as lines:
            document[table] = [_row(row) for row in csv.DictReader(lines)]
    return said.code, document


def _row(row: dict[str, str]) -> Document:
    """Return what is kept of a table's row, and what it is called."""
    row["file"] = os.path.basename(row["file"])
    name = " hole ".join(row[key] for key in ("file", "hole") if key in row)
    cells = {key: _cell(text) for key, text in row.items() if key not in COLUMNS_LEFT_OUT}
    return {"row": name, **cells}


def _cell(text: str) -> str | float | int | None:
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text or None


def _raised(golden: Golden) -> str:
    """Name the error of `measure_photo` where the options are those that it knows."""
    import spraycheck

    given = dict(zip(golden.options[::2], golden.options[1::2], strict=False))
    if golden.command != "measure" or not set(given) <= {"--holes", "--sheet", "--layout"}:
        return ""
    asked: dict[str, Any] = {"sheet": given.get("--sheet")}
    if "--holes" in given:
        asked["holes"] = int(given["--holes"])
    else:
        asked["layout"] = spraycheck.read_layout(given["--layout"])
    try:
        spraycheck.measure_photo(golden.photos[0], **asked)
    except Exception as error:
        return type(error).__name__
    return ""
