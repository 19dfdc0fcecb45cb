"""What many answers say about one person, and about the tool on the same cards."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from scipy import stats

from spraycheck.stats.detection import (
    DetectionCurve,
    Interval,
    Sensitivity,
    Trials,
    fit_detection,
    level_interval,
    sensitivity,
)
from spraycheck.stats.proportion import wilson_interval
from spraycheck.train.quiz.kinds import QUIZ_KINDS
from spraycheck.train.quiz.record import AnswerRecord

ENOUGH: Final = 8
"""Faults of a kind from which a curve is fitted. Chosen because with fewer its interval spans the
whole ladder; the interval says how little is known from there on."""


@dataclass(frozen=True, kw_only=True)
class Share:
    """A count of some, with a 95 % interval of the share (Wilson)."""

    some: int
    of: int

    @property
    def interval(self) -> tuple[float, float]:
        """Its ends; 0 to 1 when nothing was counted."""
        return wilson_interval(self.some, self.of)

    def __str__(self) -> str:
        """Say it in counts and per cent."""
        return f"{self.some} of {self.of}" + (f" ({self.some / self.of:.0%})" if self.of else "")


@dataclass(frozen=True, kw_only=True)
class KindProgress:
    """How small a fault of one kind a person finds.

    Parameters
    ----------
    kind : str
        Key of `QUIZ_KINDS`.
    found, named, tool : Share
        Faults whose place the person named, whose kind was right too, and that the tool named.
    trials : Trials
        For the curve: guesses on good cards at level 0, blocked holes at infinity.
    curve : DetectionCurve or None
        None for a kind without degrees, or with fewer than `ENOUGH` faults.
    threshold, reliable : Interval
        95 % intervals of the severity found half of the times, and nine times in ten; (0, inf)
        without a curve.
    by_level : tuple of (float, int, int, int)
        Severity, faults, found, found by the tool; near severities together.
    """

    kind: str
    found: Share
    named: Share
    tool: Share
    trials: Trials
    curve: DetectionCurve | None
    threshold: Interval
    reliable: Interval
    by_level: tuple[tuple[float, int, int, int], ...]


@dataclass(frozen=True, kw_only=True)
class VerdictShares:
    """How often verdicts were right.

    Parameters
    ----------
    hits : Share
        Faulty cards called faulty.
    false_alarms : Share
        Good cards called faulty.
    """

    hits: Share
    false_alarms: Share

    @property
    def d_prime(self) -> Sensitivity | None:
        """Sensitivity; None without cards of both sorts."""
        if not (self.hits.of and self.false_alarms.of):
            return None
        hits, alarms = self.hits, self.false_alarms
        return sensitivity(hits.some, hits.of, alarms.some, alarms.of)


@dataclass(frozen=True, kw_only=True)
class Progress:
    """One person, and the tool on the same cards.

    Parameters
    ----------
    trainee : str
        Name.
    questions : int
        Answered.
    sessions : int
        On how many occasions.
    kinds : tuple of KindProgress
        In the order of `QUIZ_KINDS`; kinds never asked are left out.
    person, tool : VerdictShares
        Of the person, and of the tool on the cards it decided.
    tool_undecided : Share
        Cards that the tool would have rechecked, or could not measure.
    both, person_only, tool_only, neither : int
        Cards that the two got right; recheck counts as not right.
    doubt : float
        Probability of a difference between person and tool at least as large by chance (exact
        McNemar test); NaN when they never differ.
    look_alikes : dict of str to Share
        Good cards with a look-alike, by its name: how many were called faulty.
    seconds : float
        Median time for an answer.
    """

    trainee: str
    questions: int
    sessions: int
    kinds: tuple[KindProgress, ...]
    person: VerdictShares
    tool: VerdictShares
    tool_undecided: Share
    both: int
    person_only: int
    tool_only: int
    neither: int
    doubt: float
    look_alikes: dict[str, Share]
    seconds: float


def all_progress(records: Sequence[AnswerRecord]) -> tuple[Progress, ...]:
    """Sort records by trainee and judge each."""
    people: dict[str, list[AnswerRecord]] = defaultdict(list)
    for record in records:
        people[record.trainee].append(record)
    return tuple(_progress(name, people[name]) for name in sorted(people))


def _progress(name: str, records: Sequence[AnswerRecord]) -> Progress:
    bad = [r for r in records if r.faulty]
    good = [r for r in records if not r.faulty]
    decided = {"fail": "faulty", "pass": "good"}
    person = VerdictShares(
        hits=Share(some=sum(r.right for r in bad), of=len(bad)), false_alarms=_alarms(good)
    )
    tool_bad = [decided[r.tool_verdict] for r in bad if r.tool_verdict in decided]
    tool_good = [decided[r.tool_verdict] for r in good if r.tool_verdict in decided]
    tool = VerdictShares(
        hits=Share(some=tool_bad.count("faulty"), of=len(tool_bad)),
        false_alarms=Share(some=tool_good.count("faulty"), of=len(tool_good)),
    )
    pairs = [
        (r.right, decided.get(r.tool_verdict) == ("faulty" if r.faulty else "good"))
        for r in records
    ]
    person_only, tool_only = pairs.count((True, False)), pairs.count((False, True))
    differ = person_only + tool_only
    looks = sorted({r.look_alike for r in good if r.look_alike})
    kinds = [_kind(word, records, good) for word in QUIZ_KINDS]
    undecided = len(records) - len(tool_bad) - len(tool_good)
    times = sorted(r.seconds for r in records)
    return Progress(
        trainee=name,
        questions=len(records),
        sessions=len({r.session for r in records}),
        kinds=tuple(kind for kind in kinds if kind.found.of),
        person=person,
        tool=tool,
        tool_undecided=Share(some=undecided, of=len(records)),
        both=pairs.count((True, True)),
        person_only=person_only,
        tool_only=tool_only,
        neither=pairs.count((False, False)),
        doubt=float(stats.binomtest(person_only, differ).pvalue) if differ else math.nan,
        look_alikes={look: _alarms([r for r in good if r.look_alike == look]) for look in looks},
        seconds=times[len(times) // 2],
    )


def _alarms(good: Sequence[AnswerRecord]) -> Share:
    return Share(some=sum(not r.right for r in good), of=len(good))


def _kind(word: str, records: Sequence[AnswerRecord], good: Sequence[AnswerRecord]) -> KindProgress:
    """Judge one kind.

    The unit is the hole: found when its place was named. The guess rate is then how often a
    healthy hole of a good card is named, which the good cards show directly; for a stray jet, on
    how many good cards one was named. Blocked holes, which nothing hides, show the lapse rate.
    """
    kind = QUIZ_KINDS[word]
    asked = [fault for r in records for fault in r.faults if fault.kind == word]
    levels: dict[float, list[tuple[bool, bool]]] = defaultdict(list)
    for fault in asked:
        severity = math.inf if fault.severity is None else fault.severity
        levels[severity].append((fault.found, fault.tool_found))
    shown = [(level, sum(f for f, _ in seen), len(seen)) for level, seen in levels.items()]
    if word == "stray":
        shown.append((0.0, sum(r.false_stray for r in good), len(good)))
    else:
        shown.append((0.0, sum(r.false_holes for r in good), sum(r.holes for r in good)))
    if kind.graded:
        plain = [f.found for r in records for f in r.faults if f.kind == "blocked"]
        shown.append((math.inf, sum(plain), len(plain)))
    shown = [row for row in shown if row[2]] or [(0.0, 0, 0)]
    rows = list(zip(*shown, strict=True))
    trials = Trials(level=rows[0], noticed=rows[1], shown=rows[2])  # type: ignore[arg-type]
    curve, threshold, reliable = None, Interval(0.0, math.inf), Interval(0.0, math.inf)
    if kind.graded and len(asked) >= ENOUGH:
        curve = fit_detection(trials)
        threshold = level_interval(trials)
        reliable = level_interval(trials, share=0.9)
    return KindProgress(
        kind=word,
        found=Share(some=sum(f.found for f in asked), of=len(asked)),
        named=Share(some=sum(f.kind_right for f in asked), of=len(asked)),
        tool=Share(some=sum(f.tool_found for f in asked), of=len(asked)),
        trials=trials,
        curve=curve,
        threshold=threshold,
        reliable=reliable,
        by_level=_together(levels),
    )


def _together(
    levels: dict[float, list[tuple[bool, bool]]], most: int = 6
) -> tuple[tuple[float, int, int, int], ...]:
    """Pool severities into at most ``most`` groups of nearly equal size, in order."""
    rows = [(level, *seen) for level in sorted(levels) for seen in levels[level]]
    groups = min(most, len(levels))
    found = []
    for k in range(groups):
        part = rows[k * len(rows) // groups : (k + 1) * len(rows) // groups]
        if part and math.isfinite(part[0][0]):
            middle = math.exp(sum(math.log(level) for level, _, _ in part) / len(part))
            found.append((middle, len(part), sum(f for _, f, _ in part), sum(t for *_, t in part)))
    return tuple(found)
