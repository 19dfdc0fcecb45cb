"""Right and wrong: a trainee's answer scored by the truth of the card.

The trainee names places by the clock, as the findings do. A named place belongs to the hole or
stray jet nearest to it, counted from where that hole should spray as well as from where it does.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError
from spraycheck.train.quiz.kinds import QUIZ_KINDS

UNNAMED: Final = "unnamed"
"""A place called faulty without saying how."""

_CLOCK = re.compile(r"(1[0-2]|0?[1-9])(?::([0-5][0-9]))?")


@dataclass(frozen=True, kw_only=True)
class DrawnJet:
    """A hole's jet or a stray one, as drawn on the card.

    Parameters
    ----------
    hole : int
        From 1 in the order of the drawing; 0 for a stray jet.
    kind : str
        Its fault, empty for a healthy hole.
    severity : float
        Of the fault; infinite where it has no degrees, 0 for a healthy hole.
    expected_deg, direction_deg : float
        Where it should spray and where it does, clockwise from 12 o'clock; the second is NaN for
        a blocked hole, and the same as the first for a stray jet.
    """

    hole: int
    kind: str
    severity: float
    expected_deg: float
    direction_deg: float


@dataclass(frozen=True, kw_only=True)
class NamedPlace:
    """A place called faulty: ``kind`` of `QUIZ_KINDS` or `UNNAMED`, ``clock_deg`` clockwise."""

    kind: str
    clock_deg: float


@dataclass(frozen=True, kw_only=True)
class Score:
    """What was right about an answer.

    Parameters
    ----------
    verdict_right : bool
        Good called good or faulty called faulty.
    found : tuple of bool
        Per faulty jet, in order: whether its place was named.
    kind_right : tuple of bool
        Per faulty jet: whether its kind was named too.
    false_holes : int
        Healthy holes called faulty.
    false_stray : bool
        A stray jet was named and there is none.
    """

    verdict_right: bool
    found: tuple[bool, ...]
    kind_right: tuple[bool, ...]
    false_holes: int
    false_stray: bool

    @property
    def all_right(self) -> bool:
        """Nothing missed, nothing invented, every kind right."""
        clean = self.false_holes == 0 and not self.false_stray
        return self.verdict_right and clean and all(self.kind_right)


def score_answer(jets: Sequence[DrawnJet], verdict: str, named: Sequence[NamedPlace]) -> Score:
    """Hold an answer against the truth.

    Parameters
    ----------
    jets : sequence of DrawnJet
        All holes and stray jets of the card.
    verdict : str
        ``good`` or ``faulty``.
    named : sequence of NamedPlace
        The places called faulty.
    """
    faulty = [k for k, jet in enumerate(jets) if jet.kind]
    owners = [(owner(jets, one), one.kind) for one in named]
    hit = {place for place, _ in owners}
    kinds = {(place, kind) for place, kind in owners}
    healthy = {place for place in hit if place is not None and not jets[place].kind}
    return Score(
        verdict_right=verdict == ("faulty" if faulty else "good"),
        found=tuple(k in hit for k in faulty),
        kind_right=tuple((k, jets[k].kind) in kinds for k in faulty),
        false_holes=len(healthy),
        false_stray=any(place is None for place in hit),
    )


def owner(jets: Sequence[DrawnJet], named: NamedPlace) -> int | None:
    """Return the index of the jet a named place belongs to.

    None for a stray jet named where there is none: what is said to lie between the holes is not
    held against the nearest hole.
    """
    strays = [k for k, jet in enumerate(jets) if jet.hole == 0]
    if named.kind == "stray":
        return min(strays, key=lambda k: _away(jets[k], named.clock_deg), default=None)
    return min(range(len(jets)), key=lambda k: _away(jets[k], named.clock_deg), default=None)


def parse_places(text: str) -> tuple[NamedPlace, ...]:
    """Read places and kinds such as ``4 weak, 10:30 off-line``; a kind may be one letter.

    Raises
    ------
    InputError
        Nothing named, no such place on a clock, or an unknown kind.
    """
    found = []
    for part in re.split(r"[,;]", text.lower()):
        words = part.replace("o'clock", " ").replace("oclock", " ").split()
        if not words:
            continue
        times = [clock for word in words if (clock := _CLOCK.fullmatch(word))]
        kinds = [word for word in words if word[0].isalpha() and word not in ("at", "hole")]
        if len(times) != 1 or len(times) + len(kinds) > 2:
            raise InputError(
                f"{part.strip()!r}: expected a place on the clock and a kind, for example 4 weak"
            )
        word = kinds[0] if kinds else UNNAMED
        kind = next((k for k in (*QUIZ_KINDS, UNNAMED) if k.startswith(word.rstrip("."))), "")
        if not kind:
            raise InputError(f"{word!r}: expected one of {', '.join(QUIZ_KINDS)}")
        hours, minutes = int(times[0][1]) % 12, int(times[0][2] or 0)
        found.append(NamedPlace(kind=kind, clock_deg=30.0 * hours + 0.5 * minutes))
    if not found:
        raise InputError("no place named, expected for example: 4 weak, 10:30 off-line")
    return tuple(found)


def _away(jet: DrawnJet, clock_deg: float) -> float:
    """Return the angle between a named place and a jet."""
    places = [a for a in (jet.expected_deg, jet.direction_deg) if math.isfinite(a)]
    return min(abs((clock_deg - a + 180) % 360 - 180) for a in places)
