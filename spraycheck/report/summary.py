"""The few sentences every report shares: counts of states, and the verdict's reason in one line."""

from __future__ import annotations

import math
from collections.abc import Sequence

from spraycheck import flags
from spraycheck.judge.findings import KINDS
from spraycheck.judge.layout import STATES, Assessment, Finding, Hole
from spraycheck.judge.limits import LimitSet, limit_fields

_NOT_A_FAULT = ("clear", "unsure")
_GRAVITY = ("blocked", "off-line", "weak", "heavy", "misshapen")
_NO_PATTERN = ("count-does-not-fit", "mirrored-layout")


def count_states(holes: Sequence[Hole]) -> dict[str, int]:
    """Count the holes in each state, in the order of `STATES`, leaving out states without any."""
    counts = {state: sum(hole.state == state for hole in holes) for state in STATES}
    return {state: count for state, count in counts.items() if count}


def pattern_fits(assessment: Assessment) -> bool:
    """Tell whether plumes could be allotted to holes at all.

    When not, the report lists the plumes as they lie, without holes.
    """
    return not any(f.code in _NO_PATTERN for f in assessment.findings)


def count_in_words(assessment: Assessment) -> str:
    """Say how many holes are clear, or how many plumes there are when they fit no pattern."""
    if not pattern_fits(assessment):
        found = len(assessment.catalogue)
        return f"{found} plume{'' if found == 1 else 's'}, not {len(assessment.layout)}"
    holes = assessment.holes
    return f"{sum(hole.state == 'clear' for hole in holes)} of {len(holes)} clear"


def name_hole(hole: Hole) -> str:
    """Say a hole with its state and the number that speaks for it, for example ``hole 3 weak``."""
    if hole.state in ("weak", "heavy"):
        return f"hole {hole.hole} {hole.state} ({hole.area_ratio:.0%})"
    if hole.state == "off-line":
        return f"hole {hole.hole} off-line ({abs(hole.deviation_deg):.0f}°)"
    return f"hole {hole.hole} {hole.state}"


def signed(value: float) -> str:
    """Write an angle with its sign and one decimal; ``-`` for NaN, no sign on zero."""
    if not math.isfinite(value):
        return "-"
    text = f"{value:+.1f}"
    return "0.0" if text in ("-0.0", "+0.0") else text


def explain_verdict(assessment: Assessment) -> list[str]:
    """List what decided the verdict, most important first, in a few words each.

    Parameters
    ----------
    assessment : Assessment
        The judged photo.

    Returns
    -------
    list of str
        Never empty. A line of them reads well when joined by semicolons.
    """
    holes = assessment.holes
    if assessment.verdict == "pass":
        return _pass_in_numbers(assessment)
    faults = _faults_in_words([hole for hole in holes if hole.state not in _NOT_A_FAULT])
    unsure = [str(hole.hole) for hole in holes if hole.state == "unsure"]
    whole = [title_of(f).lower() for f in assessment.findings if f.hole == 0]
    if assessment.verdict == "fail":
        if assessment.strays:
            faults.append(KINDS["stray-spray"].title.lower())
        return faults or whole or ["see the findings"]
    if unsure:
        whole.insert(0, f"hole{'s' if len(unsure) > 1 else ''} {', '.join(unsure)} unsure")
    decisive = [w for w in whole if w not in _HARMLESS]
    if not pattern_fits(assessment):  # no holes to speak of
        return [w for w in decisive if "unsure" not in w]
    return decisive + faults or ["too close to a limit to tell"]


def title_of(finding: Finding) -> str:
    """Return a finding's title; the code itself for one the catalogue does not know."""
    kind = KINDS.get(finding.code)
    return kind.title if kind else finding.code.replace("-", " ").capitalize()


def _faults_in_words(faulty: Sequence[Hole]) -> list[str]:
    """Name one or two faulty holes with their numbers, more of them by state."""
    if len(faulty) <= 2:
        return [name_hole(hole) for hole in faulty]
    parts = []
    for state in _GRAVITY:
        numbers = [str(hole.hole) for hole in faulty if hole.state == state]
        if numbers:
            parts.append(f"{', '.join(numbers)} {state}")
    parts[0] = f"holes {parts[0]}"
    return parts


def shared_plumes(assessment: Assessment) -> frozenset[int]:
    """Return the ids of plumes that stand for more than one hole, or are flagged as merged."""
    plumes = [hole.plume for hole in assessment.holes if hole.plume is not None]
    return frozenset(
        plume
        for plume in plumes
        if plumes.count(plume) > 1 or flags.MERGED in assessment.catalogue.flags[plume - 1]
    )


def _pass_in_numbers(assessment: Assessment) -> list[str]:
    holes = assessment.holes
    turns = [abs(h.deviation_deg) for h in holes if math.isfinite(h.deviation_deg)]
    ratios = [h.area_ratio for h in holes if math.isfinite(h.area_ratio)]
    parts = [title_of(f).lower() for f in assessment.findings if f.code != "no-scale"]
    if turns:
        parts.append(f"off by {max(turns):.1f}° at most")
    if ratios:
        parts.append(f"holes wet {min(ratios):.0%} to {max(ratios):.0%}")
    return parts or [count_in_words(assessment)]


_HARMLESS = frozenset(KINDS[code].title.lower() for code in ("no-scale", "centre-drip"))
"""Findings that never decide a verdict."""


def limits_in_words(limits: LimitSet) -> str:
    """Name a set of limits and say every limit in it, those that are off last."""
    names = [one.name for one in limit_fields(type(limits))]
    held = [name for name in names if limits.held(name)]
    said = []
    for name in held:
        value = _of_limit(limits, name)
        high = name.replace("_low_", "_high_")
        if high != name and high in held:
            value += f" to {_of_limit(limits, high)}"
        elif name.replace("_high_", "_low_") in held and "_high_" in name:
            continue  # said with its lower end
        else:
            side = "at least " if "_low_" in name else "at most " if "_high_" in name else ""
            value = side + value
        said.append(f"{_plain_name(name)} {value}")
    off = [
        ("smallest " if "_low_" in name else "largest " if "_high_" in name else "")
        + _plain_name(name)
        for name in names
        if name not in held
    ]
    return f"{limits.name}: {', '.join(said)}" + (f"; not held: {', '.join(off)}" if off else "")


def _plain_name(limit: str) -> str:
    """Return the words of a limit's name, without its unit."""
    return limit.rsplit("_", 1)[0].replace("_low", "").replace("_high", "").replace("_", " ")


def _of_limit(limits: LimitSet, name: str) -> str:
    value = getattr(limits, name)
    match limits.unit(name):
        case "deg":
            return f"{value:g}°"
        case "ratio" | "share" | "probability":
            return f"{100 * value:.3g}%"
        case unit:
            return f"{value:g} {unit}"
