"""Opening pressure: slow strokes, the highest reading before each drop, several pops.

The first pops settle spring and seat and are left out; how many is a setting and is kept. The mean
of the others has a type A uncertainty from its own scatter; step and class of the gauge are type B.
The class is in common to all that is read from one gauge: it counts against the target and not in
the spread of a set.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.2.3, 4.3.7, F.2.2.1, G.4.1 (Welch-Satterthwaite).
.. [2] JCGM 106:2012, 7.3 and 7.4.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any, Final, Self

from spraycheck.bench.gauge import NOT_NOTED, Conditions, Gauge, rectangular_sigma
from spraycheck.bench.limits import OPENING_RANGE_BAR, BenchLimits
from spraycheck.errors import InputError
from spraycheck.judge.checks import ONE_TAIL, check_limit
from spraycheck.judge.injector import ReadingRuling, decide_reading
from spraycheck.judge.result import Doubt
from spraycheck.stats.conformity import DEFAULT_RISK, guard_factor
from spraycheck.stats.uncertainty import effective_dof, type_a
from spraycheck.units import Pressure

DISCARDED: Final = 1
"""First pops that are left out (common practice, no source)."""

LEAST_POPS: Final = 2
"""Fewer show no scatter."""

OPENING_LIMITS: Final = ("opening_low_bar", "opening_high_bar")


class Chatter(StrEnum):
    """How the needle sounded during slow strokes; told, never judged."""

    NOT_NOTED = "not-noted"
    BUZZES = "buzzes"
    CHATTERS = "chatters"
    UNEVEN = "uneven"
    SILENT = "silent"


@dataclass(frozen=True, kw_only=True)
class OpeningReadings:
    """What was read.

    Parameters
    ----------
    pops : tuple of Pressure
        Highest reading before the drop, in the order of the strokes, all in one unit.
    gauge : Gauge
        What they were read from.
    on : date
        When.
    discarded : int
        How many of the first pops only settle.
    chatter : Chatter
        How it sounded.
    conditions : Conditions
        Fluid, temperature, tester.
    remarks : str
        Anything else, in free words.

    Raises
    ------
    InputError
        No pop, several units, or a pop that this gauge or no injector can have.
    """

    pops: tuple[Pressure, ...]
    gauge: Gauge
    on: date
    discarded: int = DISCARDED
    chatter: Chatter = Chatter.NOT_NOTED
    conditions: Conditions = NOT_NOTED
    remarks: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.discarded < len(self.pops):
            raise InputError(
                f"opening pressure: {len(self.pops)} pops of which the first {self.discarded} are "
                "left out, expected at least one that is left",
                "read three pops or more, one slow stroke each",
            )
        units = sorted({pop.unit for pop in self.pops})
        if len(units) > 1:
            raise InputError(
                f"opening pressure: pops in {' and '.join(units)}, expected one unit",
                "write all pops in the unit of the gauge's scale",
            )
        low, high = OPENING_RANGE_BAR
        for pop in self.pops:
            self.gauge.check(pop, "opening pressure")
            if not low <= pop.bar <= high:
                raise InputError(
                    f"opening pressure {pop.value:g} {pop.unit}: expected {low:g} to {high:g} bar",
                    "look at the unit, and whether a digit is missing",
                )


@dataclass(frozen=True, kw_only=True)
class OpeningPressure:
    """The opening pressure of one injector; ``sigma`` is a standard uncertainty.

    Parameters
    ----------
    mean_bar : float
        Mean of the pops that count.
    lowest_bar : float
        The lowest of them.
    pops : int
        How many count.
    sigma_pops_bar : float
        Of the mean, from the scatter of the pops; NaN for a single one.
    step_bar : float
        The gauge's reading step.
    sigma_gauge_bar : float
        From the gauge's class, in common to all that is read from the same gauge.
    gauge : str
        Name of the gauge.
    unit : str
        What the pops were read in.
    doubts : tuple of Doubt
        About gauge and pops.
    """

    mean_bar: float
    lowest_bar: float
    pops: int
    sigma_pops_bar: float
    step_bar: float
    sigma_gauge_bar: float
    gauge: str
    unit: str = "bar"
    doubts: tuple[Doubt, ...] = ()

    @property
    def sigma_step_bar(self) -> float:
        """From the gauge's reading step."""
        return rectangular_sigma(self.step_bar / 2.0)

    @property
    def sigma_own_bar(self) -> float:
        """Without the gauge's class: what counts in the spread of a set."""
        return math.hypot(self.sigma_pops_bar, self.sigma_step_bar)

    @property
    def sigma_bar(self) -> float:
        """Of the pressure itself: what counts against the target."""
        return math.hypot(self.sigma_own_bar, self.sigma_gauge_bar)

    @property
    def dof_own(self) -> float:
        """Degrees of freedom of `sigma_own_bar`; NaN for a single pop."""
        return self._dof(self.sigma_step_bar)

    @property
    def dof(self) -> float:
        """Effective degrees of freedom of `sigma_bar`; NaN for a single pop."""
        return self._dof(self.sigma_step_bar, self.sigma_gauge_bar)

    @property
    def u_bar(self) -> float:
        """Expanded uncertainty, 95 %."""
        if math.isnan(self.sigma_bar):
            return math.nan
        return guard_factor(ONE_TAIL, self.dof) * self.sigma_bar

    def _dof(self, *type_b: float) -> float:
        if math.isnan(self.sigma_pops_bar):
            return math.nan
        known = [math.inf] * len(type_b)
        return effective_dof([self.sigma_pops_bar, *type_b], [self.pops - 1, *known])


