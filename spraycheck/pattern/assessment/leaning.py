"""How far each plume leans from its hole's line, beyond what the whole pattern shares."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.decision import guard_factor
from spraycheck.pattern.containers import Float, NozzleCentre, PlumeCatalogue
from spraycheck.pattern.limits import Limits
from spraycheck.pattern.matching import Match

HEALTHY_DEG = 0.8
"""Standard scatter of a healthy hole's direction (chosen: drilled and flown, healthy plumes stay
within about 2 degrees of their line)."""

TILT_SHIFT = 0.006
"""Standard shift, in plume radii, that an ordinary tilt of the nozzle (0.75 degrees) imitates in
the directions: a tilt t leans a plume at hole angle a by t cot(a), with cot(65 degrees) = 0.47."""

OWN_FLOOR_DEG = 0.15
"""Least standard uncertainty of a direction by itself (chosen: that of a round, crisp plume)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Leaning:
    """Deviation that neither the turn nor the centre nor a small tilt explains.

    Parameters
    ----------
    lean_deg : (K,) ndarray of float64
        Per plume, clockwise positive; NaN for a plume without a hole.
    covariance_deg2 : (K, K) ndarray of float64
        Of the leans; zero rows for plumes without a hole.
    own_deg : (K,) ndarray of float64
        The part of each standard uncertainty that no other plume shares.
    """

    lean_deg: Float
    covariance_deg2: Float
    own_deg: Float

    @property
    def sigma_deg(self) -> Float:
        """Standard uncertainty of each lean."""
        return np.asarray(np.sqrt(np.diag(self.covariance_deg2)))


def unexplained(
    catalogue: PlumeCatalogue, centre: NozzleCentre, match: Match, limits: Limits
) -> Leaning:
    """Take off what all plumes share, holding each hole against what the others predict.

    All directions share the centre: an error of the centre leans them in a sine pattern round the
    card, and so does a nozzle not quite square. That shift is solved for together with the turn,
    held by the centre's own covariance, before any single hole is blamed; Cauchy weights keep an
    off-line hole from pulling it, and the worst hole that is certainly off is left out of the
    others' prediction, then the next.

    Notes
    -----
    Each lean is a fixed combination ``lean = L d`` of the deviations. With independent errors ``e``
    (variance ``own``), a healthy scatter ``h`` of the holes' true lines and a common shift ``s``,
    the error of lean i as an estimate of ``h_i`` is ``L e + (L - I) h + L B s``, ``B`` the lever of
    the shift; its covariance follows by the law of propagation (JCGM 100:2008, 5.2).
    """
    k = len(catalogue)
    lean, covariance, own_deg = np.full(k, np.nan), np.zeros((k, k)), np.full(k, np.nan)
    at = np.flatnonzero(np.isfinite(match.deviation_deg))
    if len(at) == 0:
        return Leaning(lean_deg=lean, covariance_deg2=covariance, own_deg=own_deg)
    deviation = match.deviation_deg[at]
    offset = catalogue.centroid_mm[at] - [centre.x_mm, centre.y_mm]
    radius = np.maximum(np.hypot(offset[:, 0], offset[:, 1]), 1e-3)
    # A centre wrong by (dx, dy) mm leans a plume by -(n . d) / r, n pointing clockwise.
    clockwise = np.column_stack([-offset[:, 1], offset[:, 0]]) / radius[:, None]
    lever = np.degrees(-clockwise / radius[:, None])
    typical = float(np.median(radius))
    shift = centre.covariance_mm2 + np.eye(2) * (TILT_SHIFT * typical) ** 2
    shared = np.einsum("ij,jk,ik->i", lever, centre.covariance_mm2, lever)
    total = (catalogue.direction_u_deg[at] / COVERAGE_FACTOR_95) ** 2
    own = np.maximum(total - shared, OWN_FLOOR_DEG**2)
    design = np.column_stack([np.ones(len(at)), lever])
    prior = np.zeros((3, 3))
    prior[1:, 1:] = np.linalg.inv(shift)
    prior[0, 0] = 1e-6

    trusted = _weights(deviation, design, prior, own + HEALTHY_DEG**2)
    certain = guard_factor(limits.risk)
    for _ in range(1 + len(at) // 3):
        combination = np.eye(len(at))
        for i in range(len(at)):
            others = trusted.copy()
            others[i] = 0.0
            information = (design * others[:, None]).T @ design + prior
            combination[i] -= design[i] @ np.linalg.solve(information, (design * others[:, None]).T)
        spread = combination - np.eye(len(at))
        moved = combination @ lever
        found = (
            (combination * own) @ combination.T
            + HEALTHY_DEG**2 * spread @ spread.T
            + moved @ shift @ moved.T
        )
        here = combination @ deviation
        over = (np.abs(here) - limits.direction_deg) / np.sqrt(np.diag(found))
        excess = np.asarray(np.where(trusted > 0, over, -np.inf))
        worst = int(np.argmax(excess))
        if excess[worst] <= certain:
            break
        trusted[worst] = 0.0
    lean[at] = here
    covariance[np.ix_(at, at)] = (found + found.T) / 2
    own_deg[at] = np.sqrt(own)
    return Leaning(lean_deg=lean, covariance_deg2=covariance, own_deg=own_deg)


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
