"""What is said of a reading at the bench, and of a whole injector from all its checks.

A reading is judged like a spray: `checks.check_limit` holds it against its limits, `verdict_of`
sets the verdict. An injector passes only when opening pressure, seat hold and pattern all pass as
it is now: every check from before the last change of a spacer or a part is outdated, and so is a
hold whose opening pressure has been read again since.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from spraycheck.errors import InputError
from spraycheck.judge.checks import DOUBTS, Effect, has, shared_risk
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.result import Doubt, LimitCheck, Outcome, Remedy, Verdict
from spraycheck.judge.verdict import outcome_of, verdict_of
from spraycheck.stats.conformity import joint_bounds


@dataclass(frozen=True, kw_only=True)
class ReadingRuling:
    """What is decided of one reading at the bench.

    Parameters
    ----------
    verdict : Verdict
        On this check of the injector.
    probability : float
        That all limits of the reading are kept; NaN when that cannot be told.
    checks : tuple of LimitCheck
        With their outcomes.
    doubts : tuple of Doubt
        About the reading as a whole.
    """

    verdict: Verdict
    probability: float
    checks: tuple[LimitCheck, ...]
    doubts: tuple[Doubt, ...] = ()

    @property
    def remedy(self) -> Remedy | None:
        """What settles a recheck: what its doubts ask for, else reading again."""
        if self.verdict is not Verdict.RECHECK:
            return None
        told = (*self.doubts, *(doubt for one in self.checks for doubt in one.doubts))
        own = (DOUBTS[doubt][1] for doubt in told)
        return next((one for one in own if one is not None), Remedy.READ_AGAIN)


def decide_reading(
    checks: Sequence[LimitCheck],
    limits: LimitSet,
    *,
    values: int = 1,
    doubts: Sequence[Doubt] = (),
) -> ReadingRuling:
    """Set the outcomes and the verdict of one reading.

    Parameters
    ----------
    checks : sequence of LimitCheck
        Of the reading; those that are not asked carry a doubt that waives them.
    limits : LimitSet
        What is tolerated; its risk is that of a wrong verdict.
    values : int
        Among how many values the risk is shared. The two ends of one window hold one value.
    doubts : sequence of Doubt
        About the reading as a whole.

    Notes
    -----
    The probability is one less the sum of those of breaking each limit: exact for the two ends of
    a window, which cannot be broken together (JCGM 106:2012, 7.4), and a lower bound otherwise.
    """
    alone = shared_risk(limits, values)
    settled = [replace(one, outcome=outcome_of(one, alone, limits.risk)) for one in checks]
    asked = [k for k, one in enumerate(settled) if one.outcome is not Outcome.NOT_JUDGED]
    kept = [settled[k].probability for k in asked]
    if not asked or any(math.isnan(p) for p in kept):
        probability = math.nan
    else:
        probability = joint_bounds(kept)[0]
    if probability < 1 - limits.risk and all(settled[k].outcome is Outcome.KEPT for k in asked):
        worst = min(asked, key=lambda k: settled[k].probability)
        told = (*settled[worst].doubts, Doubt.NEAR_LIMIT_TOGETHER)
        settled[worst] = replace(settled[worst], outcome=Outcome.UNSURE, doubts=told)
    return ReadingRuling(
        verdict=verdict_of(settled, probability, limits.risk, doubts),
        probability=probability,
        checks=tuple(settled),
        doubts=tuple(doubts),
    )


def no_pass(doubts: Iterable[Doubt]) -> tuple[Doubt, ...]:
    """Pick the doubts with which a reading as a whole does not pass."""
    return tuple(doubt for doubt in doubts if has([doubt], Effect.NO_PASS))


class BenchTest(StrEnum):
    """The checks of an injector at the bench, in the order in which they are done."""

    OPENING = "opening"
    HOLD = "hold"
    BACK_LEAKAGE = "back-leakage"
    PATTERN = "pattern"


REQUIRED: Final = (BenchTest.OPENING, BenchTest.HOLD, BenchTest.PATTERN)
"""What an injector has to pass after every change."""


class ChangeKind(StrEnum):
    """What can be changed inside an injector."""

    SPACER = "spacer"
    PART = "part"


class Standing(StrEnum):
    """How one check of an injector stands as it is now."""

    PASSED = "passed"
    FAILED = "failed"
    UNSETTLED = "unsettled"
    """Done, but too close to a limit or in doubt: a recheck."""
    OUTDATED = "outdated"
    MISSING = "missing"


class InjectorVerdict(StrEnum):
    """What is said of an injector."""

    PASS = "pass"
    FAIL = "fail"
    OPEN = "open"


@dataclass(frozen=True, kw_only=True)
class BenchRecord:
    """One check that was done.

    Parameters
    ----------
    test : BenchTest
        Which.
    verdict : Verdict
        What came out.
    entry : int
        Its running number in the record: a later entry has a larger one, whatever the clock says.
    opening_entry : int or None
        Of a hold, the entry of the opening pressure that it was taken from; None for other checks.
    """

    test: BenchTest
    verdict: Verdict
    entry: int
    opening_entry: int | None = None

    def __post_init__(self) -> None:
        if (self.test is BenchTest.HOLD) != (self.opening_entry is not None):
            raise InputError(
                f"entry {self.entry}, {self.test}: opening_entry is {self.opening_entry}, expected "
                "the entry of the opening pressure for a hold, and None for every other check",
                "read the opening pressure first, then hold below it",
            )


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change of the injector: every check before it is outdated.

    Parameters
    ----------
    kind : ChangeKind
        What was changed.
    entry : int
        Its running number in the record.
    """

    kind: ChangeKind
    entry: int


