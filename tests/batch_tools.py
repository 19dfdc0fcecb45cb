"""A stand-in for the measurement, and batches of invented photos, for the tests of batches.

The stand-in is importable, so that worker processes on this machine can use it too. What a photo
shows is written in it as plain text behind the first bytes of a JPEG.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import os
import shutil
import signal
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from report_factory import make_result

from spraycheck.batch import scheduler
from spraycheck.batch.engines import Engine, InProcess
from spraycheck.batch.journal import JOURNAL_NAME
from spraycheck.batch.run import Options, run_batch
from spraycheck.batch.scheduler import Step
from spraycheck.batch.scoring import Scored, Task
from spraycheck.batch.summary import Summary
from spraycheck.errors import CardNotFoundError
from spraycheck.nozzles.model import Nozzle
from spraycheck.report.document import error_document, result_document
from spraycheck.report.trends import Trends

HEAD = b"\xff\xd8\xff"
STATES = {
    "pass": ("clear",) * 4,
    "fail": ("clear", "blocked", "weak", "clear"),
    "recheck": ("clear", "unsure", "clear", "clear"),
}


def photo(path: Path, text: str) -> Path:
    """An invented photo: ``pass``, ``fail``, ``recheck``, ``blank``, ``bug``, ``kill``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(HEAD + text.encode())
    return path


@functools.cache
def _document(verdict: str) -> str:
    return json.dumps(result_document(make_result(STATES[verdict], verdict=verdict)))


def stand_in(task: Task) -> Scored:
    """Give the result that is written in the photo."""
    with open(task.file, "rb") as file:
        data = file.read()
    sha256 = hashlib.sha256(data).hexdigest()
    text = data[len(HEAD) :].decode()
    word = text.split()[0]
    if word == "slow":
        time.sleep(0.05)
        word = "pass"
    if word == "kill":
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "kill-once":
        marker = Path(task.file + ".died")
        if not marker.exists():
            marker.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        word = "fail"
    if word == "bug":
        raise ZeroDivisionError("division by zero")
    if word == "blank":
        found = text.split()[-1]
        error = CardNotFoundError(f"found {found} sheets", stage="rectification", hint="try again")
        failed = error_document("", error)
        failed["photo"]["file"] = None
        return Scored(result=failed, sha256=sha256, lasting=True, small=b"small")
    document: dict[str, Any] = json.loads(_document(word))
    document["photo"] |= {"file": None, "sha256": sha256}
    document["provenance"] = {"spraycheck": "0", "results_version": 1}
    # The number of holes asked for shows, so that settings make a difference.
    document["layout"]["name"] = task.settings.layout.name
    pictures = (b"small", b"large") if task.pictures else (b"", b"")
    return Scored(
        result=document, sha256=sha256, lasting=True, small=pictures[0], large=pictures[1]
    )


class Quiet:
    """A watcher that takes everything down."""

    def __init__(self) -> None:
        self.total = 0
        self.steps: list[Step] = []
        self.said: list[str] = []

    def begin(self, total: int) -> None:
        self.total = total

    def step(self, step: Step) -> None:
        self.steps.append(step)

    def say(self, text: str) -> None:
        self.said.append(text)

    def end(self) -> None:
        pass

    @property
    def measured(self) -> int:
        return sum(not step.kept for step in self.steps)


def batch(
    folder: Path,
    out: Path,
    *,
    engine: Engine | None = None,
    stop: Callable[[], bool] = lambda: False,
    plots: bool = False,
    **options: Any,
) -> tuple[Summary, Quiet]:
    """Run a batch with the stand-in; four holes unless said otherwise, and no slow plots."""
    import pytest

    options.setdefault("nozzle", Nozzle.evenly_spread(4))
    options.setdefault("places", (str(folder),))
    watcher = Quiet()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scheduler, "score", stand_in)
        patch.setattr("spraycheck.batch.run._engine", lambda _: engine or InProcess())
        if not plots:
            patch.setattr(Trends, "plots", lambda _: [])
        summary = run_batch(Options(out=out, **options), watcher, stop=stop)
    return summary, watcher


def records(out: Path) -> list[dict[str, Any]]:
    """The records of a batch."""
    lines = (out / "records.jsonl").read_text("ascii").splitlines()
    return [json.loads(line) for line in lines]


def rows_of(out: Path) -> list[tuple[int, bytes, str]]:
    """Number, key and code of every row of the journal in a folder, read without the product.

    A copy is read: a batch holds the database itself locked.
    """
    copy = out.with_name(f"{out.name}-look")
    try:
        shutil.copytree(out, copy, ignore=lambda _, names: {n for n in names if "journal" not in n})
        with contextlib.closing(sqlite3.connect(copy / JOURNAL_NAME)) as database:
            return database.execute("select rowid, key, code from result").fetchall()
    except (OSError, sqlite3.Error):  # not there yet
        return []
    finally:
        shutil.rmtree(copy, ignore_errors=True)


def outcome_of(out: Path) -> dict[str, bytes]:
    """Every file of an outcome that must not depend on the engine."""
    names = ("records.jsonl", "photos.csv", "holes.csv", "photos.parquet", "contact-sheet.html")
    return {name: (out / name).read_bytes() for name in names}


def pid(_: int) -> int:
    """The process that does the work."""
    return os.getpid()
