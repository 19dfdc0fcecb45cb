"""One answered question, as it is kept: a line of JSON that needs nothing else to be understood."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spraycheck.report.quiz.marking import Marks

SCHEMA: Final = "spraycheck.quiz/1"
"""Name and version of the form; a later version that only adds fields keeps the number."""


@dataclass(frozen=True, kw_only=True)
class FaultAsked:
    """A fault on the card; ``severity`` None where it has no degrees, ``clock_deg`` its place."""

    kind: str
    severity: float | None
    clock_deg: float
    found: bool
    kind_right: bool
    tool_found: bool


@dataclass(frozen=True, kw_only=True)
class PlaceNamed:
    """A place that the trainee called faulty."""

    kind: str
    clock_deg: float


@dataclass(frozen=True, kw_only=True)
class Record:
    """An answered question.

    Parameters
    ----------
    schema : str
        `SCHEMA`.
    trainee : str
        The name typed.
    sitting : str
        When it began, ISO 8601; questions of one sitting share it.
    mode : str
        ``practice`` or ``exam``.
    paper : int or None
        Seed of a fixed paper.
    question : int
        From 1 within the sitting.
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
    named : tuple of PlaceNamed
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
    sitting: str
    mode: str
    paper: int | None
    question: int
    at: str
    seconds: float
    seed: int
    holes: int
    look_alike: str
    faults: tuple[FaultAsked, ...]
    verdict: str
    named: tuple[PlaceNamed, ...]
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
    def marks(self) -> Marks:
        """The trainee's marks."""
        return Marks(
            verdict_right=self.right,
            found=tuple(fault.found for fault in self.faults),
            kind_right=tuple(fault.kind_right for fault in self.faults),
            false_holes=self.false_holes,
            false_stray=self.false_stray,
        )
