"""The values of every hole that are held against limits, in the order of the layout's holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.layout import SPREAD_U, Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.matching import OUTER_BY_FACTOR, Match
from spraycheck.judge.residuals import AngularResiduals, angular_residuals
from spraycheck.spray.measurement import Plumes
from spraycheck.stats.circular import wrap_180

RUN_TO_RUN_RATIO = 0.02
"""Standard scatter of a healthy hole's area from shot to shot (common practice, no source)."""

ALIKE, ALIKE_SHAPE = 0.15, 0.4
"""Plumes whose log areas, or log widths and reaches, lie within this are of one group (chosen:
three times the scatter of healthy holes, and twice that of unequal neighbours' widths)."""

SHAPE_U = 0.07
"""Relative standard uncertainty of a plume's width and of its reach (root mean square error on 1900
healthy plumes of simulated cards, odd ones included; half of them lie within 0.02)."""

WIDTH_BY_FACTOR = -1.4
"""Power of a hole's radial factor, ``tan(axis_angle_deg)``, that a healthy plume's angular width
follows among unequal neighbours: the farther a plume flies, the narrower it is seen. Fitted to 279
healthy plumes of simulated uneven nozzles, which then scatter by 0.19 (the limits leave room for
that)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ratios:
    """Values relative to what they should be, as natural logarithms, hole by hole.

    Parameters
    ----------
    log : (n,) ndarray of float64
        NaN for a hole without a plume.
    covariance : (n, n) ndarray of float64
        Of the logarithms; zero rows for holes without a plume.
    own : (n,) ndarray of float64
        Relative standard uncertainty of the value by itself: what this photo and paper add.
    """

    log: Float
    covariance: Float
    own: Float

    @property
    def ratio(self) -> Float:
        """The values themselves."""
        return np.asarray(np.exp(self.log))

    @property
    def sigma(self) -> Float:
        """Standard uncertainty of each logarithm, which is the relative one of the ratio."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


@dataclass(frozen=True, kw_only=True, eq=False)
class PatternValues:
    """What a photo, or several, say of every hole.

    Parameters
    ----------
    turn_deg : float
        Turn that lays the layout on the plumes.
    plume : (n,) ndarray of int
        Row of the catalogue for each hole; -1 for none.
    deviation_deg, sigma_deg : (n,) ndarray of float64
        Of each plume from the turned layout, and its standard uncertainty relative to the others;
        NaN without a plume.
    offset_mm : (n, 2) ndarray of float64
        Of each plume from the centre; NaN without a plume.
    residuals : AngularResiduals
        The deviations as they are judged.
    area, width, reach : Ratios
        Relative to what each hole should leave.
    whole : (n,) ndarray of bool
        Holes whose plume neither runs over the edge nor into another one: only these prove
        anything about their neighbours.
    """

    turn_deg: float
    plume: NDArray[np.int_]
    deviation_deg: Float
    sigma_deg: Float
    offset_mm: Float
    residuals: AngularResiduals
    area: Ratios
    width: Ratios
    reach: Ratios
    whole: Mask

    def __len__(self) -> int:
        return len(self.plume)


def plumes_of(match: Match, holes: int) -> NDArray[np.int_]:
    """Return the row of the plume that belongs to each hole, -1 for none."""
    plume = np.full(holes, -1)
    for row, hole in enumerate(match.hole_of):
        if hole >= 0:
            plume[hole] = row
    return plume


