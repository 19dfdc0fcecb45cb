"""Sort markers into cards: which belong together, and how many cards lie in the photo.

Two markers (eight corners) fix a perspective; the pair that explains most of the others names the
card. What is left over may be a second card. A marker that lies where none should is dropped.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.card.markers import SeenMarker
from spraycheck.card.target import CARDS, Artwork, PrintedMarker
from spraycheck.errors import InputError
from spraycheck.stats.geometry import apply_homography, fit_homography

MIN_MARKERS: Final = 3
"""Two markers fix a perspective but nothing checks it; the third does."""

NEAR_SIDES: Final = 0.6
"""A marker belongs to a card when its middle lies within this many of its own sides of where the
card has it: a curl of 12 mm over A4 displaces the far markers by about a third of a side under a
perspective fitted to two of them; the next marker is at least four sides away (chosen)."""


@dataclass(frozen=True, kw_only=True)
class MarkerSet:
    """The markers of one card.

    Parameters
    ----------
    card : Artwork
        Which card.
    seen : tuple of SeenMarker
        In the photo.
    printed : tuple of PrintedMarker
        The same on the card.
    homography : (3, 3) ndarray of float64
        From card mm to pixels, by least squares over all corners.
    """

    card: Artwork
    seen: tuple[SeenMarker, ...]
    printed: tuple[PrintedMarker, ...]
    homography: NDArray[np.float64]

    @property
    def middle(self) -> Float:
        """Pixel of the card's middle."""
        return np.asarray(self.project(np.zeros((1, 2)))[0])

    def project(self, points_mm: Float) -> Float:
        """Pixels of ``(K, 2)`` card positions, on a flat card."""
        return np.asarray(apply_homography(self.homography, points_mm))


def group_markers(seen: list[SeenMarker]) -> list[MarkerSet]:
    """Sort markers into cards.

    Parameters
    ----------
    seen : list of SeenMarker
        All found in one photo, none mirrored.

    Returns
    -------
    list of MarkerSet
        Sets of two or more markers that lie as on a card, the largest first.
    """
    sets = []
    for card in CARDS.values():
        by_number = {m.number: m for m in card.markers}
        left = [m for m in seen if m.number in by_number]
        while len(left) >= 2:
            best = _largest(card, left, by_number)
            if best is None:
                break
            sets.append(best)
            # Duplicates that belong to no card are dropped with the markers they repeat in place.
            left = [
                m
                for m in left
                if all(
                    m is not s and np.linalg.norm(m.middle - s.middle) > m.side for s in best.seen
                )
            ]
    return sorted(sets, key=lambda s: -len(s.seen))


def _largest(
    card: Artwork, seen: list[SeenMarker], by_number: dict[int, PrintedMarker]
) -> MarkerSet | None:
    chosen: list[SeenMarker] = []
    error = np.inf
    pairs = [p for p in itertools.combinations(seen, 2) if p[0].number != p[1].number]
    # Far apart first: they fix a perspective best, and the first good pair ends the search.
    pairs.sort(key=lambda p: -float(np.linalg.norm(p[0].middle - p[1].middle)))
    distinct = len({m.number for m in seen})
    for pair in pairs:
        if len(chosen) == distinct:
            break
        homography = _fit(pair, by_number)
        if homography is None:
            continue
        near, off = _belonging(homography, seen, by_number)
        if (-len(near), off) < (-len(chosen), error):
            chosen, error = near, off
    for _ in range(2):
        if len(chosen) < 2:
            return None
        homography = _fit(chosen, by_number)
        if homography is None:
            return None
        again, _ = _belonging(homography, seen, by_number)
        if len(again) < len(chosen):
            break
        chosen = again
    homography = _fit(chosen, by_number)
    if homography is None:
        return None
    return MarkerSet(
        card=card,
        seen=tuple(chosen),
        printed=tuple(by_number[m.number] for m in chosen),
        homography=homography,
    )


def _fit(
    seen: Sequence[SeenMarker], by_number: dict[int, PrintedMarker]
) -> NDArray[np.float64] | None:

    source = np.concatenate([by_number[m.number].corners() for m in seen])
    target = np.concatenate([m.corners for m in seen])
    try:
        return fit_homography(source, target)
    except InputError:  # corners that fall on one line
        return None


def _belonging(
    homography: NDArray[np.float64], seen: list[SeenMarker], by_number: dict[int, PrintedMarker]
) -> tuple[list[SeenMarker], float]:
    """Markers that lie where the card has them, the nearest of each id; and how far off."""
    best: dict[int, tuple[float, SeenMarker]] = {}
    for marker in seen:
        printed = by_number[marker.number]
        place = np.array([[printed.x_mm, printed.y_mm]])
        off = float(np.linalg.norm(apply_homography(homography, place)[0] - marker.middle))
        # All corners must lie near too: a marker turned on the spot is not this card's.
        corners = apply_homography(homography, np.array(printed.corners()))
        turned = float(np.abs(corners - marker.corners).max())
        limit = NEAR_SIDES * marker.side
        belongs = np.isfinite(turned) and off < limit and turned < 1.5 * limit
        if belongs and (marker.number not in best or off < best[marker.number][0]):
            best[marker.number] = (off, marker)
    near = [m for _, m in best.values()]
    return near, sum(off for off, _ in best.values())
