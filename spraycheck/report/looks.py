"""How states, spots and verdicts look in every medium: sign, line and colour; none by colour alone.

One line per member; its word stands in `words.labels`. The colours lie near the set of Okabe and
Ito (2008, "Color universal design", from memory), lightened so that each stands out from its dark
casing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from spraycheck.judge.result import HoleState, Outcome, Verdict, Way

Colour = tuple[int, int, int]

INK: Final[Colour] = (18, 22, 27)
PAPER: Final[Colour] = (250, 250, 247)


class Sight(StrEnum):
    """What is drawn beside the plumes of holes."""

    STRAY = "stray"
    DRIP = "drip"


@dataclass(frozen=True)
class Look:
    """The look of one state or sight.

    Parameters
    ----------
    sign : str
        A key of the overlay's `draw_sign`.
    mark, ascii : str
        The sign as a character of text, and where only ASCII can be written.
    style : str
        Of the word in a terminal.
    colour : Colour
        Of the outline's core, the label's border and the word on a page.
    width : float
        Of the outline, in hundredths of the picture's width.
    dash : tuple of float
        Of the outline, likewise; empty is solid.
    alarm : bool
        Light letters on a dark label; the other way round when nothing is wrong.
    """

    sign: str
    mark: str
    ascii: str
    style: str
    colour: Colour
    width: float
    dash: tuple[float, ...] = ()
    alarm: bool = True


LOOKS: Final[Mapping[HoleState | Sight, Look]] = MappingProxyType(
    {
        HoleState.CLEAR: Look("tick", "✓", " ", "green", (125, 222, 255), 0.36, alarm=False),
        HoleState.WEAK: Look("down", "▼", "-", "bold yellow", (255, 190, 55), 0.45, (2.4, 1.3)),
        HoleState.HEAVY: Look("up", "▲", "+", "bold yellow", (255, 225, 80), 0.95),
        HoleState.BLOCKED: Look("cross", "✗", "x", "bold red", (255, 112, 67), 0.45, (0.9, 0.9)),
        HoleState.OFF_LINE: Look(
            "turn", "↷", ">", "bold magenta", (240, 150, 255), 0.45, (4.5, 1.0, 0.8, 1.0)
        ),
        HoleState.MISSHAPEN: Look(
            "lozenge", "◇", "~", "bold magenta", (255, 160, 200), 0.45, (1.6, 0.7)
        ),
        HoleState.UNSURE: Look(
            "query", "?", "?", "bold", (245, 245, 245), 0.45, (0.5, 1.1), alarm=False
        ),
        Sight.STRAY: Look("star", "*", "*", "bold", (190, 255, 120), 0.45, (1.2, 0.8, 0.4, 0.8)),
        Sight.DRIP: Look("drop", "•", "o", "bold", (245, 245, 245), 0.40, alarm=False),
    }
)
"""One line for every member."""

OUTCOME_LOOKS: Final[Mapping[Outcome, Look]] = MappingProxyType(
    {
        Outcome.KEPT: LOOKS[HoleState.CLEAR],
        Outcome.BROKEN: LOOKS[HoleState.BLOCKED],
        Outcome.UNSURE: LOOKS[HoleState.UNSURE],
        Outcome.NOT_JUDGED: LOOKS[HoleState.UNSURE],
    }
)
"""Outcome of a check to the look it shares with a hole's state."""

CHANGE_LOOKS: Final[Mapping[Way, Look]] = MappingProxyType(
    {
        Way.BETTER: LOOKS[HoleState.CLEAR],
        Way.WORSE: LOOKS[HoleState.WEAK],
        Way.CHANGED: LOOKS[HoleState.OFF_LINE],
    }
)
"""Sure change to the look it borrows."""


@dataclass(frozen=True)
class Badge:
    """The look of one verdict: sign, background, letters, and its style in a terminal."""

    sign: str
    back: Colour
    ink: Colour
    style: str


BADGES: Final[Mapping[Verdict, Badge]] = MappingProxyType(
    {
        Verdict.PASS: Badge("tick", (0, 122, 102), PAPER, "bold white on green"),
        Verdict.FAIL: Badge("cross", (140, 18, 10), PAPER, "bold white on red"),
        Verdict.RECHECK: Badge("query", (250, 196, 66), INK, "bold black on yellow"),
    }
)
