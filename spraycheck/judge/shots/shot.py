"""One photo's values laid out hole by hole, so that photos can be set beside one another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.judge.matching import match_plumes
from spraycheck.judge.result import Hole, HoleState, Result
from spraycheck.judge.values import PatternValues, pattern_values
from spraycheck.stats.circular import best_rotation


@dataclass(frozen=True, kw_only=True)
class Shot:
    """One photo, its plumes allotted to the holes of the layout.

    Parameters
    ----------
    photo : Result
        The photo by itself.
    rows : tuple of n Hole
        The photo's own judgement of each hole, in the layout's order.
    values : PatternValues
        What is held against limits, of holes with a plume of their own.
    """

    photo: Result
    rows: tuple[Hole, ...]
    values: PatternValues

    def __len__(self) -> int:
        return len(self.rows)

    @property
    def blocked(self) -> NDArray[np.bool_]:
        """Holes that surely left nothing."""
        return np.array([row.state is HoleState.BLOCKED for row in self.rows])

    @property
    def faulty(self) -> bool:
        """Whether any hole of it is faulty."""
        return any(row.state.faulty for row in self.rows)

    @property
    def complete(self) -> bool:
        """Whether every hole has a plume of its own."""
        return bool((self.values.plume >= 0).all())

    @property
    def lined_up(self) -> bool:
        """Whether the card was lined up with the feature the layout counts from."""
        return bool(self.photo.provenance.get("lined_up_with"))

    def name(self, index: int) -> str:
        """Name the photo in a message: its file, or its number where it has none."""
        return name_of(self.photo, index)


def name_of(photo: Result, index: int) -> str:
    """Name a photo in a message: its file, or its number where it has none."""
    return photo.photo.file or f"photo {index + 1}"


def lay_out(photo: Result) -> Shot:
    """Lay out a photo's values in the order of the layout's holes."""
    layout = photo.layout
    # As the photo itself was judged, so that both allot the plumes alike.
    lined_up = bool(photo.provenance.get("lined_up_with"))
    match = match_plumes(photo.catalogue, layout, lined_up=lined_up)
    expected = (np.array(layout.azimuth_deg) + match.rotation_deg) % 360.0
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


def _shot(photo: Result, turn_deg: float, rows: tuple[Hole, ...]) -> Shot:
    plume = np.array([_own_plume(photo, row) for row in rows], int).reshape(len(rows))
    limits = photo.limits
    values = pattern_values(photo.plumes, photo.layout, plume, turn_deg, limits)  # type: ignore[arg-type]
    return Shot(photo=photo, rows=rows, values=values)


def _own_plume(photo: Result, row: Hole) -> int:
    """Row of the catalogue whose values speak for this hole alone; -1 when none does."""
    shared = sum(other.plume == row.plume for other in photo.holes) > 1
    if row.plume is None or shared or flag.MERGED in photo.catalogue.flags[row.plume - 1]:
        return -1
    return row.plume - 1
