"""A published probit regression: deaths of beetles against the logarithm of a gas's dose.

Data: C. I. Bliss, Ann. Appl. Biol. 22 (1935) 134-167, as used in A. J. Dobson, An Introduction to
Generalized Linear Models (3rd edition 2008, table 7.2). Coefficients and deviance of the probit
model: the same book, section 7.3; all from memory, and confirmed by the scoring method in the test,
which shares no code with the package.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special

from spraycheck.stats.detection import Trials, fit_detection, level_interval

LOG10_DOSE = (1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839)
TREATED = (59, 60, 62, 56, 63, 59, 62, 60)
KILLED = (6, 13, 18, 28, 52, 53, 61, 60)

INTERCEPT, SLOPE = -34.94, 19.73
"""Printed to two decimals."""

DEVIANCE = 10.12


def _beetles() -> Trials:
    level = 10.0 ** np.array(LOG10_DOSE)
    return Trials(level=level, noticed=KILLED, shown=TREATED)


def _scoring(x: np.ndarray, k: np.ndarray, n: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Probit regression by Fisher scoring: an algorithm the package does not use."""
    b = np.array([0.0, 0.0])
    design = np.column_stack([np.ones_like(x), x - x.mean()])
    for _ in range(30):
        eta = design @ b
        p = special.ndtr(eta)
        slope = np.exp(-(eta**2) / 2) / math.sqrt(2 * math.pi)
        information = (design.T * (n * slope**2 / (p * (1 - p)))) @ design
        b = b + np.linalg.solve(information, design.T @ ((k - n * p) * slope / (p * (1 - p))))
    return b[0] - b[1] * x.mean(), b[1], np.linalg.inv(information)


def test_a_published_probit_regression_is_reproduced() -> None:
    curve = fit_detection(_beetles(), max_guess=0, max_lapse=0)
    slope = math.log(10) / curve.log_sd
    assert slope == pytest.approx(SLOPE, abs=0.005)
    assert -slope * math.log10(curve.threshold) == pytest.approx(INTERCEPT, abs=0.01)
    assert curve.deviance == pytest.approx(DEVIANCE, abs=0.005)


def test_scoring_gives_the_same_curve_and_nearly_the_same_interval() -> None:
    x, n = np.array(LOG10_DOSE), np.array(TREATED)
    intercept, slope, covariance = _scoring(x, np.array(KILLED), n)
    curve = fit_detection(_beetles(), max_guess=0, max_lapse=0)
    assert math.log10(curve.threshold) == pytest.approx(-intercept / slope, abs=1e-6)
    # Delta method about the centred mean, symmetric; the profile agrees as the sample is large.
    away = -intercept / slope - x.mean()
    gradient = np.array([-1.0, -away]) / slope
    u = 1.96 * math.sqrt(gradient @ covariance @ gradient)
    interval = level_interval(_beetles(), max_guess=0, max_lapse=0)
    half = (math.log10(interval.high) - math.log10(interval.low)) / 2
    assert half == pytest.approx(u, rel=0.05)
