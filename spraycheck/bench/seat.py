"""The seat leak test: hold just below the opening pressure, watch the tip, then judge.

How much below, how long and what may be seen differ from maker to maker: they are data. A hold that
was softer than asked for (less pressure, less time) can prove a leak but nothing sound; one that
was harder can prove a sound seat but no leak.

References
----------
.. [1] Hold pressures, times and criteria as five engine workshop manuals print them (set-points
   only). The wording of ISO 8984-2 was not seen, and none of this is said to be from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any, Final

from spraycheck.bench.gauge import NOT_NOTED, Conditions, Gauge, rectangular_sigma
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import OpeningPressure
from spraycheck.bench.procedure import Safety, SafetyStop
from spraycheck.errors import InputError
from spraycheck.judge.checks import check_limit
from spraycheck.judge.injector import ReadingRuling, decide_reading, no_pass
from spraycheck.judge.result import Doubt
from spraycheck.stats.conformity import DEFAULT_RISK
from spraycheck.units import Pressure, PressureUnit

SECONDS: Final = (1.0, 600.0)
"""Durations of a hold that are not absurd (chosen wide: manuals ask for 5 to 30 s)."""

RIGHT_NOW: Final = (
    Safety.STAY_BELOW_OPENING,
    Safety.JET,
    Safety.RELEASE_FIRST,
    Safety.INJECTED,
)
"""What is said when a hold would open the nozzle."""


class Criterion(StrEnum):
    """What the tip may show during the hold."""

    DRY = "dry"
    NO_DROP = "no-drop"
    """Damp is allowed."""
    DROPS = "drops"
    """So many drops in so many seconds are allowed."""


class Seen(StrEnum):
    """What the tip showed."""

    DRY = "dry"
    DAMP = "damp"
    DROPS = "drops"


GRADES: Final = {Seen.DRY: 0.0, Seen.DAMP: 1.0, Seen.DROPS: 2.0}
"""How wet, as the judge holds it against `BenchLimits.seat_wet_grade`."""


@dataclass(frozen=True, kw_only=True)
class HoldSpecification:
    """How a seat is to be held; what a nozzle file says.

    Parameters
    ----------
    at : Pressure or None
        Hold pressure itself; or else
    below : Pressure or None
        so much below the measured opening pressure.
    below_most : Pressure or None
        Where the manual gives a range: ``below`` is its closer end and this the farther one.
    seconds : float
        How long.
    criterion : Criterion
        What may be seen.
    drops : int
        Most drops in ``seconds``; only with the criterion ``drops``.
    most_fall : Pressure or None
        Most that the pressure may fall in ``seconds``; None where nothing is asked.
    source : str
        Who says so.

    Raises
    ------
    InputError
        Neither or both kinds of pressure, or numbers that cannot be.
    """

    at: Pressure | None = None
    below: Pressure | None = None
    below_most: Pressure | None = None
    seconds: float
    criterion: Criterion
    drops: int = 0
    most_fall: Pressure | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if (self.at is None) == (self.below is None):
            raise InputError(
                "seat hold: expected either the hold pressure or how far it lies below the "
                "measured opening pressure",
                "give one of the two, as the maker's data do",
            )
        if self.below_most is not None and (
            self.below is None or self.below_most.bar <= self.below.bar
        ):
            raise InputError(
                "seat hold: the farther end of the range lies no farther below the opening "
                "pressure than the closer one, expected it to",
                "give the smaller distance as below and the larger one as below_most",
            )
        for one in (self.at, self.below, self.most_fall):
            if one is not None and not one.bar > 0:
                raise InputError(
                    f"seat hold {one.value:g} {one.unit}: expected above 0",
                    "look at the unit, and at the sign",
                )
        least, most = SECONDS
        if not least <= self.seconds <= most:
            raise InputError(
                f"seat hold of {self.seconds:g} s: expected {least:g} to {most:g} s",
                "give seconds, for example 10",
            )
        if self.drops < 0 or (self.drops > 0) != (self.criterion is Criterion.DROPS):
            raise InputError(
                f"seat hold: criterion {self.criterion} with {self.drops} drops, expected drops "
                f"above 0 with the criterion {Criterion.DROPS} and none with the others",
                "with the criterion drops say how many are allowed; with the others leave them out",
            )

    def limits(self, risk: float = DEFAULT_RISK) -> BenchLimits:
        """Return the criterion as limits."""
        held: dict[str, Any] = {}
        if self.criterion is Criterion.DROPS:
            held["seat_drops"] = self.drops
        else:
            dry = self.criterion is Criterion.DRY
            held["seat_wet_grade"] = GRADES[Seen.DRY if dry else Seen.DAMP]
        if self.most_fall is not None:
            held["seat_fall_bar"] = self.most_fall.bar
        return BenchLimits(**held, risk=risk, sources=tuple((name, self.source) for name in held))


def _published(printed: str, **given: Any) -> HoldSpecification:
    return HoldSpecification(source=f"an engine workshop manual ({printed})", **given)


PUBLISHED_HOLDS: Final = {
    "a": _published(
        "2.0 MPa below the measured opening, 10 s, no leak",
        below=Pressure(value=2.0, unit=PressureUnit.MPA),
        seconds=10.0,
        criterion=Criterion.DRY,
    ),
    "b": _published(
        "20 kgf/cm2 below, 10 s, no drop falls",
        below=Pressure(value=20.0, unit=PressureUnit.KGF_CM2),
        seconds=10.0,
        criterion=Criterion.NO_DROP,
    ),
    "c": _published(
        "16.67 MPa for 10 s, no leak",
        at=Pressure(value=16.67, unit=PressureUnit.MPA),
        seconds=10.0,
        criterion=Criterion.DRY,
    ),
    "d": _published(
        "500 psi below, 5 s, wetting allowed, no droplet",
        below=Pressure(value=500.0, unit=PressureUnit.PSI),
        seconds=5.0,
        criterion=Criterion.NO_DROP,
    ),
    "e": _published(
        "400 to 500 psi below, tip down, 5 s, a drip is a reject",
        below=Pressure(value=400.0, unit=PressureUnit.PSI),
        below_most=Pressure(value=500.0, unit=PressureUnit.PSI),
        seconds=5.0,
        criterion=Criterion.NO_DROP,
    ),
}
"""Five published variants [1]_: examples of how they differ, never a default."""


@dataclass(frozen=True, kw_only=True)
class HoldPlan:
    """A hold that may be done.

    Parameters
    ----------
    specification : HoldSpecification
        What it follows.
    opening : OpeningPressure
        The opening pressure that it was taken from.
    low_bar, high_bar : float
        Hold the pressure between these; alike where one pressure is asked for.
    """

    specification: HoldSpecification
    opening: OpeningPressure
    low_bar: float
    high_bar: float


def plan_hold(specification: HoldSpecification, opening: OpeningPressure) -> HoldPlan:
    """Work out the hold pressure from a measured opening pressure.

    Raises
    ------
    SafetyStop
        The hold would reach the lowest pop, less one reading step: the nozzle may spray.
    InputError
        The hold pressure would be zero or less.
    """
    if specification.at is not None:
        low = high = specification.at.bar
    else:
        assert specification.below is not None
        high = opening.mean_bar - specification.below.bar
        farther = specification.below_most or specification.below
        low = opening.mean_bar - farther.bar
    if low <= 0:
        raise InputError(
            f"seat hold {low:.0f} bar, below an opening pressure of {opening.mean_bar:.0f} bar: "
            "expected above 0",
            "look at the units of both",
        )
    _stop_above_opening(high, opening)
    return HoldPlan(specification=specification, opening=opening, low_bar=low, high_bar=high)


@dataclass(frozen=True, kw_only=True)
class HoldReading:
    """What was seen during a hold.

    Parameters
    ----------
    start : Pressure
        When the time began.
    end : Pressure or None
        When it ended; None when not read.
    seconds : float
        How long.
    seen : Seen
        What the tip showed; damp is told with paper only after pressure is released.
    drops : int
        How many drops fell.
    first_drop_s : float
        When the first one fell; NaN when not noted.
    gauge : Gauge
        What was read from.
    on : date
        When.
    conditions : Conditions
        Fluid, temperature, tester.
    remarks : str
        Anything else, in free words.

    Raises
    ------
    InputError
        Numbers that cannot be.
    """

    start: Pressure
    end: Pressure | None = None
    seconds: float
    seen: Seen
    drops: int = 0
    first_drop_s: float = math.nan
    gauge: Gauge
    on: date
    conditions: Conditions = NOT_NOTED
    remarks: str = ""

    def __post_init__(self) -> None:
        self.gauge.check(self.start, "hold pressure")
        if self.end is not None and not 0 <= self.end.bar <= self.start.bar + self.gauge.step.bar:
            raise InputError(
                f"hold pressure at the end {self.end.value:g} {self.end.unit}: expected 0 or more "
                f"and not above the {self.start.value:g} {self.start.unit} at the beginning",
                "do not pump during the hold; release the pressure and begin again",
            )
        least, most = SECONDS
        if not least <= self.seconds <= most:
            raise InputError(
                f"seat held for {self.seconds:g} s: expected {least:g} to {most:g} s",
                "begin again and hold for the time asked for",
            )
        if self.drops < 0 or (self.drops > 0) != (self.seen is Seen.DROPS):
            raise InputError(
                f"seat hold: {self.seen} was seen with {self.drops} drops, expected drops above 0 "
                f"where {Seen.DROPS} were seen and none otherwise",
                "count the drops that fell, or say dry or damp",
            )
        if self.first_drop_s < 0 or self.first_drop_s > self.seconds:
            raise InputError(
                f"first drop after {self.first_drop_s:g} s of {self.seconds:g} s: expected within "
                "the hold",
                "note the seconds from the beginning of the hold",
            )

    @property
    def fall_bar(self) -> float:
        """How far the pressure fell; NaN when the end was not read."""
        return math.nan if self.end is None else self.start.bar - self.end.bar

    @property
    def time_constant_s(self) -> float:
        """Time constant of an exponential fall, which compares holds of different times.

        Infinite without a fall, NaN when the end was not read. A half-life is ``ln 2`` of it.
        """
        if self.end is None:
            return math.nan
        ratio = self.start.bar / self.end.bar if self.end.bar > 0 else math.inf
        return self.seconds / math.log(ratio) if ratio > 1 else math.inf


def check_hold(
    reading: HoldReading, plan: HoldPlan, *, risk: float = DEFAULT_RISK
) -> ReadingRuling:
    """Judge a hold against what was asked for.

    Raises
    ------
    SafetyStop
        The reading lies above the opening pressure: the nozzle has sprayed, or the opening pressure
        is not this injector's any more.
    """
    _stop_above_opening(reading.start.bar, plan.opening)
    limits = plan.specification.limits(risk)
    doubts = _doubts(reading, plan)
    per_limit = {
        "seat_wet_grade": (_grade(reading, plan.specification), 0.0),
        "seat_drops": _drops(reading, plan.specification),
        # Start and end share the gauge's error, and only their steps remain.
        "seat_fall_bar": (reading.fall_bar, math.sqrt(2.0) * reading.gauge.sigma_step_bar),
    }
    checks = [
        check_limit(name, value, sigma, limits, doubts=doubts)
        for name, (value, sigma) in per_limit.items()
        if limits.held(name)
    ]
    return decide_reading(checks, limits, values=len(checks), doubts=no_pass(doubts))


def _doubts(reading: HoldReading, plan: HoldPlan) -> tuple[Doubt, ...]:
    """Compare the hold with what was asked for, as finely as it was read."""
    step = reading.gauge.step.bar
    asked = plan.specification.seconds
    below = plan.specification.at is None
    late = reading.seconds > asked and reading.seen is Seen.DROPS
    found = {
        Doubt.HELD_LOW: reading.start.bar < plan.low_bar - step,
        Doubt.HELD_HIGH: reading.start.bar > plan.high_bar + step,
        Doubt.HELD_SHORT: reading.seconds < asked,
        Doubt.HELD_LONG: late and math.isnan(reading.first_drop_s),
        Doubt.SEVERAL_GAUGES: below and reading.gauge.name != plan.opening.gauge,
    }
    told = tuple(doubt for doubt, true in found.items() if true)
    # Below a measured pressure the gauge's own error cancels, and its calibration with it.
    return told if below else (*told, *reading.gauge.doubts(reading.on))


def _grade(reading: HoldReading, specification: HoldSpecification) -> float:
    """Return how wet the tip was; a first drop after the time asked for is none."""
    if reading.first_drop_s > specification.seconds:
        return GRADES[Seen.DAMP]
    return GRADES[reading.seen]


def _drops(reading: HoldReading, specification: HoldSpecification) -> tuple[float, float]:
    """Return drops in the time asked for, with the uncertainty of a count over another time."""
    ratio = specification.seconds / reading.seconds
    if reading.seconds <= specification.seconds:
        return float(reading.drops), 0.0
    return reading.drops * ratio, rectangular_sigma(ratio)  # one drop more or less


def _stop_above_opening(hold_bar: float, opening: OpeningPressure) -> None:
    if hold_bar > opening.lowest_bar - opening.step_bar:
        raise SafetyStop(
            f"STOP: seat hold at {hold_bar:.0f} bar reaches the opening pressure "
            f"({opening.mean_bar:.0f} bar, lowest pop {opening.lowest_bar:.0f}), expected a hold "
            "below it: the nozzle would spray, and the jet goes through skin and eyes",
            "release the pressure and read zero on the gauge first; set the opening pressure or "
            "correct the hold pressure, then read the opening pressure again",
            RIGHT_NOW,
        )