def measure_opening(readings: OpeningReadings) -> OpeningPressure:
    """Return mean and uncertainty of the pops that count.

    Notes
    -----
    ``u^2 = s^2 / n + (step^2 / 12) + (class * range)^2 / 3``; the step is not divided by n, because
    pops that read alike are rounded alike [1]_.
    """
    counted = [pop.bar for pop in readings.pops[readings.discarded :]]
    enough = len(counted) >= LEAST_POPS
    gauge = readings.gauge
    return OpeningPressure(
        mean_bar=math.fsum(counted) / len(counted),
        lowest_bar=min(counted),
        pops=len(counted),
        sigma_pops_bar=type_a(counted).u if enough else math.nan,
        step_bar=gauge.step.bar,
        sigma_gauge_bar=gauge.sigma_bar,
        gauge=gauge.name,
        unit=readings.pops[0].unit,
        doubts=(*(() if enough else (Doubt.FEW_POPS,)), *gauge.doubts(readings.on)),
    )


@dataclass(frozen=True, kw_only=True)
class OpeningTarget:
    """Where an injector should open; what a nozzle file says, units as written there.

    Parameters
    ----------
    low, high : Pressure or None
        Window; one of them may be open.
    nominal : Pressure or None
        What to set; the middle of the window when not given.
    settling : Pressure or None
        How much higher a new spring is set, because it settles; None for not at all. One engine
        manual sets 0.5 MPa (5 kgf/cm2) high and lets it settle in about five hours.
    source : str
        Who says so.

    Raises
    ------
    InputError
        No window, a window upside down, or a nominal value outside it.
    """

    low: Pressure | None = None
    high: Pressure | None = None
    nominal: Pressure | None = None
    settling: Pressure | None = None
    source: str = ""

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise InputError(
                "opening pressure: no limit at all, expected a lowest or a highest value, or both",
                "take the window from the maker's data",
            )
        given = [one for one in (self.low, self.nominal, self.high) if one is not None]
        if any(first.bar >= second.bar for first, second in itertools.pairwise(given)):
            told = ", ".join(f"{one.value:g} {one.unit}" for one in given)
            raise InputError(
                f"opening pressure: {told}, expected lowest, nominal and highest to rise",
                "look at the units, and whether a digit is missing",
            )
        least, most = OPENING_RANGE_BAR
        for one in given:
            if not least <= one.bar <= most:
                raise InputError(
                    f"opening pressure {one.value:g} {one.unit}: expected {least:g} to {most:g} "
                    "bar",
                    "look at the unit, and whether a digit is missing",
                )
        if self.settling is not None and not 0 <= self.settling.bar <= given[0].bar / 2:
            raise InputError(
                f"settling of {self.settling.value:g} {self.settling.unit}: expected 0 or more, "
                "and far less than the opening pressure",
                "give how far the pressure of a new spring falls, for example 5 bar",
            )

    @classmethod
    def around(
        cls,
        nominal: Pressure,
        tolerance: Pressure,
        *,
        settling: Pressure | None = None,
        source: str = "",
    ) -> Self:
        """Make the window of a nominal pressure and a tolerance either way."""
        give = tolerance.to(nominal.unit)
        if give <= 0:
            raise InputError(
                f"tolerance {tolerance.value:g} {tolerance.unit}: expected above 0",
                "give how far it may lie from the nominal pressure either way, for example 5 bar",
            )
        return cls(
            low=Pressure(value=nominal.value - give, unit=nominal.unit),
            high=Pressure(value=nominal.value + give, unit=nominal.unit),
            nominal=nominal,
            settling=settling,
            source=source,
        )

    def aim_bar(self, *, new_spring: bool = False) -> float:
        """Return the pressure to set: nominal, else the middle, else the one end there is."""
        ends = [one.bar for one in (self.low, self.high) if one is not None]
        middle = sum(ends) / len(ends) if self.nominal is None else self.nominal.bar
        return middle + self._raised_bar(new_spring)

    def limits(self, *, new_spring: bool = False, risk: float = DEFAULT_RISK) -> BenchLimits:
        """Return the window as limits; with a new spring it lies higher by what that settles."""
        raised = self._raised_bar(new_spring)
        ends: dict[str, Any] = {}
        for name, end in zip(OPENING_LIMITS, (self.low, self.high), strict=True):
            if end is not None:
                ends[name] = end.bar + raised
        return BenchLimits(**ends, risk=risk, sources=tuple((name, self.source) for name in ends))

    def _raised_bar(self, new_spring: bool) -> float:
        return self.settling.bar if new_spring and self.settling is not None else 0.0


def check_opening(
    opening: OpeningPressure,
    target: OpeningTarget,
    *,
    new_spring: bool = False,
    risk: float = DEFAULT_RISK,
) -> ReadingRuling:
    """Hold an opening pressure against its window, by the judge of the spray [2]_.

    Parameters
    ----------
    opening : OpeningPressure
        As measured.
    target : OpeningTarget
        Where it should open.
    new_spring : bool
        Whether the spring has not settled yet.
    risk : float
        Largest probability that the verdict is wrong.
    """
    limits = target.limits(new_spring=new_spring, risk=risk)
    checks = [
        check_limit(
            name,
            opening.mean_bar,
            opening.sigma_bar,
            limits,
            doubts=opening.doubts if limits.held(name) else (*opening.doubts, Doubt.LIMIT_OFF),
            dof=opening.dof,
        )
        for name in OPENING_LIMITS
    ]
    return decide_reading(checks, limits)
