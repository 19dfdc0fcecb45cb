"""Holes that are faulty in some shots and surely sound in others."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from spraycheck.judge.assessment import FAULTS
from spraycheck.judge.shots.consistency import material, name_of, two_sided
from spraycheck.judge.shots.shots import Shot
from spraycheck.stats.conformity import risk_per_limit


@dataclass(frozen=True, kw_only=True)
class Wavering:
    """One hole that comes and goes.

    Parameters
    ----------
    hole : int
        Index in the layout's order, of the shot ``index``.
    index : int
        A photo on which it is faulty.
    state : str
        Its state there.
    told : str
        The photos and figures, in words.
    """

    hole: int
    index: int
    state: str
    told: str


def wavering(shots: Sequence[Shot], cards: Sequence[int]) -> list[Wavering]:
    """Find holes faulty on some cards and sound on others, of matched photos.

    The difference must be sure at the photo's risk, shared among all holes and cards: a hole near
    its limit that falls to either side by chance does not waver.
    """
    found = []
    for hole in range(len(shots[0])):
        states = [shot.rows[hole].state for shot in shots]
        faulty = [k for k, state in enumerate(states) if state in FAULTS]
        bad = {cards[k] for k in faulty}
        sound = [k for k in range(len(shots)) if cards[k] not in bad and _counts(shots[k], hole)]
        if not faulty or not sound:
            continue
        worst = max(faulty, key=lambda k: _excess(shots, k, hole, [(s, hole) for s in sound]))
        if _excess(shots, worst, hole, [(s, hole) for s in sound]) > _certain(shots):
            kind = states[worst]
            told = (
                f"{_figure(shots, worst, hole, kind)} on "
                f"{_join([name_of(shots[k].photo, k) for k in faulty])}, but "
                + _join(
                    [
                        f"{_figure(shots, k, hole, kind)} on {name_of(shots[k].photo, k)}"
                        for k in sound
                    ]
                )
            )
            found.append(Wavering(hole=hole, index=worst, state=states[worst], told=told))
    return found


def wavering_unmatched(shots: Sequence[Shot], cards: Sequence[int]) -> list[Wavering]:
    """Find faults that no hole of some other card can be, however the holes are matched."""
    found = []
    sound = [
        k
        for k, shot in enumerate(shots)
        if not any(row.state in FAULTS for row in shot.rows) and _whole(shot)
    ]
    for index, shot in enumerate(shots):
        if cards[index] in cards[:index]:  # the same card once more
            continue
        others = [k for k in sound if cards[k] != cards[index]]
        for hole, row in enumerate(shot.rows):
            if row.state not in FAULTS or not others:
                continue
            each = [
                min(_excess(shots, index, hole, [(k, other)]) for other in range(len(shot)))
                for k in others
            ]
            if max(each) > _certain(shots):
                nothing = _join([name_of(shots[k].photo, k) for k in others])
                figure = _figure(shots, index, hole, row.state)
                told = (
                    f"{figure} on {name_of(shot.photo, index)} (numbered as there), but "
                    f"nothing like it shows on {nothing}"
                )
                found.append(Wavering(hole=hole, index=index, state=row.state, told=told))
    return found


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
    if state == "blocked":
        return math.inf
    name = "deviation_deg" if state == "off-line" else "log_area"
    sigma = "direction_u_deg" if state == "off-line" else "log_area_u"
    values = np.array([getattr(shots[k], name)[h] for k, h in others])
    spread = np.array([getattr(shots[k], sigma)[h] for k, h in others])
    known = np.isfinite(values)
    if not known.any():
        return 0.0
    own = float(getattr(shots[index], sigma)[hole])
    total = math.hypot(own, math.sqrt(float((spread[known] ** 2).sum())) / int(known.sum()))
    off = abs(float(getattr(shots[index], name)[hole]) - float(values[known].mean()))
    # A hole a hair beyond its limit on one card and inside on the others does not come and go.
    return off / total if off >= material(shots[index].photo.limits, state == "off-line") else 0.0


def _counts(shot: Shot, hole: int) -> bool:
    """Whether the photo shows the hole to be sound; unsure is not enough."""
    return shot.plume[hole] >= 0 and shot.rows[hole].state == "clear"


def _whole(shot: Shot) -> bool:
    return bool((shot.plume >= 0).all())


def _figure(shots: Sequence[Shot], index: int, hole: int, kind: str) -> str:
    """Say the value that a kind of fault is about."""
    row = shots[index].rows[hole]
    if row.state == "blocked":
        return "blocked"
    figure = f"{row.deviation_deg:+.1f}°" if kind == "off-line" else f"{row.area_ratio:.0%}"
    return figure if row.state in ("clear", "unsure") else f"{row.state} ({figure})"


def _join(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
