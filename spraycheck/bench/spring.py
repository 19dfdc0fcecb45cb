"""How much pressure a thicker spacer gains: from the spring, from the injector's own readings.

The needle lifts when the pressure on the ring between guide and seat balances the spring:
``p_open = F0 / A_lift`` with ``A_lift = pi / 4 (D_guide^2 - D_seat^2)`` and ``F0 = k x``, so a
spacer thicker by ``ds`` gains ``dp = k ds / A_lift``. Published gains of two kinds of nozzle differ
2.7 times: there is no figure that holds for all, and so none is built in.

References
----------
.. [1] Force balance of a spring-loaded needle: textbook, from memory.
.. [2] SAE J968/1 (2021), secondary source: springs of test injectors have 180 to 225 N/mm. With a
   6 mm guide and a 3.5 mm seat they gain 9.65 to 12.06 bar per 0.1 mm.
.. [3] JCGM 100:2008 (GUM), 4.3.7, 5.1.2; R. T. Birge, Phys. Rev. 40 (1932) 207-227.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from spraycheck.bench.gauge import rectangular_sigma
from spraycheck.bench.opening import OpeningPressure
from spraycheck.errors import InputError
from spraycheck.stats.uncertainty import Estimate, weighted_mean
from spraycheck.units import Pressure, PressureUnit

TENTHS_PER_MM: Final = 10.0

BAR_PER_MPA: Final = 10.0
"""1 N/mm2 is 1 MPa."""

THICKNESS_U_MM: Final = 0.005
"""Half-width of a spacer's thickness as marked or read with a micrometer (chosen)."""


class GainSource(StrEnum):
    """What a gain was worked out from."""

    SPRING = "spring"
    READINGS = "readings"
    MAKER = "maker"


@dataclass(frozen=True, kw_only=True)
class Gain:
    """Pressure gained by a spacer that is 0.1 mm thicker.

    Parameters
    ----------
    bar : float
        Per 0.1 mm.
    sigma_bar : float
        Standard uncertainty.
    sources : tuple of GainSource
        What it was worked out from.
    birge : float
        Scatter of what was put together over what the uncertainties explain; above 1 the
        uncertainty was widened by it. NaN where nothing was put together.
    """

    bar: float
    sigma_bar: float
    sources: tuple[GainSource, ...]
    birge: float = math.nan

    def __post_init__(self) -> None:
        if not (self.bar > 0 and self.sigma_bar >= 0):
            raise InputError(
                f"gain of {self.bar:.3g} bar per 0.1 mm with uncertainty {self.sigma_bar:.3g}: "
                "expected above 0, because a thicker spacer presses the spring harder",
                "look whether spacers and pressures were noted for the right visits",
            )

    def over(self, thicker_mm: float) -> float:
        """Return the gain of so much more thickness, in bar."""
        return self.bar * TENTHS_PER_MM * thicker_mm

    def sigma_over(self, thicker_mm: float) -> float:
        """Return the standard uncertainty of that gain, in bar."""
        return abs(self.sigma_bar * TENTHS_PER_MM * thicker_mm)


@dataclass(frozen=True, kw_only=True)
class SpringModel:
    """Spring and needle, as far as they are known; what a nozzle file says.

    Parameters
    ----------
    rate_low_n_per_mm, rate_high_n_per_mm : float
        The spring's rate lies between these.
    guide_mm, seat_mm : float
        Diameters of the needle at its guide, and where it seals.
    guide_u_mm, seat_u_mm : float
        Half-widths within which the diameters lie (chosen: a guide is measured with a micrometer,
        where a seat seals is only roughly known).
    source : str
        Who says so.

    Raises
    ------
    InputError
        Numbers that cannot be.
    """

    rate_low_n_per_mm: float
    rate_high_n_per_mm: float
    guide_mm: float
    seat_mm: float
    guide_u_mm: float = 0.01
    seat_u_mm: float = 0.1
    source: str = ""

    def __post_init__(self) -> None:
        low, high = self.rate_low_n_per_mm, self.rate_high_n_per_mm
        if not (0 < low <= high < math.inf):
            raise InputError(
                f"spring of {low:g} to {high:g} N/mm: expected above 0, the lower rate first",
                "the rate is force over travel, for example 200 N/mm",
            )
        if not (0 < self.seat_mm < self.guide_mm < math.inf):
            raise InputError(
                f"needle with a guide of {self.guide_mm:g} mm and a seat of {self.seat_mm:g} mm: "
                "expected a seat smaller than the guide, else nothing lifts it",
                "measure both diameters in mm",
            )
        if min(self.guide_u_mm, self.seat_u_mm) < 0:
            raise InputError(
                "needle: expected uncertainties of 0 mm or more",
                "give half of the interval that the diameter lies in, for example 0.1",
            )

    @property
    def lift_area_mm2(self) -> float:
        """Ring that the pressure lifts the closed needle by."""
        return math.pi / 4.0 * (self.guide_mm**2 - self.seat_mm**2)

    @property
    def closing_ratio(self) -> float:
        """Closing over opening pressure: once open, the whole guide area holds the needle up."""
        return 1.0 - (self.seat_mm / self.guide_mm) ** 2

    def gain(self) -> Gain:
        """Return the gain per 0.1 mm [1]_, with its uncertainty to first order."""
        rate = 0.5 * (self.rate_low_n_per_mm + self.rate_high_n_per_mm)
        bar = rate / self.lift_area_mm2 * BAR_PER_MPA / TENTHS_PER_MM
        half = 0.5 * (self.rate_high_n_per_mm - self.rate_low_n_per_mm)
        ring = self.guide_mm**2 - self.seat_mm**2
        relative = math.hypot(
            rectangular_sigma(half) / rate,
            rectangular_sigma(self.guide_u_mm) * 2.0 * self.guide_mm / ring,
            rectangular_sigma(self.seat_u_mm) * 2.0 * self.seat_mm / ring,
        )
        return Gain(bar=bar, sigma_bar=bar * relative, sources=(GainSource.SPRING,))


