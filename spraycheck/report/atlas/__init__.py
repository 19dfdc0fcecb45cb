"""The atlas: sprayed cards with their truth beside what the tool measured, a page per pattern.

One set of pages, drawn twice: `atlas_pdf` for the wall and the binder, `atlas_html` for a screen,
one file without anything beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spraycheck.judge.result import Verdict

AGREEMENT: Final = {
    "agrees": "Tool and truth agree.",
    "undecided": "The tool does not decide: it asks for another card or photo.",
    "differs": "Tool and truth differ here.",
}

KIND_IN_WORDS: Final = {"good": "Good", "fault": "Fault", "look-alike": "Not a fault"}

TITLE: Final = "Spray card atlas"

ABOUT: Final = (
    "Every card here is computed: spray, paper and camera are drawn from physics, so what is "
    "really on the card is known. The tool then measured each picture without being told. Where "
    "the two differ, the page says so.",
    "First look at the left picture alone and say what you see. Then read on.",
)
HOW_TO_READ: Final = (
    ("gives", "fuel of the hole, of what a good one gives: put in"),
    ("wets", "wetted area, of what the hole should wet; ± is the measurement's uncertainty (95 %)"),
    ("off by", "degrees beside its line, + is clockwise"),
    ("is", "what the usual limits make of it: at least 75 %, at most 133 %, within 5 degrees"),
)
"""Column of the table and its meaning."""


@dataclass(frozen=True, kw_only=True)
class HoleRow:
    """One hole of the table; ratios as fractions, angles in degrees, NaN where there is none.

    Parameters
    ----------
    hole : int
        From 1.
    gives_frac : float
        Fluid put in, relative to a healthy hole.
    true_ratio, true_off_deg, true_state
        Wetted area, deviation and state by the truth.
    ratio, ratio_u, off_deg, off_u_deg, state
        The same as the tool measured them, with expanded uncertainties.
    agrees : str
        A key of `AGREEMENT`.
    """

    hole: int
    gives_frac: float
    true_ratio: float
    true_off_deg: float
    true_state: str
    ratio: float
    ratio_u: float
    off_deg: float
    off_u_deg: float
    state: str
    agrees: str

    def cells(self) -> tuple[str, ...]:
        """Return the table's texts: hole, gives, true wets, off, is, tool's wets, off, is."""
        return (
            str(self.hole),
            f"{self.gives_frac:.0%}",
            _percent(self.true_ratio),
            _degrees(self.true_off_deg),
            self.true_state,
            _percent(self.ratio, self.ratio_u),
            _degrees(self.off_deg, self.off_u_deg),
            self.state or "not judged",
        )


COLUMNS: Final = ("hole", "gives", "wets", "off by", "is", "wets", "off by", "is")
"""The first holds both; 1 to 4 are the truth's, 5 to 7 the tool's."""


@dataclass(frozen=True, kw_only=True)
class AtlasPage:
    """One pattern.

    Parameters
    ----------
    group, title : str
        Heading of several pages, and of this one.
    kind : str
        A key of `KIND_IN_WORDS`.
    see : str
        What to see.
    photo, seen : bytes
        JPEG: the card as photographed, and with what the tool found.
    photo_size, seen_size : (int, int)
        Width and height in pixels.
    rows : tuple of HoleRow
        The holes.
    others : tuple of str
        What else is true about the card, in sentences.
    true_verdict, verdict : str
        By the truth and by the tool; the tool's may be ``not measured``.
    reason : str
        What decided, in the tool's words.
    agreement : str
        A key of `AGREEMENT`.
    causes, steps : tuple of str
        What it may come from; what to do next.
    command : str
        Makes the picture again.
    """

    group: str
    title: str
    kind: str
    see: str
    photo: bytes
    photo_size: tuple[int, int]
    seen: bytes
    seen_size: tuple[int, int]
    rows: tuple[HoleRow, ...]
    others: tuple[str, ...]
    true_verdict: str
    verdict: str
    reason: str
    agreement: str
    causes: tuple[str, ...]
    steps: tuple[str, ...]
    command: str

    @property
    def verdict_line(self) -> str:
        """Truth, tool and whether they agree, in a sentence or two."""
        by_truth = f"By the truth this card should {self.true_verdict}"
        tool = (
            f"the tool says {self.verdict}" if self.verdict in tuple(Verdict) else "it was not read"
        )
        told = AGREEMENT[self.agreement]
        if self.agreement == "differs" and self.verdict == self.true_verdict:
            told = "The verdict is right, but tool and truth differ in what is on the card."
        return f"{by_truth}; {tool}. {told}"


@dataclass(frozen=True, kw_only=True)
class Atlas:
    """All pages, and what was used to make them.

    Parameters
    ----------
    pages : tuple of AtlasPage
        In reading order.
    made_with : str
        Package version and seed, for the record.
    """

    pages: tuple[AtlasPage, ...]
    made_with: str

    def count(self, agreement: str) -> int:
        """Count the pages on which tool and truth stand so."""
        return sum(page.agreement == agreement for page in self.pages)

    @property
    def tally(self) -> str:
        """How often tool and truth agree, as a sentence."""
        return (
            f"Of {len(self.pages)} cards tool and truth agree on {self.count('agrees')}, the tool "
            f"leaves {self.count('undecided')} open, and they differ on {self.count('differs')}."
        )


def _percent(value: float, u: float = math.nan) -> str:
    if not math.isfinite(value):
        return "-"
    return f"{value:.0%}" + (f" ± {100 * u:.0f}" if math.isfinite(u) else "")


def _degrees(value: float, u: float = math.nan) -> str:
    if not math.isfinite(value):
        return "-"
    shown = f"{value:+.1f}°".replace("+0.0", "0.0").replace("-0.0", "0.0")
    return shown + (f" ± {u:.1f}" if math.isfinite(u) else "")
