"""Holes without a plume of their own: blocked, hidden, or run together with a neighbour."""

from __future__ import annotations

import math

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.judge.assessment.illumination import FADES, fades_towards
from spraycheck.judge.matching import Match
from spraycheck.spray.seen import Seen
from spraycheck.stats.circular import wrap_180

SEEN_SHARE = 0.6
"""A missing plume is blocked only where this share of its place could be seen (chosen: with less
than half a plume hidden, enough of it would show)."""

FAINTEST_NOISE = 0.12
"""Noise of the wetness map up to which a weak plume would still show: its wetness of about 0.5 is
then four standard deviations."""

HIDING = frozenset({flag.CLIPPED, flag.TOO_WET, flag.WEAK_STROKE, flag.FAINT})
"""Limits of photo quality beyond which plumes were lost (`photo_quality.py` in the benchmarks)."""

WET_SHARE = 0.3
"""Where more than this share of a missing plume's ray is wet with something else, that may be the
plume (chosen: plumes that ran together over a drip at the centre were one mark there)."""

COVERING = 0.5
"""A stain from this fraction of a plume's area may be that plume (chosen because below it no
healthy hole is left; smaller ones are drops and splashes)."""

WIDE = 1.6
"""A plume this much wider than the others may be two (chosen: healthy ones differ by a third)."""


def missing(seen: Seen, match: Match, expected_deg: float, throw: float) -> tuple[str, str]:
    """State of a hole without a plume, and why it is unsure.

    It is blocked only if a plume there would have been seen.

    Parameters
    ----------
    seen, match
        What was found, and which plume belongs to which hole.
    expected_deg : float
        Where the hole should spray.
    throw : float
        How far it throws beside the others.
    """
    reach = np.sort(seen.catalogue.reach_mm) * throw
    near = np.sort(seen.catalogue.near_mm) * throw
    if len(reach) == 0:
        return "unsure", "no plume to compare with"
    angle = math.radians(expected_deg)
    radii = np.linspace(float(np.median(near)), float(np.median(reach)), 12)
    points = np.column_stack(
        [
            seen.centre.x_mm + radii * math.sin(angle),
            seen.centre.y_mm - radii * math.cos(angle),
        ]
    )
    cells = np.round(seen.card.to_cells(points)).astype(int)
    rows, cols = seen.wetness.valid.shape
    on = (cells[:, 0] >= 0) & (cells[:, 0] < cols) & (cells[:, 1] >= 0) & (cells[:, 1] < rows)
    visible = np.zeros(len(cells), bool)
    visible[on] = seen.wetness.valid[cells[on, 1], cells[on, 0]]
    spare = (seen.wetness.smooth >= WET_THRESHOLD_FRAC) & (seen.segmentation.labels == 0)
    wet = np.zeros(len(cells), bool)
    wet[on] = spare[cells[on, 1], cells[on, 0]]
    if visible.mean() < SEEN_SHARE:
        return (
            "unsure",
            "its place lies outside the card or photo, under glare or under something on the card",
        )
    if seen.wetness.noise > FAINTEST_NOISE:
        return "unsure", "the photo is too faint to show a weak plume"
    if HIDING.intersection(seen.beyond):
        return "unsure", "wet paper may look dry on this photo"
    if flag.THING_ON_CARD in seen.wetness.flags:
        return "unsure", "something dark on the card was left out and may be its plume"
    if fades_towards(seen.catalogue, expected_deg, np.array(match.hole_of) >= 0):
        return "unsure", FADES
    if wet.mean() > WET_SHARE or _covered(seen, expected_deg, float(near[0]), float(reach[-1])):
        return "unsure", "a large stain lies where its plume should be"
    return "blocked", ""


def _covered(seen: Seen, expected_deg: float, near: float, reach: float) -> bool:
    """Whether something as large as a plume, but not one, lies where a plume is missing."""
    rows = seen.catalogue
    least = COVERING * float(np.median(rows.area_mm2))
    for mark in seen.segmentation.marks:
        dx, dy = mark.x_mm - seen.centre.x_mm, mark.y_mm - seen.centre.y_mm
        far = math.hypot(dx, dy)
        off = wrap_180(math.degrees(math.atan2(dx, -dy)) - expected_deg)
        # Two plumes that ran together are one mark between both places: its own size counts too.
        half = math.degrees(math.atan2(math.sqrt(mark.area_mm2 / math.pi), far))
        there = near < far < reach and abs(off) < float(np.median(rows.width_deg)) + half
        if there and mark.area_mm2 > least:
            return True
    return False


def merged_holes(seen: Seen, expected: Float, match: Match) -> dict[int, int]:
    """Hole index to plume index for holes whose plumes run together."""
    catalogue = seen.catalogue
    if len(catalogue) == 0:
        return {}
    typical = float(np.median(catalogue.width_deg))
    found: dict[int, int] = {}
    taken = set(match.hole_of)
    for plume in range(len(catalogue)):
        width = float(catalogue.width_deg[plume])
        flagged = flag.MERGED in catalogue.flags[plume]
        if not flagged and width < WIDE * typical:
            continue
        gap = wrap_180(expected - catalogue.direction_deg[plume])
        under = np.flatnonzero(np.abs(gap) < 0.5 * width).tolist()
        own = match.hole_of[plume]
        covered = [h for h in under if h == own or h not in taken]
        if len(covered) >= 2 or flagged:
            found.update(dict.fromkeys(covered, plume))
    return found
