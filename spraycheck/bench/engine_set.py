"""The injectors of one engine: how far they spread, and which ones to rework so that they fit.

A gauge reads all of them equally wrong, so its class does not count in the spread; what counts is
the scatter of each one's pops and the reading step.

References
----------
.. [1] Distribution of the range of independent values: H. O. Hartley, Biometrika 32 (1942) 334-348,
   here with a distribution of its own for every value (derived).
.. [2] No published limit for the spread of a set was found; workshops name 5 to 10 bar.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np

from spraycheck.arrays import Float, Mask
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import OpeningPressure, OpeningTarget
from spraycheck.bench.spring import for_comparison
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.judge.injector import ReadingRuling, decide_reading
from spraycheck.judge.result import Doubt, LimitCheck
from spraycheck.stats.uncertainty import Estimate

OPENING: Final = "set_spread_bar"
"""Name of the check of the spread of opening pressures, as in `BenchLimits`."""

WHOLE_PATTERN: Final = (
    "area_spread_ratio",
    "stray_frac",
    "spray_angle_deg",
    "ellipse_low_ratio",
    "form_factor_low_ratio",
    "heavy_side_frac",
    "streak_frac",
    "core_hollow_ratio",
    "core_filled_ratio",
)
"""Values of a whole pattern that can be compared from injector to injector. How the card lay under
it (turn, centre, tilt) is left out."""

POINTS: Final = 2000
"""Points of the integral over each distribution (chosen: its error stays below 1e-3)."""

LIMIT_SET: Final = BenchLimits()

LEAST_SIGMA_FRAC: Final = 1e-6
"""Uncertainty, over the range allowed, below which a value is taken to be known this well."""

SAME: Final = 1e-9
"""Relative difference of a spread from its limit that is rounding only."""


@dataclass(frozen=True, kw_only=True)
class SetMember:
    """One injector of a set or of a stock.

    Parameters
    ----------
    injector : str
        Its mark or position.
    opening : OpeningPressure
        As measured.
    pattern : mapping of str to Estimate
        Values of its whole pattern, from `pattern_figures`; empty where none was judged.
    """

    injector: str
    opening: OpeningPressure
    pattern: Mapping[str, Estimate] = field(default_factory=dict)


def pattern_figures(checks: Iterable[LimitCheck]) -> Mapping[str, Estimate]:
    """Pick the values of a whole pattern, with standard uncertainties, from its checks."""
    return MappingProxyType(
        {
            one.limit: Estimate(one.value, one.u / COVERAGE_FACTOR_95)
            for one in checks
            if one.limit in WHOLE_PATTERN and math.isfinite(one.value + one.u)
        }
    )


@dataclass(frozen=True, kw_only=True)
class EngineSet:
    """How a set spreads.

    Parameters
    ----------
    ruling : ReadingRuling
        One check of the opening pressures, and one per value of the patterns that is limited.
    lowest, highest : str
        The injectors that open first and last.
    """

    ruling: ReadingRuling
    lowest: str
    highest: str


def check_set(
    members: Sequence[SetMember],
    limits: BenchLimits = LIMIT_SET,
    *,
    pattern_limits: Mapping[str, float] | None = None,
) -> EngineSet:
    """Hold the spread of a set against what is tolerated.

    Parameters
    ----------
    members : sequence of SetMember
        Two or more.
    limits : BenchLimits
        Its ``set_spread_bar`` is the largest less the smallest opening pressure.
    pattern_limits : mapping of str to float, optional
        Largest less smallest value of the patterns, by name as in `WHOLE_PATTERN`. None are held
        without: no published figure is known.

    Raises
    ------
    InputError
        Fewer than two injectors, one that stands there twice, or an unknown name.
    """
    check_members(members, 2)
    openings = [one.opening for one in members]
    several = len({one.gauge for one in openings}) > 1
    doubts = tuple(dict.fromkeys(d for one in openings for d in one.doubts if d in OF_POPS))
    checks = []
    if limits.held(OPENING):
        checks.append(
            _check_range(
                OPENING,
                for_comparison(openings),
                limits.set_spread_bar,
                limits.unit(OPENING),
                (*doubts, Doubt.SEVERAL_GAUGES) if several else doubts,
            )
        )
    for name, allowed in (pattern_limits or {}).items():
        unit = name.rpartition("_")[2]
        checks.append(_check_range(name, values_of(members, name), allowed, unit))
    return EngineSet(
        ruling=decide_reading(checks, limits, values=max(len(checks), 1)),
        lowest=min(members, key=lambda one: one.opening.mean_bar).injector,
        highest=max(members, key=lambda one: one.opening.mean_bar).injector,
    )


OF_POPS: Final = frozenset({Doubt.FEW_POPS})
"""Doubts of an opening pressure that count in a spread too; those of the gauge drop out."""


def range_probability(
    means: Sequence[float], sigmas: Sequence[float], width: float, dofs: Sequence[float] = ()
) -> float:
    """Probability that the largest true value less the smallest one is at most so much.

    Parameters
    ----------
    means, sigmas : sequence of float
        Independent values and their standard uncertainties; NaN gives NaN.
    width : float
        Largest range allowed.
    dofs : sequence of float
        Degrees of freedom of each uncertainty; infinite for all where not given.

    Notes
    -----
    ``sum over i of E_i[ product over j != i of F_j(x + width) - F_j(x) ]`` with x the smallest
    value, drawn from the distribution of i [1]_; the expectation by the midpoint rule.
    """
    from scipy.special import ndtr, ndtri, stdtr, stdtrit  # takes whole arrays

    mu, sigma = np.asarray(means, float), np.asarray(sigmas, float)
    nu = np.asarray(dofs if len(dofs) else [math.inf] * len(mu), float)
    if not (np.isfinite(mu).all() and np.isfinite(sigma).all()):
        return math.nan
    sigma = np.maximum(sigma, LEAST_SIGMA_FRAC * width)

    def cdf(j: int, x: Float) -> Float:
        z = (x - mu[j]) / sigma[j]
        return np.asarray(ndtr(z) if math.isinf(nu[j]) else stdtr(nu[j], z))

    u = (np.arange(POINTS) + 0.5) / POINTS
    total = 0.0
    for i in range(len(mu)):
        z = ndtri(u) if math.isinf(nu[i]) else stdtrit(nu[i], u)
        x = mu[i] + sigma[i] * z
        inside = np.ones(POINTS)
        for j in range(len(mu)):
            if j != i:
                inside *= cdf(j, x + width) - cdf(j, x)
        total += float(inside.mean())
    return min(max(total, 0.0), 1.0)


@dataclass(frozen=True, kw_only=True)
class Rework:
    """Which injectors to set anew so that a set fits.

    Parameters
    ----------
    keep : tuple of str
        Those that may stay as they are.
    rework : tuple of str
        Those to set anew, in the order of the set; empty where it fits already.
    low_bar, high_bar : float
        Where the reworked ones fit beside those that stay, and in the window.
    aim_bar : float
        What to set them to.
    pattern_room : mapping of str to (float, float)
        Where the values of their patterns fit beside those that stay; endless where none stays.
    """

    keep: tuple[str, ...]
    rework: tuple[str, ...]
    low_bar: float
    high_bar: float
    aim_bar: float
    pattern_room: Mapping[str, tuple[float, float]] = field(default_factory=dict)


def plan_rework(
    members: Sequence[SetMember],
    width_bar: float,
    target: OpeningTarget,
    *,
    pattern_limits: Mapping[str, float] | None = None,
) -> Rework:
    """Choose the fewest injectors to rework so that the whole set fits.

    Parameters
    ----------
    members : sequence of SetMember
        The set.
    width_bar : float
        Largest less smallest opening pressure allowed.
    target : OpeningTarget
        Window and pressure to set.
    pattern_limits : mapping of str to float, optional
        The same of values of the patterns, by name as in `WHOLE_PATTERN`.

    Notes
    -----
    Exact: those that stay lie in a box as wide as the limits, and some such box has the smallest
    value of one of them at each of its lower sides; all of those are tried. Among equals those
    closest to the pressure to set stay. Judged by the measured values; `check_set` says how sure
    the spread is.
    """
    check_members(members, 1)
    names = list(pattern_limits or {})
    widths = np.array([width_bar, *(pattern_limits or {}).values()])
    if not (widths > 0).all():
        raise InputError(
            f"spread of {', '.join(f'{one:g}' for one in widths)}: expected limits above 0",
            "give how far the highest may lie above the lowest, for example 10 bar",
        )
    limits = target.limits()
    floor, ceiling = limits.opening_low_bar, limits.opening_high_bar
    aim = target.aim_bar()
    pressures = np.array([one.opening.mean_bar for one in members])
    patterns = [[one.value for one in values_of(members, name)] for name in names]
    values = np.column_stack([pressures, *patterns])
    inside = (pressures >= floor) & (pressures <= ceiling)

    def worth(stay: Mask) -> tuple[int, float]:
        return int(stay.sum()), -float(np.abs(pressures - aim)[stay].sum())

    stay = np.zeros(len(members), bool)
    for lower in itertools.product(*values[inside].T):
        box = inside & (values >= lower).all(axis=1)
        box &= (values <= np.array(lower) + widths * (1 + SAME)).all(axis=1)
        stay = max(stay, box, key=worth)
    low, high = np.full(len(widths), -math.inf), np.full(len(widths), math.inf)
    if stay.any():
        low, high = values[stay].max(axis=0) - widths, values[stay].min(axis=0) + widths
    low_bar, high_bar = max(floor, float(low[0])), min(ceiling, float(high[0]))
    return Rework(
        keep=tuple(one.injector for one, kept in zip(members, stay, strict=True) if kept),
        rework=tuple(one.injector for one, kept in zip(members, stay, strict=True) if not kept),
        low_bar=low_bar,
        high_bar=high_bar,
        aim_bar=min(max(aim, low_bar), high_bar),
        pattern_room={
            name: (float(low[d]), float(high[d])) for d, name in enumerate(names, start=1)
        },
    )


def _check_range(
    name: str,
    found: Sequence[Estimate],
    allowed: float,
    unit: str,
    doubts: tuple[Doubt, ...] = (),
) -> LimitCheck:
    low, high = (end(found, key=lambda one: one.value) for end in (min, max))
    values, sigmas, dofs = zip(*found, strict=True)
    return LimitCheck(
        limit=name,
        value=high.value - low.value,
        u=COVERAGE_FACTOR_95 * math.hypot(low.u, high.u),
        allowed=allowed,
        unit=unit,
        probability=range_probability(values, sigmas, allowed, dofs),
        doubts=doubts,
    )


def values_of(members: Sequence[SetMember], name: str) -> list[Estimate]:
    """Return a value of the patterns of all members; refuse one that is not known of all."""
    if name not in WHOLE_PATTERN:
        raise InputError(
            f"spread of {name!r}: expected one of {', '.join(WHOLE_PATTERN)}",
            "these values of a whole pattern can be compared",
        )
    unknown = [one.injector for one in members if name not in one.pattern]
    if unknown:
        raise InputError(
            f"spread of {name!r}: not known of injector {', '.join(unknown)}, expected it of all",
            "photograph their patterns too, or leave this value out",
        )
    return [one.pattern[name] for one in members]


def check_members(members: Sequence[SetMember], least: int) -> None:
    """Refuse an injector that stands there twice, and fewer injectors than needed."""
    names = [one.injector for one in members]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            f"injector {twice[0]!r} stands there twice, expected every one once",
            "give each its own mark or position",
        )
    if len(names) < least:
        raise InputError(
            f"{len(names)} injectors: expected {least} or more", "give the readings of all of them"
        )
