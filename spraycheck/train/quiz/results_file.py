"""The results file: one answer, one line of JSON, only ever added to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from spraycheck.errors import ArchiveError, InputError
from spraycheck.photo.files import shown
from spraycheck.train.quiz.kinds import LOOK_ALIKES, QUIZ_KINDS
from spraycheck.train.quiz.record import SCHEMA, AnswerRecord, clean_name
from spraycheck.user_folders import data_folder

_FAMILY = SCHEMA.split("/")[0]


@dataclass(frozen=True, kw_only=True)
class Results:
    """What a file holds; ``damaged`` lines could not be read and were left out."""

    records: tuple[AnswerRecord, ...]
    damaged: int


def default_results() -> Path:
    """Return where results go when nothing is said: the user's own data folder."""
    return data_folder() / "quiz.jsonl"


def read_results(path: Path, *, missing_ok: bool = False) -> Results:
    """Read a results file.

    Raises
    ------
    InputError
        Missing (unless ``missing_ok``) or unreadable.
    ArchiveError
        Something else than quiz results, or a later form of them.
    """
    try:
        lines = path.read_bytes().split(b"\n")
    except FileNotFoundError:
        if missing_ok:
            return Results(records=(), damaged=0)
        raise InputError(
            f"results {shown(path)}: there is no such file",
            "answer some questions first, or name the file with --results",
        ) from None
    except OSError as error:
        raise InputError(
            f"results {shown(path)} cannot be read ({error.strerror})",
            "choose another file with --results",
        ) from None
    records, damaged = [], 0
    for line in lines:
        if not line.strip():
            continue
        try:
            records.append(_record(line, path))
        except msgspec.DecodeError:
            damaged += 1
    if damaged and not records:
        raise ArchiveError(
            f"results {shown(path)} hold no answer that can be read, expected lines of quiz "
            "results; choose another file with --results"
        )
    return Results(records=tuple(records), damaged=damaged)


def load_results(files: Sequence[Path], trainee: str = "") -> tuple[list[AnswerRecord], list[str]]:
    """Return the answers in some files, of one trainee or of all, and what to note about them.

    The same answer in two files, as after copying a USB stick twice, counts once.

    Raises
    ------
    InputError
        A file cannot be read, or holds no answers, or none of this trainee.
    """
    notes: list[str] = []
    found: dict[tuple[str, str, int, int], AnswerRecord] = {}
    for path in files:
        results = read_results(path)
        if results.damaged:
            notes.append(f"results {shown(path)}: {results.damaged} damaged lines left out")
        for record in results.records:
            found[record.trainee, record.session, record.question, record.seed] = record
    if not found:
        raise InputError(f"results {shown(files[0])} hold no answers yet", "answer some questions")
    kept = [r for r in found.values() if not trainee or r.trainee == trainee]
    if not kept:
        names = ", ".join(sorted({r.trainee for r in found.values()})[:12])
        raise InputError(f"no answers of {trainee!r}, expected one of {names}")
    return kept, notes


def append_results(path: Path, records: Sequence[AnswerRecord]) -> None:
    """Add answers to a results file, made when missing, and force them to the disk.

    Raises
    ------
    InputError
        It cannot be written.
    """
    block = b"".join(msgspec.json.encode(record) + b"\n" for record in records)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(path, "ab+") as file:
            if file.seek(0, os.SEEK_END):
                file.seek(-1, os.SEEK_END)
                if file.read(1) != b"\n":  # a line torn off by a power cut stays alone
                    block = b"\n" + block
            file.write(block)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise InputError(
            f"results {shown(path)} cannot be written ({error.strerror})",
            "choose another file with --results",
        ) from None


def _record(line: bytes, path: Path) -> AnswerRecord:
    try:
        record = msgspec.json.decode(line, type=AnswerRecord)
    except msgspec.DecodeError:
        head = msgspec.json.decode(line)  # not even JSON: damaged
        form = head.get("schema") if isinstance(head, dict) else None
        if isinstance(form, str) and form.startswith(_FAMILY) and form != SCHEMA:
            raise _later(form, path) from None
        raise
    if record.schema != SCHEMA:
        raise _later(record.schema, path)
    if not _possible(record):
        raise msgspec.DecodeError("impossible")
    # A file may come from anywhere: what does not print must not reach a terminal.
    return msgspec.structs.replace(record, trainee=clean_name(record.trainee) or "?")


def _possible(record: AnswerRecord) -> bool:
    """Say whether an answer can have been given; a line edited by hand may hold anything."""
    known = all(fault.kind in QUIZ_KINDS for fault in record.faults)
    known = known and record.look_alike in ("", *LOOK_ALIKES)
    sizes = all(fault.severity is None or fault.severity > 0 for fault in record.faults)
    return known and sizes and 0 <= record.false_holes <= record.holes and record.holes >= 1


def _later(form: str, path: Path) -> ArchiveError:
    return ArchiveError(
        f"results {shown(path)} have the form {form[:40]!r}, expected {SCHEMA}; update spraycheck, "
        "or choose another file with --results"
    )
