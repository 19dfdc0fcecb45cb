"""Which spacer to put in, what opening pressure to expect then, and signs of a worn spring.

References
----------
.. [1] JCGM 106:2012, 7.3 and 7.4.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from spraycheck.bench.gauge import rectangular_sigma
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import OPENING_LIMITS, OpeningPressure, OpeningTarget
from spraycheck.bench.spring import (
    MOST_SPACERS_MM,
    THICKNESS_U_MM,
    Gain,
    SpacerReading,
    SpringModel,
    for_comparison,
    gain_from_maker,
)
from spraycheck.errors import InputError
from spraycheck.judge.checks import ONE_TAIL
from spraycheck.judge.injector import REQUIRED, BenchTest
from spraycheck.stats.conformity import (
    DEFAULT_RISK,
    Tolerance,
    conformity_probability,
    guard_factor,
)
from spraycheck.stats.uncertainty import effective_dof
from spraycheck.units import Pressure

MOST_PIECES: Final = 4
"""Spacers that may be stacked at the very most (chosen: beyond it no maker's data were seen)."""

SAME_MM: Final = 1e-9
"""Thicknesses that differ by rounding only."""

EVEN_ODDS: Final = 0.5

DIGITS: Final = 9
"""Pressures that differ beyond so many decimals differ by rounding only."""


@dataclass(frozen=True, kw_only=True)
class SpacerSpecification:
    """What a maker says about spacers; what a nozzle file says.

    Parameters
    ----------
    sizes_mm : tuple of float
        Thicknesses that are sold; empty when not known.
    most_pieces : int
        How many may be stacked; 1 unless the maker allows more.
    gain_low, gain_high : Pressure or None
        Gain per 0.1 mm as printed; None when not known.
    spring : SpringModel or None
        Spring and needle; None when not known.
    thickness_u_mm : float
        Half-width within which a thickness lies.
    source : str
        Who says so.
    """

    sizes_mm: tuple[float, ...] = ()
    most_pieces: int = 1
    gain_low: Pressure | None = None
    gain_high: Pressure | None = None
    spring: SpringModel | None = None
    thickness_u_mm: float = THICKNESS_U_MM
    source: str = ""

    def __post_init__(self) -> None:
        if not 1 <= self.most_pieces <= MOST_PIECES:
            raise InputError(
                f"spacers: up to {self.most_pieces} stacked, expected 1 to {MOST_PIECES}",
                "stack only where the maker's data allow it",
            )
        if (self.gain_low is None) != (self.gain_high is None):
            raise InputError(
                "spacers: one end of a gain only, expected both or none",
                "for one printed figure give half its last digit either way",
            )
        if not all(0 < one <= MOST_SPACERS_MM for one in self.sizes_mm) or self.thickness_u_mm < 0:
            raise InputError(
                f"spacers of {', '.join(f'{one:g}' for one in self.sizes_mm)} mm, known to "
                f"{self.thickness_u_mm:g} mm: expected above 0 to {MOST_SPACERS_MM:g} mm",
                "give millimetres, for example 1.45",
            )

    def gains(self) -> tuple[Gain, ...]:
        """Return the gains that these data give, to be put together with readings."""
        found = []
        if self.spring is not None:
            found.append(self.spring.gain())
        if self.gain_low is not None and self.gain_high is not None:
            found.append(gain_from_maker(self.gain_low, self.gain_high))
        return tuple(found)


@dataclass(frozen=True, kw_only=True)
class SpacerOption:
    """Spacers that could be put in.

    Parameters
    ----------
    pieces_mm : tuple of float
        Thickness of each, thinnest first.
    expected_bar : float
        Opening pressure to expect.
    sigma_bar : float
        Its standard uncertainty.
    u_bar : float
        Its expanded uncertainty, 95 %.
    probability : float
        That the opening pressure will lie in its window.
    """

    pieces_mm: tuple[float, ...]
    expected_bar: float
    sigma_bar: float
    u_bar: float
    probability: float

    @property
    def total_mm(self) -> float:
        """All pieces together."""
        return math.fsum(self.pieces_mm)


@dataclass(frozen=True, kw_only=True)
class Recommendation:
    """What to put in.

    Parameters
    ----------
    fitted : SpacerOption
        What is in now.
    options : tuple of SpacerOption
        What could be put in instead, best first; without what is in now.
    best : SpacerOption
        The one to take: what is in now, where that keeps the window or nothing comes closer.
    gain : Gain
        What it was worked out with.
    then : tuple of BenchTest
        What has to be done again after the change; empty where nothing is changed.
    """

    fitted: SpacerOption
    options: tuple[SpacerOption, ...]
    best: SpacerOption
    gain: Gain
    then: tuple[BenchTest, ...]

    @property
    def likely(self) -> bool:
        """Whether the best one will keep the window rather than not."""
        return self.best.probability > EVEN_ODDS


def recommend_spacers(
    opening: OpeningPressure,
    fitted_mm: Sequence[float],
    stock_mm: Sequence[float],
    gain: Gain,
    target: OpeningTarget,
    *,
    most_pieces: int = 1,
    new_spring: bool = False,
    thickness_u_mm: float = THICKNESS_U_MM,
    risk: float = DEFAULT_RISK,
) -> Recommendation:
    """Choose spacers from what there is.

    Parameters
    ----------
    opening : OpeningPressure
        With the spacers that are in now.
    fitted_mm : sequence of float
        Those; they may be used again.
    stock_mm : sequence of float
        What lies in the drawer, one number per piece.
    gain : Gain
        Per 0.1 mm.
    target : OpeningTarget
        Where it should open.
    most_pieces : int
        How many may be stacked: more than one only where the maker allows it.
    new_spring : bool
        Whether the spring has not settled yet.
    thickness_u_mm : float
        Half-width within which a thickness lies.
    risk : float
        What is in now stays where its probability of keeping the window is one less this.

    Raises
    ------
    InputError
        Nothing to choose from, or thicknesses that cannot be.

    Notes
    -----
    The best one comes closest to the pressure to set, then with fewer pieces. Its variance is
    that of the opening pressure, of the gain times the change, and of the thicknesses that change.
    """
    for one in (*fitted_mm, *stock_mm):
        if not 0 < one <= MOST_SPACERS_MM:
            raise InputError(
                f"spacer of {one:g} mm: expected above 0 to {MOST_SPACERS_MM:g} mm",
                "give millimetres, for example 1.45",
            )
    if not 1 <= most_pieces <= MOST_PIECES:
        raise InputError(
            f"up to {most_pieces} spacers stacked: expected 1 to {MOST_PIECES}",
            "stack only where the maker's data allow it",
        )
    if math.isnan(opening.sigma_bar):
        raise InputError(
            "spacers: an opening pressure without uncertainty, expected two pops or more that "
            "count",
            "read three pops or more",
        )
    limits = target.limits(new_spring=new_spring)
    aim = target.aim_bar(new_spring=new_spring)

    def option(pieces: tuple[float, ...]) -> SpacerOption:
        return _expect(opening, tuple(fitted_mm), pieces, gain, limits, thickness_u_mm)

    fitted = option(tuple(sorted(fitted_mm)))
    there = (*fitted_mm, *stock_mm)
    others = [one for one in _stacks(there, most_pieces) if one != fitted.pieces_mm]

    def rank(one: SpacerOption) -> tuple[float, int]:
        return round(abs(one.expected_bar - aim), DIGITS), len(one.pieces_mm)

    ranked = sorted((option(one) for one in others), key=rank)
    stays = fitted.probability >= 1.0 - risk
    best = fitted if stays else min((fitted, *ranked), key=rank)
    return Recommendation(
        fitted=fitted,
        options=tuple(ranked),
        best=best,
        gain=gain,
        then=() if best is fitted else REQUIRED,
    )


def _stacks(pieces: Sequence[float], most: int) -> Iterator[tuple[float, ...]]:
    """Walk through every choice of up to so many pieces that there are."""
    there = Counter(pieces)
    sizes = sorted(there)
    for count in range(1, most + 1):
        for chosen in itertools.combinations_with_replacement(sizes, count):
            if all(number <= there[size] for size, number in Counter(chosen).items()):
                yield chosen


def _expect(
    opening: OpeningPressure,
    fitted: tuple[float, ...],
    pieces: tuple[float, ...],
    gain: Gain,
    limits: BenchLimits,
    thickness_u_mm: float,
) -> SpacerOption:
    thicker = math.fsum(pieces) - math.fsum(fitted)
    out, in_ = Counter(fitted), Counter(pieces)
    changed = (out - in_).total() + (in_ - out).total()
    parts = [
        opening.sigma_bar,
        gain.sigma_over(thicker),
        math.sqrt(changed) * gain.over(rectangular_sigma(thickness_u_mm)),
    ]
    sigma = math.hypot(*parts)
    dof = effective_dof(parts, [opening.dof, math.inf, math.inf])
    expected = opening.mean_bar + gain.over(thicker)
    lower = max(limits.tolerance(name)[0] for name in OPENING_LIMITS if limits.held(name))
    upper = min(limits.tolerance(name)[1] for name in OPENING_LIMITS if limits.held(name))
    return SpacerOption(
        pieces_mm=pieces,
        expected_bar=expected,
        sigma_bar=sigma,
        u_bar=guard_factor(ONE_TAIL, dof) * sigma,
        probability=conformity_probability(
            expected, sigma, Tolerance(lower=lower, upper=upper), dof
        ),
    )


class WearHint(StrEnum):
    """What a change from visit to visit may mean."""

    MORE_SPACER = "more-spacer"
    """More spacer than before for no more pressure: spring or spring seat look worn."""
    PRESSURE_FELL = "pressure-fell"
    """Less pressure than before with no less spacer: spring or spring seat look worn."""
    SETTLED = "settled"
    """A new spring fell by no more than new springs do."""


@dataclass(frozen=True, kw_only=True)
class Wear:
    """One sign of wear.

    Parameters
    ----------
    hint : WearHint
        What it may mean.
    visit : int
        Place of the later of the two readings, from 0.
    lost_bar : float
        Pressure lost between them, beyond what the spacers explain.
    u_bar : float
        Its expanded uncertainty, 95 %.
    """

    hint: WearHint
    visit: int
    lost_bar: float
    u_bar: float


def find_wear(
    readings: Sequence[SpacerReading],
    gain: Gain,
    *,
    settling: Pressure | None = None,
    risk: float = DEFAULT_RISK,
) -> tuple[Wear, ...]:
    """Compare each reading of an injector with the one before.

    Parameters
    ----------
    readings : sequence of SpacerReading
        In the order of time. A reading with a new spring is compared with none before it.
    gain : Gain
        Per 0.1 mm.
    settling : Pressure, optional
        How far a new spring falls.
    risk : float
        Of calling something lost that is not.

    Notes
    -----
    What is lost is the fall of ``p - gain * spacer``; it is told where it is proved beyond zero.
    Readings from one gauge leave its class out, so that a gauge that drifted looks like wear.
    """
    found = []
    for place, (before, after) in enumerate(itertools.pairwise(readings), start=1):
        if after.new_spring:
            continue
        thicker = after.spacer_mm - before.spacer_mm
        then, now = for_comparison([before.opening, after.opening])
        parts = [then.u, now.u, gain.sigma_over(thicker)]
        if not math.isfinite(sum(parts)):
            continue  # a single pop shows no scatter, and nothing can be proved with it
        lost = then.value - now.value + gain.over(thicker)
        sigma = math.hypot(*parts)
        dof = effective_dof(parts, [then.dof, now.dof, math.inf])
        surely = guard_factor(risk, dof) * sigma
        if not lost > surely:
            continue
        usual = settling.bar if before.new_spring and settling is not None else 0.0
        if usual and lost <= usual + surely:
            hint = WearHint.SETTLED
        else:
            hint = WearHint.MORE_SPACER if thicker > SAME_MM else WearHint.PRESSURE_FELL
        found.append(
            Wear(hint=hint, visit=place, lost_bar=lost, u_bar=guard_factor(ONE_TAIL, dof) * sigma)
        )
    return tuple(found)
