"""Where the nozzle stood over the card, from plumes that were told apart.

Two independent cues. *Axes*: every plume flies straight from the tip, so its streak on the card
points at the foot of the perpendicular from the tip, whatever the nozzle's tilt. *Ring*: holes at
equal angles from the nozzle's axis land on a ring about the foot, but only if the nozzle stands
square: a tilt ``t`` moves the ring by ``H t / cos(a)**2`` (first order; height H, hole angle a),
which at 60 to 70 degrees is 2 to 3.5 ring radii per radian and a metre more than the axes move.

So the ring may only help as far as the tilt is known. Its offset from the foot is an unknown with
a prior of three parts (square nozzle, ordinary tilt, no ring at all); the data weigh the parts and
the axes decide where the two disagree.

Both are fitted by least squares with Cauchy's loss, which lets go of what does not belong.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95, TINY
from spraycheck.spray.containers import NozzleCentre
from spraycheck.spray.patches import Patch
from spraycheck.spray.settings import PlumeSettings

_NO_OFFSET = (math.nan, math.nan)

_TWICE_AS_LONG = 2 / 3  # q / (q^2 - 1) of an ellipse twice as long as wide

_CIRCLE = 3  # numbers that make a circle: so many points always lie on one


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Plumes reduced to what the centre needs; one row per plume.

    Parameters
    ----------
    xy : (K, 2) ndarray of float
        Centroids in mm.
    along : (K, 2) ndarray of float
        Unit vectors along their long axes.
    sigma_rad : (K,) ndarray of float
        Standard uncertainty of the axes' directions.
    area_mm2 : (K,) ndarray of float
        Wetted areas.
    """

    xy: Float
    along: Float
    sigma_rad: Float
    area_mm2: Float

    def __len__(self) -> int:
        return len(self.xy)

    @classmethod
    def of(
        cls, plumes: Sequence[Patch], at: Float, *, scale_known: bool, settings: PlumeSettings
    ) -> Axes:
        """Axes of those plumes, ``K`` at most, that have one as seen from ``at``, (2,) in mm."""
        s = settings
        scale = 1.0 if scale_known else s.unknown_scale
        found = []
        for plume in plumes:
            m = plume.moments
            ratio = m.along / m.across
            reach = math.hypot(m.x - at[0], m.y - at[1])
            if ratio < s.axis_elongation or reach < s.axis_reach * m.across:
                continue
            # The axis of an ellipse of axis ratio q is the vaguer the rounder it is: q / (q^2 - 1)
            # (ratio of its own second moments).
            vague = max(1.0, math.sqrt(ratio / (ratio**2 - 1) / _TWICE_AS_LONG))
            drops = s.axis_area_deg_mm2 / max(plume.area_mm2 * scale, s.axis_least_mm2)
            sigma = math.radians(math.hypot(s.axis_floor_deg, drops)) * vague
            sigma *= s.cut_factor if plume.cut else 1.0
            found.append(
                (m.x, m.y, math.cos(m.angle_rad), math.sin(m.angle_rad), sigma, plume.area_mm2)
            )
        table = np.array(found, float).reshape(-1, 6)
        return cls(
            xy=table[:, :2], along=table[:, 2:4], sigma_rad=table[:, 4], area_mm2=table[:, 5]
        )


class Fit(NamedTuple):
    """A robust fit: solution, its covariance, and how many of the residuals agree with it."""

    at: Float
    covariance: Float
    agreeing: float


