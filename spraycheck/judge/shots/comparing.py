"""What changed between two shots of one nozzle, hole by hole and with significance."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.result import HoleState, Matching, Result, Way
from spraycheck.judge.shots.consistency import check_photos, check_seen
from spraycheck.judge.shots.matching import match_shots
from spraycheck.judge.shots.shot import Shot, lay_out
from spraycheck.stats.circular import wrap_180
from spraycheck.stats.conformity import risk_per_limit

UNSEEN_RATIO = 0.05
"""Largest wetted area, relative, that a blocked hole may have had unseen (chosen, as for matching).
A change from or to blocked is counted from here."""


@dataclass(frozen=True, kw_only=True)
class Change:
    """A value before and after.

    Parameters
    ----------
    before, after : float
        NaN where not known.
    difference, difference_u : float
        After minus before, and its expanded uncertainty (95 %); for ratios both relative to
        ``before``. NaN where not known.
    chance : float
        Probability of a difference this large, either way, were nothing changed; NaN when unknown.
    sure : bool
        The chance is below the risk shared among everything compared.
    """

    before: float
    after: float
    difference: float
    difference_u: float
    chance: float
    sure: bool


@dataclass(frozen=True, kw_only=True)
class HoleChange:
    """What changed at one hole.

    Parameters
    ----------
    hole : int
        Its number on the photo taken before.
    after_hole : int
        Its number on the photo taken after.
    state_before, state_after : HoleState
        States by themselves.
    area : Change
        Of the wetted area relative to what the hole should wet.
    deviation : Change
        Of the deviation from its line, in degrees.
    change : Way
        In a word.
    """

    hole: int
    after_hole: int
    state_before: HoleState
    state_after: HoleState
    area: Change
    deviation: Change
    change: Way


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """What changed between two shots of one nozzle, for example by cleaning it.

    Parameters
    ----------
    before, after : Result
        The two photos by themselves.
    matching : Matching
        How holes were matched.
    holes : tuple of HoleChange
        Empty where holes could not be matched.
    least, most, furthest : Change
        Smallest and largest wetted area, and largest absolute deviation, of any hole: told
        whether or not holes could be matched. Of ``least`` and ``most`` a blocked hole counts 0.
    risk : float
        Risk of calling any change sure that is none, for all values together.
    """

    before: Result
    after: Result
    matching: Matching
    holes: tuple[HoleChange, ...]
    least: Change
    most: Change
    furthest: Change
    risk: float


class _Value(NamedTuple):
    """A value and its standard uncertainty."""

    value: float
    u: float


def compare_cards(before: Result, after: Result, *, turn_deg: float | None = None) -> Comparison:
    """Compare two photos of one nozzle, for example before and after cleaning.

    Parameters
    ----------
    before, after : Result
        Measured with the same layout and limits.
    turn_deg : float, optional
        Known turn of the second card against the first, clockwise, where the injector was put back
        the same way and the cards carry no arrow.

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        Photos that do not belong together, told with the evidence.

    Notes
    -----
    What both photos share cancels in a difference and is left out of its uncertainty: the holes'
    own healthy scatter, the layout's error, and the scale that the directions of one photo have in
    common. Every value compared takes the same part of the risk (Šidák).
    """
    check_photos([before, after], same_job=False)
    turns = None if turn_deg is None else (0.0, turn_deg)
    laid = [lay_out(before), lay_out(after)]
    check_seen(laid)
    (one, other), matching = match_shots(laid, turns_deg=turns)
    limits = before.limits
    # Two values a hole, and the three that need no match.
    risk = risk_per_limit(2 * len(one) + 3, limits.risk)
    holes: list[HoleChange] = []
    if matching.sure:
        common = _common_turn(one, other)
        for hole in np.argsort([row.hole for row in one.rows]).tolist():
            holes.append(_hole_change(one, other, hole, common, risk))
    return Comparison(
        before=before,
        after=after,
        matching=matching,
        holes=tuple(holes),
        least=_ratio_change(_area(one, "least"), _area(other, "least"), risk),
        most=_ratio_change(_area(one, "most"), _area(other, "most"), risk),
        furthest=_turn_change(_furthest(one), _furthest(other), risk),
        risk=limits.risk,
    )


def _hole_change(one: Shot, other: Shot, hole: int, common: float, risk: float) -> HoleChange:
    rows = one.rows[hole], other.rows[hole]
    area = _ratio_change(_amount(one, hole), _amount(other, hole), risk)
    second = float(wrap_180(float(other.values.deviation_deg[hole]) - common))
    deviation = _turn_change(
        _Value(float(one.values.deviation_deg[hole]), float(one.values.sigma_deg[hole])),
        _Value(second, float(other.values.sigma_deg[hole])),
        risk,
    )
    return HoleChange(
        hole=rows[0].hole,
        after_hole=rows[1].hole,
        state_before=rows[0].state,
        state_after=rows[1].state,
        area=area,
        deviation=deviation,
        change=_in_a_word(area, deviation),
    )


def _in_a_word(area: Change, deviation: Change) -> Way:
    """Say whether the sure changes bring the hole nearer to what it should do."""
    if not (math.isfinite(area.chance) or math.isfinite(deviation.chance)):
        return Way.NOT_KNOWN
    ways = []
    if area.sure:
        least = UNSEEN_RATIO / 2
        miss = [abs(math.log(max(v, least))) for v in (area.before, area.after)]
        ways.append(miss[1] < miss[0])
    if deviation.sure:
        ways.append(abs(deviation.after) < abs(deviation.before))
    if not ways:
        return Way.NO_SURE_CHANGE
    return Way.BETTER if all(ways) else Way.CHANGED if any(ways) else Way.WORSE


def _ratio_change(before: _Value, after: _Value, risk: float) -> Change:
    """Compare wetted areas; differences are tested as logarithms."""
    if not (math.isfinite(before.value) and math.isfinite(after.value)):
        return _unknown(before.value, after.value)
    logs = [math.log(max(v.value, UNSEEN_RATIO)) for v in (before, after)]
    sigma = math.hypot(before.u, after.u)
    chance = _chance(logs[1] - logs[0], sigma)
    u = math.hypot(before.u * before.value, after.u * after.value)
    return Change(
        before=before.value,
        after=after.value,
        difference=after.value - before.value,
        difference_u=COVERAGE_FACTOR_95 * u,
        chance=chance,
        sure=chance <= risk,
    )


def _turn_change(before: _Value, after: _Value, risk: float) -> Change:
    if not (math.isfinite(before.value) and math.isfinite(after.value)):
        return _unknown(before.value, after.value)
    off = after.value - before.value
    sigma = math.hypot(before.u, after.u)
    chance = _chance(off, sigma)
    return Change(
        before=before.value,
        after=after.value,
        difference=off,
        difference_u=COVERAGE_FACTOR_95 * sigma,
        chance=chance,
        sure=chance <= risk,
    )


def _unknown(before: float, after: float) -> Change:
    nan = math.nan
    return Change(
        before=before, after=after, difference=nan, difference_u=nan, chance=nan, sure=False
    )


def _chance(difference: float, sigma: float) -> float:
    """Two-sided probability of a difference this large by chance."""
    return math.erfc(abs(difference) / max(sigma, 1e-12) / math.sqrt(2.0))


def _amount(shot: Shot, hole: int) -> _Value:
    """Wetted area of a hole and its relative standard uncertainty; 0 when it is blocked."""
    if shot.rows[hole].state is HoleState.BLOCKED:
        return _Value(0.0, 0.0)
    log, u = float(shot.values.area.log[hole]), float(shot.values.area.sigma[hole])
    return _Value(math.exp(log) if math.isfinite(log) else math.nan, u)


def _area(shot: Shot, which: str) -> _Value:
    values = [_amount(shot, hole) for hole in range(len(shot))]
    known = [value for value in values if math.isfinite(value.value)]
    if not known:
        return _Value(math.nan, math.nan)
    return min(known) if which == "least" else max(known)


def _furthest(shot: Shot) -> _Value:
    known = [
        _Value(abs(float(d)), float(u))
        for d, u in zip(shot.values.deviation_deg, shot.values.sigma_deg, strict=True)
        if math.isfinite(d)
    ]
    return max(known) if known else _Value(math.nan, math.nan)


def _common_turn(one: Shot, other: Shot) -> float:
    """Turn of all holes alike, left after each photo was fitted to the layout by itself.

    One hole that was bent back moves the fitted turn of its photo a little; the holes that did not
    change say by how much.
    """
    off = np.asarray(wrap_180(other.values.deviation_deg - one.values.deviation_deg))
    known = off[np.isfinite(off)]
    return float(np.median(known)) if len(known) else 0.0
