"""What a reader is told of one photo of a nozzle with holes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Final

import numpy as np

from spraycheck import flags
from spraycheck.judge.result import Hole, HoleState, Kind, Result, SprayAngles, Verdict
from spraycheck.report.looks import LOOKS
from spraycheck.report.model.parts import (
    WIDEST,
    Cell,
    Headline,
    Picture,
    ReportModel,
    Row,
    Table,
    column,
)
from spraycheck.report.model.shared import (
    SAID_BY_FINDING,
    brief_value,
    flag_lines,
    hole_in_words,
    limits_line,
    lowered,
    quality_lines,
    sheet_line,
    told_findings,
)
from spraycheck.report.words.findings import KINDS, title_of
from spraycheck.report.words.labels import CENTRES, FLAGS, SPOTS, STATES, VERDICTS
from spraycheck.report.words.numbers import (
    UNKNOWN,
    clock_position,
    number,
    percent,
    printable,
    signed,
)
from spraycheck.report.words.sentences import say, say_count
from spraycheck.stats.circular import wrap_180

_GRAVEST: Final = (HoleState.BLOCKED, HoleState.OFF_LINE)
GRAVEST_FIRST: Final = (
    *_GRAVEST,
    *(state for state in HoleState if state.faulty and state not in _GRAVEST),
)
"""Faulty states in the order in which they are told."""

_NO_PATTERN: Final = (Kind.COUNT_DOES_NOT_FIT, Kind.MIRRORED_LAYOUT)
_HARMLESS: Final = (Kind.NO_SCALE, Kind.CENTRE_DRIP)
"""Findings that never decide a verdict."""

_DECISIVE: Final = {
    **dict.fromkeys((HoleState.WEAK, HoleState.HEAVY, HoleState.BLOCKED), "wets"),
    HoleState.OFF_LINE: "off",
}
"""State to the column that shows its value."""


def build_holes(result: Result) -> ReportModel:
    """Return what a reader is told of one photo."""
    name = printable(result.nozzle.name)
    file = printable(result.photo.file)
    about = say("file-against", file=file, name=name) if name else file
    return ReportModel(
        headline=Headline(
            verdict=result.verdict,
            title=VERDICTS[result.verdict],
            count=count_in_words(result),
            reasons=tuple(explain_verdict(result)),
            about=about if file or not name else say("against", name=name),
        ),
        tables=(_hole_table(result) if pattern_fits(result) else _plume_table(result),),
        findings=told_findings(result.findings),
        certainty=(
            _centre_line(result),
            *_value_lines(result),
            *_turn_lines(result),
            sheet_line(result.card),
            *quality_lines(result.quality, scale_known=result.card.scale_known),
            *_angle_lines(result.angles, result.holes),
            *_spot_lines(result),
            *_flag_notes(result),
            limits_line(result.limits),
        ),
        pictures=(Picture(caption=say("picture-result"), shows=result),),
    )


# -- headline ------------------------------------------------------------------------------------


def count_states(holes: Sequence[Hole]) -> dict[HoleState, int]:
    """Count the holes in each state, in the order of `HoleState`, without those that have none."""
    counts = {state: sum(hole.state is state for hole in holes) for state in HoleState}
    return {state: count for state, count in counts.items() if count}


def pattern_fits(result: Result) -> bool:
    """Tell whether plumes could be allotted to holes at all.

    When not, the report lists the plumes as they lie, without holes.
    """
    return not any(finding.kind in _NO_PATTERN for finding in result.findings)


def count_in_words(result: Result) -> str:
    """Say how many holes are clear, or how many plumes there are when they fit no pattern."""
    if not pattern_fits(result):
        expected = len(result.layout.azimuth_deg)
        return say_count("plumes-not", len(result.catalogue), expected=expected)
    clear = sum(hole.state is HoleState.CLEAR for hole in result.holes)
    return say("clear", clear=clear, holes=len(result.holes))


def explain_verdict(result: Result) -> list[str]:
    """List what decided the verdict, most important first, in a few words each.

    Parameters
    ----------
    result : Result
        Of one photo of a nozzle with holes.

    Returns
    -------
    list of str
        Never empty. A line of them reads well when joined by semicolons.
    """
    if result.verdict is Verdict.PASS:
        return _pass_in_numbers(result)
    faults = _faults_in_words([hole for hole in result.holes if hole.state.faulty])
    unsure = [str(hole.hole) for hole in result.holes if hole.state is HoleState.UNSURE]
    of_card = [finding for finding in result.findings if finding.hole == 0]
    if result.verdict is Verdict.FAIL:
        if result.strays:
            faults.append(lowered(KINDS[Kind.STRAY_SPRAY].title))
        return faults or [lowered(title_of(f)) for f in of_card] or [say("see-findings")]
    decisive = [lowered(title_of(f)) for f in of_card if f.kind not in _HARMLESS]
    if not pattern_fits(result):  # no holes to speak of
        return decisive
    if unsure:
        decisive.insert(0, holes_in_words(unsure, STATES[HoleState.UNSURE]))
    return decisive + faults or [say("near-limit")]


def holes_in_words(numbers: Sequence[str], what: str) -> str:
    """Say which holes are what, for example ``holes 2, 5 blocked``."""
    return say_count("holes-state", len(numbers), holes=", ".join(numbers), state=what)


def _faults_in_words(faulty: Sequence[Hole]) -> list[str]:
    """Name one or two faulty holes with their numbers, more of them by state."""
    if len(faulty) <= 2:
        return [hole_in_words(hole) for hole in faulty]
    parts: list[str] = []
    for state in GRAVEST_FIRST:
        numbers = [str(hole.hole) for hole in faulty if hole.state is state]
        if numbers and parts:
            parts.append(say("more-holes-state", holes=", ".join(numbers), state=STATES[state]))
        elif numbers:
            parts.append(say("holes-state.many", holes=", ".join(numbers), state=STATES[state]))
    return parts


def _pass_in_numbers(result: Result) -> list[str]:
    turns = [abs(h.deviation_deg) for h in result.holes if math.isfinite(h.deviation_deg)]
    ratios = [h.area_ratio for h in result.holes if math.isfinite(h.area_ratio)]
    parts = [lowered(title_of(f)) for f in result.findings if f.kind is not Kind.NO_SCALE]
    if turns:
        parts.append(say("pass-off", value=max(turns)))
    if ratios:
        parts.append(say("pass-wets", low=min(ratios), high=max(ratios)))
    return parts or [count_in_words(result)]


# -- rows ----------------------------------------------------------------------------------------


def shared_plumes(result: Result) -> frozenset[int]:
    """Return the ids of plumes that stand for more than one hole, or are flagged as merged."""
    plumes = [hole.plume for hole in result.holes if hole.plume is not None]
    return frozenset(
        plume
        for plume in plumes
        if plumes.count(plume) > 1 or flags.MERGED in result.catalogue.flags[plume - 1]
    )


def _hole_table(result: Result) -> Table:
    shared = shared_plumes(result)
    columns = [
        column("hole"),
        column("direction"),
        column("clock"),
        column("off", unit="°"),
        column("next"),
        column("share"),
        column("wets"),
    ]
    metric = result.card.scale_known
    if metric:
        columns.append(column("reach", room=WIDEST))
        columns.append(column("area", room=WIDEST))
    rows = []
    for hole in result.holes:
        merged = hole.plume in shared
        cells = _cells(result, hole, merged=merged)
        if metric:
            cells += _metric(result, hole)
        rows.append(
            Row(
                cells=tuple(cells),
                word=say("merged") if merged else STATES[hole.state],
                look=LOOKS[hole.state],
                decisive="" if merged else _DECISIVE.get(hole.state, ""),
                brief="" if merged else brief_value(hole, sign=True),
            )
        )
    notes = [say("note-holes")]
    if any(hole.plume is None for hole in result.holes):
        notes.append(say("note-missing"))
    notes.append(say("note-u"))
    return Table(
        columns=tuple(columns), rows=tuple(rows), notes=(" ".join(notes),), state=say("head-state")
    )


def _cells(result: Result, hole: Hole, *, merged: bool) -> list[Cell]:
    if hole.plume is None:
        share = percent(0.0) if hole.state is HoleState.BLOCKED else UNKNOWN
        where = f"({number(hole.expected_deg, '.1f')})"
        clock = f"({clock_position(hole.expected_deg)})"
        return [Cell(t) for t in (str(hole.hole), where, clock, UNKNOWN, UNKNOWN, share, share)]
    direction = float(result.catalogue.direction_deg[hole.plume - 1])
    known = math.isfinite(hole.spacing_deg)
    off, ratio = value_cells(hole)
    return [
        Cell(str(hole.hole)),
        Cell(number(direction, ".1f")),
        Cell(clock_position(direction)),
        # A merged plume's values speak for two holes at once.
        Cell(UNKNOWN) if merged else off,
        Cell(number(hole.spacing_deg, ".1f") if known else UNKNOWN),
        Cell(percent(hole.area_frac)),
        Cell(UNKNOWN) if merged else ratio,
    ]


def value_cells(hole: Hole) -> tuple[Cell, Cell]:
    """Return what a hole is off by and what it wets, with their uncertainties."""
    off_u = number(hole.deviation_u_deg, ".1f") if math.isfinite(hole.deviation_u_deg) else ""
    ratio_u = percent(hole.area_ratio_u) if math.isfinite(hole.area_ratio_u) else ""
    return Cell(signed(hole.deviation_deg), off_u), Cell(percent(hole.area_ratio), ratio_u)


def _metric(result: Result, hole: Hole) -> list[Cell]:
    if hole.plume is None:
        return [Cell(UNKNOWN), Cell(UNKNOWN)]
    reach = result.catalogue.reach_mm[hole.plume - 1]
    area = result.catalogue.area_mm2[hole.plume - 1]
    return [Cell(number(float(reach), ".1f")), Cell(number(float(area), ".0f"))]


def _plume_table(result: Result) -> Table:
    """List the plumes as they lie, for a pattern that fits no holes."""
    directions = result.catalogue.direction_deg
    rows = []
    for row, direction in enumerate(directions.tolist()):
        gap = (directions[(row + 1) % len(directions)] - direction) % 360 or 360.0
        cells = (str(row + 1), number(direction, ".1f"), clock_position(direction))
        share = percent(float(result.catalogue.area_frac[row]))
        rows.append(Row(cells=tuple(Cell(t) for t in (*cells, number(gap, ".1f"), share))))
    columns = (
        column("plume"),
        column("direction", unit="°"),
        column("clock"),
        column("next"),
        column("share"),
    )
    return Table(columns=columns, rows=tuple(rows), notes=(say("note-plumes"),))


# -- how sure ------------------------------------------------------------------------------------


def centre_radius(result: Result) -> tuple[float, str]:
    """Return the radius of the centre's 95 % region, and its unit: ``mm`` or ``px``."""
    radius = result.centre.u95_mm
    if result.card.scale_known:
        return radius, "mm"
    at = np.array([result.centre.x_mm, result.centre.y_mm])
    return radius * result.card.px_per_mm(at), "px"


