"""The verdict: the only place where one is set, for every kind of nozzle and for several shots.

Two questions are kept apart. *Fail* needs a value proved beyond its limit, at a risk that is shared
among everything held, so that a healthy nozzle is failed in at most the chosen share of cases
however many holes it has. *Pass* needs the probability that all limits are kept together,
correlations included, to be at least one minus the risk (JCGM 106:2012, 7 and 8.3). Between the two
the answer is *recheck*. Doubts take away from the checks what `checks.DOUBTS` says.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from spraycheck.judge.case import Case
from spraycheck.judge.checks import DOUBTS, Effect, has, shared_risk
from spraycheck.judge.result import Doubt, Hole, HoleState, LimitCheck, Outcome, Verdict

STATES = {
    "plume": HoleState.BLOCKED,
    "direction_deg": HoleState.OFF_LINE,
    "area_low_ratio": HoleState.WEAK,
    "area_high_ratio": HoleState.HEAVY,
    "width_low_ratio": HoleState.MISSHAPEN,
    "width_high_ratio": HoleState.MISSHAPEN,
    "reach_low_ratio": HoleState.MISSHAPEN,
    "reach_high_ratio": HoleState.MISSHAPEN,
}
"""State of a hole that breaks a limit."""


@dataclass(frozen=True, kw_only=True)
class Ruling:
    """What is decided of a case.

    Parameters
    ----------
    verdict : Verdict
        On the whole nozzle.
    probability : float
        That all limits are kept; NaN when that cannot be told.
    checks : tuple of LimitCheck
        With their outcomes.
    holes : tuple of Hole
        With their states.
    """

    verdict: Verdict
    probability: float
    checks: tuple[LimitCheck, ...]
    holes: tuple[Hole, ...]


def decide(case: Case) -> Ruling:
    """Set the outcome of every check, the state of every hole, and the verdict."""
    risk = case.limits.risk
    alone = shared_risk(case.limits, case.sharing)
    checks = [replace(one, outcome=outcome_of(one, alone, risk)) for one in case.checks]
    probability = _probability(case, checks)
    outcomes = {one.outcome for one in checks if not has(one.doubts, Effect.NO_OBSTACLE)}
    worst = _least_sure(checks)
    if (
        case.joint_proof
        and probability <= alone
        and Outcome.BROKEN not in outcomes
        and worst is not None
        and checks[worst].probability <= risk
    ):
        # That all are kept is as improbable as a single limit's keeping must be to prove it broken.
        checks[worst] = replace(checks[worst], outcome=Outcome.BROKEN)
    elif {one.outcome for one in checks} <= {
        Outcome.KEPT,
        Outcome.NOT_JUDGED,
    } and probability < 1 - risk:
        # The least sure single value is named, unless the doubt lies in what follows from them.
        at = _least_sure(checks, case.grouped)
        if at is not None and checks[at].probability <= 1 - risk / case.sharing:
            doubts = (*checks[at].doubts, Doubt.NEAR_LIMIT_TOGETHER)
            checks[at] = replace(checks[at], outcome=Outcome.UNSURE, doubts=doubts)
    return Ruling(
        verdict=verdict_of(checks, probability, risk, case.doubts),
        probability=probability,
        checks=tuple(checks),
        holes=tuple(_with_state(row, checks) for row in case.rows),
    )


def verdict_of(
    checks: Sequence[LimitCheck], probability: float, risk: float, doubts: Sequence[Doubt] = ()
) -> Verdict:
    """Fail with proof of a fault, pass with proof of none, otherwise recheck.

    Parameters
    ----------
    checks : sequence of LimitCheck
        With their outcomes.
    probability : float
        That all limits are kept together; NaN when that cannot be told.
    risk : float
        Of a wrong verdict on the nozzle.
    doubts : sequence of Doubt
        About the whole photo.
    """
    outcomes = {one.outcome for one in checks if not has(one.doubts, Effect.NO_OBSTACLE)}
    if any(one.outcome is Outcome.BROKEN for one in checks):
        return Verdict.FAIL
    if Outcome.UNSURE in outcomes or has(doubts, Effect.NO_PASS) or not probability >= 1 - risk:
        return Verdict.RECHECK
    return Verdict.PASS


def outcome_of(check: LimitCheck, alone: float, risk: float) -> Outcome:
    """Say what becomes of a check.

    Parameters
    ----------
    check : LimitCheck
        With its probability and doubts.
    alone : float
        Risk that this value may take alone of being called broken.
    risk : float
        Of a wrong verdict on the whole.
    """
    if has(check.doubts, Effect.WAIVED):
        return Outcome.NOT_JUDGED
    if check.probability <= alone and not has(check.doubts, Effect.NO_PROOF):
        return Outcome.BROKEN
    return Outcome.KEPT if check.probability >= 1 - risk else Outcome.UNSURE


def _probability(case: Case, checks: Sequence[LimitCheck]) -> float:
    """Probability that the nozzle keeps every limit; NaN when one cannot be told at all.

    What follows from values that are counted already can only lower the result.
    """
    asked = [
        one
        for one in checks
        if one.outcome is not Outcome.NOT_JUDGED and not has(one.doubts, Effect.NO_OBSTACLE)
    ]
    if any(one.probability == 0.0 and one.limit == "plume" for one in asked):
        return 0.0
    if any(math.isnan(one.probability) for one in asked):
        return math.nan
    alone = [
        one.probability
        for one in asked
        if one.limit not in case.grouped and one.limit not in case.follows
    ]
    together = math.prod([group.probability() for group in case.groups]) * math.prod(alone)
    least = [one.probability for one in asked if one.limit in case.follows]
    surely = [
        one.probability
        for one in checks
        if one.outcome is Outcome.BROKEN and has(one.doubts, Effect.NO_OBSTACLE)
    ]
    return min([together, *least, *surely])


def _least_sure(checks: Sequence[LimitCheck], limits: frozenset[str] | None = None) -> int | None:
    """Return the place of the check, of some limits or of all, that is kept least probably."""
    known = [
        k
        for k, one in enumerate(checks)
        if one.outcome in (Outcome.KEPT, Outcome.UNSURE)
        and math.isfinite(one.probability)
        and not has(one.doubts, Effect.NO_OBSTACLE)
        and (limits is None or one.limit in limits)
    ]
    return min(known, key=lambda k: checks[k].probability, default=None)


def _with_state(row: Hole, checks: Sequence[LimitCheck]) -> Hole:
    """Set a hole's state by its checks: the first fault named, or the least sure value."""
    own = [one for one in checks if one.hole == row.hole]
    broken = [one for one in own if one.outcome is Outcome.BROKEN]
    open_ = [one for one in own if one.outcome is Outcome.UNSURE]
    if broken:
        return replace(row, state=STATES[broken[0].limit], check=broken[0])
    worst = min(open_ or own, key=_certainty)
    if not open_:
        return replace(row, state=HoleState.CLEAR, check=worst)
    return replace(row, state=HoleState.UNSURE, check=worst, doubts=_reasons(worst))


def _certainty(check: LimitCheck) -> float:
    return check.probability if math.isfinite(check.probability) else -1.0


def _reasons(check: LimitCheck) -> tuple[Doubt, ...]:
    """Return why a check is open, first the reason to tell: a doubt of its own, or the limit's."""
    real = [one for one in check.doubts if DOUBTS[one][0] is not Effect.TOLD]
    told = [one for one in check.doubts if DOUBTS[one][0] is Effect.TOLD]
    near = [one for one in told if one is Doubt.NEAR_LIMIT_TOGETHER]
    first = real or near or [Doubt.NEAR_LIMIT]
    return (*first, *(one for one in told if one not in first))
