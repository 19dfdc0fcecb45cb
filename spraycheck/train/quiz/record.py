"""One answered question, as it is kept: a line of JSON that needs nothing else to be understood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import msgspec

from spraycheck.constants import RESULTS_VERSION
from spraycheck.train.quiz.question import Question, score_tool
from spraycheck.train.quiz.score import NamedPlace, Score, score_answer
from spraycheck.train.tool_answer import ToolAnswer

SCHEMA: Final = "spraycheck.quiz/1"
"""Name and version of the form; a later version that only adds fields keeps the number."""

MAX_NAME: Final = 60
"""Letters of a trainee's name. Chosen because no name on a list of a class is longer."""

_NAMES_IN_FILES: Final = {"session": "sitting", "exam": "paper"}
# Results of earlier versions, and pages that were exported by them, hold these names.


@dataclass(frozen=True, kw_only=True)
class FaultAsked:
    """A fault on the card; ``severity`` None where it has no degrees, ``clock_deg`` its place."""

    kind: str
    severity: float | None
    clock_deg: float
    found: bool
    kind_right: bool
    tool_found: bool


class AnswerRecord(msgspec.Struct, frozen=True, kw_only=True, rename=_NAMES_IN_FILES):
    """An answered question.

    Parameters
    ----------
    schema : str
        `SCHEMA`.
    trainee : str
        The name typed.
    session : str
        When it began, ISO 8601; questions of one session share it.
    mode : str
        ``practice`` or ``exam``.
    exam : int or None
        Seed of a fixed exam.
    question : int
        From 1 within the session.
    at : str
        When it was answered, ISO 8601 with offset.
    seconds : float
        From showing the picture to the answer.
    seed : int
        Of the question's picture.
    holes : int
        Of the nozzle.
    look_alike : str
        What looked like a fault and is none; empty for nothing.
    faults : tuple of FaultAsked
        Empty for a good card.
    verdict : str
        The trainee's: ``good`` or ``faulty``.
    named : tuple of NamedPlace
        What the trainee called faulty.
    right : bool
        The verdict was right.
    false_holes : int
        Healthy holes named.
    false_stray : bool
        A stray jet was named and there was none.
    tool_verdict : str
        ``pass``, ``fail``, ``recheck`` or ``failed``.
    tool_false_holes : int
        Healthy holes that the tool called faulty.
    tool_false_stray : bool
        The tool saw a stray jet and there was none.
    results_version : int
        Of the tool.
    """

    schema: str
    trainee: str
    session: str
    mode: str
    exam: int | None
    question: int
    at: str
    seconds: float
    seed: int
    holes: int
    look_alike: str
    faults: tuple[FaultAsked, ...]
    verdict: str
    named: tuple[NamedPlace, ...]
    right: bool
    false_holes: int
    false_stray: bool
    tool_verdict: str
    tool_false_holes: int
    tool_false_stray: bool
    results_version: int

    @property
    def faulty(self) -> bool:
        """Whether the card was faulty."""
        return bool(self.faults)

    @property
    def score(self) -> Score:
        """The trainee's score."""
        return Score(
            verdict_right=self.right,
            found=tuple(fault.found for fault in self.faults),
            kind_right=tuple(fault.kind_right for fault in self.faults),
            false_holes=self.false_holes,
            false_stray=self.false_stray,
        )


@dataclass(frozen=True, kw_only=True)
class Session:
    """Who answers, since when, and the seed of the exam (None in practice)."""

    trainee: str
    began: str
    exam: int | None

    @property
    def mode(self) -> str:
        """``exam`` or ``practice``."""
        return "practice" if self.exam is None else "exam"


@dataclass(frozen=True, kw_only=True)
class Answer:
    """A trainee's answer and how long it took."""

    verdict: str
    named: tuple[NamedPlace, ...]
    seconds: float


def now() -> str:
    """Return the local time with its offset, ISO 8601, to the second."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


def clean_name(text: str) -> str:
    """Return a trainee's name as one printable line, at most `MAX_NAME` long."""
    printable = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(printable.split())[:MAX_NAME].strip()


def record_of(
    session: Session, number: int, question: Question, answer: Answer, tool: ToolAnswer
) -> tuple[AnswerRecord, Score]:
    """Score an answer and put it on record."""
    by_tool = score_tool(question, tool)
    score = score_answer(question.jets, answer.verdict, answer.named)
    faults = tuple(
        FaultAsked(
            kind=jet.kind,
            severity=round(jet.severity, 4) if math.isfinite(jet.severity) else None,
            clock_deg=round(jet.expected_deg, 1),
            found=found,
            kind_right=kind_right,
            tool_found=tool_found,
        )
        for jet, found, kind_right, tool_found in zip(
            question.faulty, score.found, score.kind_right, by_tool.found, strict=True
        )
    )
    record = AnswerRecord(
        schema=SCHEMA,
        trainee=session.trainee,
        session=session.began,
        mode=session.mode,
        exam=session.exam,
        question=number,
        at=now(),
        seconds=round(answer.seconds, 1),
        seed=question.spec.seed,
        holes=question.holes,
        look_alike=question.spec.look_alike,
        faults=faults,
        verdict=answer.verdict,
        named=answer.named,
        right=score.verdict_right,
        false_holes=score.false_holes,
        false_stray=score.false_stray,
        tool_verdict=tool.verdict,
        tool_false_holes=by_tool.false_holes,
        tool_false_stray=by_tool.false_stray,
        results_version=RESULTS_VERSION,
    )
    return record, score


def practice_history(records: Sequence[AnswerRecord], trainee: str) -> dict[str, list[bool]]:
    """Return, by kind, whether the trainee found the faults of practice so far, in order.

    A practice on a fixed exam, as on a page, does not count: its severities did not follow the
    answers, and a staircase is walked by those that did.
    """
    history: dict[str, list[bool]] = {}
    for record in records:
        if record.trainee == trainee and record.mode == "practice" and record.exam is None:
            for fault in record.faults:
                history.setdefault(fault.kind, []).append(fault.found)
    return history
