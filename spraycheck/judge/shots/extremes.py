"""What is true of a nozzle however the holes of its shots are matched with one another.

Whatever hole of one shot is which of another, the mean of a hole over the shots lies between the
mean of the shots' smallest values and that of their largest. Where holes cannot be followed, these
two are held against the limits in place of every hole.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from spraycheck.judge.assessment.checks import Check, hold
from spraycheck.judge.assessment.holes import Held
from spraycheck.judge.shots.averaging import average
from spraycheck.judge.shots.shots import Shot


def extremes(shots: Sequence[Shot], cards: Sequence[int]) -> list[Check]:
    """Hold the mean of the cards' worst values against every limit of a hole that is on.

    Notes
    -----
    Areas are independent from card to card but for the nozzle itself, so the uncertainty of their
    mean shrinks with the cards. That of directions, widths and reaches holds what belongs to the
    nozzle too and is taken as for one card.
    """
    limits = shots[0].photo.limits
    steady = np.ones(len(shots[0]), bool)
    held: list[Held] = []
    for card in sorted(set(cards)):
        own = [shot for shot, c in zip(shots, cards, strict=True) if c == card]
        held.append(average(own, [1] * len(own), steady).held)
    found = []
    if limits.held("direction_deg"):
        worst = [int(np.argmax(np.abs(h.leaning.lean_deg))) for h in held]
        value = np.mean([abs(h.leaning.lean_deg[k]) for h, k in zip(held, worst, strict=True)])
        sigma = [h.leaning.sigma_deg[k] for h, k in zip(held, worst, strict=True)]
        found.append(hold("direction_deg", float(value), _root_mean_square(sigma), limits))
    for what in ("area", "width", "reach"):
        ratios = [getattr(h, what) for h in held]
        shrink = math.sqrt(len(held)) if what == "area" else 1.0
        for side, pick in (("low", np.argmin), ("high", np.argmax)):
            name = f"{what}_{side}_ratio"
            if limits.held(name):
                at = [int(pick(r.log)) for r in ratios]
                log = np.mean([r.log[k] for r, k in zip(ratios, at, strict=True)])
                sigma = [r.sigma[k] for r, k in zip(ratios, at, strict=True)]
                u = _root_mean_square(sigma) / shrink
                found.append(hold(name, math.exp(float(log)), u, limits))
    return found


def keeps_extremes(found: Sequence[Check], others: Sequence[Check], shots: Sequence[Shot]) -> float:
    """Lower bound of the probability that every hole keeps every limit (Bonferroni's inequality).

    NaN where a hole left no plume of its own on some card: it may be the worst.
    """
    if not all((shot.plume >= 0).all() for shot in shots):
        return math.nan
    lost = sum(len(shots[0]) * (1 - check.probability) for check in found)
    lost += sum(1 - check.probability for check in others)
    return max(0.0, 1.0 - lost) if math.isfinite(lost) else math.nan


def _root_mean_square(values: Sequence[float]) -> float:
    return math.sqrt(sum(float(v) ** 2 for v in values) / len(values))
