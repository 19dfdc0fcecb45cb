"""One measured value against its limits: probability of conformity and the three outcomes.

References
----------
.. [1] JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in
   conformity assessment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import Final, NamedTuple

from spraycheck.errors import InputError

PASS: Final = "pass"
FAIL: Final = "fail"
RECHECK: Final = "recheck"

DEFAULT_RISK: Final = 0.05
"""Risk of a wrong outright verdict (ISO 14253-1:2017 asks 95 % probability by default; the edition
is known from secondary sources only)."""


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """What is allowed: an interval, open on one side where a limit is infinite."""

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        if not self.lower < self.upper:
            raise InputError(f"tolerance {self.lower} to {self.upper}: expected lower below upper")
        if math.isinf(self.lower) and math.isinf(self.upper):
            raise InputError("tolerance: expected at least one finite limit")

    @property
    def width(self) -> float:
        """Upper minus lower limit; infinite when one-sided."""
        return self.upper - self.lower


class Decision(NamedTuple):
    """What may be said about one value.

    Parameters
    ----------
    outcome : str
        ``pass``, ``fail`` or ``recheck``.
    probability : float
        That the true value is within tolerance; NaN when value or uncertainty is not known.
    """

    outcome: str
    probability: float


def conformity_probability(
    value: float, u: float, tolerance: Tolerance, dof: float = math.inf
) -> float:
    """Probability that the true value lies within tolerance.

    Parameters
    ----------
    value : float
        Measured.
    u : float
        Its standard uncertainty, 0 or more.
    tolerance : Tolerance
        One- or two-sided.
    dof : float
        Degrees of freedom of ``u``; infinite for a normal distribution.

    Returns
    -------
    float
        0 to 1; NaN when value or u is NaN or u is infinite. A value known exactly conforms on the
        limit too.

    Raises
    ------
    InputError
        Negative uncertainty, or degrees of freedom not positive.

    Notes
    -----
    ``Phi((T_U - y)/u) - Phi((T_L - y)/u)``, JCGM 106:2012 [1]_, 7.3 and 7.4.
    """
    if u < 0 or not dof > 0:
        raise InputError(f"u = {u}, dof = {dof}: expected u of 0 or more and dof above 0")
    if not (math.isfinite(value) and math.isfinite(u)):
        return math.nan
    if u == 0:
        return 1.0 if tolerance.lower <= value <= tolerance.upper else 0.0
    low, high = (tolerance.lower - value) / u, (tolerance.upper - value) / u
    if low > 0:  # far above: take the difference in the small tail, where no digits cancel
        low, high = -high, -low
    return max(cdf(high, dof) - cdf(low, dof), 0.0)


def decide(
    value: float,
    u: float,
    tolerance: Tolerance,
    *,
    risk: float = DEFAULT_RISK,
    dof: float = math.inf,
) -> Decision:
    """Pass, fail or recheck, and the probability behind it.

    Parameters
    ----------
    value, u, tolerance, dof
        As for `conformity_probability`.
    risk : float
        Largest accepted probability that an outright outcome is wrong, above 0 to below 0.5.

    Notes
    -----
    Equal to guarded acceptance and guarded rejection (JCGM 106:2012 [1]_, 8.3.2 and 8.3.3) with
    the guard band `guard_factor` times u, and still right where both limits are near.
    """
    probability = conformity_probability(value, u, tolerance, dof)
    return Decision(outcome(probability, risk), probability)


def outcome(probability: float, risk: float = DEFAULT_RISK) -> str:
    """Turn a probability of conformity into ``pass``, ``fail`` or (also for NaN) ``recheck``."""
    check_risk(risk)
    if probability >= 1.0 - risk:
        return PASS
    return FAIL if probability <= risk else RECHECK


def guard_factor(risk: float, dof: float = math.inf) -> float:
    """One-sided factor k: a guard band of ``k u`` leaves at most ``risk`` beyond the limit.

    1.64 at 5 %, infinite degrees of freedom (JCGM 106:2012 [1]_, table 1; with few degrees of
    freedom Student's t as in 8.3.3.3, example 2).
    """
    check_risk(risk)
    if math.isinf(dof):
        return NormalDist().inv_cdf(1.0 - risk)
    if not dof > 0:
        raise InputError(f"dof = {dof}: expected above 0")
    from scipy.special import stdtrit  # the standard library has no Student's t

    return float(stdtrit(dof, 1.0 - risk))


def acceptance_limits(tolerance: Tolerance, guard_band: float) -> Tolerance:
    """Limits for the measured value: tolerance drawn in by a guard band (a negative one widens).

    Raises
    ------
    InputError
        The guard bands meet: nothing measured that vaguely could ever be accepted.
    """
    lower, upper = tolerance.lower + guard_band, tolerance.upper - guard_band
    if not lower < upper:
        raise InputError(
            f"guard band {guard_band} leaves nothing of the tolerance {tolerance.lower} to "
            f"{tolerance.upper}: expected less than half its width; reduce the uncertainty"
        )
    return Tolerance(lower=lower, upper=upper)


def capability_index(tolerance: Tolerance, u: float) -> float:
    """Measurement capability index ``C_m = T / (4 u)``; JCGM 106:2012 [1]_, 7.6.3."""
    if not u > 0:
        raise InputError(f"u = {u}: expected above 0")
    return tolerance.width / (4.0 * u)


def check_risk(risk: float) -> None:
    """Refuse a risk that is not above 0 and below 0.5."""
    if not 0.0 < risk < 0.5:
        raise InputError(f"risk {risk}: expected above 0 to below 0.5, for example 0.05")


def cdf(z: float, dof: float = math.inf) -> float:
    """Cumulative standard normal distribution, or Student's t for finite degrees of freedom."""
    if math.isinf(dof):
        return 0.5 * math.erfc(-z / math.sqrt(2.0))
    from scipy.special import stdtr  # the standard library has no Student's t

    return float(stdtr(dof, z))
