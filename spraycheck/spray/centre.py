"""Where the nozzle stood over the card, from plumes that were told apart.

Two independent cues. *Axes*: every plume flies straight from the tip, so its streak on the card
points at the foot of the perpendicular from the tip, whatever the nozzle's tilt. *Ring*: holes at
equal angles from the nozzle's axis land on a ring about the foot, but only if the nozzle stands
square: a tilt ``t`` moves the ring by ``H t / cos(a)**2`` (first order; height H, hole angle a),
which at 60 to 70 degrees is 2 to 3.5 ring radii per radian and a metre more than the axes move.

So the ring may only help as far as the tilt is known. Its offset from the foot is an unknown with
a prior of three parts (square nozzle, ordinary tilt, no ring at all); the data weigh the parts and
the axes decide where the two disagree.

Both are fitted by least squares that lets go of what does not belong (`stats.robust`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.spray.containers import NozzleCentre
from spraycheck.spray.patches import Patch
from spraycheck.spray.settings import PlumeSettings
from spraycheck.stats.robust import common_origin, fit_circle

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
    angle_rad : (K,) ndarray of float
        Directions of their long axes, from x towards y.
    sigma_rad : (K,) ndarray of float
        Standard uncertainty of the axes' directions.
    area_mm2 : (K,) ndarray of float
        Wetted areas.
    """

    xy: Float
    angle_rad: Float
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
            found.append((m.x, m.y, m.angle_rad, sigma, plume.area_mm2))
        x, y, angle, uncertainty, area = np.array(found, float).reshape(-1, 5).T
        return cls(
            xy=np.column_stack([x, y]), angle_rad=angle, sigma_rad=uncertainty, area_mm2=area
        )


class Fit(NamedTuple):
    """A robust fit: its parameters, their covariance, and how many residuals agree with it."""

    at: Float
    covariance: Float
    agreeing: float


def fit_axes(axes: Axes, start: Float, settings: PlumeSettings) -> Fit:
    """Common origin of the axes, (2,) in mm."""
    found = common_origin(
        axes.xy,
        axes.angle_rad,
        axes.sigma_rad,
        start,
        shortest_lever=settings.shortest_lever_mm,
    )
    spread = _spread(found.squares, len(axes) - len(found.at), settings)
    return Fit(found.at, found.covariance * spread, float(found.weights.sum()))


def fit_ring(axes: Axes, settings: PlumeSettings) -> tuple[Fit, float] | None:
    """Fit a circle to the centroids: centre and radius, (3,) in mm, and the relative scatter.

    Weak plumes wet less of their far end, so their radius counts less. None where all lie on one
    line.
    """
    s = settings
    relative = np.log(np.maximum(axes.area_mm2, 1.0) / np.median(axes.area_mm2))
    usual = float(np.hypot(*(axes.xy - axes.xy.mean(axis=0)).T).mean())
    try:
        found = fit_circle(
            axes.xy, usual * np.hypot(s.ring_scatter_frac, s.ring_area_frac * relative)
        )
    except InputError:
        return None
    at = np.array([found.x, found.y, found.radius])
    spread = _spread(found.squares, len(axes) - len(at), s)
    scatter = float(np.sqrt(np.mean(found.misses**2)) / found.radius)
    return Fit(at, found.covariance * spread, float(len(axes))), scatter


def _spread(squares: float, spare: int, settings: PlumeSettings) -> float:
    """Factor on a covariance: the assumed scatter weighed against what this card shows.

    The posterior mean of a scaled inverse chi-squared prior, widened so that 1.96 standard
    deviations are Student's 97.5 % quantile for the degrees of freedom behind it (JCGM 100:2008,
    G.3 and G.6.4).
    """
    from scipy.special import stdtrit  # heavy import, needed once a photo is measured

    freedom = settings.prior_freedom + spare
    student = float(stdtrit(freedom, _UPPER)) / COVERAGE_FACTOR_95
    return (settings.prior_freedom + squares) / freedom * student**2


_UPPER = 0.975  # two-sided 95 %


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
    fitted = fit_ring(axes, s)
    if fitted is None:
        return fit.at, fit.covariance, None
    ring, scatter = fitted
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
