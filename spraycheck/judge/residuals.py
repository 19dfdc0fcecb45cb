"""How far each plume leaves its hole's line, beyond what the whole pattern shares."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np

from spraycheck.arrays import Float
from spraycheck.stats.conformity import guard_factor

HEALTHY_DEG = 0.8
"""Standard scatter of a healthy hole's direction (chosen: drilled and flown, healthy plumes stay
within about 2 degrees of their line)."""

TILT_SHIFT = 0.006
"""Standard shift, in plume radii, that an ordinary tilt of the nozzle (0.75 degrees) imitates in
the directions: a tilt t turns a plume at hole angle a by t cot(a), with cot(65 degrees) = 0.47."""

OFF_LINE_DEG, ANY_TURN_DEG = 12.0, 100.0
"""Standard deviations, in degrees, of the line of a hole known to be off-line, and of the turn of
the whole pattern (chosen: wide; only their likelihoods' ratios count, and they hardly move)."""

OWN_FLOOR_DEG = 0.15
"""Least standard uncertainty of a direction by itself (chosen: that of a round, crisp plume)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class AngularResiduals:
    """Deviations that neither the turn nor the centre nor a small tilt explains, hole by hole.

    Parameters
    ----------
    value_deg : (n,) ndarray of float64
        Per hole, clockwise positive; NaN for a hole without a plume.
    covariance_deg2 : (n, n) ndarray of float64
        Of the residuals; zero rows for holes without a plume.
    own_deg : (n,) ndarray of float64
        The part of each standard uncertainty that no other plume shares.
    """

    value_deg: Float
    covariance_deg2: Float
    own_deg: Float

    @property
    def sigma_deg(self) -> Float:
        """Standard uncertainty of each residual."""
        return np.asarray(np.sqrt(np.diag(self.covariance_deg2)))


def angular_residuals(
    deviation_deg: Float,
    sigma_deg: Float,
    offset_mm: Float,
    centre_covariance_mm2: Float,
    *,
    limit_deg: float,
    risk: float,
    exchange: bool = True,
) -> AngularResiduals:
    """Take off what all plumes share, holding each hole against what the others predict.

    All directions share the centre: an error of the centre turns them in a sine pattern round the
    card, and so does a nozzle not quite square. That shift is solved for together with the turn,
    held by the centre's own covariance, before any single hole is blamed; Cauchy weights keep an
    off-line hole from pulling it, and the worst hole that is certainly off is left out of the
    others' prediction, then the next. Last, each one left out is exchanged for every other, and the
    answers are weighed.

    Parameters
    ----------
    deviation_deg : (n,) ndarray of float64
        Of each hole's plume from the layout at its best turn; NaN without a plume.
    sigma_deg : (n,) ndarray of float64
        Standard uncertainties of the directions, the centre's part included.
    offset_mm : (n, 2) ndarray of float64
        Of each plume from the centre.
    centre_covariance_mm2 : (2, 2) ndarray of float64
        Of the centre.
    limit_deg : float
        Largest deviation tolerated.
    risk : float
        At which a hole is certainly off.
    exchange : bool
        Whether holes left out are exchanged for others.

    Notes
    -----
    Each residual is a fixed combination ``r = L d`` of the deviations. With independent errors
    ``e`` (variance ``own``), a healthy scatter ``h`` of the holes' true lines and a common shift
    ``s``, the error of residual i as an estimate of ``h_i`` is ``L e + (L - I) h + L B s``, ``B``
    the lever of the shift; its covariance follows by the law of propagation (JCGM 100:2008, 5.2).
    """
    n = len(deviation_deg)
    value, covariance, own_deg = np.full(n, np.nan), np.zeros((n, n)), np.full(n, np.nan)
    at = np.flatnonzero(np.isfinite(deviation_deg))
    if len(at) == 0:
        return AngularResiduals(value_deg=value, covariance_deg2=covariance, own_deg=own_deg)
    deviation, offset = deviation_deg[at], offset_mm[at]
    radius = np.maximum(np.hypot(offset[:, 0], offset[:, 1]), 1e-3)
    # A centre wrong by (dx, dy) mm turns a plume by -(n . d) / r, n pointing clockwise.
    clockwise = np.column_stack([-offset[:, 1], offset[:, 0]]) / radius[:, None]
    lever = np.degrees(-clockwise / radius[:, None])
    typical = float(np.median(radius))
    shift = centre_covariance_mm2 + np.eye(2) * (TILT_SHIFT * typical) ** 2
    shared = np.einsum("ij,jk,ik->i", lever, centre_covariance_mm2, lever)
    own = np.maximum(sigma_deg[at] ** 2 - shared, OWN_FLOOR_DEG**2)
    design = np.column_stack([np.ones(len(at)), lever])
    prior = np.zeros((3, 3))
    prior[1:, 1:] = np.linalg.inv(shift)
    prior[0, 0] = 1e-6

    spread = own + HEALTHY_DEG**2
    parts = _Parts(deviation, lever, design, prior, shift, own)
    trusted = _weights(deviation, design, prior, spread)
    certain = guard_factor(risk)
    off: list[int] = []
    left_out: list[int] = []
    for _ in range(1 + len(at) // 3):
        left_out = off.copy()
        here, found = parts.residuals(trusted)
        over = (np.abs(here) - limit_deg) / np.sqrt(np.diag(found))
        excess = np.asarray(np.where(trusted > 0, over, -np.inf))
        worst = int(np.argmax(excess))
        if excess[worst] <= certain:
            break
        trusted[worst] = 0.0
        off.append(worst)
    if exchange:
        here, found = _or_another(parts, left_out, here, found)
    value[at] = here
    covariance[np.ix_(at, at)] = (found + found.T) / 2
    own_deg[at] = np.sqrt(own)
    return AngularResiduals(value_deg=value, covariance_deg2=covariance, own_deg=own_deg)


class _Parts(NamedTuple):
    """What residuals are worked out from."""

    deviation: Float
    lever: Float
    design: Float
    prior: Float
    shift: Float
    own: Float

    def residuals(self, trusted: Float) -> tuple[Float, Float]:
        """Hold each plume against what the trusted others predict; residuals and covariance."""
        combination = np.eye(len(trusted))
        for i in range(len(trusted)):
            others = trusted.copy()
            others[i] = 0.0
            weighted = (self.design * others[:, None]).T
            information = weighted @ self.design + self.prior
            combination[i] -= self.design[i] @ np.linalg.solve(information, weighted)
        spread = combination - np.eye(len(trusted))
        moved = combination @ self.lever
        found = (
            (combination * self.own) @ combination.T
            + HEALTHY_DEG**2 * spread @ spread.T
            + moved @ self.shift @ moved.T
        )
        return combination @ self.deviation, found

    def evidence(self, off: list[int]) -> float:
        """Logarithm of how likely the deviations are when these holes are off-line, up to a sum."""
        covariance = np.diag(self.own + HEALTHY_DEG**2) + self.lever @ self.shift @ self.lever.T
        covariance += ANY_TURN_DEG**2
        covariance[off, off] += OFF_LINE_DEG**2
        _, size = np.linalg.slogdet(covariance)
        return float(-(self.deviation @ np.linalg.solve(covariance, self.deviation) + size) / 2)


def _or_another(parts: _Parts, off: list[int], here: Float, found: Float) -> tuple[Float, Float]:
    """Weigh the residuals with those that follow if a hole found off-line is taken for another.

    With few plumes and an unsure centre, a shift of the centre can explain an off-line hole and
    leave a sound one over. Each way to exchange one such hole for another counts by how likely it
    makes what was measured; mean and covariance are those of the mixture.
    """
    ways = [(parts.evidence(off), here, found)]
    others = [k for k in range(len(here)) if k not in off]
    for out, other in product(off, others):
        instead = [other if k == out else k for k in off]
        trusted = 1 / (parts.own + HEALTHY_DEG**2)
        trusted[instead] = 0.0
        ways.append((parts.evidence(instead), *parts.residuals(trusted)))
    best = max(way[0] for way in ways)
    weight = np.array([math.exp(way[0] - best) for way in ways])
    weight /= weight.sum()
    mean = sum((w * way[1] for w, way in zip(weight, ways, strict=True)), np.zeros(len(here)))
    spread = np.zeros_like(found)
    for w, (_, values, covariance) in zip(weight, ways, strict=True):
        spread += w * (covariance + np.outer(values - mean, values - mean))
    return mean, spread


def _weights(deviation: Float, design: Float, prior: Float, spread: Float) -> Float:
    """Robust weights of the deviations: inverse variance, times Cauchy's."""
    # Start from the turn alone: an off-line hole shows before the shift can hide it.
    residual: Float = deviation - np.median(deviation)
    weight: Float = 1 / spread
    for _ in range(25):
        weight = 1 / spread / (1 + residual**2 / spread / 2.4**2)
        information = (design * weight[:, None]).T @ design + prior
        residual = deviation - design @ np.linalg.solve(
            information, design.T @ (weight * deviation)
        )
    return np.asarray(weight)