def gain_from_maker(low: Pressure, high: Pressure) -> Gain:
    """Return the gain that a maker prints as so much to so much per 0.1 mm.

    Where one figure is printed, it is known to half a unit of its last digit at best: give that as
    the range.
    """
    if not 0 < low.bar < high.bar:
        raise InputError(
            f"gain of {low.value:g} {low.unit} to {high.value:g} {high.unit} per 0.1 mm: expected "
            "above 0, and a range",
            "for one printed figure give half its last digit either way: 1.87 MPa is 1.865 to "
            "1.875 MPa",
        )
    return Gain(
        bar=0.5 * (low.bar + high.bar),
        sigma_bar=rectangular_sigma(0.5 * (high.bar - low.bar)),
        sources=(GainSource.MAKER,),
    )


@dataclass(frozen=True, kw_only=True)
class SpacerReading:
    """Opening pressure of an injector with a certain thickness of spacers in it.

    Parameters
    ----------
    spacer_mm : float
        Thickness of all spacers together.
    opening : OpeningPressure
        As measured.
    new_spring : bool
        A new spring was put in for it.
    """

    spacer_mm: float
    opening: OpeningPressure
    new_spring: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.spacer_mm <= MOST_SPACERS_MM:
            raise InputError(
                f"spacers of {self.spacer_mm:g} mm together: expected 0 to {MOST_SPACERS_MM:g} mm",
                "give millimetres, for example 1.45",
            )


MOST_SPACERS_MM: Final = 10.0
"""Thickness of spacers that is not absurd (chosen wide)."""


def gain_from_readings(readings: Sequence[SpacerReading]) -> Gain:
    """Return the slope of a straight line through readings of one injector, weighted.

    Parameters
    ----------
    readings : sequence of SpacerReading
        Of the same spring and needle, at two thicknesses or more.

    Raises
    ------
    InputError
        Fewer than two thicknesses.

    Notes
    -----
    What the gauge has in common to all readings drops out of the slope. With two readings the
    uncertainty is ``sqrt(u1^2 + u2^2) / ds``: 10 bar apart with 1.5 bar each give the gain to a
    fifth. More than two are widened by Birge's ratio where they scatter more [3]_.
    """
    s = np.array([one.spacer_mm for one in readings]) * TENTHS_PER_MM
    compared = for_comparison([one.opening for one in readings])
    p, sigma = np.array([one.value for one in compared]), np.array([one.u for one in compared])
    if len(readings) < 2 or float(np.ptp(s)) <= THICKNESS_U_MM * TENTHS_PER_MM:
        raise InputError(
            f"gain of a spacer: {len(readings)} readings, expected two thicknesses or more of the "
            "same injector",
            "note thickness and opening pressure before and after a change of spacer",
        )
    if not (np.isfinite(sigma).all() and (sigma > 0).all()):
        raise InputError(
            "gain of a spacer: an opening pressure without uncertainty, expected two pops or more "
            "of each",
            "read three pops or more for each spacer",
        )
    weight = 1.0 / sigma**2
    s_mean, p_mean = weight @ s / weight.sum(), weight @ p / weight.sum()
    spread = float(weight @ (s - s_mean) ** 2)
    slope = float(weight @ ((s - s_mean) * (p - p_mean))) / spread
    free = len(readings) - 2
    chi2 = float(weight @ (p - p_mean - slope * (s - s_mean)) ** 2)
    birge = math.sqrt(chi2 / free) if free else math.nan
    widened = max(1.0, birge) if free else 1.0
    return Gain(
        bar=slope,
        sigma_bar=spread**-0.5 * widened,
        sources=(GainSource.READINGS,),
        birge=birge,
    )


def combine_gains(gains: Sequence[Gain]) -> Gain:
    """Return the mean weighted by uncertainty, widened where the gains disagree [3]_."""
    if not gains:
        raise InputError(
            "gain of a spacer: nothing to work it out from, expected the spring's data, readings "
            "of this injector with two spacers, or the maker's figure",
            "published gains differ 2.7 times between nozzles, so none is assumed; change one "
            "spacer, read again, and give both readings",
        )
    sources = tuple(dict.fromkeys(source for one in gains for source in one.sources))
    exact = [one for one in gains if one.sigma_bar == 0]
    if exact or len(gains) == 1:
        return (exact or list(gains))[0]
    mean = weighted_mean([one.bar for one in gains], [one.sigma_bar for one in gains])
    return Gain(bar=mean.value, sigma_bar=mean.u, sources=sources, birge=mean.birge)


def for_comparison(openings: Sequence[OpeningPressure]) -> list[Estimate]:
    """Return opening pressures with the uncertainty that counts between them.

    Read from one gauge, its class drops out; from several, every reading carries its gauge's.
    """
    if len({one.gauge for one in openings}) == 1:
        return [Estimate(one.mean_bar, one.sigma_own_bar, one.dof_own) for one in openings]
    return [Estimate(one.mean_bar, one.sigma_bar, one.dof) for one in openings]


EXAMPLE_GAINS: Final = {
    "small indirect": gain_from_maker(
        Pressure(value=7.0, unit=PressureUnit.KGF_CM2),
        Pressure(value=10.0, unit=PressureUnit.KGF_CM2),
    ),
    "direct injection": gain_from_maker(
        Pressure(value=1.865, unit=PressureUnit.MPA), Pressure(value=1.875, unit=PressureUnit.MPA)
    ),
}
"""Two gains that engine workshop manuals print, 2.2 times apart: why none is built in."""
