"""Words of the bench test: one entry for every member of its closed sets, safety lines included.

Entries with fields in braces are filled by the functions below. What a shop or a maker wrote
itself (remarks, the checklist's lines, sources) is printed as it stands and has no entry here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from spraycheck.bench.checklist import Condition, Gap
from spraycheck.bench.opening import Chatter
from spraycheck.bench.procedure import Phase, Safety, SafetyStop, Step
from spraycheck.bench.seat import Criterion, HoldSpecification, Seen
from spraycheck.bench.spacers import Wear, WearHint
from spraycheck.bench.spring import GainSource
from spraycheck.judge.injector import (
    BenchTest,
    ChangeKind,
    InjectorRuling,
    InjectorVerdict,
    Standing,
)
from spraycheck.report.words.numbers import fill
from spraycheck.units import Pressure

SAFETY: Final[Mapping[Safety, str]] = MappingProxyType(
    {
        Safety.JET: "The jet goes through skin, eyes and gloves, and hurts little at first.",
        Safety.RELEASE_FIRST: "Release the pressure and read zero on the gauge first.",
        Safety.HANDS_OUT: "Watch through the closed cover: no hand and no paper near the tip.",
        Safety.EYES: "Wear eye protection.",
        Safety.MIST: "Oil mist burns: extraction on, no flame, no spark, nothing hot nearby. Wet "
        "cards and rags are combustible waste.",
        Safety.INJECTED: "Fuel or test fluid under the skin is a surgical emergency even if it "
        "does not hurt: to hospital at once, and tell them fluid and pressure.",
        Safety.STAY_BELOW_OPENING: "Stay below the opening pressure: above it the nozzle sprays.",
        Safety.CANNOT_ENFORCE: "This program only asks. It sees neither gauge nor cover nor hands, "
        "and cannot make anything safe.",
    }
)

STEPS: Final[Mapping[Step, str]] = MappingProxyType(
    {
        Step.LEVER_UP: "Lever up.",
        Step.GAUGE_VALVE_OPEN: "Open the gauge's valve.",
        Step.GAUGE_ZERO: "Read zero on the gauge.",
        Step.TIP_WIPED_DRY: "Wipe the tip dry.",
        Step.COVER_ON: "Cover on and closed.",
        Step.STROKE_SLOWLY: "Stroke the lever slowly until the nozzle opens.",
        Step.READ_HIGHEST: "Note the highest reading before the pointer drops.",
        Step.RAISE_SLOWLY: "Raise the pressure slowly to the one asked for.",
        Step.OPENED_BEGIN_AGAIN: "If it opens: release the pressure, read zero, wipe the tip, and "
        "begin again.",
        Step.HOLD_AND_WATCH: "Hold for the time asked for and watch the tip through the closed "
        "cover.",
        Step.COUNT_RETURN_DROPS: "Count the drops at the return, the time running from the first "
        "one.",
        Step.RELEASE: "Release the pressure.",
        Step.READ_ZERO: "Read zero on the gauge.",
        Step.COVER_OFF: "Only now open the cover.",
        Step.PAPER_FOR_DAMP: "Touch the tip with paper: a wet mark is damp, not dry.",
    }
)

PHASES: Final[Mapping[Phase, str]] = MappingProxyType(
    {Phase.BEFORE: "before", Phase.DURING: "under pressure", Phase.AFTER: "after"}
)

TESTS: Final[Mapping[BenchTest, str]] = MappingProxyType(
    {
        BenchTest.OPENING: "opening pressure",
        BenchTest.HOLD: "seat hold",
        BenchTest.BACK_LEAKAGE: "back leakage",
        BenchTest.PATTERN: "pattern",
    }
)

CHANGES: Final[Mapping[ChangeKind, str]] = MappingProxyType(
    {ChangeKind.SPACER: "spacer changed", ChangeKind.PART: "part changed"}
)

STANDINGS: Final[Mapping[Standing, str]] = MappingProxyType(
    {
        Standing.PASSED: "passed",
        Standing.FAILED: "failed",
        Standing.UNSETTLED: "to be done again: too close to tell",
        Standing.OUTDATED: "outdated: to be done again",
        Standing.MISSING: "not done yet",
    }
)

INJECTOR_VERDICTS: Final[Mapping[InjectorVerdict, str]] = MappingProxyType(
    {InjectorVerdict.PASS: "PASS", InjectorVerdict.FAIL: "FAIL", InjectorVerdict.OPEN: "OPEN"}
)

CHATTERS: Final[Mapping[Chatter, str]] = MappingProxyType(
    {
        Chatter.NOT_NOTED: "not noted",
        Chatter.BUZZES: "buzzes",
        Chatter.CHATTERS: "chatters",
        Chatter.UNEVEN: "chatters unevenly",
        Chatter.SILENT: "neither buzzes nor chatters",
    }
)

CRITERIA: Final[Mapping[Criterion, str]] = MappingProxyType(
    {
        Criterion.DRY: "stays dry",
        Criterion.NO_DROP: "may be damp, no drop",
        Criterion.DROPS: "at most {drops} drops in {seconds:g} s",
    }
)

SEEN: Final[Mapping[Seen, str]] = MappingProxyType(
    {Seen.DRY: "dry", Seen.DAMP: "damp", Seen.DROPS: "drops"}
)

GAIN_SOURCES: Final[Mapping[GainSource, str]] = MappingProxyType(
    {
        GainSource.SPRING: "spring's data",
        GainSource.READINGS: "readings of this injector",
        GainSource.MAKER: "maker's figure",
    }
)

WEAR_HINTS: Final[Mapping[WearHint, str]] = MappingProxyType(
    {
        WearHint.MORE_SPACER: "It needs more spacer than before: {lost:.0f} ± {u:.0f} bar are lost "
        "beyond that. Spring or spring seat look worn.",
        WearHint.PRESSURE_FELL: "It opens {lost:.0f} ± {u:.0f} bar lower than before with the same "
        "spacer or a thinner one. Spring or spring seat look worn.",
        WearHint.SETTLED: "The new spring settled by {lost:.0f} ± {u:.0f} bar, as new springs do.",
    }
)

CONDITIONS: Final[Mapping[Condition, str]] = MappingProxyType(
    {
        Condition.NOT_LOOKED_AT: "not looked at",
        Condition.GOOD: "good",
        Condition.CLEANED: "cleaned",
        Condition.WORN: "worn",
        Condition.DAMAGED: "damaged",
    }
)

GAPS: Final[Mapping[Gap, str]] = MappingProxyType(
    {
        Gap.NOT_LOOKED_AT: "not looked at",
        Gap.NOT_RENEWED: "must be new and was not replaced",
        Gap.NO_TORQUE: "no torque noted: take it from the maker's data",
        Gap.STILL_BAD: "worn or damaged, and not replaced",
    }
)

VALUES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "opening_low_bar": "opening pressure",
        "opening_high_bar": "opening pressure",
        "set_spread_bar": "spread of opening pressures",
        "seat_wet_grade": "tip after the hold",
        "seat_drops": "drops during the hold",
        "seat_fall_bar": "fall of the pressure during the hold",
        "back_leakage_low_drops": "back leakage",
        "back_leakage_high_drops": "back leakage",
    }
)
"""Limit to what the value it holds is called."""

SENTENCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "hold-at": "{pressure}",
        "hold-below": "{pressure} below the measured opening pressure",
        "hold-range": "{pressure} to {farther} below the measured opening pressure",
        "hold": "{where} for {seconds:g} s: {criterion}",
        "standing": "{test}: {standing}",
        "standing-repeated": "{test}: {standing} (failed before, and nothing was changed since)",
        "pressure": "{value:g} {unit}",
    }
)

UNITS: Final[Mapping[str, str]] = MappingProxyType({"kgf/cm2": "kgf/cm²"})
"""Units that are written otherwise than they are typed."""


def say_pressure(pressure: Pressure) -> str:
    """Write a pressure in the unit that it was read in."""
    unit = UNITS.get(pressure.unit, pressure.unit)
    return fill(SENTENCES["pressure"], value=pressure.value, unit=unit)


def say_hold(specification: HoldSpecification) -> str:
    """Say how a seat is held."""
    distance = specification.at or specification.below
    assert distance is not None  # a specification has one of the two
    kind = "hold-at"
    farther = ""
    if specification.below is not None:
        kind = "hold-range" if specification.below_most else "hold-below"
        farther = say_pressure(specification.below_most) if specification.below_most else ""
    criterion = fill(
        CRITERIA[specification.criterion],
        drops=specification.drops,
        seconds=specification.seconds,
    )
    return fill(
        SENTENCES["hold"],
        where=fill(SENTENCES[kind], pressure=say_pressure(distance), farther=farther),
        seconds=specification.seconds,
        criterion=criterion,
    )


def say_standings(ruling: InjectorRuling) -> tuple[str, ...]:
    """Say how each check of an injector stands, in the order in which they are done."""
    return tuple(
        fill(
            SENTENCES["standing-repeated" if one.repeated else "standing"],
            test=TESTS[one.test],
            standing=STANDINGS[one.standing],
        )
        for one in ruling.standings
    )


def say_wear(wear: Wear) -> str:
    """Say a sign of wear."""
    return fill(WEAR_HINTS[wear.hint], lost=wear.lost_bar, u=wear.u_bar)


def say_stop(stop: SafetyStop) -> tuple[str, ...]:
    """Say why nothing goes on: the safety lines first, then what was found and what to do."""
    return (*(SAFETY[one] for one in stop.safety), stop.message, stop.hint)
