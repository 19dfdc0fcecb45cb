"""Hold values against limits: probabilities, states, and the whole nozzle.

Two questions are kept apart. *May this hole be called faulty?* Only with proof at a risk that is
shared among everything held, so that a healthy nozzle is failed in at most the chosen share of
cases however many holes it has. *May this nozzle pass?* Only when the probability that all limits
are kept together, correlations included, is at least one minus the risk (JCGM 106:2012, 7 and
8.3). Between the two the answer is *recheck*.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.layout import Evidence
from spraycheck.judge.limits import Limits
from spraycheck.stats.conformity import (
    Tolerance,
    conformity_probability,
    joint_bounds,
    joint_conformity,
    risk_per_limit,
)

SURE = 1e-3
"""When all limits together are kept or broken but for this probability, whatever their correlation,
the joint probability is not worked out (chosen: far below any sensible risk)."""


@dataclass(frozen=True, kw_only=True)
class Check:
    """One value held against one limit.

    Parameters
    ----------
    limit : str
        Name of the limit, as in `Limits`.
    value, sigma, allowed : float
        Measured, its standard uncertainty, and the limit, in the limit's unit. For ratios sigma
        is the relative one: they are held in logarithms.
    probability : float
        That the limit is kept; NaN when the value is not known.
    """

    limit: str
    value: float
    sigma: float
    allowed: float
    probability: float

    def evidence(self, limits: Limits) -> Evidence:
        """Return what a finding carries."""
        ratio = limits.unit(self.limit) == "ratio"
        return Evidence(
            limit=self.limit,
            value=self.value,
            u=COVERAGE_FACTOR_95 * self.sigma * (self.value if ratio else 1.0),
            allowed=self.allowed,
            unit=limits.unit(self.limit),
            probability=self.probability,
        )


def hold(limit: str, value: float, sigma: float, limits: Limits) -> Check:
    """Hold a value against a limit by its name.

    Parameters
    ----------
    limit : str
        A field of `Limits`. Those named ``_deg`` are held either side of zero, ratios in
        logarithms.
    value : float
        In the limit's unit.
    sigma : float
        Standard uncertainty; relative for a ratio.
    """
    allowed = float(getattr(limits, limit))
    if not limits.held(limit):
        probability = 1.0
    elif not (math.isfinite(value) and math.isfinite(sigma)):
        probability = math.nan
    elif limits.unit(limit) == "ratio":
        edge = math.log(allowed)
        tolerance = Tolerance(lower=edge) if "_low_" in limit else Tolerance(upper=edge)
        probability = conformity_probability(math.log(max(value, 1e-9)), sigma, tolerance)
    else:
        lower = -allowed if limit.endswith("_deg") else -math.inf
        tolerance = Tolerance(lower=lower, upper=allowed)
        probability = conformity_probability(value, sigma, tolerance)
    return Check(limit=limit, value=value, sigma=sigma, allowed=allowed, probability=probability)


def shared_risk(limits: Limits, count: int) -> float:
    """Risk that each of ``count`` values may take alone; see the module's introduction."""
    return risk_per_limit(max(count, 1), limits.risk)


def keeps_all(
    values: Float,
    covariance: Float,
    limit: str | tuple[str, str],
    limits: Limits,
    *,
    enough: float = 1.0,
) -> float:
    """Probability that all values keep their limit together.

    Parameters
    ----------
    values : (N,) ndarray of float64
        In degrees for a limit named ``_deg``; logarithms for a (low, high) pair of ratio limits.
        Values that are NaN are left out.
    covariance : (N, N) ndarray of float64
        Of the values.
    limit : str or (str, str)
        The limit, or the pair.
    limits : Limits
        The settings.
    """
    at = np.flatnonzero(np.isfinite(values))
    names = (limit,) if isinstance(limit, str) else limit
    if len(at) == 0 or not any(limits.held(name) for name in names):
        return 1.0
    if isinstance(limit, str):
        allowed = float(getattr(limits, limit))
        tolerance = Tolerance(lower=-allowed, upper=allowed)
    else:
        low, high = (float(getattr(limits, name)) for name in limit)
        tolerance = Tolerance(
            lower=math.log(low) if low > 0 else -math.inf,
            upper=math.log(high) if math.isfinite(high) else math.inf,
        )
    sigma = np.sqrt(np.diag(covariance))
    alone = [conformity_probability(float(values[i]), float(sigma[i]), tolerance) for i in at]
    least, most = joint_bounds(alone)
    if most - least < SURE or most < SURE:
        return least
    # Fewer points than the default: the error stays below 1e-3, a tenth of the smallest risk used.
    return joint_conformity(
        values[at], covariance[np.ix_(at, at)], [tolerance] * len(at), points=512, shifts=4
    )


def together(probabilities: Sequence[float]) -> float:
    """Probability of independent things together; NaN when one is not known."""
    return math.prod(probabilities)
