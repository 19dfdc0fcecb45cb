"""The catalogue of findings: what each one is called, says, may come from and asks for next.

One table, read by every report, so that the same fault is told in the same words everywhere; the
judgement gives kind and fields. Causes are possibilities in the trade's words; the card shows
where the fuel landed, never why.

Notes
-----
The advice is common practice at the test bench, from memory, no source; the order "pressure
released and zero read on the gauge, then open" stands in every step that opens or handles
anything, because a jet under pressure goes through skin.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from spraycheck.errors import InputError
from spraycheck.judge.checks import waived
from spraycheck.judge.result import Doubt, Finding, Hole, HoleState, Kind, LimitCheck, Matching
from spraycheck.report.words.axial import AXIAL_KINDS
from spraycheck.report.words.kinds import FindingKind
from spraycheck.report.words.labels import DOUBTS, FLAGS, REMEDIES, STATES, VALUES
from spraycheck.report.words.numbers import fill, number, percent, signed
from spraycheck.report.words.patterns import PATTERN_KINDS
from spraycheck.report.words.photos import PHOTO_ADVICE, PHOTO_KINDS
from spraycheck.report.words.sentences import listed

KINDS: Final[dict[str, FindingKind]] = {
    kind.code: kind for kind in (*PATTERN_KINDS, *AXIAL_KINDS, *PHOTO_KINDS)
}
"""Code to its words, one for every `Kind` and in the same order."""

AS_NUMBER: Final = frozenset(
    ("ellipse_low_ratio", "form_factor_low_ratio", "core_hollow_ratio", "core_filled_ratio")
)
"""Limits of an axial spray that are written as plain numbers; the other shares as percentages."""

Told = tuple[str, HoleState, float]
"""A photo's name, a hole's state on it, and the value that its fault is about."""


def figure(limit: str, value: float, *, digits: int = 0) -> str:
    """Write a value of an axial spray the way its limit is written; ``digits`` are of angles."""
    if limit.endswith("_deg"):
        return f"{number(value, f'.{digits}f')}°"
    return number(value, ".2f") if limit in AS_NUMBER else percent(value)


def doubt_text(doubt: Doubt, limit: str = "", shots: int = 1) -> str:
    """Say why something cannot be told.

    Parameters
    ----------
    doubt : Doubt
        Why.
    limit : str
        Of the value that is doubted, where it is one.
    shots : int
        How many photos were judged together.
    """
    many = "even for all photos together" if shots > 1 else "for this photo"
    return fill(DOUBTS[doubt], what=VALUES.get(limit, "value"), photos=many)


def hole_reason(hole: Hole, shots: int = 1) -> str:
    """Say why a hole is unsure; empty where it is not."""
    if not hole.doubts:
        return ""
    return doubt_text(hole.doubts[0], hole.check.limit if hole.check else "", shots)


def matching_reason(matching: Matching) -> str:
    """Say why holes could not be matched surely; empty where they could."""
    return "; ".join(doubt_text(doubt) for doubt in matching.doubts)


def check_reason(check: LimitCheck) -> str:
    """Say why a check is not asked; empty where it is."""
    return doubt_text(check.doubts[0]) if waived(check.doubts) else ""


def title_of(finding: Finding) -> str:
    """Return a finding's title."""
    return KINDS[finding.code].title


def text_of(finding: Finding) -> str:
    """Say what was found and what to do.

    Raises
    ------
    InputError
        As `describe`.
    """
    return " ".join(both_texts(finding))


def both_texts(finding: Finding) -> tuple[str, str]:
    """Say what was found, and what to do.

    Raises
    ------
    InputError
        As `describe`.
    """
    kind, fields = KINDS[finding.code], _fields(finding)
    found = fill(kind.text, hole=finding.hole, **fields)
    return found, fill(kind.next_step, hole=finding.hole, **fields)


def found_text(finding: Finding) -> str:
    """Say what was found, without what to do."""
    return both_texts(finding)[0]


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


