"""Holes that are faulty in some shots and surely sound in others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraycheck.judge.result import Finding, HoleState, Kind
from spraycheck.judge.shots.consistency import material, two_sided
from spraycheck.judge.shots.shot import Shot
from spraycheck.stats.conformity import risk_per_limit


@dataclass(frozen=True, kw_only=True)
class Intermittent:
    """One hole that comes and goes.

    Parameters
    ----------
    hole : int
        Index in the layout's order, of the photo it is faulty on.
    finding : Finding
        The photos and figures.
    """

    hole: int
    finding: Finding


def intermittent(shots: Sequence[Shot], cards: Sequence[int]) -> list[Intermittent]:
    """Find holes faulty on some cards and sound on others, of matched photos.

    The difference must be sure at the photo's risk, shared among all holes and cards: a hole near
    its limit that falls to either side by chance does not come and go.
    """
    found = []
    for hole in range(len(shots[0])):
        faulty = [k for k, shot in enumerate(shots) if shot.rows[hole].state.faulty]
        bad = {cards[k] for k in faulty}
        sound = [k for k in range(len(shots)) if cards[k] not in bad and _sound(shots[k], hole)]
        if not faulty or not sound:
            continue
        pairs = [(k, hole) for k in sound]
        worst = max(faulty, key=lambda k: _excess(shots, k, hole, pairs))
        if _excess(shots, worst, hole, pairs) > _certain(shots):
            number = shots[0].rows[hole].hole
            found.append(_of(shots, hole, worst, faulty, sound, number, followed=True))
    return found


def intermittent_unmatched(shots: Sequence[Shot], cards: Sequence[int]) -> list[Intermittent]:
    """Find faults that no hole of some other card can be, however the holes are matched."""
    found = []
    sound = [k for k, shot in enumerate(shots) if not shot.faulty and shot.complete]
    for index, shot in enumerate(shots):
        if cards[index] in cards[:index]:  # the same card once more
            continue
        others = [k for k in sound if cards[k] != cards[index]]
        for hole, row in enumerate(shot.rows):
            if not row.state.faulty or not others:
                continue
            each = [
                min(_excess(shots, index, hole, [(k, other)]) for other in range(len(shot)))
                for k in others
            ]
            if max(each) > _certain(shots):
                found.append(_of(shots, hole, index, [index], others, row.hole, followed=False))
    return found


def _of(
    shots: Sequence[Shot],
    hole: int,
    worst: int,
    faulty: Sequence[int],
    sound: Sequence[int],
    number: int,
    *,
    followed: bool,
) -> Intermittent:
    state = shots[worst].rows[hole].state
    # First the photo on which it is surest.
    names = [worst, *(k for k in faulty if k != worst)]
    fields: dict[str, object] = {
        "state": state,
        "faulty": tuple(_told(shots, k, hole, state) for k in names),
        "sound": tuple(_told(shots, k, hole, state) for k in sound),
        "followed": followed,
    }
    finding = Finding(kind=Kind.HOLE_INTERMITTENT, hole=number, fields=fields)
    return Intermittent(hole=hole, finding=finding)


def _told(
    shots: Sequence[Shot], index: int, hole: int, state: HoleState
) -> tuple[str, HoleState, float]:
    """Return a photo's name, the hole's state on it, and the value that the fault is about."""
    row = shots[index].rows[hole]
    value = row.deviation_deg if state is HoleState.OFF_LINE else row.area_ratio
    return shots[index].name(index), row.state, value


def _certain(shots: Sequence[Shot]) -> float:
    count = 2 * len(shots[0]) * len(shots)
    return two_sided(risk_per_limit(count, shots[0].photo.limits.risk))


def _excess(
    shots: Sequence[Shot], index: int, hole: int, others: Sequence[tuple[int, int]]
) -> float:
    """Difference of a faulty value from the others' mean, in standard uncertainties.

    Nothing where it is too small to matter.
    """
    state = shots[index].rows[hole].state
    if state is HoleState.BLOCKED:
        return math.inf
    off_line = state is HoleState.OFF_LINE
    values, spread = (
        np.array([_value(shots[k], h, off_line)[which] for k, h in ((index, hole), *others)], float)
        for which in (0, 1)
    )
    known = np.isfinite(values[1:])
    if not known.any():
        return 0.0
    rest = math.sqrt(float((spread[1:][known] ** 2).sum())) / int(known.sum())
    off = abs(float(values[0]) - float(values[1:][known].mean()))
    # A hole a hair beyond its limit on one card and inside on the others does not come and go.
    if off < material(shots[index].photo.limits, off_line):
        return 0.0
    return off / math.hypot(float(spread[0]), rest)


def _value(shot: Shot, hole: int, off_line: bool) -> tuple[float, float]:
    values = shot.values
    if off_line:
        return float(values.deviation_deg[hole]), float(values.sigma_deg[hole])
    return float(values.area.log[hole]), float(values.area.sigma[hole])


def _sound(shot: Shot, hole: int) -> bool:
    """Whether the photo shows the hole to be sound; unsure is not enough."""
    return shot.values.plume[hole] >= 0 and shot.rows[hole].state is HoleState.CLEAR