def _centre_line(result: Result) -> str:
    radius, unit = centre_radius(result)
    found_by = result.centre.found_by
    cue = CENTRES.get(found_by) or say("found-by", method=found_by)
    return say(f"centre-{unit}", radius=radius, cue=cue)


def _value_lines(result: Result) -> list[str]:
    lines = []
    direction = _span(result.catalogue.direction_u_deg.tolist(), "°")
    turn = result.catalogue.rotation_u_deg
    if direction:
        key = "directions-turn" if math.isfinite(turn) else "directions"
        lines.append(say(key, span=direction, turn=turn))
    share = _span([100 * value for value in result.catalogue.area_u_frac.tolist()], "%")
    if share:
        lines.append(say("shares", span=share))
    return lines


def _span(values: Iterable[float], unit: str) -> str:
    """Say the range of the finite values, for example ``± 0.8 to 1.2°``; empty without any."""
    known = [value for value in values if math.isfinite(value)]
    if not known:
        return ""
    low, high = number(min(known), ".1f"), number(max(known), ".1f")
    return say("span" if low == high else "span-range", low=low, high=high, unit=unit)


def _turn_lines(result: Result) -> list[str]:
    """Say how the whole pattern is turned, where the card was lined up with a feature."""
    from spraycheck.judge.pattern import turn_u_deg

    feature = result.provenance.get("lined_up_with")
    if not feature or not result.holes:
        return []
    first = result.holes[0]
    held = result.limits.held("rotation_deg")
    return [
        say(
            "lined-up-limit" if held else "lined-up",
            feature=printable(str(feature)),
            turn=wrap_180(first.expected_deg - result.layout.azimuth_deg[first.hole - 1]),
            u=turn_u_deg(result.card, result.catalogue),
            limit=result.limits.tolerance("rotation_deg")[1],
        )
    ]


