"""Tables out: CSV always, Parquet where pyarrow is installed, row by row in flat memory.

A table is written under a name of its own and put in place when it is whole, so that a reader, or
a power cut, never meets half of one.
"""

from __future__ import annotations

import contextlib
import csv
import importlib.util
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import IO, Any, Final

from spraycheck.batch.columns import TABLES, Column, Value

ROWS_TOGETHER: Final = 4096
"""Rows of a Parquet row group: some megabytes in memory, few enough groups to read fast."""


def have_parquet() -> bool:
    """Tell whether Parquet can be written."""
    return importlib.util.find_spec("pyarrow") is not None


@contextlib.contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give a name to write to; what was written takes the place of ``path`` at the end."""
    temporary = path.with_name(f".{path.name}.part")
    try:
        yield temporary
        with open(temporary, "rb+") as file:
            os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


class Table:
    """One table, as CSV and perhaps as Parquet.

    Parameters
    ----------
    name : str
        A key of `TABLES`.
    text : IO[str]
        Where the CSV goes.
    parquet : Path or None
        Where the Parquet goes; None writes none.
    """

    def __init__(self, name: str, text: IO[str], parquet: Path | None) -> None:
        self._columns = TABLES[name]
        self._csv = csv.writer(text, lineterminator="\n")
        self._csv.writerow([column.name for column in self._columns])
        self._rows: list[Mapping[str, Value]] = []
        self._writer: Any = None
        if parquet is not None:
            import pyarrow.parquet

            self._schema = arrow_schema(self._columns)
            self._writer = pyarrow.parquet.ParquetWriter(parquet, self._schema, compression="zstd")

    def add(self, row: Mapping[str, Value]) -> None:
        """Write a row."""
        self._csv.writerow([_text(row[column.name]) for column in self._columns])
        if self._writer is not None:
            self._rows.append(row)
            if len(self._rows) >= ROWS_TOGETHER:
                self._flush()

    def close(self) -> None:
        """Write what is left."""
        if self._writer is not None:
            self._flush()
            self._writer.close()

    def _flush(self) -> None:
        import pyarrow

        if self._rows:
            self._writer.write_table(pyarrow.Table.from_pylist(self._rows, schema=self._schema))
            self._rows = []


@contextlib.contextmanager
def open_table(folder: Path, name: str) -> Iterator[Table]:
    """Open a table for writing; it is in place when the block ends."""
    with contextlib.ExitStack() as stack:
        text_path = stack.enter_context(replacing(folder / f"{name}.csv"))
        parquet = None
        if have_parquet():
            parquet = stack.enter_context(replacing(folder / f"{name}.parquet"))
        text = stack.enter_context(open(text_path, "w", encoding="utf-8", newline=""))
        table = Table(name, text, parquet)
        try:
            yield table
        finally:
            table.close()


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
        "Tables of a spraycheck batch. A column is never renamed or given another meaning; new",
        "ones go to the end. Empty means not known or not measured. Units are in the names.",
        "Uncertainties are expanded, 95 %.",
    ]
    for name, columns in TABLES.items():
        lines += ["", f"{name}.csv, {name}.parquet", ""]
        width = max(len(column.name) for column in columns)
        lines += [f"  {c.name:<{width}}  {c.kind:<6}  {c.meaning}" for c in columns]
    return "\n".join(lines) + "\n"


def _text(value: Value) -> str:
    return "" if value is None else str(value)