def robust_fit(
    residuals: Callable[[Float], Float],
    start: Float,
    *,
    scale: float,
    prior_freedom: float,
) -> Fit:
    """Least squares with Cauchy's loss.

    The covariance is that of the weighted normal equations times the assumed scatter weighed
    against what the residuals show: the posterior mean of a scaled inverse chi-squared prior,
    widened so that 1.96 standard deviations are Student's 97.5 % quantile for the degrees of
    freedom behind it (JCGM 100:2008, G.3 and G.6.4).

    Parameters
    ----------
    residuals : callable
        Of the parameters, ``(P,)``: ``(K,)`` residuals in standard deviations.
    start : (P,) ndarray of float
        First guess.
    scale : float
        Of the loss, in standard deviations.
    prior_freedom : float
        Degrees of freedom that the assumed scatter is worth.
    """
    from scipy.optimize import least_squares  # heavy imports, needed once a photo is measured
    from scipy.special import stdtrit

    # The last rows hold parameters that the residuals leave free (parallel axes) where they are.
    def held(p: Float) -> Float:
        return np.concatenate([residuals(p), _HOLD * (p - start)])

    found = least_squares(held, start, loss="cauchy", f_scale=scale, x_scale="jac")
    at = np.asarray(found.x, float)
    miss = residuals(at)
    weight = 1 / (1 + (miss / scale) ** 2)
    step = _STEP * max(1.0, float(np.abs(at).max()))
    slope = np.stack(
        [(residuals(at + d) - residuals(at - d)) / (2 * step) for d in step * np.eye(len(at))],
        axis=1,
    )
    information = (slope * weight[:, None]).T @ slope + _HOLD**2 * np.eye(len(at))
    freedom = prior_freedom + len(miss) - len(at)
    student = float(stdtrit(freedom, _UPPER)) / COVERAGE_FACTOR_95
    spread = (prior_freedom + float((weight * miss**2).sum())) / freedom * student**2
    return Fit(at, np.linalg.inv(information) * spread, float(weight.sum()))


_HOLD = 1e-3  # standard deviations per mm: a metre is nothing
_STEP = 1e-6  # of a parameter, for its numerical derivative
_UPPER = 0.975  # two-sided 95 %


def fit_axes(axes: Axes, start: Float, settings: PlumeSettings) -> Fit:
    """Common origin of the axes, (2,) in mm."""
    normal = np.column_stack([-axes.along[:, 1], axes.along[:, 0]])

    def residuals(at: Float) -> Float:
        away = axes.xy - at
        lever = np.maximum(np.hypot(away[:, 0], away[:, 1]), settings.lever_least_mm)
        return np.asarray((away * normal).sum(axis=1) / (axes.sigma_rad * lever))

    return robust_fit(
        residuals,
        np.asarray(start, float),
        scale=settings.cauchy_scale,
        prior_freedom=settings.prior_freedom,
    )


def fit_ring(axes: Axes, settings: PlumeSettings) -> tuple[Fit, float]:
    """Fit a circle to the centroids: centre and radius, (3,) in mm, and the relative scatter.

    Weak plumes wet less of their far end, so their radius counts less.
    """
    s = settings
    relative = np.log(np.maximum(axes.area_mm2, 1.0) / np.median(axes.area_mm2))
    sigma = np.hypot(s.ring_scatter_frac, s.ring_area_frac * relative)

    def away(ring: Float) -> Float:
        """Log of the distances over the radius: their relative misfit, in first order."""
        length = np.hypot(axes.xy[:, 0] - ring[0], axes.xy[:, 1] - ring[1])
        return np.asarray(np.log(np.maximum(length, TINY) / max(ring[2], TINY)))

    middle = axes.xy.mean(axis=0)
    start = np.array([*middle, np.hypot(*(axes.xy - middle).T).mean()])
    fit = robust_fit(
        lambda ring: away(ring) / sigma,
        start,
        scale=s.ring_cauchy_scale,
        prior_freedom=s.prior_freedom,
    )
    return fit, float(np.sqrt(np.mean(away(fit.at) ** 2)))


def first_guesses(plumes: Sequence[Patch], settings: PlumeSettings) -> tuple[Float, Float]:
    """Two first guesses, (2,) in mm: the place most pairs of axes cross near, and the middle.

    Plumes that touch have axes of their own making; the middle of all that is wet has none.
    """
    s = settings
    weight = np.array([p.area_mm2 for p in plumes])
    middles = np.array([p.centroid for p in plumes])
    middle = np.asarray(np.average(middles, axis=0, weights=weight))
    extent = s.crossing_extent_mm
    if len(plumes) > 2:
        extent = float(np.median(np.hypot(*(middles - middle).T)))
    long = [p.moments for p in plumes if p.moments.along > s.axis_elongation * p.moments.across]
    points = []
    for i, one in enumerate(long):
        for other in long[:i]:
            cross = math.sin(other.angle_rad - one.angle_rad)
            if abs(cross) < math.sin(math.radians(s.crossing_least_deg)):
                continue
            dx, dy = other.x - one.x, other.y - one.y
            step = (dx * math.sin(other.angle_rad) - dy * math.cos(other.angle_rad)) / cross
            points.append(
                (one.x + step * math.cos(one.angle_rad), one.y + step * math.sin(one.angle_rad))
            )
    if not points:
        return middle, middle
    cloud = np.array(points)
    width = s.crossing_width_frac * max(extent, 1.0)
    square = ((cloud[:, None] - cloud[None]) ** 2).sum(axis=-1)
    near = np.exp(-square / (2 * width**2))
    best = near[int(np.argmax(near.sum(axis=1)))]
    return np.asarray(best @ cloud / best.sum()), middle


