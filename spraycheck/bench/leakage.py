"""Back leakage: fuel that passes between needle and body, counted as drops at the return.

Too many tell of a worn needle guide, too few of a needle that is too tight or sticks.

References
----------
.. [1] One published figure: 3 to 10 drops in 30 s at 1500 psi, 65 to 75 degrees Fahrenheit, counted
   from the first drop (a workshop manual's set-point).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final

from spraycheck.bench.gauge import NOT_NOTED, Conditions, Gauge, rectangular_sigma
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import OpeningPressure
from spraycheck.bench.procedure import SafetyStop
from spraycheck.bench.seat import RIGHT_NOW
from spraycheck.errors import InputError
from spraycheck.judge.checks import check_limit
from spraycheck.judge.injector import ReadingRuling, decide_reading
from spraycheck.judge.result import Doubt
from spraycheck.stats.conformity import DEFAULT_RISK
from spraycheck.units import Pressure, PressureUnit

LIMITS: Final = ("back_leakage_low_drops", "back_leakage_high_drops")


@dataclass(frozen=True, kw_only=True)
class BackLeakageSpecification:
    """What a maker allows; what a nozzle file says.

    Parameters
    ----------
    low_drops, high_drops : int
        Fewest and most drops in ``seconds``.
    seconds : float
        From the first drop on.
    pressure : Pressure
        Held meanwhile.
    low_degc, high_degc : float
        Temperature of the fluid; NaN where the maker says nothing.
    source : str
        Who says so.

    Raises
    ------
    InputError
        Numbers that cannot be.
    """

    low_drops: int
    high_drops: int
    seconds: float
    pressure: Pressure
    low_degc: float = math.nan
    high_degc: float = math.nan
    source: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.low_drops < self.high_drops:
            raise InputError(
                f"back leakage {self.low_drops} to {self.high_drops} drops: expected 0 or more, "
                "the most above the fewest",
                "give the fewest and the most drops that the maker's data name",
            )
        if not self.seconds > 0 or not self.pressure.bar > 0 or self.low_degc > self.high_degc:
            raise InputError(
                f"back leakage over {self.seconds:g} s at {self.pressure.value:g} "
                f"{self.pressure.unit}, {self.low_degc:g} to {self.high_degc:g} degrees Celsius: "
                "expected time and pressure above 0, and the lower temperature first",
                "take time, pressure and temperature from the maker's data",
            )

    def limits(self, risk: float = DEFAULT_RISK) -> BenchLimits:
        """Return the two ends as limits."""
        return BenchLimits(
            back_leakage_low_drops=float(self.low_drops),
            back_leakage_high_drops=float(self.high_drops),
            risk=risk,
            sources=tuple((name, self.source) for name in LIMITS),
        )


PUBLISHED_BACK_LEAKAGE: Final = BackLeakageSpecification(
    low_drops=3,
    high_drops=10,
    seconds=30.0,
    pressure=Pressure(value=1500.0, unit=PressureUnit.PSI),
    low_degc=(65.0 - 32.0) / 1.8,
    high_degc=(75.0 - 32.0) / 1.8,
    source="a workshop manual (3 to 10 drops in 30 s at 1500 psi, 65 to 75 °F)",
)
"""An example [1]_, never a default."""


@dataclass(frozen=True, kw_only=True)
class BackLeakageReading:
    """What was counted.

    Parameters
    ----------
    drops : int
        Drops at the return, the first one not counted: time begins with it.
    seconds : float
        From the first drop on.
    pressure : Pressure
        Held meanwhile.
    gauge : Gauge
        What it was read from.
    on : date
        When.
    conditions : Conditions
        Fluid, temperature, tester.
    """

    drops: int
    seconds: float
    pressure: Pressure
    gauge: Gauge
    on: date
    conditions: Conditions = NOT_NOTED

    def __post_init__(self) -> None:
        self.gauge.check(self.pressure, "back leakage at")
        if self.drops < 0 or not 0 < self.seconds < math.inf:
            raise InputError(
                f"back leakage of {self.drops} drops in {self.seconds:g} s: expected 0 or more "
                "drops in a time above 0",
                "begin the time with the first drop and count those after it",
            )


def check_back_leakage(
    reading: BackLeakageReading,
    specification: BackLeakageSpecification,
    *,
    opening: OpeningPressure | None = None,
    risk: float = DEFAULT_RISK,
) -> ReadingRuling:
    """Judge back leakage; with other pressure or temperature than asked for nothing can be told.

    Parameters
    ----------
    reading : BackLeakageReading
        What was counted.
    specification : BackLeakageSpecification
        What is allowed.
    opening : OpeningPressure, optional
        Where the injector opens, so that a pressure above it is stopped.
    risk : float
        Largest probability that the verdict is wrong.

    Raises
    ------
    SafetyStop
        The pressure reaches the lowest pop.

    Notes
    -----
    A count over the time asked for is exact; over another one it is scaled, one drop either way
    uncertain (rectangular, GUM 4.3.7).
    """
    if opening is not None and reading.pressure.bar >= opening.lowest_bar:
        raise SafetyStop(
            f"STOP: back leakage at {reading.pressure.bar:.0f} bar reaches the opening pressure "
            f"(lowest pop {opening.lowest_bar:.0f} bar), expected a pressure below it: the nozzle "
            "would spray, and the jet goes through skin and eyes",
            "release the pressure and read zero on the gauge first",
            RIGHT_NOW,
        )
    ratio = specification.seconds / reading.seconds
    sigma = 0.0 if ratio == 1 else rectangular_sigma(ratio)
    limits = specification.limits(risk)
    doubts = _doubts(reading, specification)
    checks = [
        check_limit(
            name,
            reading.drops * ratio,
            sigma,
            limits,
            doubts=doubts if limits.held(name) else (*doubts, Doubt.LIMIT_OFF),
        )
        for name in LIMITS
    ]
    return decide_reading(checks, limits)


def _doubts(
    reading: BackLeakageReading, specification: BackLeakageSpecification
) -> tuple[Doubt, ...]:
    give = reading.gauge.error_bar + reading.gauge.step.bar
    degc = reading.conditions.temperature_degc
    asks = not math.isnan(specification.low_degc + specification.high_degc)
    wrong_pressure = abs(reading.pressure.bar - specification.pressure.bar) > give
    wrong_heat = asks and not specification.low_degc <= degc <= specification.high_degc
    off = (Doubt.OFF_CONDITIONS,) if wrong_pressure or wrong_heat else ()
    return (*off, *reading.gauge.doubts(reading.on))
