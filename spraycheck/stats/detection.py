"""How small a fault a person sees: detection curves, an adaptive rule, and sensitivity.

The curve is::

    P(x) = g + (1 - g - l) * Phi(ln(x / t) / s)

``t`` is the threshold (half of what chance and slips leave), ``s`` the standard deviation of
``ln x``, ``g`` the guess rate (noticed where there is nothing) and ``l`` the lapse rate (missed
however plain it is). Level 0 informs ``g`` alone and an infinite level ``l`` alone, so both are
estimated with the curve from trials that show them, not assumed.

References
----------
.. [1] F. A. Wichmann, N. J. Hill, "The psychometric function: I. Fitting, sampling, and goodness of
   fit", Percept. Psychophys. 63 (2001) 1293-1313, doi:10.3758/BF03194544.
.. [2] C. Kaernbach, "Simple adaptive testing with the weighted up-down method", Percept.
   Psychophys. 49 (1991) 227-229, doi:10.3758/BF03214307.
.. [3] M. J. Hautus, "Corrections for extreme proportions and their biasing effects on estimated
   values of d'", Behav. Res. Methods 27 (1995) 46-51, doi:10.3758/BF03203619.
.. [4] V. Gourevitch, E. Galanter, "A significance test for one parameter isosensitivity
   functions", Psychometrika 32 (1967) 25-33, doi:10.1007/BF02289402.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from spraycheck.errors import InputError

Float = NDArray[np.float64]

LOG_SDS: Final = (0.05, 1.5)
"""Standard deviations a curve may have, in natural-log units. Chosen because from 10 to 90 %
noticed is then a factor of 1.14 (a step, finer than any ladder of levels here) to a factor of 47
(hardly a curve)."""

MAX_GUESS, MAX_LAPSE = 0.5, 0.1
"""Largest guess and lapse rates of a fit. A guess rate of one half is a coin. The lapse rate is
held low because it trades against the slope ([1]_ uses 0.06; more chosen for learners)."""

BEYOND: Final = 3.0
"""How far, as a factor, a threshold is looked for outside the levels shown. Chosen because further
out the trials tell nothing but "below all" or "above all"."""

_RISE_95: Final = 3.841458820694124 / 2
"""Fall in log-likelihood at the ends of a 95 % profile interval: half the 95 % point of chi-square
with one degree of freedom."""

TARGET: Final = 0.75
"""What share the adaptive rule settles at; the example of [2]_."""


@dataclass(frozen=True, kw_only=True)
class Trials:
    """What was shown and noticed.

    Parameters
    ----------
    level : (K,) ndarray of float64
        Severity; 0 for nothing to notice, infinite for what nobody can miss.
    noticed, shown : (K,) ndarray of float64
        Counts at each level.

    Raises
    ------
    InputError
        Shapes differ, counts are impossible, or a level is negative or not a number.
    """

    level: Float
    noticed: Float
    shown: Float

    def __post_init__(self) -> None:
        for name in ("level", "noticed", "shown"):
            row = np.array(getattr(self, name), np.float64)
            row.flags.writeable = False
            object.__setattr__(self, name, row)
        shapes = {self.level.shape, self.noticed.shape, self.shown.shape}
        if len(shapes) != 1 or self.level.ndim != 1:
            raise InputError(f"trials: expected three rows of one length, got shapes {shapes}")
        if not (self.level >= 0).all() or len(self.level) == 0:
            raise InputError("trials: expected levels of 0 or more")
        if not ((self.noticed >= 0) & (self.noticed <= self.shown)).all():
            raise InputError("trials: expected 0 <= noticed <= shown")

    @property
    def graded(self) -> Float:
        """Levels strictly between nothing and infinite, of which something was shown."""
        some = (self.level > 0) & np.isfinite(self.level) & (self.shown > 0)
        return np.asarray(self.level[some])


@dataclass(frozen=True, kw_only=True)
class DetectionCurve:
    """A fitted detection curve.

    Parameters
    ----------
    threshold : float
        Level noticed half of the times, chance and slips apart; in the unit of the levels.
    log_sd : float
        Standard deviation of the underlying normal, in natural-log units of level.
    guess, lapse : float
        Rates, 0 to 1.
    deviance : float
        Twice what the log-likelihood lacks to that of a curve through every point.
    """

    threshold: float
    log_sd: float
    guess: float
    lapse: float
    deviance: float

    def at(self, level: ArrayLike) -> Float:
        """Return how often something of this level is noticed, guesses and lapses included."""
        with np.errstate(divide="ignore"):
            log_level = np.log(np.asarray(level, float))
        x = np.array([math.log(self.threshold), math.log(self.log_sd), self.guess, self.lapse])
        return _noticed(log_level, x, 0.0)[0]

    def level_for(self, share: float) -> float:
        """Return the level noticed with this share, chance and slips apart."""
        return float(self.threshold * math.exp(self.log_sd * special.ndtri(share)))


class Interval(NamedTuple):
    """A 95 % interval of a level; 0 or infinite at a side that the trials do not bound."""

    low: float
    high: float


def fit_detection(
    trials: Trials,
    *,
    max_guess: float = MAX_GUESS,
    max_lapse: float = MAX_LAPSE,
) -> DetectionCurve:
    """Fit a detection curve by maximum likelihood.

    Parameters
    ----------
    trials : Trials
        At least one of a level that is neither 0 nor infinite.
    max_guess, max_lapse : float
        Bounds; 0 leaves the rate out.

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
    x, likelihood = _fit(trials, 0.0, (max_guess, max_lapse))
    share = np.divide(trials.noticed, np.maximum(trials.shown, 1))
    full = float(
        np.sum(special.xlogy(trials.noticed, share))
        + np.sum(special.xlogy(trials.shown - trials.noticed, 1 - share))
    )
    return DetectionCurve(
        threshold=math.exp(x[0]),
        log_sd=math.exp(x[1]),
        guess=float(x[2]),
        lapse=float(x[3]),
        deviance=2 * (full - likelihood),
    )


