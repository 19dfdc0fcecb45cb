"""The risk of an inspection rule over all the items it is applied to.

References
----------
.. [1] JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in
   conformity assessment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.stats.decision.conformity import Tolerance, cdf

Float = NDArray[np.float64]


class Prior(Protocol):
    """What is known of the inspected items before measuring."""

    @property
    def span(self) -> tuple[float, float]:
        """Interval outside which the density is negligible (below 1e-12 in all)."""

    def density(self, x: Float) -> Float:
        """Probability density at ``x``."""


@dataclass(frozen=True, kw_only=True)
class NormalPrior:
    """Normally distributed items."""

    mean: float
    sd: float

    def __post_init__(self) -> None:
        if not self.sd > 0:
            raise InputError(f"prior sd {self.sd}: expected above 0")

    @property
    def span(self) -> tuple[float, float]:
        """Eight standard deviations either way (1e-15 beyond)."""
        return self.mean - 8.0 * self.sd, self.mean + 8.0 * self.sd

    def density(self, x: Float) -> Float:
        """Normal density."""
        z = (x - self.mean) / self.sd
        return np.asarray(np.exp(-0.5 * z**2) / (self.sd * math.sqrt(2.0 * math.pi)))


@dataclass(frozen=True, kw_only=True)
class GammaPrior:
    """Gamma distributed items, for a quantity that cannot be negative."""

    shape: float
    rate: float

    def __post_init__(self) -> None:
        if not (self.shape >= 1 and self.rate > 0):
            raise InputError(
                f"gamma prior shape {self.shape}, rate {self.rate}: expected >= 1 and > 0"
            )

    @property
    def span(self) -> tuple[float, float]:
        """From 0 to where less than 1e-12 is left."""
        return 0.0, (self.shape + 10.0 * math.sqrt(self.shape) + 40.0) / self.rate

    def density(self, x: Float) -> Float:
        """Gamma density."""
        logs = (self.shape - 1.0) * np.log(np.maximum(x, 1e-300)) - self.rate * x
        return np.asarray(
            np.exp(logs + self.shape * math.log(self.rate) - math.lgamma(self.shape)) * (x >= 0)
        )


class Risks(NamedTuple):
    """Global risks of an inspection rule: fractions of all items inspected.

    Parameters
    ----------
    consumer : float
        Accepted though out of tolerance.
    producer : float
        Rejected though within tolerance.
    """

    consumer: float
    producer: float


def global_risks(tolerance: Tolerance, acceptance: Tolerance, prior: Prior, u: float) -> Risks:
    """Consumer's and producer's risk of accepting measured values within ``acceptance``.

    Parameters
    ----------
    tolerance : Tolerance
        For the true value.
    acceptance : Tolerance
        For the measured value.
    prior : NormalPrior or GammaPrior
        Distribution of the true values.
    u : float
        Standard uncertainty of measuring (normal), above 0.

    Notes
    -----
    JCGM 106:2012 [1]_, 9.5.2, equations 17 and 19, by Gauss-Legendre panels split at every limit.
    """
    if not u > 0:
        raise InputError(f"u = {u}: expected above 0")
    low, high = prior.span
    cuts = {low, high, tolerance.lower, tolerance.upper}
    # The chance of acceptance climbs within a few u of each acceptance limit: panels end there.
    for limit in (acceptance.lower, acceptance.upper):
        cuts |= {limit + k * u for k in (-8.0, -4.0, 0.0, 4.0, 8.0)}
    edges = np.array(sorted(c for c in cuts if low <= c <= high))
    nodes, weights = np.polynomial.legendre.leggauss(48)
    half = 0.5 * np.diff(edges)[:, None]
    x = (half * nodes + (edges[:-1, None] + half)).ravel()
    mass = (half * weights).ravel() * prior.density(x)
    accepted = _cdf_array((acceptance.upper - x) / u) - _cdf_array((acceptance.lower - x) / u)
    within = (x >= tolerance.lower) & (x <= tolerance.upper)
    return Risks(
        consumer=float((mass * accepted)[~within].sum()),
        producer=float((mass * (1.0 - accepted))[within].sum()),
    )


def update(prior: NormalPrior, value: float, u: float) -> NormalPrior:
    """What is known after measuring: inverse-variance mean; JCGM 106:2012 [1]_, A.4.4."""
    if not u > 0:
        raise InputError(f"u = {u}: expected above 0")
    w0, wm = 1.0 / prior.sd**2, 1.0 / u**2
    return NormalPrior(mean=(w0 * prior.mean + wm * value) / (w0 + wm), sd=(w0 + wm) ** -0.5)


def _cdf_array(z: Float) -> Float:
    return np.array([cdf(v) for v in z])
