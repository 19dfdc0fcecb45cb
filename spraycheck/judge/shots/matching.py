"""Which hole of one photo is which hole of another: by arrow, by a known turn, or by best fit.

Every way to lay one ring of holes on another is a whole number of places round it. Each is given a
probability, from how well the patterns of directions and areas agree, from the printed cards'
arrows, or from the turn the user knows; only a match that is surely right is used.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spraycheck.arrays import Float
from spraycheck.judge.result import Doubt, MatchedBy, Matching
from spraycheck.judge.shots.shot import Shot, turned
from spraycheck.stats.circular import best_rotation, wrap_180

PLACING_DEG = 6.0
"""Standard uncertainty of how a card is put down against the one before, injector left in its
holder (chosen: a card pushed by eye against a stop)."""

LEAST_RATIO, UNSEEN_SIGMA = 0.05, 0.5
"""A hole that left nothing counts as this share of its area, uncertain by this much in logarithm
(chosen: a plume below a twentieth of its area is not found)."""

SAME_LAYOUT_DEG = 6.0
"""A turn that lays the layout on itself within this everywhere is told apart by the measured
pattern, not by the layout (chosen a little above the direction limit)."""

CONFLICT = 1e-3
"""Where the arrows allow less than this to the turn that the patterns demand, they disagree."""


def match_shots(
    shots: Sequence[Shot], *, turns_deg: Sequence[float] | None = None
) -> tuple[tuple[Shot, ...], Matching]:
    """Match the holes of all photos with those of the first.

    Parameters
    ----------
    shots : sequence of Shot
        All of one layout.
    turns_deg : sequence of float, optional
        Known turn of each card against the first one, clockwise; goes before arrows and patterns.

    Returns
    -------
    tuple of Shot
        The photos, their plumes allotted to the holes of the first one at the best fit.
    Matching
        How, and how surely.
    """
    first = shots[0]
    # Whatever the patterns say, a risk of mixing holes up as large as that of a wrong verdict is
    # the most that is taken.
    enough = 1.0 - first.photo.limits.risk
    arrows = all(shot.photo.card.printed is not None for shot in shots)
    known = turns_deg if turns_deg is not None else [0.0] * len(shots) if arrows else None
    one_way = not _lays_on_itself(first)
    by = MatchedBy.TURN if turns_deg is not None else MatchedBy.PATTERN
    if turns_deg is None and arrows:
        by = MatchedBy.ARROW
    if one_way:
        by, known = MatchedBy.LAYOUT, None
    aligned, certainty = [first], 1.0
    doubts: list[Doubt] = []
    for index, shot in enumerate(shots[1:], start=1):
        pattern = _by_pattern(first, shot)
        likely = pattern
        if known is not None:
            told = _by_turn(first, shot, known[index] - known[0])
            if pattern.max() > 1 - CONFLICT and told[int(np.argmax(pattern))] < CONFLICT:
                by_turn = turns_deg is not None
                doubts.append(Doubt.TURNS_DISAGREE if by_turn else Doubt.ARROWS_DISAGREE)
            likely = told if told.max() >= enough else pattern * told / float(pattern @ told)
        places = int(np.argmax(likely))
        certainty *= float(likely[places])
        aligned.append(turned(shot, places))
    if not doubts and certainty < enough:
        doubts.append(Doubt.NO_FEATURE)
    return tuple(aligned), Matching(
        by=MatchedBy.NONE if doubts else by,
        probability=certainty,
        turn_deg=tuple(_turn_between(first, shot) for shot in aligned),
        doubts=tuple(dict.fromkeys(doubts)),
    )


def follow(lead: Shot, shot: Shot, turn_deg: float) -> Shot:
    """Allot a photo's plumes as on another photo of the same card, turned by a known angle."""
    # The photo that leads may itself have been allotted anew: what counts is the turn between.
    return turned(shot, int(np.argmax(_by_turn(lead, shot, turn_deg))))


def misfits(first: Shot, shot: Shot) -> tuple[Float, Float]:
    """Squared misfit, over its variance, of each hole's direction and area between two photos."""
    turn = _turn_between(first, shot)
    azimuth = np.array(first.photo.layout.azimuth_deg)
    here = azimuth + shot.values.turn_deg + shot.values.deviation_deg
    there = azimuth + first.values.turn_deg + first.values.deviation_deg
    off = wrap_180(here - there - turn)
    direction = off**2 / (first.values.sigma_deg**2 + shot.values.sigma_deg**2)
    a, ua = _amount(first)
    b, ub = _amount(shot)
    return direction, (a - b) ** 2 / (ua**2 + ub**2)


def _amount(shot: Shot) -> tuple[Float, Float]:
    """Logarithm of each area as measured, not against its hole's expectation; blocked ones too."""
    expected = np.log(shot.photo.layout.expected_area())
    log, sigma = shot.values.area.log + expected, shot.values.area.sigma.copy()
    log[shot.blocked] = math.log(LEAST_RATIO)
    sigma[shot.blocked] = UNSEEN_SIGMA
    return log, sigma


def _by_pattern(first: Shot, shot: Shot) -> Float:
    """Probability of each number of places, from how well the patterns agree."""
    cost, count = np.zeros(len(shot)), 1
    for places in range(len(shot)):
        misfit = np.concatenate(misfits(first, turned(shot, places)))
        known = misfit[np.isfinite(misfit)]
        cost[places], count = float(known.sum()), max(len(known), 1)
    # Where even the best fit is worse than the uncertainties say, they are too small by as much.
    return _normalised(-0.5 * cost / max(1.0, float(cost.min()) / count))


def _by_turn(first: Shot, shot: Shot, turn_deg: float) -> Float:
    """Probability of each number of places, from the cards' known turn against one another."""
    gaps = [_turn_between(first, turned(shot, k)) - turn_deg for k in range(len(shot))]
    sigma = math.hypot(
        PLACING_DEG, *(s.photo.catalogue.rotation_u_deg / 1.96 for s in (first, shot))
    )
    return _normalised(-0.5 * (np.asarray(wrap_180(np.array(gaps))) / sigma) ** 2)


def _turn_between(first: Shot, shot: Shot) -> float:
    """Turn of a photo's pattern against the first one's."""
    azimuth = np.array(first.photo.layout.azimuth_deg)
    both = np.isfinite(first.values.deviation_deg) & np.isfinite(shot.values.deviation_deg)
    if not both.any():
        return float(wrap_180(shot.values.turn_deg - first.values.turn_deg))
    here = (azimuth + shot.values.turn_deg + shot.values.deviation_deg)[both]
    there = (azimuth + first.values.turn_deg + first.values.deviation_deg)[both]
    turn = best_rotation(here, there)
    return (
        turn
        if math.isfinite(turn)
        else float(wrap_180(shot.values.turn_deg - first.values.turn_deg))
    )


def _lays_on_itself(shot: Shot) -> bool:
    """Whether some turn lays the layout on itself, so that it alone does not tell its holes."""
    azimuth = np.sort(np.array(shot.photo.layout.azimuth_deg))
    for places in range(1, len(azimuth)):
        gap = np.asarray(wrap_180(np.roll(azimuth, -places) - azimuth))
        turn = best_rotation(gap, np.zeros(len(gap)))
        if np.abs(np.asarray(wrap_180(gap - turn))).max() < SAME_LAYOUT_DEG:
            return True
    return False


def _normalised(log: Float) -> Float:
    weight = np.exp(log - log.max())
    return np.asarray(weight / weight.sum())
