"""One value held against one limit, and what a doubt takes away from it.

Every value is held against its limit with its own uncertainty (JCGM 106:2012). What else is known
to be doubtful about it, a plume over the card's edge or a hollow that may have soaked over, does
not change the numbers: it is a `Doubt` on the check, and one table says what each doubt does.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.limits import Limits, LimitSet
from spraycheck.judge.result import Doubt, LimitCheck, Remedy
from spraycheck.stats.conformity import (
    Tolerance,
    conformity_probability,
    guard_factor,
    joint_bounds,
    joint_conformity,
    risk_per_limit,
)

PLUME: Final = "plume"
"""Name of the check that a hole left a plume at all."""

SURE: Final = 1e-3
"""When all limits together are kept or broken but for this probability, whatever their correlation,
the joint probability is not worked out (chosen: far below any sensible risk)."""

LATTICE: Final = {"points": 512, "shifts": 4}
"""Fewer points than the default: the error stays below 1e-3, a tenth of the smallest risk used."""

ONE_TAIL: Final = 0.025
"""Beyond either end of an interval that holds 95 %."""

LEAST_RATIO: Final = 1e-9
"""Stands for a ratio of nought, which has no logarithm."""


class Effect(StrEnum):
    """What a doubt does to the checks that carry it."""

    WAIVED = "waived"
    """They are not asked, and count for nothing."""
    WITHHELD = "withheld"
    """They cannot be told: neither proof nor pass."""
    NO_PROOF = "no proof"
    """They prove no fault; a pass stands."""
    NO_PASS = "no pass"
    """The whole nozzle does not pass, and uncertainties were widened before."""
    NO_OBSTACLE = "no obstacle"
    """They prove a fault or nothing: a pass does not ask for them."""
    TOLD = "told"
    """They only say what settles a doubt, or why."""


DOUBTS: Final[Mapping[Doubt, tuple[Effect, Remedy | None]]] = MappingProxyType(
    {
        Doubt.LAYOUT_MISFIT: (Effect.WITHHELD, None),
        Doubt.QUALITY_LIMIT: (Effect.NO_PASS, None),
        Doubt.RUNS_INTO_ANOTHER: (Effect.WITHHELD, None),
        Doubt.RUN_TOGETHER: (Effect.WITHHELD, None),
        Doubt.OVER_EDGE: (Effect.NO_PROOF, Remedy.WHOLE_CARD),
        Doubt.FADING_LIGHT: (Effect.NO_PROOF, Remedy.DRY_PHOTO),
        Doubt.MAY_BE_SHADOW: (Effect.WITHHELD, None),
        Doubt.NOTHING_TO_COMPARE: (Effect.WITHHELD, None),
        Doubt.OUT_OF_VIEW: (Effect.WITHHELD, Remedy.WHOLE_CARD),
        Doubt.TOO_FAINT: (Effect.WITHHELD, None),
        Doubt.MAY_LOOK_DRY: (Effect.WITHHELD, None),
        Doubt.OBJECT_LEFT_OUT: (Effect.WITHHELD, None),
        Doubt.UNDER_STAIN: (Effect.WITHHELD, None),
        Doubt.NEAR_LIMIT: (Effect.TOLD, None),
        Doubt.NEAR_LIMIT_TOGETHER: (Effect.TOLD, None),
        Doubt.SHEET_EDGES: (Effect.TOLD, Remedy.PRINTED_CARD),
        Doubt.MARKERS: (Effect.TOLD, Remedy.ANOTHER_PHOTO),
        Doubt.NOISE: (Effect.TOLD, Remedy.DRY_PHOTO),
        Doubt.INTERMITTENT: (Effect.WITHHELD, None),
        Doubt.NOT_FOLLOWED: (Effect.NO_PROOF, None),
        Doubt.ARROWS_DISAGREE: (Effect.TOLD, None),
        Doubt.TURNS_DISAGREE: (Effect.TOLD, None),
        Doubt.NO_FEATURE: (Effect.TOLD, None),
        Doubt.NO_OUTLINE: (Effect.WITHHELD, None),
        Doubt.SEVERAL_PLUMES: (Effect.WITHHELD, None),
        Doubt.SOAKED_OVER: (Effect.WITHHELD, None),
        Doubt.OPEN_HOLLOW: (Effect.WITHHELD, None),
        Doubt.SOAKED_ENDS: (Effect.NO_OBSTACLE, None),
        Doubt.LIMIT_OFF: (Effect.WAIVED, None),
        Doubt.NEED_NOT_BE_FILLED: (Effect.WAIVED, None),
        Doubt.NEED_NOT_BE_HOLLOW: (Effect.WAIVED, None),
        Doubt.NO_HOLLOW: (Effect.WAIVED, None),
        Doubt.NO_AIM: (Effect.WAIVED, None),
        Doubt.NO_HEIGHT: (Effect.WAIVED, None),
        Doubt.FEW_POPS: (Effect.WITHHELD, Remedy.READ_AGAIN),
        Doubt.GAUGE_OVERDUE: (Effect.WITHHELD, Remedy.CHECK_GAUGE),
        Doubt.GAUGE_UNDATED: (Effect.TOLD, Remedy.CHECK_GAUGE),
        Doubt.HELD_LOW: (Effect.NO_PASS, Remedy.HOLD_AGAIN),
        Doubt.HELD_HIGH: (Effect.NO_PROOF, Remedy.HOLD_AGAIN),
        Doubt.HELD_SHORT: (Effect.NO_PASS, Remedy.HOLD_AGAIN),
        Doubt.HELD_LONG: (Effect.NO_PROOF, Remedy.HOLD_AGAIN),
        Doubt.OFF_CONDITIONS: (Effect.WITHHELD, Remedy.READ_AGAIN),
        Doubt.SEVERAL_GAUGES: (Effect.TOLD, Remedy.READ_AGAIN),
    }
)
"""What each doubt does to the checks that carry it, and what settles it; without a remedy of its
own, another shot does."""


def has(doubts: Iterable[Doubt], effect: Effect) -> bool:
    """Whether one of these doubts has this effect."""
    return any(DOUBTS[doubt][0] is effect for doubt in doubts)


def waived(doubts: Iterable[Doubt]) -> bool:
    """Whether a check with these doubts is not asked at all."""
    return has(doubts, Effect.WAIVED)


def remedy_of(doubts: Iterable[Doubt], shots: int = 1) -> Remedy:
    """Return what settles these doubts at the least cost.

    Parameters
    ----------
    doubts : iterable of Doubt
        Of a hole; the first one that has a remedy of its own counts.
    shots : int
        How many photos there are already.
    """
    own = (DOUBTS[doubt][1] for doubt in doubts)
    another = Remedy.ONE_MORE_SHOT if shots > 1 else Remedy.ANOTHER_SHOT
    return next((remedy for remedy in own if remedy is not None), another)


def check_limit(
    limit: str,
    value: float,
    sigma: float,
    limits: LimitSet,
    *,
    hole: int = 0,
    doubts: Sequence[Doubt] = (),
    sigma_at_limit: float | None = None,
    dof: float = math.inf,
) -> LimitCheck:
    """Hold a value against a limit by its name.

    Parameters
    ----------
    limit : str
        A field of ``limits``. Those named ``_deg`` are held either side of zero.
    value : float
        In the limit's unit; NaN where it is not known.
    sigma : float
        Standard uncertainty; of a ratio that is held in logarithms the relative one.
    limits : LimitSet
        What is tolerated.
    hole : int
        The hole it is about; 0 for none.
    doubts : sequence of Doubt
        What else is doubtful about it.
    sigma_at_limit : float, optional
        Standard uncertainty that the value would have at the limit, where it is another one.
    dof : float
        Degrees of freedom of ``sigma``; infinite for a normal distribution.

    Returns
    -------
    LimitCheck
        Its probability is NaN where value or uncertainty is unknown, or a doubt withholds it.
    """
    log = limits.logarithmic and limits.unit(limit) == "ratio"
    probability = math.nan
    untold = has(doubts, Effect.WITHHELD) or has(doubts, Effect.WAIVED)
    if not (untold or limits.held(limit)):
        probability = 1.0
    elif not untold and math.isfinite(value) and math.isfinite(sigma):
        lower, upper = limits.tolerance(limit)
        probability = conformity_probability(
            math.log(max(value, LEAST_RATIO)) if log else value,
            sigma if sigma_at_limit is None else sigma_at_limit,
            Tolerance(lower=lower, upper=upper),
            dof,
        )
    factor = guard_factor(ONE_TAIL, dof) if math.isfinite(dof) else COVERAGE_FACTOR_95
    return LimitCheck(
        limit=limit,
        hole=hole,
        value=value,
        u=factor * sigma * (value if log else 1.0),
        allowed=float(getattr(limits, limit)),
        unit=limits.unit(limit),
        probability=probability,
        doubts=tuple(doubts),
    )


def check_plume(hole: int, found: int, doubts: Sequence[Doubt] = ()) -> LimitCheck:
    """Check that a hole left a plume; none is a fault unless a doubt withholds it."""
    known = not (has(doubts, Effect.WITHHELD) or has(doubts, Effect.NO_PROOF))
    return LimitCheck(
        limit=PLUME,
        hole=hole,
        value=float(found),
        u=0.0,
        allowed=1.0,
        unit="",
        probability=float(found > 0) if known else math.nan,
        doubts=tuple(doubts),
    )


def shared_risk(limits: LimitSet, count: int) -> float:
    """Risk that each of ``count`` values may take alone, so that all together take the nozzle's."""
    return risk_per_limit(max(count, 1), limits.risk)


