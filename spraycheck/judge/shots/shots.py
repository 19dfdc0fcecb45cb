"""One photo's values laid out hole by hole, so that photos can be set beside one another."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.assessment import hold_pattern
from spraycheck.judge.assessment.holes import Held
from spraycheck.judge.layout import Assessment, Hole
from spraycheck.judge.matching import Match, match_plumes
from spraycheck.stats.circular import best_rotation, wrap_180

TROUBLE = ("count-does-not-fit", "mirrored-layout")
"""Findings with which no hole was judged."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Shot:
    """One photo, its plumes allotted to the holes of the layout.

    Parameters
    ----------
    photo : Assessment
        The photo by itself.
    turn_deg : float
        Turn that lays the layout on this photo's plumes.
    plume : (n,) ndarray of int
        Row of the catalogue for each hole in the layout's order; -1 where none counts.
    rows : tuple of n Hole
        The photo's own judgement of each hole.
    match : Match
        The same allotment, by plume.
    held : Held
        What is held against limits, by plume.
    deviation_deg, direction_u_deg : (n,) ndarray of float64
        Deviation of each hole and its standard uncertainty relative to the others; NaN without.
    log_area, log_area_u : (n,) ndarray of float64
        Logarithm of the wetted area over the expected one, and its standard uncertainty.
    """

    photo: Assessment
    turn_deg: float
    plume: NDArray[np.int_]
    rows: tuple[Hole, ...]
    match: Match
    held: Held
    deviation_deg: Float
    direction_u_deg: Float
    log_area: Float
    log_area_u: Float

    def __len__(self) -> int:
        return len(self.plume)

    @property
    def blocked(self) -> NDArray[np.bool_]:
        """Holes that surely left nothing."""
        return np.array([row.state == "blocked" for row in self.rows])

    def by_hole(self, values: Float) -> Float:
        """Put values given by plume in the order of the holes; NaN without a plume."""
        out = np.full(len(self), np.nan)
        has = self.plume >= 0
        out[has] = values[self.plume[has]]
        return out

    def covariance_by_hole(self, covariance: Float) -> Float:
        """Put a covariance given by plume in the order of the holes; 0 without a plume."""
        out = np.zeros((len(self), len(self)))
        at = np.flatnonzero(self.plume >= 0)
        out[np.ix_(at, at)] = covariance[np.ix_(self.plume[at], self.plume[at])]
        return out


def lay_out(photo: Assessment) -> Shot:
    """Lay out a photo's values in the order of the layout's holes."""
    layout = photo.layout
    azimuth = np.array(layout.azimuth_deg)
    # As the photo itself was judged, so that both allot the plumes alike.
    lined_up = bool(photo.provenance.get("lined_up_with"))
    match = match_plumes(photo.catalogue, layout, lined_up=lined_up)
    expected = (azimuth + match.rotation_deg) % 360.0
    # The rows of an even layout are numbered from 12 o'clock on this very card.
    order = np.argsort(expected) if layout.even else np.arange(len(layout))
    rows = [photo.holes[0]] * len(layout)
    for row, hole in zip(photo.holes, order.tolist(), strict=True):
        rows[hole] = row
    return _shot(photo, match.rotation_deg, tuple(rows))


def turned(shot: Shot, places: int) -> Shot:
    """Allot the plumes to holes ``places`` further round, keeping each hole's own judgement."""
    if places == 0:
        return shot
    azimuth = np.array(shot.photo.layout.azimuth_deg)
    ring = np.argsort(azimuth)
    rows = list(shot.rows)
    for hole, taken in zip(ring, np.roll(ring, -places), strict=True):
        rows[hole] = shot.rows[taken]
    gap = np.array([rows[h].expected_deg - azimuth[h] for h in range(len(rows))])
    return _shot(shot.photo, float(best_rotation(gap, np.zeros(len(gap)))), tuple(rows))


def _shot(photo: Assessment, turn_deg: float, rows: tuple[Hole, ...]) -> Shot:
    catalogue = photo.catalogue
    n = len(rows)
    plume = np.array([_own_plume(photo, row) for row in rows], int).reshape(n)
    hole_of, deviation = [-1] * len(catalogue), np.full(len(catalogue), np.nan)
    for hole, row in enumerate(plume.tolist()):
        if row >= 0:
            wanted = photo.layout.azimuth_deg[hole] + turn_deg
            hole_of[row] = hole
            deviation[row] = wrap_180(float(catalogue.direction_deg[row]) - wanted)
    match = Match(
        rotation_deg=turn_deg % 360.0,
        hole_of=tuple(hole_of),
        deviation_deg=deviation,
        misfit_deg=float(np.nanmean(np.abs(deviation))) if (plume >= 0).any() else 0.0,
    )
    held = hold_pattern(catalogue, photo.centre, photo.layout, match, photo.limits)
    empty = np.full(n, np.nan)
    blank = Shot(
        photo=photo,
        turn_deg=turn_deg % 360.0,
        plume=plume,
        rows=rows,
        match=match,
        held=held,
        deviation_deg=empty,
        direction_u_deg=empty,
        log_area=empty,
        log_area_u=empty,
    )
    return replace(
        blank,
        deviation_deg=blank.by_hole(deviation),
        direction_u_deg=blank.by_hole(catalogue.direction_u_deg / COVERAGE_FACTOR_95),
        log_area=blank.by_hole(held.area.log),
        log_area_u=blank.by_hole(held.area.sigma),
    )


def _own_plume(photo: Assessment, row: Hole) -> int:
    """Row of the catalogue whose values speak for this hole alone; -1 when none does."""
    shared = sum(other.plume == row.plume for other in photo.holes) > 1
    if row.plume is None or shared or flag.MERGED in photo.catalogue.flags[row.plume - 1]:
        return -1
    return row.plume - 1
