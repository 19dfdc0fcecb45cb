"""What every kind of report tells alike: findings, the sheet, the photo, flags, limits."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Sequence
from typing import Final

from spraycheck import flags
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.spec import PrintedFacts
from spraycheck.judge.limits import LimitSet, limit_fields
from spraycheck.judge.result import Finding, Hole, HoleState, Kind, PhotoQuality
from spraycheck.report.model.parts import ToldFinding
from spraycheck.report.words.findings import KINDS, both_texts, title_of
from spraycheck.report.words.labels import FLAGS, LIMITS, SHEETS, STATES
from spraycheck.report.words.numbers import number, percent, printable
from spraycheck.report.words.sentences import say

SAID_BY_FINDING: Final = {
    flags.NO_SCALE: Kind.NO_SCALE,
    flags.NO_SHEET: Kind.SHEET_NOT_FOUND,
    flags.SHEET_CROPPED: Kind.SHEET_CROPPED,
    flags.CENTRE_WIDE: Kind.CENTRE_UNCERTAIN,
    flags.MERGED: Kind.PLUMES_MERGED,
}
"""Flag to the finding that says the same."""


def lowered(title: str) -> str:
    """Return a title as it reads within a line."""
    return title[:1].lower() + title[1:]


def told_findings(findings: Sequence[Finding]) -> tuple[ToldFinding, ...]:
    """Say every finding; advice and causes that stand above already are not said again."""
    told: list[ToldFinding] = []
    advised: dict[str, int] = {}
    for count, finding in enumerate(findings, start=1):
        kind, title = KINDS[finding.code], title_of(finding)
        found, step = both_texts(finding)
        again = finding.code in advised and step == kind.next_step
        first = advised.setdefault(finding.code, count)
        causes = "" if again or not kind.causes else "; ".join(kind.causes)
        about = say("about-hole", hole=finding.hole, title=lowered(title))
        told.append(
            ToldFinding(
                code=finding.code,
                title=about if finding.hole else title,
                found=printable(found),
                next_step=say("do-as-under", number=first) if again else printable(step),
                causes=say("may-come-from", causes=causes) if causes else "",
            )
        )
    return tuple(told)


def brief_value(hole: Hole, *, sign: bool = False) -> str:
    """Write the value that speaks for a hole's state; empty where none does."""
    if hole.state in (HoleState.WEAK, HoleState.HEAVY) and math.isfinite(hole.area_ratio):
        return percent(hole.area_ratio)
    if hole.state is HoleState.OFF_LINE and math.isfinite(hole.deviation_deg):
        turn = hole.deviation_deg
        return f"{number(turn, '+.0f') if sign else number(abs(turn), '.0f')}°"
    return ""


def hole_in_words(hole: Hole) -> str:
    """Say a hole with its state and the number that speaks for it, for example ``hole 3 weak``."""
    value = brief_value(hole)
    key = "hole-state-value" if value else "hole-state"
    return say(key, hole=hole.hole, state=STATES[hole.state], value=value)


def sheet_line(card: RectifiedCard) -> str:
    """Say how the sheet was found and how large it is."""
    if card.printed is not None:
        return _printed_line(card.printed)
    found = SHEETS.get(card.found_by) or say("card-found-by", method=card.found_by)
    if not card.scale_known:
        return say("sheet-unsized", found=found)
    return say("sheet", found=found, width=card.size_mm[0], height=card.size_mm[1])


def _printed_line(facts: PrintedFacts) -> str:
    names = [
        say(key, name=printable(text))
        for key, text in (("job", facts.job), ("injector", facts.injector))
        if text
    ]
    asked = facts.sheet_asked
    measured = math.isfinite(facts.printed_x_mm)
    return say(
        "printed",
        paper=facts.paper.upper(),
        asked=say("printed-asked", sheet=printable(asked)) if asked else "",
        whose=say("printed-whose", names=", ".join(names)) if names else "",
        seen=facts.markers_seen,
        total=facts.markers_total,
        residual=facts.residual_mm,
        scale_u=2 * facts.scale_u_frac,
        line=say("line-measured" if measured else "line-unmeasured"),
    )


