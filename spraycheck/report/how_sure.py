"""How sure a result is, line by line: centre, values, sheet, and what to doubt."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np

from spraycheck import flags
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.spec import PrintedFacts
from spraycheck.judge.assessment.pattern import turn_u_deg
from spraycheck.judge.findings import clock_position
from spraycheck.judge.layout import Assessment, Finding
from spraycheck.report.quality import quality_line
from spraycheck.report.summary import pattern_fits, signed
from spraycheck.stats.circular import wrap_180

_CENTRE_BY = {
    "axes": "from where the plume axes meet",
    "axes+ring": "from the plume axes and the ring of plumes",
    "ring": "from the ring of plumes",
}
_SAID_BY_FINDING = {
    flags.NO_SCALE: "no-scale",
    flags.NO_SHEET: "sheet-not-found",
    flags.SHEET_CROPPED: "sheet-cropped",
    flags.CENTRE_WIDE: "centre-uncertain",
    flags.MERGED: "plumes-merged",
}


def sure_lines(assessment: Assessment) -> list[str]:
    """Say how sure a photo's result is.

    Parameters
    ----------
    assessment : Assessment
        The judged photo.

    Returns
    -------
    list of str
        Sentences; each is a line of its own.
    """
    a = assessment
    return [
        _centre_line(a),
        *_value_lines(a),
        *_turn_lines(a),
        sheet_line(a.card),
        *filter(None, [quality_line(a)]),
        *_angle_lines(a),
        *_mark_lines(a),
        *_notes(a),
    ]


def printable(text: str) -> str:
    """Return a text from outside (a file's or a layout's name) with control characters made inert.

    A file name may hold escape sequences that would recolour or rewrite the terminal.
    """
    return "".join(c if c.isprintable() else "?" for c in text)


def _span(values: Iterable[float], unit: str, scale: float = 1.0, digits: int = 1) -> str:
    """Say the range of the finite values, for example ``± 0.8 to 1.2°``; empty without any."""
    known = [scale * v for v in values if math.isfinite(v)]
    if not known:
        return ""
    low, high = f"{min(known):.{digits}f}", f"{max(known):.{digits}f}"
    return f"± {low}{unit}" if low == high else f"± {low} to {high}{unit}"


def _centre_line(a: Assessment) -> str:
    radius = a.centre.u95_mm
    if a.card.scale_known:
        how = f"{radius:.1f} mm"
    else:
        at = np.array([a.centre.x_mm, a.centre.y_mm])
        how = f"{radius * a.card.px_per_mm(at):.0f} photo pixels"
    origin = _CENTRE_BY.get(a.centre.found_by, f"by {a.centre.found_by}")
    return f"Centre known to ± {how} (95 %), {origin}."


def _value_lines(a: Assessment) -> list[str]:
    lines = []
    direction = _span(a.catalogue.direction_u_deg.tolist(), "°")
    if direction:
        turn = a.catalogue.rotation_u_deg
        whole = f"; the whole pattern's turn ± {turn:.1f}°" if math.isfinite(turn) else ""
        lines.append(f"Directions {direction} against one another{whole}.")
    share = _span(a.catalogue.area_u_frac.tolist(), "%", 100.0)
    if share:
        lines.append(f"Shares of the whole wetted area {share}.")
    return lines


def _turn_lines(a: Assessment) -> list[str]:
    """Say how the whole pattern is turned, where the card was lined up with a feature."""
    feature = a.provenance.get("lined_up_with")
    if not feature or not a.holes:
        return []
    turn = wrap_180(a.holes[0].expected_deg - a.layout.azimuth_deg[a.holes[0].hole - 1])
    u = turn_u_deg(a.card, a.catalogue)
    limit = a.limits.rotation_deg
    allowed = f", limit {limit:.1f}°" if a.limits.held("rotation_deg") else ""
    return [
        f"12 o'clock on the card was lined up with the {printable(str(feature))}: the whole "
        f"pattern is turned by {signed(turn)}° (± {u:.1f}°{allowed})."
    ]


def sheet_line(card: RectifiedCard) -> str:
    """Say how the sheet was found and how large it is."""
    found = {
        "sheet": "Sheet found",
        "sheet-cropped": "Sheet found, partly outside the photo",
        "none": "No sheet edge found",
    }.get(card.found_by, f"Card found by {card.found_by}")
    if card.printed is not None:
        return _printed_line(card.printed)
    if not card.scale_known:
        return f"{found}; its size is not known."
    return f"{found}, {card.size_mm[0]:g} × {card.size_mm[1]:g} mm."


def _printed_line(facts: PrintedFacts) -> str:
    names = [f"{what} {printable(text)}" for what, text in
             (("job", facts.job), ("injector", facts.injector)) if text]  # fmt: skip
    whose = f" ({', '.join(names)})" if names else ""
    measured = math.isfinite(facts.printed_x_mm)
    scale = "its check line as measured" if measured else "its check line not measured"
    asked = f", not {printable(facts.sheet_asked)} as asked for" if facts.sheet_asked else ""
    return (
        f"Target card {facts.paper.upper()}{asked}{whose}: {facts.markers_seen} of "
        f"{facts.markers_total} markers, {facts.residual_mm:.2f} mm off; lengths "
        f"± {2 * facts.scale_u_frac:.1%}, {scale}. 12 o'clock is its index arrow."
    )


def _angle_lines(a: Assessment) -> list[str]:
    angles = a.angles
    if angles is None or not math.isfinite(angles.spray_angle_deg):
        return []
    text = (
        f"With the tip {angles.height_mm:g} ± {angles.height_u_mm:g} mm over the card: spray angle "
        f"{angles.spray_angle_deg:.0f} ± {angles.spray_angle_u_deg:.0f}°"
    )
    owner = {hole.plume: hole.hole for hole in a.holes if hole.plume is not None}
    each = []
    by_hole = sorted(range(len(angles.axis_angle_deg)), key=lambda k: owner.get(k + 1, 99))
    for k in by_hole:
        angle = angles.axis_angle_deg[k]
        wanted = angles.nominal_deg[k]
        asked = f" (layout {wanted:.1f})" if math.isfinite(wanted) else ""
        each.append(f"hole {owner.get(k + 1, '?')} {angle:.1f}{asked}")
    text += f"; from the nozzle axis, ± {max(angles.axis_angle_u_deg):.1f}°: {', '.join(each)}."
    if math.isfinite(angles.tilt_deg):
        text += (
            f" Nozzle {angles.tilt_deg:.1f} ± {angles.tilt_u_deg:.1f}° off square, spray leaning "
            f"towards {clock_position(angles.tilt_towards_deg)}."
        )
    return [text]


def _mark_lines(a: Assessment) -> list[str]:
    kinds = Counter(mark.kind for mark in a.segmentation.marks)
    if not kinds:
        return []
    named = ", ".join(f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in kinds.items())
    return [f"Also on the card, not counted as spray: {named}.".replace("splashs", "splashes")]


def flag_lines(noted: Iterable[str], findings: Sequence[Finding]) -> list[str]:
    """Say flags in plain words, each once.

    Parameters
    ----------
    noted : iterable of str
        Of the photo and of what was measured in it.
    findings : sequence of Finding
        What they say already is left out.
    """
    said = {finding.code for finding in findings}
    told = " ".join(finding.text for finding in findings)
    meanings = [
        flags.MEANING.get(flag, flag)
        for flag in dict.fromkeys(noted)
        if _SAID_BY_FINDING.get(flag) not in said
    ]
    return [f"{text[0].upper()}{text[1:]}." for text in meanings if text not in told]


def _notes(a: Assessment) -> list[str]:
    """Flags of the photo, then of single plumes."""
    notes = flag_lines(
        [
            *a.photo.flags,
            *a.card.flags,
            *a.wetness.flags,
            *a.centre.flags,
            *a.segmentation.flags,
        ],
        a.findings,
    )
    said = {finding.code for finding in a.findings}
    owner = {hole.plume: f"hole {hole.hole}" for hole in a.holes if pattern_fits(a)}
    for row, own in enumerate(a.catalogue.flags, start=1):
        for flag in own:
            if _SAID_BY_FINDING.get(flag) not in said:
                who = owner.get(row, f"plume {row}")
                notes.append(f"{who.capitalize()}: {flags.MEANING.get(flag, flag)}.")
    return notes
