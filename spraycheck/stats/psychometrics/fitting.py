"""The detection curve as a formula, and its parameters of greatest likelihood.

References
----------
.. [1] F. A. Wichmann, N. J. Hill, "The psychometric function: I. Fitting, sampling, and goodness of
   fit", Percept. Psychophys. 63 (2001) 1293-1313, doi:10.3758/BF03194544.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

import numpy as np
from scipy import optimize, special

from spraycheck.errors import InputError
from spraycheck.stats.psychometrics.trials import Float, Trials

WIDTHS: Final = (0.05, 1.5)
"""Widths a curve may have, in natural-log units. Chosen because from 10 to 90 % noticed is then a
factor of 1.14 (a step, finer than any ladder of levels here) to a factor of 47 (hardly a curve)."""

MAX_GUESS, MAX_LAPSE = 0.5, 0.1
"""Largest guess and lapse rates of a fit. A guess rate of one half is a coin. The lapse rate is
held low because it trades against the width (reference 1 uses 0.06; more chosen for learners)."""

BEYOND: Final = 3.0
"""How far, as a factor, a threshold is looked for outside the levels shown. Chosen because further
out the trials tell nothing but "below all" or "above all"."""


class Bounds(NamedTuple):
    """Largest guess and lapse rates, and the range of widths."""

    guess: float
    lapse: float
    widths: tuple[float, float]


class Fit(NamedTuple):
    """Place, logarithm of the width, guess and lapse rate; and their log-likelihood."""

    parameters: Float
    value: float


def noticed(
    log_level: Float, place: float, log_width: float, guess: float, lapse: float, z: float
) -> tuple[Float, Float]:
    """Return the curve and its slope by each parameter, ``(4, K)``.

    ``place`` is the logarithm of the level noticed with share Phi(z), chance and slips apart.
    """
    with np.errstate(over="ignore"):
        u = (log_level - place) / math.exp(log_width)
    seen = special.ndtr(u + z)
    room = 1 - guess - lapse
    density = room * np.exp(-((u + z) ** 2) / 2) / math.sqrt(2 * math.pi)
    # Where the level is 0 or infinite the curve is flat in place and width.
    density, u = np.where(np.isfinite(u), density, 0.0), np.where(np.isfinite(u), u, 0.0)
    slopes = np.stack([-density / math.exp(log_width), -density * u, 1 - seen, -seen])
    return guess + room * seen, slopes


def span(trials: Trials) -> tuple[float, float]:
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


def fit(trials: Trials, z: float, bounds: Bounds, fixed: float = math.nan) -> Fit:
    """Maximise the likelihood, the place free or held at ``fixed``, from the best of a grid."""
    low, high = span(trials)
    tiny = 1e-9  # keeps logarithms finite; far below one part in any number of trials
    with np.errstate(divide="ignore"):
        log_level = np.log(trials.level)
    missed = trials.shown - trials.noticed

    def loss(x: Float) -> tuple[float, Float]:
        p, slopes = noticed(log_level, x[0], x[1], x[2], x[3], z)
        p = np.clip(p, tiny, 1 - tiny)
        value = -(trials.noticed @ np.log(p) + missed @ np.log1p(-p))
        return float(value), -(slopes @ (trials.noticed / p - missed / (1 - p)))

    held = math.isfinite(fixed)
    box = [
        (fixed, fixed) if held else (low, high),
        (math.log(bounds.widths[0]), math.log(bounds.widths[1])),
        (0.0, bounds.guess),
        (0.0, bounds.lapse),
    ]
    grid = [
        np.array([place, wide, share * bounds.guess, share * bounds.lapse])
        for place in ([fixed] if held else np.linspace(low, high, 9))
        for wide in np.linspace(*box[1], 5)
        for share in (0.02, 0.3)
    ]
    start = min(grid, key=lambda x: loss(x)[0])
    found = optimize.minimize(
        loss, start, jac=True, bounds=box, method="L-BFGS-B", options={"ftol": 1e-12}
    )
    return Fit(np.asarray(found.x, np.float64), -float(found.fun))
