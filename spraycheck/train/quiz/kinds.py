"""The faults a quiz asks about, how their severity is counted, and what shows them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.judge.limits import Limits
from spraycheck.report.words.findings import KINDS
from spraycheck.report.words.kinds import FindingKind
from spraycheck.stats.detection import Staircase

_LIMITS = Limits()


@dataclass(frozen=True, kw_only=True)
class QuizKind:
    """One kind of fault, as the quiz asks it.

    Parameters
    ----------
    word : str
        What a trainee types; as the tool's hole states.
    code : str
        Of the catalogue of findings: causes and the next step come from there.
    looks : str
        What to see on the card.
    unit : str
        ``%`` or ``°`` of severity; empty where a fault has no degrees.
    measure : str
        What severity counts, in words.
    least, most : float
        Smallest and largest severity asked; both infinite where a fault has no degrees.
    """

    word: str
    code: str
    looks: str
    unit: str = ""
    measure: str = ""
    least: float = math.inf
    most: float = math.inf

    @property
    def finding(self) -> FindingKind:
        """The catalogue's entry."""
        return KINDS[self.code]

    @property
    def graded(self) -> bool:
        """Whether it can be more or less severe."""
        return math.isfinite(self.least)

    def staircase(self) -> Staircase:
        """Return the adaptive rule of this kind; raises `InputError` for one without degrees."""
        if not self.graded:
            raise InputError(f"{self.word}: has no degrees to adapt")
        # Two thirds up the ladder: plain, but not the plainest (chosen).
        first = self.least * (self.most / self.least) ** (2 / 3)
        return Staircase(first=first, lowest=self.least, highest=self.most)

    def severity(self, level: float) -> str:
        """Say a severity with its unit; ``any`` where there are no degrees."""
        if not math.isfinite(level):
            return "any"
        return f"{level:.0%}" if self.unit == "%" else f"{level:.1f}°"


QUIZ_KINDS: Final[dict[str, QuizKind]] = {
    kind.word: kind
    for kind in (
        QuizKind(
            word="blocked",
            code="hole-blocked",
            looks="A gap in the ring: between two neighbours lies twice the usual angle, and where "
            "the plume should be the paper is dry or has a few drops at most.",
        ),
        QuizKind(
            word="weak",
            code="hole-weak",
            looks="One plume is smaller than the others: shorter, narrower or paler, in its right "
            "place.",
            unit="%",
            measure="of its fuel missing",
            least=1 - _LIMITS.area_low_ratio,
            most=0.9,
        ),
        QuizKind(
            word="heavy",
            code="hole-heavy",
            looks="One plume is larger than the others: longer, wider or darker, in its right "
            "place.",
            unit="%",
            measure="more fuel than its neighbours",
            least=_LIMITS.area_high_ratio - 1,
            most=1.5,
        ),
        QuizKind(
            word="off-line",
            code="hole-off-line",
            looks="The gaps on both sides of one plume differ: it has turned towards one "
            "neighbour and away from the other.",
            unit="°",
            measure="turned out of line",
            least=_LIMITS.direction_deg,
            most=20.0,
        ),
        QuizKind(
            word="stray",
            code="stray-spray",
            looks="A streak where no hole points, mostly narrow, beside or between the plumes.",
            unit="%",
            measure="of a healthy hole's fuel in the stray jet",
            # Eight holes and the default limit of 4 % of the wetted area: 0.04 * 8 / 0.96 = 0.33.
            least=round(_LIMITS.stray_frac * 8 / (1 - _LIMITS.stray_frac), 2),
            most=1.5,
        ),
    )
}
"""Word to kind. The smallest severity asked is the default limit of the tool and healthy holes stay
well inside it, so that every question has one right answer. The largest are chosen: plain to
anybody; 20 degrees keep even the plume of eight holes nearer to its own place than to the next."""

LOOK_ALIKES: Final[dict[str, str]] = {
    "tilted": "The nozzle stood a little askew: the ring is drawn out to one side, but each plume "
    "is in line with the tilt.",
    "curled": "The sheet is curled: lines bend with the paper, and the plumes with them.",
    "glare": "A lamp is mirrored on the card; under it wet and dry look alike.",
    "late": "Photographed late: the fuel has crept on, plumes are wide and soft.",
    "squared": "Squared paper: the lines are print, not fuel.",
    "dripped": "A wet spot under the tip fell off it or came from the seat; it says nothing about "
    "the holes. The seat hold test decides about the seat.",
    "splashed": "Single drops from handling: round, without a streak towards the centre.",
    "shadow": "A shadow lies across the card: it darkens paper and plume alike.",
}
"""What looks like a fault and is none, and how to tell."""