@dataclass(frozen=True, kw_only=True)
class CheckStanding:
    """How one check stands.

    Parameters
    ----------
    test : BenchTest
        Which.
    standing : Standing
        How it stands.
    entry : int or None
        The last time it was done; None when it never was.
    required : bool
        Whether the injector has to pass it.
    repeated : bool
        It failed before, with no change in between: a pass that deserves a second look.
    """

    test: BenchTest
    standing: Standing
    entry: int | None
    required: bool
    repeated: bool = False


@dataclass(frozen=True, kw_only=True)
class InjectorRuling:
    """What is decided of an injector.

    Parameters
    ----------
    verdict : InjectorVerdict
        ``fail`` where a required check fails, ``pass`` where all of them pass, else ``open``.
    standings : tuple of CheckStanding
        One per check that is required or was done, in the order of `BenchTest`.
    """

    verdict: InjectorVerdict
    standings: tuple[CheckStanding, ...]

    def that_are(self, standing: Standing) -> tuple[BenchTest, ...]:
        """Return the required checks that stand so, for example those that are missing."""
        return tuple(o.test for o in self.standings if o.required and o.standing is standing)


def judge_injector(
    records: Sequence[BenchRecord],
    changes: Sequence[Change] = (),
    *,
    required: Sequence[BenchTest] = REQUIRED,
) -> InjectorRuling:
    """Say whether an injector passes as it is now.

    Parameters
    ----------
    records : sequence of BenchRecord
        Every check that counts; of a corrected entry only the correction.
    changes : sequence of Change
        Every change of a spacer or a part.
    required : sequence of BenchTest
        What it has to pass.

    Raises
    ------
    InputError
        Two entries of one number, or a hold taken from something else than an opening pressure.
    """
    _check_entries(records, changes)
    last_change = max((one.entry for one in changes), default=-math.inf)
    latest: dict[BenchTest, BenchRecord] = {}
    failed: set[BenchTest] = set()
    for record in sorted(records, key=lambda one: one.entry):
        if record.entry > last_change and record.verdict is Verdict.FAIL:
            failed.add(record.test)
        latest[record.test] = record
    opening = latest.get(BenchTest.OPENING)
    standings = tuple(
        CheckStanding(
            test=test,
            standing=(standing := _standing(latest.get(test), opening, last_change)),
            entry=latest[test].entry if test in latest else None,
            required=test in required,
            repeated=standing is Standing.PASSED and test in failed,
        )
        for test in BenchTest
        if test in required or test in latest
    )
    asked = {one.standing for one in standings if one.required}
    if Standing.FAILED in asked:
        verdict = InjectorVerdict.FAIL
    elif asked == {Standing.PASSED}:
        verdict = InjectorVerdict.PASS
    else:
        verdict = InjectorVerdict.OPEN
    return InjectorRuling(verdict=verdict, standings=standings)


STANDINGS: Final = {
    Verdict.PASS: Standing.PASSED,
    Verdict.FAIL: Standing.FAILED,
    Verdict.RECHECK: Standing.UNSETTLED,
}
"""Verdict of a check that still holds to how it stands."""


def _standing(
    record: BenchRecord | None, opening: BenchRecord | None, last_change: float
) -> Standing:
    if record is None:
        return Standing.MISSING
    read_again = record.test is BenchTest.HOLD and (
        opening is None or record.opening_entry != opening.entry or opening.entry < last_change
    )
    if record.entry < last_change or read_again:
        return Standing.OUTDATED
    return STANDINGS[record.verdict]


def _check_entries(records: Sequence[BenchRecord], changes: Sequence[Change]) -> None:
    entries = [*(one.entry for one in records), *(one.entry for one in changes)]
    twice = sorted({entry for entry in entries if entries.count(entry) > 1})
    if twice:
        raise InputError(
            f"entry {twice[0]} stands there twice, expected one number per entry",
            "number the entries in the order in which they were made",
        )
    openings = {one.entry for one in records if one.test is BenchTest.OPENING}
    for one in records:
        if one.opening_entry is not None and not (
            one.opening_entry in openings and one.opening_entry < one.entry
        ):
            raise InputError(
                f"entry {one.entry}: the hold was taken from entry {one.opening_entry}, expected "
                "an opening pressure that was read before it",
                "read the opening pressure, then hold again",
            )
