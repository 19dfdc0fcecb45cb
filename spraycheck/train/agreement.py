"""The tool's answer beside the truth, hole by hole, and whether the two agree."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Result
from spraycheck.simulate import CardTruth, TrueHole

AGREES, UNDECIDED, DIFFERS = "agrees", "undecided", "differs"

_MARKS: Final = {"stray": "stray-spray", "drip": "centre-drip"}
# Wet things of no hole, and the finding that tells them.


@dataclass(frozen=True, kw_only=True)
class TrueState:
    """A hole as an ideal measurement would judge it.

    Parameters
    ----------
    hole : int
        From 1.
    state : str
        ``clear``, ``weak``, ``heavy``, ``blocked`` or ``off-line``: the truth held to the limits.
    area_ratio : float
        True wetted area over what this hole should wet, the median of the holes that are clear by
        drawing 1; 0 when blocked.
    deviation_deg : float
        Of the true impact point from where a healthy hole would strike, clockwise; NaN when
        blocked.
    """

    hole: int
    state: str
    area_ratio: float
    deviation_deg: float


@dataclass(frozen=True, kw_only=True)
class HolePair:
    """One hole, true and measured.

    Parameters
    ----------
    true : TrueState
        What is on the card.
    measured : str
        State given by the tool; empty when it judged no holes.
    area_ratio, area_ratio_u, deviation_deg, deviation_u_deg : float
        As of a measured hole; NaN when there is nothing to compare.
    """

    true: TrueState
    measured: str = ""
    area_ratio: float = math.nan
    area_ratio_u: float = math.nan
    deviation_deg: float = math.nan
    deviation_u_deg: float = math.nan

    @property
    def verdict(self) -> str:
        """Whether tool and truth agree about this hole; ``unsure`` is undecided."""
        if self.measured in ("unsure", ""):
            return UNDECIDED
        return AGREES if self.measured == self.true.state else DIFFERS


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """One card, true and measured.

    Parameters
    ----------
    pairs : tuple of HolePair
        In the order of the true holes.
    true_verdict : str
        ``pass`` or ``fail``: what the limits say of the truth.
    verdict : str
        The tool's: ``pass``, ``fail``, ``recheck`` or ``not measured``.
    unseen, invented : tuple of str
        Codes of findings that the truth asks for and the tool lacks, and the other way about;
        only stray spray and a wet centre are held to this.
    """

    pairs: tuple[HolePair, ...]
    true_verdict: str
    verdict: str
    unseen: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()

    @property
    def agreement(self) -> str:
        """``agrees``, ``undecided`` (a recheck, no wrong word) or ``differs``."""
        of_holes = {pair.verdict for pair in self.pairs}
        if DIFFERS in of_holes or self.unseen or self.invented:
            return DIFFERS
        if self.verdict in ("recheck", "not measured"):
            return UNDECIDED
        if self.verdict != self.true_verdict:
            return DIFFERS
        return UNDECIDED if UNDECIDED in of_holes else AGREES


def true_states(truth: CardTruth, layout: Layout, limits: Limits) -> tuple[TrueState, ...]:
    """Hold the truth to the limits.

    Parameters
    ----------
    truth : CardTruth
        What is on the card.
    layout : Layout
        What the nozzle should spray; as many holes as the truth has.
    limits : Limits
        What is tolerated.
    """
    wets = np.array([hole.area_mm2 for hole in truth.holes]) / layout.expected_area()
    healthy = [hole.state == "clear" for hole in truth.holes]
    base = float(np.median(wets[healthy] if any(healthy) else wets[wets > 0]))
    return tuple(
        _true_state(hole, float(wet) / base, limits)
        for hole, wet in zip(truth.holes, wets, strict=True)
    )


def _true_state(hole: TrueHole, ratio: float, limits: Limits) -> TrueState:
    off = (hole.direction_deg - hole.expected_deg + 180.0) % 360.0 - 180.0
    state = "clear"
    if hole.state == "blocked":
        state, ratio = "blocked", 0.0
    elif abs(off) > limits.direction_deg:
        state = "off-line"
    elif ratio < limits.area_low_ratio:
        state = "weak"
    elif ratio > limits.area_high_ratio:
        state = "heavy"
    return TrueState(hole=hole.hole, state=state, area_ratio=ratio, deviation_deg=off)


def compare(truth: CardTruth, assessment: Result) -> Comparison:
    """Put the tool's answer beside the truth.

    Parameters
    ----------
    truth : CardTruth
        What is on the card.
    assessment : Result
        The same card, measured.

    Returns
    -------
    Comparison
        Holes are paired by where they should spray: the tool sees no index mark, so its hole 1 may
        be another one than the truth's.
    """
    limits = assessment.limits
    assert isinstance(limits, Limits)
    states = true_states(truth, assessment.layout, limits)
    by_hole = _paired(truth, assessment)
    pairs = []
    for true, k in zip(states, by_hole, strict=True):
        if k is None:
            pairs.append(HolePair(true=true))
            continue
        hole = assessment.holes[k]
        pairs.append(
            HolePair(
                true=true,
                measured=hole.state,
                area_ratio=hole.area_ratio,
                area_ratio_u=hole.area_ratio_u,
                deviation_deg=hole.deviation_deg,
                deviation_u_deg=hole.deviation_u_deg,
            )
        )
    asked = {_MARKS[m.kind] for m in truth.marks if m.kind in _MARKS and m.area_mm2 > 0}
    told = {f.code for f in assessment.findings} & set(_MARKS.values())
    return Comparison(
        pairs=tuple(pairs),
        true_verdict=true_verdict(truth, states, limits),
        verdict=assessment.verdict,
        unseen=tuple(sorted(asked - told)),
        invented=tuple(sorted(told - asked)),
    )


def not_measured(truth: CardTruth, layout: Layout) -> Comparison:
    """Return the comparison for a photo the tool could not measure."""
    limits = Limits()
    states = true_states(truth, layout, limits)
    return Comparison(
        pairs=tuple(HolePair(true=true) for true in states),
        true_verdict=true_verdict(truth, states, limits),
        verdict="not measured",
    )


def true_verdict(truth: CardTruth, states: tuple[TrueState, ...], limits: Limits) -> str:
    """Say what the limits make of the truth."""
    total = sum(h.area_mm2 for h in truth.holes) + sum(
        m.area_mm2 for m in truth.marks if m.kind == "stray"
    )
    astray = [m.area_mm2 / total for m in truth.marks if m.kind == "stray"]
    wrong = any(s.state != "clear" for s in states) or any(f > limits.stray_frac for f in astray)
    return "fail" if wrong else "pass"


def _paired(truth: CardTruth, assessment: Result) -> list[int | None]:
    """Return, per true hole, the index of the judged hole that should spray to the same place."""
    n = len(truth.holes)
    if len(assessment.holes) != n:
        return [None] * n
    true = np.array([hole.expected_deg for hole in truth.holes])
    seen = np.array([hole.expected_deg for hole in assessment.holes])

    def misfit(shift: int) -> float:
        off = (np.roll(seen, -shift) - true + 180.0) % 360.0 - 180.0
        return float(np.sum(off**2))

    best = min(range(n), key=misfit)
    return [(k + best) % n for k in range(n)]