def pattern_values(
    plumes: Plumes,
    layout: Layout,
    plume: NDArray[np.int_],
    turn_deg: float,
    limits: Limits,
    *,
    exchange: bool = True,
) -> PatternValues:
    """Work out what is held against limits, for plumes whose holes are known.

    Parameters
    ----------
    plumes : Plumes
        Measured.
    layout, limits
        What is expected and tolerated.
    plume : (n,) ndarray of int
        Row of the catalogue for each hole; -1 for none.
    turn_deg : float
        Turn that lays the layout on the plumes.
    exchange : bool
        As of `angular_residuals`.
    """
    rows, centre = plumes.catalogue, plumes.centre
    has = plume >= 0

    def by_hole(values: Float) -> Float:
        out = np.full((len(plume), *values.shape[1:]), np.nan)
        out[has] = values[plume[has]]
        return out

    parts = {flag.AT_SHEET_EDGE, flag.MERGED}
    whole = np.array([k >= 0 and not parts.intersection(rows.flags[k]) for k in plume], bool)
    deviation = np.asarray(
        wrap_180(by_hole(rows.direction_deg) - np.array(layout.azimuth_deg) - turn_deg)
    )
    sigma = by_hole(rows.direction_u_deg) / COVERAGE_FACTOR_95
    offset = by_hole(rows.centroid_mm) - [centre.x_mm, centre.y_mm]
    area = by_hole(rows.area_mm2)
    factor = layout.log_radial_factor()
    shape_u = np.where(has, SHAPE_U, np.nan)
    return PatternValues(
        turn_deg=turn_deg % 360.0,
        plume=plume,
        deviation_deg=deviation,
        sigma_deg=sigma,
        offset_mm=offset,
        residuals=angular_residuals(
            deviation,
            sigma,
            offset,
            centre.covariance_mm2,
            limit_deg=limits.direction_deg,
            risk=limits.risk,
            exchange=exchange,
        ),
        area=_relative(
            np.log(np.maximum(area, 1e-9)) - np.log(layout.expected_area()),
            by_hole(rows.area_u_mm2) / COVERAGE_FACTOR_95 / np.maximum(area, 1e-9),
            layout,
            whole,
            scatter=RUN_TO_RUN_RATIO,
            geometry=SPREAD_U * factor,
            clogs=True,
        ),
        width=_relative(
            np.log(np.maximum(by_hole(rows.width_deg), 1e-3)) - WIDTH_BY_FACTOR * factor,
            shape_u,
            layout,
            whole,
        ),
        reach=_relative(
            np.log(np.maximum(by_hole(rows.reach_mm), 1e-3)) - OUTER_BY_FACTOR * factor,
            shape_u,
            layout,
            whole,
        ),
        whole=whole,
    )


def _relative(
    log: Float,
    own: Float,
    layout: Layout,
    whole: Mask,
    *,
    scatter: float = 0.0,
    geometry: Float | None = None,
    clogs: bool = False,
) -> Ratios:
    """Set logs against their groups' scale.

    The scale is the middle of the largest group of holes that agree. Between groups of one size the
    greater wins where the value is an amount (``clogs``), since holes clog far more often than they
    grow: a weak or blocked hole never makes its neighbours heavy. A shape has no such side: the
    group nearest to the middle of all wins, and unless it is more than half of them, the scale is
    as uncertain as the two middles lie apart. Plumes that are not ``whole`` set no scale while
    others can. ``geometry`` is what one standard uncertainty of the law behind the expectation
    moves each hole by, all of them together.
    """
    n = len(log)
    out, covariance = np.full(n, np.nan), np.zeros((n, n))
    for holes in _groups(np.isfinite(log), layout):
        relative = log[holes]
        sound = whole[holes] if whole[holes].any() else np.ones(len(holes), bool)
        able = relative[sound]
        alike = ALIKE if clogs else ALIKE_SHAPE
        close = np.abs(able[:, None] - able[None, :]) < alike
        middle = float(np.median(able))
        preferred = able if clogs else -np.abs(able - middle)
        lead = max(range(len(able)), key=lambda i: (close[i].sum(), preferred[i]))
        group = able[close[lead]]
        scale = float(np.median(group))
        out[holes] = relative - scale
        # The scale's own error is common to all that are held against it.
        common = float(np.median(own[holes])) ** 2 / len(group)
        if not clogs and 2 * len(group) <= len(able):
            common += (scale - middle) ** 2
        together = np.ix_(holes, holes)
        covariance[together] = common
        if geometry is not None:
            moved = geometry[holes] - np.median(geometry[holes][sound])
            covariance[together] += np.outer(moved, moved)
        covariance[holes, holes] += own[holes] ** 2 + scatter**2
    return Ratios(log=out, covariance=covariance, own=np.where(np.isfinite(out), own, np.nan))


def _groups(there: Mask, layout: Layout) -> list[NDArray[np.int_]]:
    """Holes that are compared with one another: those of a row, or all where a row has too few.

    Rows of a two-row nozzle are compared within themselves where at least three of their plumes
    are there.
    """
    holes = np.flatnonzero(there)
    rows = np.array(layout.row)[holes]
    groups = [holes[rows == row] for row in np.unique(rows)]
    if len(groups) < 2 or min(map(len, groups)) >= 3:
        return groups
    return [holes]
