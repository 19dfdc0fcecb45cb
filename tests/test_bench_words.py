"""Every member of the bench test's closed sets has words, and no safety line is lost."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

import pytest
from bench_readings import bar, opening

from spraycheck.bench.checklist import Condition, Gap
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import Chatter
from spraycheck.bench.procedure import PROCEDURES, Phase, Safety, SafetyStop, Step
from spraycheck.bench.seat import PUBLISHED_HOLDS, Criterion, HoldSpecification, Seen, plan_hold
from spraycheck.bench.spacers import Wear, WearHint
from spraycheck.bench.spring import GainSource
from spraycheck.judge.injector import (
    BenchRecord,
    BenchTest,
    ChangeKind,
    InjectorVerdict,
    Standing,
    judge_injector,
)
from spraycheck.judge.limits import limit_fields
from spraycheck.judge.result import Verdict
from spraycheck.report.words import bench as words
from spraycheck.units import Pressure


@pytest.mark.parametrize(
    ("table", "members"),
    [
        (words.SAFETY, Safety),
        (words.STEPS, Step),
        (words.PHASES, Phase),
        (words.TESTS, BenchTest),
        (words.CHANGES, ChangeKind),
        (words.STANDINGS, Standing),
        (words.INJECTOR_VERDICTS, InjectorVerdict),
        (words.CHATTERS, Chatter),
        (words.CRITERIA, Criterion),
        (words.SEEN, Seen),
        (words.GAIN_SOURCES, GainSource),
        (words.WEAR_HINTS, WearHint),
        (words.CONDITIONS, Condition),
        (words.GAPS, Gap),
    ],
)
def test_every_member_has_words(table: Mapping[StrEnum, str], members: type[StrEnum]) -> None:
    assert list(table) == list(members)
    assert len({one.casefold() for one in table.values()}) >= len(table) - 1
    assert all(one.strip() == one != "" for one in table.values())


def test_every_limit_of_a_reading_is_called_something() -> None:
    assert set(words.VALUES) == {one.name for one in limit_fields(BenchLimits)} - {"risk"}


def test_every_safety_line_belongs_to_a_procedure_or_a_stop() -> None:
    told = {line for steps in PROCEDURES for one in steps for line in one.safety}
    assert told | {Safety.INJECTED} == set(Safety)
    for word in ("skin", "eye", "burns", "surgical emergency", "zero on the gauge", "only asks"):
        assert any(word in line for line in words.SAFETY.values()), word


def test_a_stop_says_its_safety_lines_first() -> None:
    hold = HoldSpecification(at=bar(210), seconds=10, criterion=Criterion.DRY)
    with pytest.raises(SafetyStop) as caught:
        plan_hold(hold, opening(200))
    told = words.say_stop(caught.value)
    assert told[0] == words.SAFETY[Safety.STAY_BELOW_OPENING]
    assert words.SAFETY[Safety.INJECTED] in told
    assert told[-2].startswith("STOP")


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("a", "2 MPa below the measured opening pressure for 10 s: stays dry"),
        ("b", "20 kgf/cm² below the measured opening pressure for 10 s: may be damp, no drop"),
        ("c", "16.67 MPa for 10 s: stays dry"),
        ("d", "500 psi below the measured opening pressure for 5 s: may be damp, no drop"),
        (
            "e",
            "400 psi to 500 psi below the measured opening pressure for 5 s: may be damp, no drop",
        ),
    ],
)
def test_a_hold_is_said_in_the_units_it_was_given_in(key: str, told: str) -> None:
    assert words.say_hold(PUBLISHED_HOLDS[key]) == told


def test_drops_standings_wear_and_pressures_are_said() -> None:
    drops = HoldSpecification(at=bar(120), seconds=30, criterion=Criterion.DROPS, drops=15)
    assert words.say_hold(drops) == "120 bar for 30 s: at most 15 drops in 30 s"
    records = [
        BenchRecord(test=BenchTest.OPENING, verdict=verdict, entry=entry)
        for entry, verdict in ((1, Verdict.FAIL), (2, Verdict.PASS))
    ]
    assert words.say_standings(judge_injector(records)) == (
        "opening pressure: passed (failed before, and nothing was changed since)",
        "seat hold: not done yet",
        "pattern: not done yet",
    )
    wear = Wear(hint=WearHint.MORE_SPACER, visit=1, lost_bar=15.2, u_bar=3.4)
    assert "15 ± 3 bar" in words.say_wear(wear)
    assert words.say_pressure(Pressure(value=19.3, unit="MPa")) == "19.3 MPa"
