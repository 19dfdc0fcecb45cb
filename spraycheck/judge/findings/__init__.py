"""The catalogue of findings: what each one is called, says, may come from and asks for next.

One table, read by the judgement (which fills in the numbers) and by every report (which prints
titles and likely causes), so that the same fault is told in the same words everywhere. Causes are
possibilities in the trade's words; the card shows where the fuel landed, never why.

Notes
-----
The advice is common practice at the test bench, from memory, no source; the order "pressure
released and zero read on the gauge, then open" stands in every step that opens or handles
anything, because a jet under pressure goes through skin.
"""

from __future__ import annotations

import math
import string
from collections.abc import Callable, Mapping
from typing import Any, Final

from spraycheck import flags
from spraycheck.errors import InputError
from spraycheck.judge.findings.axial import AXIAL_KINDS
from spraycheck.judge.findings.kinds import ABOUT, FindingKind
from spraycheck.judge.findings.patterns import PATTERN_KINDS
from spraycheck.judge.findings.photos import PHOTO_ADVICE, PHOTO_KINDS
from spraycheck.judge.findings.words import (
    REMEDIES_IN_WORDS,
    VALUES_IN_WORDS,
    doubt_in_words,
    figure,
    intermittent_in_words,
)
from spraycheck.judge.result import Finding, Kind, LimitCheck

__all__ = [
    "ABOUT",
    "AID",
    "CAUTION",
    "KINDS",
    "PHOTO_ADVICE",
    "FindingKind",
    "clock_position",
    "describe",
    "found_of",
    "needed",
    "text_of",
]

CAUTION: Final = (
    "The jet goes through skin, eyes and gloves. Cover closed and hands out while spraying; "
    "pressure released and zero on the gauge before opening; eye protection on. Injected fuel is "
    "a surgical emergency even if it does not hurt. Oil mist burns; wet cards are combustible "
    "waste."
)
"""The caution that goes with every result a person reads."""

AID: Final = (
    "This verdict is an aid, not a certificate. The maker's manual, local rules and licensed "
    "practice decide."
)
"""What a verdict does not mean; goes with every result a person reads."""

KINDS: Final[dict[str, FindingKind]] = {
    kind.code: kind for kind in (*PATTERN_KINDS, *AXIAL_KINDS, *PHOTO_KINDS)
}
"""Code to its words, one for every `Kind` and in the same order."""


def clock_position(direction_deg: float) -> str:
    """Say a direction as a clock position, to the nearest quarter of an hour (7.5 degrees).

    Parameters
    ----------
    direction_deg : float
        Clockwise from 12 o'clock.

    Returns
    -------
    str
        For example ``"4:30"``; the dial runs from 12:00 to 11:45. ``"unknown"`` for NaN.
    """
    if not math.isfinite(direction_deg):
        return "unknown"
    quarters = round(direction_deg / 7.5) % 48
    return f"{quarters // 4 or 12}:{quarters % 4 * 15:02d}"