def combine(axes: Axes, fit: Fit, card: RectifiedCard, settings: PlumeSettings) -> NozzleCentre:
    """Weigh axes and ring; see the module's introduction.

    Parameters
    ----------
    axes : Axes
        Of two plumes at least.
    fit : Fit
        Their common origin.
    card : RectifiedCard
        From stage 1; its own uncertainty is added.
    settings : PlumeSettings
        The numbers that decide.
    """
    s = settings
    size = float(np.median(np.hypot(*(axes.xy - fit.at).T)))
    at, covariance = fit.at, fit.covariance
    notes: list[str] = []
    radius, offset = math.nan, _NO_OFFSET
    if len(axes) < _CIRCLE:
        notes.append(flag.FEW_PLUMES)
        if _largest_u(covariance) > s.parallel_frac * size:
            at = axes.xy.mean(axis=0)
            covariance = np.eye(2) * (s.between_u_frac * size) ** 2
    else:
        at, covariance, ring = _with_ring(axes, fit, size, s)
        if ring is None:
            notes.append(flag.RING_DROPPED)
        else:
            radius, offset = float(ring[2]), (float(ring[0] - at[0]), float(ring[1] - at[1]))
    covariance = (covariance + covariance.T) / 2 + np.eye(2) * card.geometry_u_mm**2
    if _largest_u(covariance) > s.wide_frac * size:
        notes.append(flag.CENTRE_WIDE)
    return NozzleCentre(
        x_mm=float(at[0]),
        y_mm=float(at[1]),
        covariance_mm2=covariance,
        ring_radius_mm=radius,
        ring_offset_mm=offset,
        found_by="axes" if math.isnan(radius) else "axes+ring",
        flags=tuple(notes),
    )


def _with_ring(
    axes: Axes, fit: Fit, size: float, settings: PlumeSettings
) -> tuple[Float, Float, Float | None]:
    """Centre, covariance, and the ring (x, y, radius) unless there is none to speak of."""
    s = settings
    three = len(axes) == _CIRCLE
    ring, scatter = fit_ring(axes, s)
    radius = float(ring.at[2])
    if not 0 < radius < s.ring_size * size or (
        not three and scatter > s.ring_scatters * s.ring_scatter_frac
    ):
        return fit.at, fit.covariance, None
    gap = ring.at[:2] - fit.at
    weights, means, covariances = [], [], []
    for share, offset in s.ring_prior_three if three else s.ring_prior:
        spread = fit.covariance + ring.covariance[:2, :2] + np.eye(2) * (offset * radius) ** 2
        distance = float(gap @ np.linalg.solve(spread, gap))
        weights.append(share * math.exp(-distance / 2) / math.sqrt(float(np.linalg.det(spread))))
        gain = fit.covariance @ np.linalg.inv(spread)
        means.append(fit.at + gain @ gap)
        covariances.append(fit.covariance - gain @ fit.covariance)
    # All zero where the ring lies very far away: then its last part, which says little, is all.
    share_of = np.array(weights) / sum(weights) if sum(weights) > 0 else np.array([0.0, 0.0, 1.0])
    at = np.einsum("k,ki->i", share_of, means)
    away = np.array(means) - at
    covariance = np.einsum("k,kij->ij", share_of, np.array(covariances)) + np.einsum(
        "k,ki,kj->ij", share_of, away, away
    )
    return at, covariance, None if share_of[-1] > s.ring_doubt_frac else ring.at


def _largest_u(covariance: Float) -> float:
    return math.sqrt(float(np.linalg.eigvalsh(covariance)[-1]))
