"""What a reader is told of one photo of a nozzle that sprays along its axis."""

from __future__ import annotations

import math
from typing import Final

from spraycheck import flags
from spraycheck.judge.limits import LOWEST
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Kind, LimitCheck, Outcome, Result, Verdict
from spraycheck.report.looks import OUTCOME_LOOKS
from spraycheck.report.model.parts import (
    Cell,
    Headline,
    Picture,
    ReportModel,
    Row,
    Table,
    column,
)
from spraycheck.report.model.shared import (
    flag_lines,
    limits_line,
    lowered,
    quality_lines,
    sheet_line,
    told_findings,
)
from spraycheck.report.words.findings import figure, title_of
from spraycheck.report.words.labels import AIMS, AXIAL_ROWS, OUTCOMES, VERDICTS
from spraycheck.report.words.numbers import UNKNOWN, printable
from spraycheck.report.words.sentences import say

SHOWN_OF_A_PASS: Final = (
    "ellipse_low_ratio",
    "heavy_side_frac",
    "streak_frac",
    "offset_ratio",
)
"""Limits whose values explain a pass."""

_NOTES: Final = (Kind.AXIAL_NO_AIM, Kind.AXIAL_FILL_UNKNOWN, Kind.NO_SCALE)
"""Findings that never decide a verdict."""

_CORE: Final = ("core_hollow_ratio", "core_filled_ratio")
"""Limits of the wetness in the middle, which is shown in any case."""

UNEVEN_FRAC: Final = 0.52
"""Share of the fluid on the heavier half from which its direction is told (chosen: below it the
direction is noise)."""


def build_axial(result: Result, nozzle: AxialNozzle) -> ReportModel:
    """Return what a reader is told of one photo."""
    name = say("axial-name", name=printable(nozzle.name), kind=nozzle.kind)
    file = printable(result.photo.file)
    return ReportModel(
        headline=Headline(
            verdict=result.verdict,
            title=VERDICTS[result.verdict],
            count=size_in_words(result),
            reasons=tuple(explain_verdict(result)),
            about=say("file-against", file=file, name=name) if file else say("against", name=name),
        ),
        tables=(_value_table(result),),
        findings=told_findings(result.findings),
        certainty=(
            *_patch_lines(result),
            *_angle_lines(result, nozzle),
            *_probability_lines(result),
            sheet_line(result.card),
            *quality_lines(result.quality, scale_known=result.card.scale_known),
            *_flag_notes(result),
            limits_line(result.limits, each=False),
        ),
        pictures=(Picture(caption=say("picture-result"), shows=result),),
    )


def rows_of(result: Result) -> list[LimitCheck]:
    """List what to show: every limit that is judged, and the middle's wetness in any case."""
    rows = [check for check in result.checks if check.outcome is not Outcome.NOT_JUDGED]
    if not any(check.limit in _CORE for check in rows):
        rows += [check for check in result.checks if check.limit == _CORE[0]]
    return rows


def size_in_words(result: Result) -> str:
    """Say how large the patch is: in mm where the scale is known."""
    seen = say("hollow" if result.patch.hollow else "filled")
    if not result.card.scale_known:
        return say("patch-seen", seen=seen)
    return say("patch-wide", seen=seen, diameter=result.patch.diameter_mm)


def explain_verdict(result: Result) -> list[str]:
    """List what decided the verdict, most important first, in a few words each; never empty."""
    if result.verdict is Verdict.PASS:
        return [
            say("pass-value", name=AXIAL_ROWS[check.limit], value=_figure(check, check.value))
            for check in result.checks
            if check.limit in SHOWN_OF_A_PASS and check.outcome is Outcome.KEPT
        ] or [say("no-limit")]
    told = [finding for finding in result.findings if finding.kind not in _NOTES]
    # What is said of the photo in general stands last.
    told.sort(key=lambda finding: finding.kind is Kind.PHOTO_POOR)
    parts = [lowered(title_of(f)) for f in told if f.kind is not Kind.AXIAL_UNSURE]
    open_ = [AXIAL_ROWS[c.limit] for c in result.checks if c.outcome is Outcome.UNSURE]
    near = any(finding.kind is Kind.AXIAL_UNSURE for finding in told)
    if near and result.verdict is Verdict.RECHECK:
        parts.insert(0, say("near-limits", values=", ".join(open_)))
    return list(dict.fromkeys(parts)) or [say("see-findings")]


def _figure(check: LimitCheck, value: float) -> str:
    return figure(check.limit, value, digits=1) if math.isfinite(value) else UNKNOWN


def _allowed(check: LimitCheck) -> str:
    """Write the limit with the side it holds from; ``-`` for one that is not judged."""
    if check.outcome is Outcome.NOT_JUDGED:
        return UNKNOWN
    lowest = "_low_" in check.limit or check.limit in LOWEST
    return say("at-least" if lowest else "at-most", value=_figure(check, check.allowed))


def _value_table(result: Result) -> Table:
    columns = (
        column("value", left=True),
        column("measured"),
        column("limit"),
    )
    rows = []
    for check in rows_of(result):
        measured = _figure(check, check.value)
        u = _figure(check, check.u) if math.isfinite(check.u) else ""
        rows.append(
            Row(
                cells=(
                    Cell(AXIAL_ROWS[check.limit]),
                    Cell(f"{measured} ±{u}" if u else measured),
                    Cell(_allowed(check)),
                ),
                word=OUTCOMES[check.outcome],
                look=OUTCOME_LOOKS[check.outcome],
            )
        )
    heavy = result.patch.heavy_side_frac > UNEVEN_FRAC
    towards = say("note-towards", direction=result.patch.heavy_side_deg) if heavy else ""
    return Table(
        columns=columns,
        rows=tuple(rows),
        notes=(say("note-axial", towards=towards),),
        state=say("head-state"),
    )


def _patch_lines(result: Result) -> list[str]:
    patch, metric = result.patch, result.card.scale_known
    lines = []
    if metric:
        size = {"diameter": patch.diameter_mm, "diameter_u": patch.diameter_u_mm}
        lines.append(say("patch", area=patch.area_mm2, area_u=patch.area_u_mm2, **size))
    if patch.aim.known:
        lines.append(
            say(
                "aim-mm" if metric else "aim",
                aim=AIMS[patch.aim.source],
                offset=patch.offset_ratio,
                distance=patch.offset_mm,
                direction=patch.offset_deg,
            )
        )
    return lines


def _angle_lines(result: Result, nozzle: AxialNozzle) -> list[str]:
    angles = result.angles
    if angles is None or not math.isfinite(angles.spray_angle_deg):
        return []
    asked = nozzle.full_angle_deg
    key = "full-angle-asked" if math.isfinite(asked) else "full-angle"
    return [say(key, angle=angles.spray_angle_deg, u=angles.spray_angle_u_deg, asked=asked)]


def _probability_lines(result: Result) -> list[str]:
    if not math.isfinite(result.probability):
        return []
    return [say("probability-judged", chance=result.probability)]


def _flag_notes(result: Result) -> list[str]:
    noted = [
        *result.photo.flags,
        *result.card.flags,
        *result.wetness.flags,
        *result.patch.flags,
    ]
    # The patch at the edge is a finding of its own.
    told = [flag for flag in noted if flag != flags.AT_SHEET_EDGE]
    return flag_lines(told, result.findings)