def edge_frac(quality: PhotoQuality) -> float:
    """Return the wider of the edges' widths over a plume's; NaN where it is not known."""
    edges = [e for e in (quality.edge_x_mm, quality.edge_y_mm) if math.isfinite(e)]
    return max(edges) / quality.plume_width_mm if edges and quality.plume_width_mm > 0 else math.nan


def quality_lines(quality: PhotoQuality | None, *, scale_known: bool) -> list[str]:
    """Say in one line what the photo is like; none where its quality was not measured."""
    if quality is None:
        return []
    q = quality
    edge = max((e for e in (q.edge_x_mm, q.edge_y_mm) if math.isfinite(e)), default=math.nan)
    parts = []
    if math.isfinite(edge) and scale_known:
        parts.append(say("photo-edges-mm", edge=edge))
    elif math.isfinite(edge_frac(q)):
        parts.append(say("photo-edges", edge=edge_frac(q)))
    width = q.plume_width_mm / q.mm_per_px
    if math.isfinite(width):
        parts.append(say("photo-pixels", width=width))
    parts.append(say("photo-view", view=q.view_deg))
    if math.isfinite(q.evenness_frac):
        parts.append(say("photo-light", evenness=q.evenness_frac))
    if math.isfinite(q.elapsed_s):
        parts.append(say("photo-time", minutes=q.elapsed_s / 60))
    return [say("photo", parts=", ".join(parts))]


def flag_lines(noted: Iterable[str], findings: Sequence[Finding]) -> list[str]:
    """Say flags in plain words, each once.

    Parameters
    ----------
    noted : iterable of str
        Of the photo and of what was measured in it.
    findings : sequence of Finding
        Flags that they say already are left out.
    """
    said = {finding.kind for finding in findings}
    poor = {finding.fields.get("flag") for finding in findings}
    meanings = [
        FLAGS[flag]
        for flag in dict.fromkeys(noted)
        if SAID_BY_FINDING.get(flag) not in said and flag not in poor
    ]
    return [f"{text[0].upper()}{text[1:]}." for text in meanings]


def limits_line(limits: LimitSet, *, each: bool = True) -> str:
    """Say which limits were held; ``each`` names every one of them."""
    name = printable(limits.name)
    if not each:
        return say("limits-named", name=name)
    return say("limits", name=name, held=printable(limits_in_words(limits)))


@functools.lru_cache(maxsize=16)
def limits_in_words(limits: LimitSet) -> str:
    """Say every limit of a set, those that are off last."""
    names = [one.name for one in limit_fields(type(limits))]
    held = [name for name in names if limits.held(name)]
    said = []
    for name in held:
        value = _of_limit(limits, name)
        high = name.replace("_low_", "_high_")
        if high != name and high in held:
            value = say("range", low=value, high=_of_limit(limits, high))
        elif name.replace("_high_", "_low_") in held and "_high_" in name:
            continue  # said with its lower end
        elif "_low_" in name or "_high_" in name:
            value = say("at-least" if "_low_" in name else "at-most", value=value)
        said.append(say("limit", name=LIMITS[name], value=value))
    off = [_end_of(name) for name in names if name not in held]
    told = ", ".join(said)
    return say("limits-off", held=told, off=", ".join(off)) if off else told


def _end_of(limit: str) -> str:
    name = LIMITS[limit]
    if "_low_" in limit or "_high_" in limit:
        return say("smallest" if "_low_" in limit else "largest", name=name)
    return name


def _of_limit(limits: LimitSet, name: str) -> str:
    value = getattr(limits, name)
    match limits.unit(name):
        case "deg":
            return f"{number(value)}°"
        case "ratio" | "share" | "probability":
            return f"{number(100 * value, '.3g')}%"
        case unit:
            return f"{number(value)} {unit}"