def level_interval(
    trials: Trials,
    *,
    share: float = 0.5,
    max_guess: float = MAX_GUESS,
    max_lapse: float = MAX_LAPSE,
) -> Interval:
    """Return the 95 % profile-likelihood interval of the level noticed with a share.

    Parameters
    ----------
    trials, max_guess, max_lapse
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
    rates = (max_guess, max_lapse)
    z = float(special.ndtri(share))
    best, likelihood = _fit(trials, z, rates)
    low, high = _span(trials)

    def lacks(at: float) -> float:
        return likelihood - _fit(trials, z, rates, fixed=at)[1] - _RISE_95

    middle = float(best[0])
    below = above = math.nan
    if lacks(low) > 0:
        below = float(optimize.brentq(lacks, low, middle, xtol=3e-3))
    if lacks(high) > 0:
        above = float(optimize.brentq(lacks, middle, high, xtol=3e-3))
    return Interval(
        math.exp(below) if math.isfinite(below) else 0.0,
        math.exp(above) if math.isfinite(above) else math.inf,
    )


def _noticed(log_level: Float, x: Float, z: float) -> tuple[Float, Float]:
    """Return the curve and its slope by each of four parameters, ``(4, K)``.

    They are the logarithm of the level noticed with share Phi(z) (chance and slips apart), that of
    the standard deviation, guess and lapse rate.
    """
    place, log_sd, guess, lapse = x
    with np.errstate(over="ignore"):
        u = (log_level - place) / math.exp(log_sd)
    seen = special.ndtr(u + z)
    room = 1 - guess - lapse
    density = room * np.exp(-((u + z) ** 2) / 2) / math.sqrt(2 * math.pi)
    # Where the level is 0 or infinite the curve is flat in place and slope.
    density, u = np.where(np.isfinite(u), density, 0.0), np.where(np.isfinite(u), u, 0.0)
    slopes = np.stack([-density / math.exp(log_sd), -density * u, 1 - seen, -seen])
    return guess + room * seen, slopes


def _span(trials: Trials) -> tuple[float, float]:
    """Return the range of places looked at, `BEYOND` times past the levels shown on either side.

    Raises
    ------
    InputError
        No level between nothing and certain was shown.
    """
    graded = trials.graded
    if len(graded) == 0:
        raise InputError(
            "no trial of a level between nothing and certain, expected at least one",
            "answer more questions",
        )
    beyond = math.log(BEYOND)
    return math.log(graded.min()) - beyond, math.log(graded.max()) + beyond


def _fit(
    trials: Trials, z: float, rates: tuple[float, float], fixed: float = math.nan
) -> tuple[Float, float]:
    """Parameters of greatest likelihood (see `_noticed`), and its logarithm.

    ``rates`` bounds guess and lapse rate; the place is held at ``fixed`` if that is given.
    """
    low, high = _span(trials)
    tiny = 1e-9  # keeps logarithms finite; far below one part in any number of trials
    with np.errstate(divide="ignore"):
        log_level = np.log(trials.level)
    missed = trials.shown - trials.noticed

    def loss(x: Float) -> tuple[float, Float]:
        p, slopes = _noticed(log_level, x, z)
        p = np.clip(p, tiny, 1 - tiny)
        value = -(trials.noticed @ np.log(p) + missed @ np.log1p(-p))
        return float(value), -(slopes @ (trials.noticed / p - missed / (1 - p)))

    held = math.isfinite(fixed)
    places = (fixed, fixed) if held else (low, high)
    spreads = (math.log(LOG_SDS[0]), math.log(LOG_SDS[1]))
    grid = [
        np.array([place, spread, share * rates[0], share * rates[1]])
        for place in ([fixed] if held else np.linspace(low, high, 9))
        for spread in np.linspace(*spreads, 5)
        for share in (0.02, 0.3)
    ]
    found = optimize.minimize(
        loss,
        min(grid, key=lambda x: loss(x)[0]),  # the likelihood has several hills
        jac=True,
        bounds=[places, spreads, (0.0, rates[0]), (0.0, rates[1])],
        method="L-BFGS-B",
        options={"ftol": 1e-12},
    )
    return np.asarray(found.x, np.float64), -float(found.fun)


@dataclass(frozen=True, kw_only=True)
class Staircase:
    """A weighted up-down staircase on a log scale (Kaernbach [2]_).

    A level that was noticed is followed by one smaller by the factor ``exp(step)``, one that was
    missed by one larger by ``exp(step * target / (1 - target))``; it settles where these balance,
    at the share ``target``. Until the first miss steps down are doubled, to come near quickly.

    Parameters
    ----------
    first, lowest, highest : float
        Where it starts, and what it never leaves.
    step : float
        In natural-log units. Default ln 1.2: about a dozen steps across a tenfold range (chosen).
    target : float
        Share noticed that it settles at.
    """

    first: float
    lowest: float
    highest: float
    step: float = math.log(1.2)
    target: float = TARGET

    def __post_init__(self) -> None:
        if not 0 < self.lowest <= self.first <= self.highest < math.inf:
            raise InputError(
                f"staircase from {self.first:g} within {self.lowest:g} to {self.highest:g}: "
                "expected 0 < lowest <= first <= highest"
            )
        if not (self.step > 0 and 0 < self.target < 1):
            raise InputError("staircase: expected a step above 0 and a target between 0 and 1")

    def level(self, answers: Sequence[bool]) -> float:
        """Return the level to show next, after these answers (True: noticed) in order."""
        at, missed = math.log(self.first), False
        up = self.step * self.target / (1 - self.target)
        for noticed in answers:
            missed = missed or not noticed
            at += up if not noticed else -self.step * (1 if missed else 2)
            at = min(max(at, math.log(self.lowest)), math.log(self.highest))
        return math.exp(at)


class Sensitivity(NamedTuple):
    """How well two things are told apart: ``d_prime``, its standard uncertainty, the criterion.

    ``criterion`` is 0 without a leaning, above 0 when "nothing there" is said too readily.
    """

    d_prime: float
    u: float
    criterion: float


def sensitivity(hits: int, faulty: int, false_alarms: int, good: int) -> Sensitivity:
    """Return d' of verdicts on faulty and good cards.

    Parameters
    ----------
    hits, faulty : int
        Faulty cards called faulty, and all faulty cards.
    false_alarms, good : int
        Good cards called faulty, and all good cards.

    Raises
    ------
    InputError
        No card of one sort, or impossible counts.

    Notes
    -----
    Half a card is added to each count and one to each total, so that perfect scores stay finite
    (log-linear correction, [3]_); the uncertainty is that of [4]_.
    """
    if not (0 <= hits <= faulty and 0 <= false_alarms <= good and faulty > 0 and good > 0):
        raise InputError(
            f"{hits} of {faulty} faulty and {false_alarms} of {good} good cards: expected at least "
            "one card of each sort"
        )
    hit, alarm = (hits + 0.5) / (faulty + 1), (false_alarms + 0.5) / (good + 1)
    z_hit, z_alarm = float(special.ndtri(hit)), float(special.ndtri(alarm))
    variance = sum(
        rate * (1 - rate) / (cards * (math.exp(-z * z / 2) / math.sqrt(2 * math.pi)) ** 2)
        for rate, z, cards in ((hit, z_hit, faulty), (alarm, z_alarm, good))
    )
    return Sensitivity(z_hit - z_alarm, math.sqrt(variance), -(z_hit + z_alarm) / 2)
