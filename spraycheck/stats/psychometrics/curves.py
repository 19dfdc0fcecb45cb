"""Detection curves: how often something is noticed at each level of severity.

The curve is::

    P(x) = g + (1 - g - l) * Phi((ln x - ln t) / w)

``t`` is the threshold (half of what chance and slips leave), ``w`` the width in natural-log units,
``g`` the guess rate (noticed where there is nothing) and ``l`` the lapse rate (missed however plain
it is). Level 0 informs ``g`` alone and an infinite level ``l`` alone, so both are estimated with
the curve from trials that show them, not assumed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from spraycheck.errors import InputError
from spraycheck.stats.psychometrics.fitting import (
    MAX_GUESS,
    MAX_LAPSE,
    WIDTHS,
    Bounds,
    fit,
    noticed,
    span,
)
from spraycheck.stats.psychometrics.trials import Float, Trials

_RISE_95: Final = 3.841458820694124 / 2
"""Fall in log-likelihood at the ends of a 95 % profile interval: half the 95 % point of chi-square
with one degree of freedom."""


@dataclass(frozen=True, kw_only=True)
class DetectionCurve:
    """A fitted detection curve.

    Parameters
    ----------
    threshold : float
        Level noticed half of the times, chance and slips apart; in the unit of the levels.
    width : float
        Standard deviation of the underlying normal, in natural-log units of level.
    guess, lapse : float
        Rates, 0 to 1.
    log_likelihood : float
        At the fit, without binomial coefficients.
    deviance : float
        Twice what the log-likelihood lacks to that of a curve through every point.
    shown : int
        Trials.
    """

    threshold: float
    width: float
    guess: float
    lapse: float
    log_likelihood: float
    deviance: float
    shown: int

    def at(self, level: ArrayLike) -> Float:
        """Return how often something of this level is noticed, guesses and lapses included."""
        with np.errstate(divide="ignore"):
            log_level = np.log(np.asarray(level, float))
        place, log_width = math.log(self.threshold), math.log(self.width)
        return noticed(log_level, place, log_width, self.guess, self.lapse, 0.0)[0]

    def level_for(self, share: float) -> float:
        """Return the level noticed with this share, chance and slips apart."""
        return float(self.threshold * math.exp(self.width * special.ndtri(share)))


class Interval(NamedTuple):
    """A 95 % interval of a level; 0 or infinite at a side that the trials do not bound."""

    low: float
    high: float


def fit_detection(
    trials: Trials,
    *,
    max_guess: float = MAX_GUESS,
    max_lapse: float = MAX_LAPSE,
    widths: tuple[float, float] = WIDTHS,
) -> DetectionCurve:
    """Fit a detection curve by maximum likelihood.

    Parameters
    ----------
    trials : Trials
        At least one of a level that is neither 0 nor infinite.
    max_guess, max_lapse : float
        Bounds; 0 leaves the rate out.
    widths : (float, float)
        Bounds of the width.

    Raises
    ------
    InputError
        Nothing to fit.

    Notes
    -----
    The normal curve on a log scale is chosen because a fault of no size is then noticed by guess
    alone, and because with neither guesses nor lapses it is ordinary probit regression on the
    logarithm, which a published example checks.
    """
    best = fit(trials, 0.0, Bounds(max_guess, max_lapse, widths))
    x = best.parameters
    share = np.divide(trials.noticed, np.maximum(trials.shown, 1))
    full = float(
        np.sum(special.xlogy(trials.noticed, share))
        + np.sum(special.xlogy(trials.shown - trials.noticed, 1 - share))
    )
    return DetectionCurve(
        threshold=math.exp(x[0]),
        width=math.exp(x[1]),
        guess=float(x[2]),
        lapse=float(x[3]),
        log_likelihood=best.value,
        deviance=2 * (full - best.value),
        shown=round(float(trials.shown.sum())),
    )


def level_interval(
    trials: Trials,
    *,
    share: float = 0.5,
    max_guess: float = MAX_GUESS,
    max_lapse: float = MAX_LAPSE,
    widths: tuple[float, float] = WIDTHS,
) -> Interval:
    """Return the 95 % profile-likelihood interval of the level noticed with a share.

    Parameters
    ----------
    trials, max_guess, max_lapse, widths
        As for `fit_detection`.
    share : float
        Chance and slips apart, 0 to 1 exclusive; 0.5 is the threshold.

    Returns
    -------
    Interval
        Open (0 or infinity) at a side where even a level `BEYOND` times outside those shown fits
        nearly as well as the best.

    Raises
    ------
    InputError
        Nothing to fit, or an impossible share.

    Notes
    -----
    Every other parameter is fitted anew at each level; the interval holds the levels whose
    log-likelihood lies within half the 95 % point of chi-square (1) of the best. Unlike a standard
    error it is not symmetric, and it tells when the trials bound one side only.
    """
    if not 0 < share < 1:
        raise InputError(f"share {share:g}: expected more than 0 and less than 1")
    bounds = Bounds(max_guess, max_lapse, widths)
    z = float(special.ndtri(share))
    best = fit(trials, z, bounds)
    low, high = span(trials)

    def lacks(at: float) -> float:
        return best.value - fit(trials, z, bounds, fixed=at).value - _RISE_95

    middle = float(best.parameters[0])
    below = above = math.nan
    if lacks(low) > 0:
        below = float(optimize.brentq(lacks, low, middle, xtol=3e-3))
    if lacks(high) > 0:
        above = float(optimize.brentq(lacks, middle, high, xtol=3e-3))
    return Interval(
        math.exp(below) if math.isfinite(below) else 0.0,
        math.exp(above) if math.isfinite(above) else math.inf,
    )