def _angle_lines(angles: SprayAngles | None, holes: Sequence[Hole]) -> list[str]:
    if angles is None or not math.isfinite(angles.spray_angle_deg):
        return []
    owner = {hole.plume: hole.hole for hole in holes if hole.plume is not None}
    last = len(owner) + 1
    each = []
    for k in sorted(range(len(angles.axis_angle_deg)), key=lambda k: owner.get(k + 1, last)):
        asked = angles.nominal_deg[k]
        each.append(
            say(
                "angle-hole-asked" if math.isfinite(asked) else "angle-hole",
                hole=owner.get(k + 1, "?"),
                angle=angles.axis_angle_deg[k],
                asked=asked,
            )
        )
    text = say(
        "angle",
        height=angles.height_mm,
        height_u=angles.height_u_mm,
        angle=angles.spray_angle_deg,
        angle_u=angles.spray_angle_u_deg,
        each_u=max(angles.axis_angle_u_deg),
        each=", ".join(each),
    )
    if math.isfinite(angles.tilt_deg):
        tilt: dict[str, Any] = {"tilt": angles.tilt_deg, "tilt_u": angles.tilt_u_deg}
        text += f" {say('angle-tilt', towards=angles.tilt_towards_deg, **tilt)}"
    return [text]


def _spot_lines(result: Result) -> list[str]:
    kinds = Counter(mark.kind for mark in result.segmentation.marks)
    if not kinds:
        return []
    spots = [
        say("counted", count=n, what=SPOTS.get(kind, (kind, kind))[n > 1])
        for kind, n in kinds.items()
    ]
    return [say("spots", spots=", ".join(spots))]


def _flag_notes(result: Result) -> list[str]:
    """Say flags of the photo, then of single plumes."""
    noted = [
        *result.photo.flags,
        *result.card.flags,
        *result.wetness.flags,
        *result.centre.flags,
        *result.segmentation.flags,
    ]
    notes = flag_lines(noted, result.findings)
    said = {finding.kind for finding in result.findings}
    owner = {hole.plume: hole.hole for hole in result.holes if pattern_fits(result)}
    for plume, own in enumerate(result.catalogue.flags, start=1):
        for flag in own:
            if SAID_BY_FINDING.get(flag) not in said:
                key = "hole-flag" if plume in owner else "plume-flag"
                notes.append(say(key, hole=owner.get(plume), plume=plume, meaning=FLAGS[flag]))
    return notes
