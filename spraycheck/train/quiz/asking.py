"""From a question and an answer to the record that is kept."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from spraycheck.constants import RESULTS_VERSION
from spraycheck.report.quiz.marking import Marks, Named, mark
from spraycheck.report.quiz.records import SCHEMA, FaultAsked, PlaceNamed, Record
from spraycheck.train.quiz.questions import Question, ToolAnswer

MAX_NAME = 60
"""Letters of a trainee's name. Chosen because no name on a list of a class is longer."""


@dataclass(frozen=True, kw_only=True)
class Sitting:
    """Who sits, since when, on which paper (None in practice)."""

    trainee: str
    began: str
    paper: int | None

    @property
    def mode(self) -> str:
        """``exam`` with a paper, ``practice`` without."""
        return "practice" if self.paper is None else "exam"


@dataclass(frozen=True, kw_only=True)
class Given:
    """A trainee's answer and how long it took."""

    verdict: str
    named: tuple[Named, ...]
    seconds: float


def now() -> str:
    """Return the local time with its offset, ISO 8601, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def clean_name(text: str) -> str:
    """Return a trainee's name as one printable line, at most `MAX_NAME` long."""
    printable = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(printable.split())[:MAX_NAME].strip()


def record_of(
    sitting: Sitting, number: int, question: Question, given: Given, tool: ToolAnswer
) -> tuple[Record, Marks]:
    """Mark an answer and put it on record."""
    marks = mark(question.targets, given.verdict, given.named)
    faults = tuple(
        FaultAsked(
            kind=target.kind,
            severity=round(target.severity, 4) if math.isfinite(target.severity) else None,
            clock_deg=round(target.expected_deg, 1),
            found=found,
            kind_right=kind_right,
            tool_found=by_tool,
        )
        for target, found, kind_right, by_tool in zip(
            question.faulty, marks.found, marks.kind_right, tool.marks.found, strict=True
        )
    )
    record = Record(
        schema=SCHEMA,
        trainee=sitting.trainee,
        sitting=sitting.began,
        mode=sitting.mode,
        paper=sitting.paper,
        question=number,
        at=now(),
        seconds=round(given.seconds, 1),
        seed=question.spec.seed,
        holes=question.holes,
        look_alike=question.spec.look_alike,
        faults=faults,
        verdict=given.verdict,
        named=tuple(PlaceNamed(kind=n.kind, clock_deg=n.clock_deg) for n in given.named),
        right=marks.verdict_right,
        false_holes=marks.false_holes,
        false_stray=marks.false_stray,
        tool_verdict=tool.verdict,
        tool_false_holes=tool.marks.false_holes,
        tool_false_stray=tool.marks.false_stray,
        results_version=RESULTS_VERSION,
    )
    return record, marks


def practice_history(records: Sequence[Record], trainee: str) -> dict[str, list[bool]]:
    """Return, by kind, whether the trainee found the faults of practice so far, in order.

    A practice on a fixed paper, as on a page, does not count: its severities did not follow the
    answers, and a staircase is walked by those that did.
    """
    history: dict[str, list[bool]] = {}
    for record in records:
        if record.trainee == trainee and record.mode == "practice" and record.paper is None:
            for fault in record.faults:
                history.setdefault(fault.kind, []).append(fault.found)
    return history
