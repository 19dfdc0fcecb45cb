"""The tool's answer beside the truth, hole by hole, and whether the two agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Hole
from spraycheck.simulate import CardTruth, TrueHole
from spraycheck.train.tool_answer import ToolAnswer


class Agrees(StrEnum):
    """Whether tool and truth agree; undecided where the tool gives no verdict."""

    YES = "agrees"
    OPEN = "undecided"
    NO = "differs"


NOT_MEASURED: Final = "not measured"
"""Instead of the tool's verdict, where it gave none."""

_CODES: Final = {"stray": "stray-spray", "drip": "centre-drip"}
# Wet things of no hole, and the finding that tells them.


@dataclass(frozen=True, kw_only=True)
class TrueState:
    """A hole as an ideal measurement would judge it.

    Parameters
    ----------
    hole : int
        From 1.
    flow_frac : float
        Fluid put in, relative to a healthy hole.
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
    flow_frac: float
    state: str
    area_ratio: float
    deviation_deg: float


@dataclass(frozen=True, kw_only=True)
class HoleAgreement:
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
    def agreement(self) -> Agrees:
        """Whether tool and truth agree about this hole; ``unsure`` is undecided."""
        if self.measured in ("unsure", ""):
            return Agrees.OPEN
        return Agrees.YES if self.measured == self.true.state else Agrees.NO


@dataclass(frozen=True, kw_only=True)
class CardAgreement:
    """One card, true and measured.

    Parameters
    ----------
    pairs : tuple of HoleAgreement
        In the order of the true holes.
    true_verdict : str
        ``pass`` or ``fail``: what the limits say of the truth.
    verdict : str
        The tool's: ``pass``, ``fail``, ``recheck`` or `NOT_MEASURED`.
    unseen, invented : tuple of str
        Codes of findings that the truth asks for and the tool lacks, and the other way about;
        only stray spray and a wet centre are held to this.
    """

    pairs: tuple[HoleAgreement, ...]
    true_verdict: str
    verdict: str
    unseen: tuple[str, ...] = ()
    invented: tuple[str, ...] = ()

    @property
    def agreement(self) -> Agrees:
        """Whether tool and truth agree; open is a recheck without a wrong word."""
        of_holes = {pair.agreement for pair in self.pairs}
        if Agrees.NO in of_holes or self.unseen or self.invented:
            return Agrees.NO
        if self.verdict in ("recheck", NOT_MEASURED):
            return Agrees.OPEN
        if self.verdict != self.true_verdict:
            return Agrees.NO
        return Agrees.OPEN if Agrees.OPEN in of_holes else Agrees.YES


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
    return TrueState(
        hole=hole.hole,
        flow_frac=hole.flow_frac,
        state=state,
        area_ratio=ratio,
        deviation_deg=off,
    )


def agreement_of(truth: CardTruth, layout: Layout, tool: ToolAnswer) -> CardAgreement:
    """Put the tool's answer beside the truth.

    Parameters
    ----------
    truth : CardTruth
        What is on the card.
    layout : Layout
        What the nozzle should spray.
    tool : ToolAnswer
        The same card, measured.

    Returns
    -------
    CardAgreement
        Holes are paired by where they should spray: the tool sees no index mark, so its hole 1 may
        be another one than the truth's.
    """
    states = true_states(truth, layout, tool.limits)
    judged = _turned(tool.holes, truth)
    pairs = [
        HoleAgreement(true=true)
        if hole is None
        else HoleAgreement(
            true=true,
            measured=hole.state,
            area_ratio=hole.area_ratio,
            area_ratio_u=hole.area_ratio_u,
            deviation_deg=hole.deviation_deg,
            deviation_u_deg=hole.deviation_u_deg,
        )
        for true, hole in zip(states, judged, strict=True)
    ]
    there = {_CODES[m.kind] for m in truth.marks if m.kind in _CODES and m.area_mm2 > 0}
    told = tool.codes & set(_CODES.values())
    failed = tool.verdict == "failed"
    return CardAgreement(
        pairs=tuple(pairs),
        true_verdict=true_verdict(truth, states, tool.limits),
        verdict=NOT_MEASURED if failed else tool.verdict,
        unseen=() if failed else tuple(sorted(there - told)),
        invented=tuple(sorted(told - there)),
    )


def true_verdict(truth: CardTruth, states: tuple[TrueState, ...], limits: Limits) -> str:
    """Say what the limits make of the truth."""
    total = sum(h.area_mm2 for h in truth.holes) + sum(
        m.area_mm2 for m in truth.marks if m.kind == "stray"
    )
    astray = [m.area_mm2 / total for m in truth.marks if m.kind == "stray"]
    wrong = any(s.state != "clear" for s in states) or any(f > limits.stray_frac for f in astray)
    return "fail" if wrong else "pass"


def _turned(holes: Sequence[Hole], truth: CardTruth) -> Sequence[Hole | None]:
    """Return, per true hole, the judged hole that should spray to the same place."""
    n = len(truth.holes)
    if len(holes) != n:
        return [None] * n
    true = np.array([hole.expected_deg for hole in truth.holes])
    seen = np.array([hole.expected_deg for hole in holes])

    def misfit(shift: int) -> float:
        off = (np.roll(seen, -shift) - true + 180.0) % 360.0 - 180.0
        return float(np.sum(off**2))

    best = min(range(n), key=misfit)
    return [holes[(k + best) % n] for k in range(n)]
