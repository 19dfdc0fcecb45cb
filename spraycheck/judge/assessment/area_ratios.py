"""Wetted areas and shapes of the plumes relative to what their holes should leave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.layout import SPREAD_U, Layout
from spraycheck.judge.matching import REACH_BY_THROW, Match
from spraycheck.spray.containers import PlumeCatalogue

RUN_TO_RUN_RATIO = 0.02
"""Standard scatter of a healthy hole's area from shot to shot (common practice, no source)."""

ALIKE, ALIKE_SHAPE = 0.15, 0.4
"""Plumes whose log areas, or log widths and reaches, lie within this are of one group (chosen:
three times the scatter of healthy holes, and twice that of unequal neighbours' widths)."""

SHAPE_U = 0.07
"""Relative standard uncertainty of a plume's width and of its reach (root mean square error on 1900
healthy plumes of simulated cards, odd ones included; half of them lie within 0.02)."""

WIDTH_BY_THROW = -1.4
"""Power of a hole's throw, ``tan(axis_angle_deg)``, that a healthy plume's angular width follows
among unequal neighbours: the farther a plume flies, the narrower it is seen. Fitted to 279 healthy
plumes of simulated uneven nozzles, which then scatter by 0.19 (the limits leave room for that)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Ratios:
    """Values relative to what they should be, as natural logarithms.

    Parameters
    ----------
    log : (K,) ndarray of float64
        Per plume; NaN for a plume without a hole.
    covariance : (K, K) ndarray of float64
        Of the logarithms; zero rows for plumes without a hole.
    own : (K,) ndarray of float64
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


def area_ratios(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> Ratios:
    """Wetted area over what the plume's hole should wet, typical clear hole 1.

    Rows of a two-row nozzle are compared within themselves where at least three of their plumes
    are there, otherwise over all rows.
    """
    expected = layout.expected_area()
    own = catalogue.area_u_mm2 / COVERAGE_FACTOR_95 / np.maximum(catalogue.area_mm2, 1e-9)
    return _relative(
        np.log(np.maximum(catalogue.area_mm2, 1e-9)),
        np.log(expected),
        own,
        layout,
        match,
        whole=whole_plumes(catalogue),
        scatter=RUN_TO_RUN_RATIO,
        geometry=SPREAD_U * layout.log_throw(),
        clogs=True,
    )


def width_ratios(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> Ratios:
    """Angular width over what it should be beside the neighbours."""
    log = np.log(np.maximum(catalogue.width_deg, 1e-3))
    own = np.full(len(catalogue), SHAPE_U)
    expected = WIDTH_BY_THROW * layout.log_throw()
    return _relative(log, expected, own, layout, match, whole=whole_plumes(catalogue))


def reach_ratios(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> Ratios:
    """Reach over what it should be beside the neighbours: a steeper hole lands nearer."""
    log = np.log(np.maximum(catalogue.reach_mm, 1e-3))
    own = np.full(len(catalogue), SHAPE_U)
    expected = REACH_BY_THROW * layout.log_throw()
    return _relative(log, expected, own, layout, match, whole=whole_plumes(catalogue))


def whole_plumes(catalogue: PlumeCatalogue) -> Mask:
    """Plumes that neither run over the edge nor into another one: only these prove anything."""
    parts = {flag.AT_SHEET_EDGE, flag.MERGED}
    return np.array([not parts.intersection(flags) for flags in catalogue.flags], bool)


def _relative(
    log: Float,
    expected: Float,
    own: Float,
    layout: Layout,
    match: Match,
    *,
    whole: Mask,
    scatter: float = 0.0,
    geometry: Float | None = None,
    clogs: bool = False,
) -> Ratios:
    """Set logs against their holes' expected ones and against their groups' scale.

    The scale is the middle of the largest group of holes that agree. Between groups of one size the
    greater wins where the value is an amount (``clogs``), since holes clog far more often than they
    grow: a weak or blocked hole never makes its neighbours heavy. A shape has no such side: the
    group nearest to the middle of all wins, and unless it is more than half of them, the scale is
    as uncertain as the two middles lie apart. Plumes that are not ``whole`` set no scale while
    others can. ``geometry`` is what one standard uncertainty of the law behind the expectation
    moves each hole by, all of them together.
    """
    k = len(log)
    out, covariance = np.full(k, np.nan), np.zeros((k, k))
    hole_of = np.array(match.hole_of, int).reshape(k)
    for plumes in _groups(hole_of, layout):
        relative = log[plumes] - expected[hole_of[plumes]]
        able = relative[whole[plumes]] if whole[plumes].any() else relative
        alike = ALIKE if clogs else ALIKE_SHAPE
        close = np.abs(able[:, None] - able[None, :]) < alike
        middle = float(np.median(able))
        preferred = able if clogs else -np.abs(able - middle)
        lead = max(range(len(able)), key=lambda i: (close[i].sum(), preferred[i]))
        group = able[close[lead]]
        scale = float(np.median(group))
        out[plumes] = relative - scale
        # The scale's own error is common to all that are held against it.
        common = float(np.median(own[plumes])) ** 2 / len(group)
        if not clogs and 2 * len(group) <= len(able):
            common += (scale - middle) ** 2
        together = np.ix_(plumes, plumes)
        covariance[together] = common
        if geometry is not None:
            moved = geometry[hole_of[plumes]]
            moved = moved - np.median(moved[whole[plumes]] if whole[plumes].any() else moved)
            covariance[together] += np.outer(moved, moved)
        covariance[plumes, plumes] += own[plumes] ** 2 + scatter**2
    return Ratios(log=out, covariance=covariance, own=np.where(np.isfinite(out), own, np.nan))


def _groups(hole_of: np.ndarray, layout: Layout) -> list[np.ndarray]:
    """Plumes that are compared with one another."""
    matched = np.flatnonzero(hole_of >= 0)
    rows = np.array(layout.row)[hole_of[matched]]
    groups = [matched[rows == row] for row in np.unique(rows)]
    if len(groups) < 2 or min(map(len, groups)) >= 3:
        return groups
    return [matched]
