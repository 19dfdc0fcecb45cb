"""Tables out, row by row in flat memory: JSON Lines, CSV, and Parquet where pyarrow is installed.

A table is written under a name of its own and put in place when it is whole, so that a reader, or
a power cut, never meets half of one.
"""

from __future__ import annotations

import contextlib
import csv
import importlib.util
import json
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, Protocol

from spraycheck.batch.columns import TABLES, Column
from spraycheck.batch.files import replacing

ROWS_TOGETHER: Final = 4096
"""Rows of a Parquet row group: some megabytes in memory, few enough groups to read fast."""

_FILES: Final = {
    "records": (".jsonl",),
    "photos": (".csv", ".parquet"),
    "holes": (".csv", ".parquet"),
}

Row = Mapping[str, Any]


def have_parquet() -> bool:
    """Tell whether Parquet can be written."""
    return importlib.util.find_spec("pyarrow") is not None


def table_files(name: str) -> list[str]:
    """Return the files that a table of `TABLES` is written to here."""
    kinds = [kind for kind in _FILES[name] if kind != ".parquet" or have_parquet()]
    return [f"{name}{kind}" for kind in kinds]


@contextlib.contextmanager
def open_table(folder: Path, name: str) -> Iterator[Callable[[Row], None]]:
    """Give a function that writes a row of a table; its files are in place when the block ends."""
    with contextlib.ExitStack() as stack:
        writers: list[_Writer] = []
        for file in table_files(name):
            part = stack.enter_context(replacing(folder / file))
            writer = _WRITERS[Path(file).suffix](part, TABLES[name])
            stack.callback(writer.close)
            writers.append(writer)

        def add(row: Row) -> None:
            for writer in writers:
                writer.add(row)

        yield add


class _Writer(Protocol):
    def add(self, row: Row) -> None: ...

    def close(self) -> None: ...


class _JsonLines:
    def __init__(self, path: Path, columns: tuple[Column, ...]) -> None:
        self._columns = columns
        self._file = open(path, "w", encoding="ascii")  # noqa: SIM115
        self.close = self._file.close

    def add(self, row: Row) -> None:
        values = {
            column.name: row[column.name]
            for column in self._columns
            if column.kind != "document" or column.name in row
        }
        self._file.write(json.dumps(values, separators=(",", ":"), allow_nan=False) + "\n")


class _Csv:
    def __init__(self, path: Path, columns: tuple[Column, ...]) -> None:
        self._names = [column.name for column in columns]
        self._file = open(path, "w", encoding="utf-8", newline="")  # noqa: SIM115
        self._csv = csv.writer(self._file, lineterminator="\n")
        self._csv.writerow(self._names)
        self.close = self._file.close

    def add(self, row: Row) -> None:
        self._csv.writerow([row[name] for name in self._names])  # None becomes an empty cell


class _Parquet:
    def __init__(self, path: Path, columns: tuple[Column, ...]) -> None:
        import pyarrow.parquet

        self._schema = arrow_schema(columns)
        self._writer = pyarrow.parquet.ParquetWriter(path, self._schema, compression="zstd")
        self._rows: list[Row] = []

    def add(self, row: Row) -> None:
        self._rows.append(row)
        if len(self._rows) >= ROWS_TOGETHER:
            self._flush()

    def close(self) -> None:
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        import pyarrow

        if self._rows:
            self._writer.write_table(pyarrow.Table.from_pylist(self._rows, schema=self._schema))
            self._rows = []


_WRITERS: Final[dict[str, Callable[[Path, tuple[Column, ...]], _Writer]]] = {
    ".jsonl": _JsonLines,
    ".csv": _Csv,
    ".parquet": _Parquet,
}


def arrow_schema(columns: tuple[Column, ...]) -> Any:
    """Return the schema of a Parquet table, with the meaning of each column in it."""
    import pyarrow

    kinds = {"text": pyarrow.string(), "whole": pyarrow.int64(), "number": pyarrow.float64()}
    return pyarrow.schema(
        [pyarrow.field(c.name, kinds[c.kind], metadata={"meaning": c.meaning}) for c in columns]
    )


def columns_text() -> str:
    """Return the description of all columns as a text a person reads."""
    lines = [
        "Tables of a spraycheck batch. Read columns by their names: a name is never changed, given",
        "another meaning or taken away. Empty means not known or not measured. Units are in the",
        "names. Uncertainties are expanded, 95 %.",
    ]
    for name, columns in TABLES.items():
        lines += ["", ", ".join(f"{name}{kind}" for kind in _FILES[name]), ""]
        width = max(len(column.name) for column in columns)
        lines += [f"  {c.name:<{width}}  {c.kind:<8}  {c.meaning}" for c in columns]
    return "\n".join(lines) + "\n"
