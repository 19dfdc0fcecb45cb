"""Gathering answers for a report, and naming its plots."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from spraycheck.errors import InputError
from spraycheck.output_files import target_file
from spraycheck.photo.files import shown
from spraycheck.report.quiz.records import Record
from spraycheck.train.quiz.results import read_results


def load(files: Sequence[Path], trainee: str = "") -> tuple[list[Record], list[str]]:
    """Return the answers in some files, of one trainee or of all, and what to note about them.

    The same answer in two files, as after copying a USB stick twice, counts once.

    Raises
    ------
    InputError
        A file cannot be read, or holds no answers, or none of this trainee.
    """
    notes: list[str] = []
    found: dict[tuple[str, str, int, int], Record] = {}
    for path in files:
        results = read_results(path)
        if results.damaged:
            notes.append(f"results {shown(path)}: {results.damaged} damaged lines left out")
        for record in results.records:
            found[record.trainee, record.sitting, record.question, record.seed] = record
    if not found:
        raise InputError(f"results {shown(files[0])} hold no answers yet", "answer some questions")
    kept = [r for r in found.values() if not trainee or r.trainee == trainee]
    if not kept:
        names = ", ".join(sorted({r.trainee for r in found.values()})[:12])
        raise InputError(f"no answers of {trainee!r}, expected one of {names}")
    return kept, notes


def numbered(target: str, count: int) -> list[Path]:
    """Return where each of several plots goes: FILE for one, FILE-1, FILE-2 and so on for more."""
    path = target_file(target, "plot", (".png",), hint="for example --plot answers.png")
    if count == 1:
        return [path]
    return [path.with_name(f"{path.stem}-{k}{path.suffix}") for k in range(1, count + 1)]