@dataclass(frozen=True, kw_only=True, eq=False)
class Group:
    """Values that hang together and are held against limits of their own.

    Parameters
    ----------
    values : (N,) ndarray of float64
        As they are held: ratios in logarithms. NaN are left out.
    covariance : (N, N) ndarray of float64
        Of the values.
    tolerances : tuple of N (float, float)
        Least and largest value allowed.
    """

    values: Float
    covariance: Float
    tolerances: tuple[tuple[float, float], ...]

    @classmethod
    def alike(
        cls, values: Float, covariance: Float, limits: Limits, names: tuple[str, ...]
    ) -> Group:
        """Make the group of values that are all held against the same limits."""
        held = [limits.tolerance(name) for name in names if limits.held(name)]
        ends = (
            max((low for low, _ in held), default=-math.inf),
            min((high for _, high in held), default=math.inf),
        )
        return cls(values=values, covariance=covariance, tolerances=(ends,) * len(values))

    def probability(self) -> float:
        """Probability that all of them keep their limits together; 1 where none is held."""
        bounded = [math.isfinite(low) or math.isfinite(high) for low, high in self.tolerances]
        at = np.flatnonzero(np.isfinite(self.values) & np.array(bounded, bool))
        if len(at) == 0:
            return 1.0
        ends = [self.tolerances[i] for i in at]
        tolerances = [Tolerance(lower=low, upper=high) for low, high in ends]
        sigma = np.sqrt(np.diag(self.covariance))[at]
        alone = [
            conformity_probability(float(value), float(u), one)
            for value, u, one in zip(self.values[at], sigma, tolerances, strict=True)
        ]
        least, most = joint_bounds(alone)
        if most - least < SURE or most < SURE:
            return least
        covariance = self.covariance[np.ix_(at, at)]
        return joint_conformity(self.values[at], covariance, tolerances, **LATTICE)
