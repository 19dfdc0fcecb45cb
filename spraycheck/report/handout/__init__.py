"""The handout: one sheet for the wall beside the tester, for trainers and apprentices.

What stands on it is data, so that a test can read every word; `spraycheck.report.handout.pdf` sets
it and `spraycheck.report.handout.sketches` draws the patterns.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.judge.limits import Limits
from spraycheck.report.handout.sketches import PATTERNS, Pattern
from spraycheck.report.words import AID

PAPERS: Final = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Paper to width and height in mm (ISO 216; ANSI/ASME Y14.1 size A)."""

TITLE: Final = "Spray cards: make one safely, read it, judge it"

CAUTIONS: Final = (
    "From about 100 psi (7 bar) on a jet goes through skin, and through gloves; injectors open far "
    "above that. No hand, no rag and no hand-held card under a tip, ever.",
    "Fuel under the skin is a surgical emergency even when it does not hurt: to hospital at once, "
    "and name the fluid and the pressure.",
    "Eye protection on. Cover closed and hands out while spraying. Pressure released and zero on "
    "the gauge before you open or touch anything.",
    "Oil mist burns: air extracted; no flame, no spark, no hot lamp. Wet cards are combustible "
    "waste: metal bin, lid on.",
)
"""The pressure is that of hand-surgery texts (J. Clin. Med. 14 (2025) no. 1, art. 72)."""

MAKE: Final = (
    "Purge the air with no card in place, cover closed.",
    "Pressure released, zero on the gauge: lay a fresh card flat in the tray, on an oil-proof "
    "backing. Uncoated paper, 160 g/m² or more.",
    "Cover closed, hands out. One brisk full stroke; one shot per card.",
    "Release the pressure and read zero, then open.",
    "Carry the card away from tester, mist and lamps.",
)
PHOTOGRAPH: Final = (
    "After the same wait each time, about a minute.",
    "On a bench of another colour, the whole sheet with all four edges in the picture.",
    "From straight above, the sheet filling the picture.",
    "Even light: no flash, no shadow of yours, no lamp mirrored on the card.",
    "Tap the card to focus and hold still. Keep the original photo, not a messenger copy.",
)
LOOK: Final = (
    "Count the holes in the tip, then the streaks. Compare the dry gaps, then the streaks' sizes, "
    "each with more than one neighbour. Dashed: what a good hole leaves."
)


def _limits() -> str:
    limits = Limits()
    return (
        f"{limits.direction_deg:g}° out of line, {limits.area_low_ratio:.0%} to "
        f"{limits.area_high_ratio:.0%} of the area a hole should wet, {limits.stray_frac:.0%} "
        "stray spray"
    )


VERDICTS: Final = (
    (
        "pass",
        "Every hole is shown to be inside all its limits.",
        "Go on with opening pressure, seat and atomisation: this card says nothing of them.",
    ),
    (
        "fail",
        "At least one hole is shown to be outside a limit.",
        "Pressure released first: clean the way the maker allows, never widening a hole, and "
        "spray a fresh card. The same again: replace the nozzle.",
    ),
    (
        "recheck",
        "This photo can show neither.",
        "Not a soft pass. The report says why and what settles it: another photo, another shot.",
    ),
)
"""Verdict, what it means, what to do."""

AGREED: Final = (
    f"Usual limits: {_limits()}. They are settings to be agreed in the workshop, not a standard."
)


@dataclass(frozen=True, kw_only=True)
class Handout:
    """One page, ready to be set.

    Parameters
    ----------
    width_mm, height_mm : float
        Of the sheet.
    title : str
        On top.
    cautions, make, photograph : tuple of str
        What can hurt; steps to a card; steps to its photo.
    look : str
        How to look at a pattern.
    patterns : tuple of Pattern
        Good against bad.
    verdicts : tuple of (str, str, str)
        Verdict, meaning, what to do.
    agreed, aid : str
        What the limits are, and what a verdict is not.
    """

    width_mm: float
    height_mm: float
    title: str = TITLE
    cautions: tuple[str, ...] = CAUTIONS
    make: tuple[str, ...] = MAKE
    photograph: tuple[str, ...] = PHOTOGRAPH
    look: str = LOOK
    patterns: tuple[Pattern, ...] = PATTERNS
    verdicts: tuple[tuple[str, str, str], ...] = VERDICTS
    agreed: str = AGREED
    aid: str = AID


def compose_handout(paper: str = "a4") -> Handout:
    """Return the handout for a paper.

    Parameters
    ----------
    paper : str
        A key of `PAPERS`; capitals do not matter.

    Raises
    ------
    InputError
        Another paper.
    """
    size = PAPERS.get(paper.strip().lower())
    if size is None:
        raise InputError(
            f"paper {paper!r}: expected one of {', '.join(PAPERS)}", "for example --paper a4"
        )
    return Handout(width_mm=size[0], height_mm=size[1])
