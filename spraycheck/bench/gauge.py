"""The gauge that pressures are read from, and what else is noted with a reading.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3.7 (limits of error: rectangular) and F.2.2.1 (reading step).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from typing import Final

from spraycheck.errors import InputError
from spraycheck.judge.result import Doubt
from spraycheck.units import Pressure

RANGE_BAR: Final = (10.0, 4000.0)
"""Ends of the ranges that a gauge of a nozzle tester may have (chosen wide)."""

CLASS_PERCENT: Final = (0.01, 10.0)
"""Accuracy classes that are not absurd, in % of the range (chosen wide: gauges are sold as 0.1 to
4)."""

ROUNDING: Final = 1e-9
"""Relative difference that comes from changing units."""


RECTANGULAR: Final = 1.0 / math.sqrt(3.0)
"""Standard deviation of a rectangular distribution over half its width [1]_."""


def rectangular_sigma(half_width: float) -> float:
    """Return the standard uncertainty of what lies anywhere within a half-width [1]_."""
    return half_width * RECTANGULAR


@dataclass(frozen=True, kw_only=True)
class Gauge:
    """A gauge, by name.

    Parameters
    ----------
    name : str
        What the workshop calls it; its error is the same for all that is read from it.
    full_scale : Pressure
        Upper end of its range.
    class_percent : float
        Limit of error, in % of the range.
    step : Pressure
        Smallest step that is read.
    calibration_due : date or None
        Until when its calibration holds; None when nobody knows.

    Raises
    ------
    InputError
        No name, or a range, class or step that cannot be.
    """

    name: str
    full_scale: Pressure
    class_percent: float
    step: Pressure
    calibration_due: date | None = None

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise InputError(
                "gauge: no name, expected one, for example 'tester 1'",
                "its name tells which readings share its error",
            )
        low, high = RANGE_BAR
        if not low <= self.full_scale.bar <= high:
            raise InputError(
                f"gauge {self.name!r}: range to {self.full_scale.value:g} {self.full_scale.unit}, "
                f"expected {low:g} to {high:g} bar",
                "look at the number at the end of the scale, and its unit",
            )
        least, most = CLASS_PERCENT
        if not least <= self.class_percent <= most:
            raise InputError(
                f"gauge {self.name!r}: class {self.class_percent:g} % of the range, expected "
                f"{least:g} to {most:g}",
                "the class is printed on the dial, for example 1.6",
            )
        if not 0 < self.step.bar < self.full_scale.bar / 2:
            raise InputError(
                f"gauge {self.name!r}: step of {self.step.value:g} {self.step.unit}, expected more "
                "than nothing and less than half the range",
                "give the smallest step that you read, for example half a division",
            )

    @property
    def error_bar(self) -> float:
        """Limit of error, the same wherever the pointer stands."""
        return self.class_percent / 100.0 * self.full_scale.bar

    @property
    def sigma_bar(self) -> float:
        """Standard uncertainty from the class, in common to everything read from this gauge."""
        return rectangular_sigma(self.error_bar)

    @property
    def sigma_step_bar(self) -> float:
        """Standard uncertainty of one reading from the step, half of it either way."""
        return rectangular_sigma(self.step.bar / 2.0)

    def doubts(self, on: date) -> tuple[Doubt, ...]:
        """Say what is doubtful about what is read from it on a day."""
        if self.calibration_due is None:
            return (Doubt.GAUGE_UNDATED,)
        return (Doubt.GAUGE_OVERDUE,) if on > self.calibration_due else ()

    def check(self, reading: Pressure, what: str) -> None:
        """Refuse a reading that this gauge cannot have shown.

        Raises
        ------
        InputError
            Nothing, less than nothing, or beyond the end of the scale.
        """
        if not 0 < reading.bar <= self.full_scale.bar * (1 + ROUNDING):
            raise InputError(
                f"{what} {reading.value:g} {reading.unit}: expected above 0 and at most "
                f"{self.full_scale.value:g} {self.full_scale.unit}, the end of gauge {self.name!r}",
                "look at the unit, and whether a digit is missing",
            )


FLUID_DEGC: Final = (-10.0, 55.0)
"""Temperatures of a test fluid at a bench (chosen: ISO 4113 fluids flash at 75 degrees and above,
diesel fuel at 55; nobody tests hotter)."""


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """What is kept with every reading.

    Parameters
    ----------
    fluid : str
        Test fluid, in free words; empty when not noted.
    temperature_degc : float
        Of the fluid; NaN when not noted.
    tester : str
        The hand-lever tester; empty when not noted.

    Raises
    ------
    InputError
        A temperature below the fluid's pour point or near its flash point.
    """

    fluid: str = ""
    temperature_degc: float = math.nan
    tester: str = ""

    def __post_init__(self) -> None:
        low, high = FLUID_DEGC
        if not (math.isnan(self.temperature_degc) or low <= self.temperature_degc <= high):
            raise InputError(
                f"test fluid at {self.temperature_degc:g} degrees Celsius, expected {low:g} to "
                f"{high:g}",
                "look at the unit: 70 degrees Fahrenheit are 21 degrees Celsius",
            )


NOT_NOTED: Final = Conditions()
"""Nothing was noted."""
