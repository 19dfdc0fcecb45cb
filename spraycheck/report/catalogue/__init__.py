"""The catalogue of findings as a person reads it: every code, grouped, in plain words.

One set of entries, told three ways: `catalogue_text` for a terminal, `catalogue_html` and
`catalogue_pdf` as a page to keep.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.report.catalogue.examples import blanked, example_text
from spraycheck.report.page_template import page_html
from spraycheck.report.words.axial import AXIAL_KINDS
from spraycheck.report.words.findings import KINDS
from spraycheck.report.words.kinds import FindingKind
from spraycheck.report.words.labels import FLAGS
from spraycheck.report.words.patterns import PATTERN_KINDS
from spraycheck.report.words.photos import PHOTO_ADVICE, PHOTO_KINDS

TITLE: Final = "Findings: meaning, possible causes, next step"

ABOUT: Final = (
    "A card shows where the fuel landed, never why. Causes are possibilities, the likeliest first. "
    "The numbers in the sentences are invented examples; a report fills in its own."
)

NO_CAUSE: Final = "It says nothing against the nozzle."
"""For a finding that has no causes: nothing need be wrong."""

MAY: Final = "Possible causes"
NEXT: Final = "Next"


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One finding.

    Parameters
    ----------
    code, title : str
        The stable word, and what it is called.
    example : str
        As a report says it, with invented numbers.
    causes : tuple of str
        Possibilities, likeliest first; empty where nothing need be wrong.
    next_step : str
        What to do; empty where it depends on ``cases``.
    cases : tuple of (str, str)
        What it can be, and what to do then; empty for most.
    """

    code: str
    title: str
    example: str
    causes: tuple[str, ...]
    next_step: str
    cases: tuple[tuple[str, str], ...] = ()

    @property
    def causes_line(self) -> str:
        """The causes as a sentence that leaves them open."""
        if not self.causes:
            return NO_CAUSE
        return f"{MAY}: {'; or '.join(self.causes)}."


@dataclass(frozen=True, kw_only=True)
class Group:
    """Entries about one thing, in the catalogue's order of importance."""

    title: str
    entries: tuple[Entry, ...]


_GROUPS: Final = (
    ("One hole", [kind for kind in PATTERN_KINDS if kind.about == "hole"]),
    ("The whole pattern", [kind for kind in PATTERN_KINDS if kind.about != "hole"]),
    ("Pintle and single-hole nozzles", AXIAL_KINDS),
    ("The photo and the sheet", PHOTO_KINDS),
)


def catalogue(asked: Iterable[str] = ()) -> tuple[Group, ...]:
    """Return the catalogue.

    Parameters
    ----------
    asked : iterable of str
        Codes, or first words of codes (``hole``, ``photo``), to keep; all when empty.

    Raises
    ------
    InputError
        No code is or begins so; the closest are offered.
    """
    wanted = [code.strip().lower() for code in asked]
    for word in wanted:
        if not any(_fits(code, word) for code in KINDS):
            close = difflib.get_close_matches(word, KINDS, n=3, cutoff=0.5)
            hint = f"did you mean {' or '.join(close)}?" if close else ""
            raise InputError(
                f"there is no finding {word!r}, expected a code such as hole-weak",
                hint or "spraycheck findings lists them all",
            )
    groups = (
        Group(title=title, entries=tuple(_entry(kind) for kind in _kept(kinds, wanted)))
        for title, kinds in _GROUPS
    )
    return tuple(group for group in groups if group.entries)


def catalogue_html(groups: Sequence[Group], *, made_with: str) -> str:
    """Write the catalogue as one page: style and text inside, no script, no network.

    Parameters
    ----------
    groups : sequence of Group
        From `catalogue`.
    made_with : str
        Package version, for the record.

    Returns
    -------
    str
        One HTML document; it needs no other file.
    """
    return page_html(
        __package__,
        title=TITLE,
        about=ABOUT,
        groups=groups,
        may=MAY,
        next=NEXT,
        no_cause=NO_CAUSE,
        made_with=made_with,
    )


def _kept(kinds: Sequence[FindingKind], wanted: Sequence[str]) -> list[FindingKind]:
    return [k for k in kinds if not wanted or any(_fits(k.code, word) for word in wanted)]


def _fits(code: str, word: str) -> bool:
    return code == word or code.startswith(f"{word}-")


def _entry(kind: FindingKind) -> Entry:
    cases: tuple[tuple[str, str], ...] = ()
    step = blanked(kind.next_step)
    if kind.code == "photo-poor":
        cases = tuple((_sentence(FLAGS[flag]), text) for flag, text in PHOTO_ADVICE.items())
        step = ""
    elif kind.code == "hole-unsure":
        step = (
            "Do what the report names as the cheapest way to settle it: another photo of this "
            "card, another shot, the whole card in the picture, or a printed target card."
        )
    return Entry(
        code=kind.code,
        title=kind.title,
        example=example_text(kind.code),
        causes=kind.causes,
        next_step=step,
        cases=cases,
    )


def _sentence(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}."
