"""What to do at the tester, in which order, and which safety line belongs to which point.

Steps and safety lines are members of closed sets; their words stand in the reports' catalogue. The
program asks at each point and cannot enforce anything, which `Safety.CANNOT_ENFORCE` says.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from spraycheck.errors import InputError


class Safety(StrEnum):
    """Safety lines; nothing that is pressurised or opened goes without one."""

    JET = "jet"
    RELEASE_FIRST = "release-first"
    HANDS_OUT = "hands-out"
    EYES = "eyes"
    MIST = "mist"
    INJECTED = "injected"
    STAY_BELOW_OPENING = "stay-below-opening"
    CANNOT_ENFORCE = "cannot-enforce"


class SafetyStop(InputError):
    """Nothing goes on: what was asked for is dangerous.

    Parameters
    ----------
    message, hint : str
        As for every `InputError`.
    safety : tuple of Safety
        Lines that have to be shown with it.
    """

    def __init__(self, message: str, hint: str, safety: tuple[Safety, ...]) -> None:
        super().__init__(message, hint)
        self.safety = safety

    def __reduce__(self) -> tuple[object, ...]:
        """Keep the safety lines when a worker process sends the error back."""
        return (type(self), (self.message, self.hint, self.safety))


class Phase(StrEnum):
    """When a step is done: around the time under pressure."""

    BEFORE = "before"
    DURING = "during"
    AFTER = "after"


class Step(StrEnum):
    """Steps at the tester."""

    LEVER_UP = "lever-up"
    GAUGE_VALVE_OPEN = "gauge-valve-open"
    GAUGE_ZERO = "gauge-zero"
    TIP_WIPED_DRY = "tip-wiped-dry"
    COVER_ON = "cover-on"
    STROKE_SLOWLY = "stroke-slowly"
    READ_HIGHEST = "read-highest"
    RAISE_SLOWLY = "raise-slowly"
    OPENED_BEGIN_AGAIN = "opened-begin-again"
    HOLD_AND_WATCH = "hold-and-watch"
    COUNT_RETURN_DROPS = "count-return-drops"
    RELEASE = "release"
    READ_ZERO = "read-zero"
    COVER_OFF = "cover-off"
    PAPER_FOR_DAMP = "paper-for-damp"


@dataclass(frozen=True, kw_only=True)
class ProcedureStep:
    """One step.

    Parameters
    ----------
    step : Step
        What to do.
    phase : Phase
        When.
    safety : tuple of Safety
        Lines that stand before it.
    asked : bool
        Whether the technician has to say that it is done before the next step.
    """

    step: Step
    phase: Phase
    safety: tuple[Safety, ...] = ()
    asked: bool = True


_BEFORE: Final = (
    ProcedureStep(step=Step.LEVER_UP, phase=Phase.BEFORE, safety=(Safety.EYES, Safety.MIST)),
    ProcedureStep(step=Step.GAUGE_VALVE_OPEN, phase=Phase.BEFORE),
    ProcedureStep(step=Step.GAUGE_ZERO, phase=Phase.BEFORE),
    ProcedureStep(step=Step.TIP_WIPED_DRY, phase=Phase.BEFORE, safety=(Safety.RELEASE_FIRST,)),
    ProcedureStep(
        step=Step.COVER_ON,
        phase=Phase.BEFORE,
        safety=(Safety.JET, Safety.HANDS_OUT, Safety.CANNOT_ENFORCE),
    ),
)

_AFTER: Final = (
    ProcedureStep(step=Step.RELEASE, phase=Phase.AFTER),
    ProcedureStep(step=Step.READ_ZERO, phase=Phase.AFTER, safety=(Safety.RELEASE_FIRST,)),
    ProcedureStep(step=Step.COVER_OFF, phase=Phase.AFTER),
)

OPENING_PROCEDURE: Final = (
    *_BEFORE,
    ProcedureStep(step=Step.STROKE_SLOWLY, phase=Phase.DURING, safety=(Safety.HANDS_OUT,)),
    ProcedureStep(step=Step.READ_HIGHEST, phase=Phase.DURING, asked=False),
    *_AFTER,
)
"""Reading the opening pressure."""

HOLD_PROCEDURE: Final = (
    *_BEFORE,
    ProcedureStep(step=Step.RAISE_SLOWLY, phase=Phase.DURING, safety=(Safety.STAY_BELOW_OPENING,)),
    ProcedureStep(
        step=Step.OPENED_BEGIN_AGAIN,
        phase=Phase.DURING,
        safety=(Safety.RELEASE_FIRST,),
        asked=False,
    ),
    ProcedureStep(step=Step.HOLD_AND_WATCH, phase=Phase.DURING, safety=(Safety.HANDS_OUT,)),
    *_AFTER,
    ProcedureStep(step=Step.PAPER_FOR_DAMP, phase=Phase.AFTER, safety=(Safety.RELEASE_FIRST,)),
)
"""Holding the seat just below the opening pressure."""

BACK_LEAKAGE_PROCEDURE: Final = (
    *_BEFORE,
    ProcedureStep(step=Step.RAISE_SLOWLY, phase=Phase.DURING, safety=(Safety.STAY_BELOW_OPENING,)),
    ProcedureStep(step=Step.COUNT_RETURN_DROPS, phase=Phase.DURING, safety=(Safety.HANDS_OUT,)),
    *_AFTER,
)
"""Counting drops at the return."""

PROCEDURES: Final = (OPENING_PROCEDURE, HOLD_PROCEDURE, BACK_LEAKAGE_PROCEDURE)


def next_step(procedure: tuple[ProcedureStep, ...], done: Iterable[Step]) -> ProcedureStep | None:
    """Return the first step that is not done yet; None when all are.

    Raises
    ------
    InputError
        A step was done before one that comes first, for example paper at the tip before the
        pressure was released.
    """
    confirmed = list(done)
    wanted = [one for one in procedure if one.asked]
    for place, step in enumerate(confirmed):
        if place >= len(wanted) or step is not wanted[place].step:
            expected = wanted[place].step if place < len(wanted) else "nothing more"
            raise InputError(
                f"step {place + 1} done is {step}, expected {expected}",
                "release the pressure, read zero on the gauge, and begin again with the first step",
            )
    return wanted[len(confirmed)] if len(confirmed) < len(wanted) else None
