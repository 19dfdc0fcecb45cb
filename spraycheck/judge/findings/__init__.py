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
from collections.abc import Iterable
from typing import Any, Final

from spraycheck import flags
from spraycheck.errors import InputError
from spraycheck.judge.findings.central import CENTRAL_KINDS
from spraycheck.judge.findings.kinds import ABOUT, FindingKind
from spraycheck.judge.findings.patterns import PATTERN_KINDS
from spraycheck.judge.findings.photos import PHOTO_ADVICE, PHOTO_KINDS
from spraycheck.judge.layout import Evidence, Finding

__all__ = [
    "ABOUT",
    "AID",
    "CAUTION",
    "KINDS",
    "PHOTO_ADVICE",
    "FindingKind",
    "clock_position",
    "describe",
    "most_important_first",
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
    kind.code: kind for kind in (*PATTERN_KINDS, *CENTRAL_KINDS, *PHOTO_KINDS)
}
"""Code to its kind; the order is the order of importance."""


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


def describe(
    code: str, hole: int = 0, *, evidence: Evidence | None = None, **fields: object
) -> Finding:
    """Make the finding of a kind, with its numbers filled in.

    Parameters
    ----------
    code : str
        A key of `KINDS`.
    hole : int
        From 1 for a kind about a hole, 0 otherwise.
    evidence : Evidence, optional
        The value and the limit behind it.
    **fields
        Exactly the names in ``KINDS[code].fields``. Angles in degrees, ratios and shares as
        fractions (0.6 is printed as 60 %), uncertainties expanded (95 %); NaN is printed as
        "unknown". ``flag`` is one of the keys of `PHOTO_ADVICE`.

    Returns
    -------
    Finding
        Its text says what was found and what to do.

    Raises
    ------
    InputError
        Unknown code or flag, a missing or unknown field, or a hole number that does not suit.
    """
    kind = KINDS.get(code)
    if kind is None:
        raise InputError(f"finding {code!r}: expected one of {', '.join(KINDS)}")
    if fields.keys() != kind.fields:
        raise InputError(
            f"finding {code}: expected the fields {', '.join(sorted(kind.fields)) or 'none'}, got "
            f"{', '.join(sorted(fields)) or 'none'}"
        )
    if (kind.about == "hole") != (hole >= 1) or hole < 0:
        wanted = "a hole number from 1" if kind.about == "hole" else "hole 0"
        raise InputError(f"finding {code}: expected {wanted}, got {hole}")
    words = _Words()
    found = words.format(kind.text, hole=hole, **fields)
    advice = words.format(kind.next_step, hole=hole, **fields)
    return Finding(code=code, hole=hole, text=f"{found} {advice}", evidence=evidence)


def most_important_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Sort findings by the catalogue's order, then by hole; unknown codes go last."""
    rank = {code: i for i, code in enumerate(KINDS)}
    return tuple(sorted(findings, key=lambda f: (rank.get(f.code, len(rank)), f.hole)))