class _Words(string.Formatter):
    """Fill templates; adds the formats ``clock``, ``turn``, ``meaning`` and ``advice``."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec in ("meaning", "advice"):
            table = flags.MEANING if format_spec == "meaning" else PHOTO_ADVICE
            if value not in PHOTO_ADVICE:
                known = ", ".join(PHOTO_ADVICE)
                raise InputError(f"flag {value!r}: expected one of {known}")
            return table[value]
        if isinstance(value, float) and math.isnan(value):
            return "unknown"
        if format_spec == "clock":
            position = clock_position(float(value))
            hour, _, minutes = position.partition(":")
            return f"{hour} o'clock" if minutes == "00" else f"{position} on the clock"
        if format_spec == "turn":
            word = "clockwise" if value >= 0 else "anticlockwise"
            return f"{abs(value):.1f}° {word}"
        return str(super().format_field(value, format_spec))


def _unsure(finding: Finding) -> dict[str, Any]:
    given = finding.fields
    shots: Any = given["shots"]
    doubt: Any = given["doubt"]
    remedy: Any = given["remedy"]
    return {
        "photos": "these photos" if shots > 1 else "this photo",
        "reason": doubt_in_words(doubt, str(given["of"]), shots),
        "settle": REMEDIES_IN_WORDS[remedy],
    }


def _intermittent(finding: Finding) -> dict[str, Any]:
    given: Mapping[str, Any] = finding.fields
    return {"state": given["state"], "seen": intermittent_in_words(**given)}


def _unmatched(finding: Finding) -> dict[str, Any]:
    doubts: Any = finding.fields["doubts"]
    return {"note": "; ".join(doubt_in_words(doubt) for doubt in doubts)}


def _axial_unsure(finding: Finding) -> dict[str, Any]:
    check = finding.check
    if check is None:
        return {}
    words = {"value": check.value, "u": check.u, "limit": check.allowed}
    told = {name: figure(check.limit, value) for name, value in words.items()}
    return {"what": VALUES_IN_WORDS[check.limit], **told}


_DERIVED: Final[dict[Kind, tuple[frozenset[str], Callable[[Finding], dict[str, Any]]]]] = {
    Kind.HOLE_UNSURE: (frozenset({"doubt", "remedy", "of", "shots"}), _unsure),
    Kind.HOLE_INTERMITTENT: (
        frozenset({"state", "faulty", "sound", "followed"}),
        _intermittent,
    ),
    Kind.SHOTS_UNMATCHED: (frozenset({"doubts"}), _unmatched),
    Kind.AXIAL_UNSURE: (frozenset(), _axial_unsure),
}
"""Kinds whose words do not stand for their fields one by one: what they need, and how the words
follow."""

_OF_CHECK: Final = {"value": "value", "u": "u", "limit": "allowed"}
"""Names in the catalogue that a check fills."""


def needed(kind: str) -> frozenset[str]:
    """Return the fields that a finding of a kind needs where it has no check."""
    derived = _DERIVED.get(Kind(kind))
    return KINDS[kind].fields if derived is None else derived[0]


def describe(
    kind: str, hole: int = 0, *, check: LimitCheck | None = None, **fields: object
) -> Finding:
    """Make a finding, and refuse one that the catalogue has no words for.

    Parameters
    ----------
    kind : str
        A member of `Kind`, or its value.
    hole : int
        From 1 for a kind about a hole, 0 otherwise.
    check : LimitCheck, optional
        The value and the limit behind it; it fills ``value``, ``u`` and ``limit``.
    **fields
        Exactly the other names in ``KINDS[kind].fields``. Angles in degrees, ratios and shares as
        fractions (0.6 is printed as 60 %), uncertainties expanded (95 %); NaN is printed as
        "unknown". ``flag`` is one of the keys of `PHOTO_ADVICE`.

    Raises
    ------
    InputError
        Unknown kind or flag, a missing or unknown field, or a hole number that does not suit.
    """
    if kind not in KINDS:
        raise InputError(f"finding {kind!r}: expected one of {', '.join(KINDS)}")
    finding = Finding(kind=Kind(kind), hole=hole, fields=fields, check=check)
    text_of(finding)
    return finding


def text_of(finding: Finding) -> str:
    """Say what was found and what to do.

    Raises
    ------
    InputError
        As `describe`.
    """
    return " ".join(_parts(finding))


def found_of(finding: Finding) -> str:
    """Say what was found, without what to do."""
    return _parts(finding)[0]


def _parts(finding: Finding) -> tuple[str, str]:
    kind = KINDS[finding.kind]
    wanted = needed(finding.kind)
    filled: dict[str, Any] = {}
    if finding.check is not None:
        filled = {
            name: getattr(finding.check, of)
            for name, of in _OF_CHECK.items()
            if name in kind.fields
        }
        wanted = wanted - filled.keys()
    if finding.fields.keys() != wanted:
        raise InputError(
            f"finding {finding.code}: expected the fields {', '.join(sorted(wanted)) or 'none'}, "
            f"got {', '.join(sorted(finding.fields)) or 'none'}"
        )
    hole = finding.hole
    if (kind.about == "hole") != (hole >= 1) or hole < 0:
        expected = "a hole number from 1" if kind.about == "hole" else "hole 0"
        raise InputError(f"finding {finding.code}: expected {expected}, got {hole}")
    derived = _DERIVED.get(finding.kind)
    said = {**filled, **finding.fields, **(derived[1](finding) if derived else {})}
    words = _Words()
    return (
        words.format(kind.text, hole=hole, **said),
        words.format(kind.next_step, hole=hole, **said),
    )
