"""The atlas: sprayed cards with their truth beside what the tool measured, a page per pattern.

One set of pages, made by `build_atlas` and drawn twice: `atlas_pdf` for the wall and the binder,
`atlas_html` for a screen, one file without anything beside it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spraycheck.report.contact_sheet import data_address
from spraycheck.report.page_template import page_html
from spraycheck.train.lessons.agreement import NOT_MEASURED, Agrees, CardAgreement, HoleAgreement
from spraycheck.train.lessons.lesson import Lesson, LessonKind

AGREEMENT: Final = {
    Agrees.YES: "Tool and truth agree.",
    Agrees.OPEN: "The tool does not decide: it asks for another card or photo.",
    Agrees.NO: "Tool and truth differ here.",
}

SIGNS: Final = {Agrees.YES: "✓", Agrees.OPEN: "?", Agrees.NO: "≠"}
"""The same in one character."""

KIND_IN_WORDS: Final = {
    LessonKind.GOOD: "Good",
    LessonKind.FAULT: "Fault",
    LessonKind.LOOK_ALIKE: "Not a fault",
}

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


COLUMNS: Final = ("hole", "gives", "wets", "off by", "is", "wets", "off by", "is")
"""The first holds both; 1 to 4 are the truth's, 5 to 7 the tool's."""


def row_texts(pair: HoleAgreement) -> tuple[str, ...]:
    """Return a row of the table as texts, in the order of `COLUMNS`."""
    true = pair.true
    return (
        str(true.hole),
        f"{true.flow_frac:.0%}",
        _percent(true.area_ratio),
        _degrees(true.deviation_deg),
        true.state,
        _percent(pair.area_ratio, pair.area_ratio_u),
        _degrees(pair.deviation_deg, pair.deviation_u_deg),
        pair.measured or "not judged",
    )


@dataclass(frozen=True, kw_only=True)
class Jpeg:
    """A picture of a page."""

    data: bytes
    width_px: int
    height_px: int


@dataclass(frozen=True, kw_only=True)
class AtlasPage:
    """One pattern.

    Parameters
    ----------
    lesson : Lesson
        What is shown and what to see in it.
    photo, seen : Jpeg
        The card as photographed, and with what the tool found.
    answer : CardAgreement
        The tool's answer beside the truth.
    others : tuple of str
        What else is true about the card, in sentences.
    reason : str
        What decided, in the tool's words.
    """

    lesson: Lesson
    photo: Jpeg
    seen: Jpeg
    answer: CardAgreement
    others: tuple[str, ...]
    reason: str

    @property
    def agreement(self) -> Agrees:
        """Whether tool and truth agree about the card."""
        return self.answer.agreement

    @property
    def command(self) -> str:
        """Makes the picture again."""
        return self.lesson.request.command("page.jpg")

    @property
    def causes(self) -> tuple[str, ...]:
        """What it may come from, each as a sentence."""
        return tuple(f"{cause[0].upper()}{cause[1:]}." for cause in self.lesson.causes)

    @property
    def verdict_line(self) -> str:
        """Truth, tool and whether they agree, in a sentence or two."""
        true, verdict = self.answer.true_verdict, self.answer.verdict
        tool = "it was not read" if verdict == NOT_MEASURED else f"the tool says {verdict}"
        told = AGREEMENT[self.agreement]
        if self.agreement is Agrees.NO and verdict == true:
            told = "The verdict is right, but tool and truth differ in what is on the card."
        return f"By the truth this card should {true}; {tool}. {told}"

    @property
    def notes(self) -> tuple[str, ...]:
        """The tool's reason and what else is true, in sentences."""
        reason = (f"The tool's reason: {self.reason}.",) if self.reason else ()
        return (*reason, *self.others)


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

    def count(self, agreement: Agrees) -> int:
        """Count the pages on which tool and truth stand so."""
        return sum(page.agreement == agreement for page in self.pages)

    @property
    def tally(self) -> str:
        """How often tool and truth agree, as a sentence."""
        yes, undecided, no = (self.count(one) for one in Agrees)
        return (
            f"Of {len(self.pages)} cards tool and truth agree on {yes}, the tool leaves "
            f"{undecided} open, and they differ on {no}."
        )


def atlas_html(atlas: Atlas) -> str:
    """Write the atlas as one file: pictures, style and text inside, no script, no network.

    Parameters
    ----------
    atlas : Atlas
        The pages.

    Returns
    -------
    str
        One HTML document; it needs no other file.
    """
    return page_html(
        __package__,
        title=TITLE,
        about=ABOUT,
        how=HOW_TO_READ,
        columns=COLUMNS,
        row_texts=row_texts,
        atlas=atlas,
        kinds=KIND_IN_WORDS,
        signs=SIGNS,
        agreement=AGREEMENT,
        address=data_address,
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