def _fields(finding: Finding) -> dict[str, Any]:
    """Return everything that a finding's words are filled with, checked."""
    kind = KINDS[finding.code]
    wanted = needed(finding.code)
    filled: dict[str, Any] = {}
    if finding.check is not None:
        of_check = {name: getattr(finding.check, of) for name, of in _OF_CHECK.items()}
        filled = {name: value for name, value in of_check.items() if name in kind.fields}
        wanted = wanted - filled.keys()
    if finding.fields.keys() != wanted:
        raise InputError(
            f"finding {finding.code}: expected the fields {', '.join(sorted(wanted)) or 'none'}, "
            f"got {', '.join(sorted(finding.fields)) or 'none'}"
        )
    if (kind.about == "hole") != (finding.hole >= 1) or finding.hole < 0:
        expected = "a hole number from 1" if kind.about == "hole" else "hole 0"
        raise InputError(f"finding {finding.code}: expected {expected}, got {finding.hole}")
    derived = _DERIVED.get(finding.kind)
    return {**filled, **finding.fields, **(derived[1](finding) if derived else {})}


def _unsure(finding: Finding) -> dict[str, Any]:
    given: Mapping[str, Any] = finding.fields
    return {
        "photos": "these photos" if given["shots"] > 1 else "this photo",
        "reason": doubt_text(given["doubt"], str(given["of"]), given["shots"]),
        "settle": REMEDIES[given["remedy"]],
    }


def _intermittent(finding: Finding) -> dict[str, Any]:
    given: Mapping[str, Any] = finding.fields
    return {"state": STATES[given["state"]], "seen": _seen(**given)}


def _seen(state: HoleState, faulty: Sequence[Told], sound: Sequence[Told], followed: bool) -> str:
    """Say on which photos a hole is faulty and on which it is sound."""
    first = f"{_value(state, faulty[0])} on {listed([name for name, _, _ in faulty])}"
    if not followed:
        names = listed([name for name, _, _ in sound])
        return f"{first} (numbered as there), but nothing like it shows on {names}"
    return f"{first}, but {listed([f'{_value(state, one)} on {one[0]}' for one in sound])}"


def _value(state: HoleState, told: Told) -> str:
    _, own, value = told
    if own is HoleState.BLOCKED:
        return STATES[own]
    text = f"{signed(value)}°" if state is HoleState.OFF_LINE else percent(value)
    return f"{STATES[own]} ({text})" if own.faulty else text


def _unmatched(finding: Finding) -> dict[str, Any]:
    doubts: Any = finding.fields["doubts"]
    return {"note": "; ".join(doubt_text(doubt) for doubt in doubts)}


def _axial_unsure(finding: Finding) -> dict[str, Any]:
    check = finding.check
    if check is None:
        return {}
    told = {"value": check.value, "u": check.u, "limit": check.allowed}
    return {
        "what": VALUES[check.limit],
        **{name: figure(check.limit, value) for name, value in told.items()},
    }


def _poor(finding: Finding) -> dict[str, Any]:
    flag = finding.fields["flag"]
    if flag not in PHOTO_ADVICE:
        raise InputError(f"flag {flag!r}: expected one of {', '.join(PHOTO_ADVICE)}")
    return {"meaning": FLAGS[str(flag)], "advice": PHOTO_ADVICE[str(flag)]}


_DERIVED: Final[dict[Kind, tuple[frozenset[str], Callable[[Finding], dict[str, Any]]]]] = {
    Kind.HOLE_UNSURE: (frozenset({"doubt", "remedy", "of", "shots"}), _unsure),
    Kind.HOLE_INTERMITTENT: (
        frozenset({"state", "faulty", "sound", "followed"}),
        _intermittent,
    ),
    Kind.SHOTS_UNMATCHED: (frozenset({"doubts"}), _unmatched),
    Kind.AXIAL_UNSURE: (frozenset(), _axial_unsure),
    Kind.PHOTO_POOR: (frozenset({"flag"}), _poor),
}
"""Kinds whose words do not stand for their fields one by one: what they need, and how the words
follow."""

_OF_CHECK: Final = {"value": "value", "u": "u", "limit": "allowed"}
"""Names in the catalogue that a check fills."""
