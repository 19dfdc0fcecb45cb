"""What a kind of finding is, and the phrases that every step at the bench shares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.report.words.numbers import fields_of

ABOUT = ("hole", "card", "photo")

RELEASE: Final = "Release the pressure and read zero on the gauge first."
FRESH: Final = (
    "With the pressure released put in a fresh card; cover closed, give it one brisk full stroke"
)
FRESH_CARD: Final = "a fresh card (pressure released before opening)"


@dataclass(frozen=True, kw_only=True)
class FindingKind:
    """One kind of finding.

    Parameters
    ----------
    code : str
        Stable word, for example ``hole-blocked``; public for ever.
    title : str
        A few words, without numbers.
    about : str
        ``hole``, ``card`` or ``photo``.
    text : str
        What was found, with named fields (see `describe`); one or two sentences.
    causes : tuple of str
        What it may come from, as possibilities, likeliest first. Empty when nothing is wrong.
    next_step : str
        What to do, with named fields; whole sentences.
    """

    code: str
    title: str
    about: str
    text: str
    causes: tuple[str, ...]
    next_step: str

    def __post_init__(self) -> None:
        """Check the subject."""
        if self.about not in ABOUT:
            raise InputError(f"about {self.about!r}: expected one of {', '.join(ABOUT)}")

    @property
    def fields(self) -> frozenset[str]:
        """Names that `describe` needs for this kind, besides ``hole``."""
        return fields_of(f"{self.text} {self.next_step}") - {"hole"}
