"""What a reader is told of several shots judged together."""

from __future__ import annotations

import math
from typing import Final

from spraycheck.judge.result import (
    Doubt,
    Hole,
    HoleShots,
    HoleState,
    Kind,
    LimitCheck,
    Result,
    Shots,
    Verdict,
)
from spraycheck.report.looks import LOOKS
from spraycheck.report.model.holes import holes_in_words, value_cells
from spraycheck.report.model.parts import (
    WIDE,
    Cell,
    Headline,
    Picture,
    ReportModel,
    Row,
    Table,
    column,
)
from spraycheck.report.model.shared import (
    hole_in_words,
    limits_line,
    lowered,
    told_findings,
)
from spraycheck.report.words.findings import matching_reason, title_of
from spraycheck.report.words.labels import MATCHED_BY, STATES, VERDICTS, WORST_ROWS
from spraycheck.report.words.numbers import (
    CERTAIN,
    UNKNOWN,
    number,
    percent,
    printable,
    signed,
)
from spraycheck.report.words.sentences import say, say_count

_DECISIVE: Final = (
    Kind.STRAY_SPRAY,
    Kind.SPACING_UNEVEN,
    Kind.SHARES_UNEVEN,
    Kind.CENTRE_OFF_AIM,
    Kind.DRIP_OVER_LIMIT,
)
"""Findings of the whole card that decide."""

_OF_A_PASS: Final = ("direction_deg", "area_low_ratio", "area_high_ratio")
"""Limits whose values explain a pass."""

_ROOM, _EACH = 60, 6
"""Characters of a line that the table of holes needs, and each single photo's value."""


def build_shots(result: Result, shots: Shots) -> ReportModel:
    """Return what a reader is told of several shots."""
    count = say_count("shots", shots.count)
    if len(shots.photos) != shots.count:
        count = say("shots-photos", shots=count, photos=len(shots.photos))
    if result.holes:
        clear = sum(hole.state is HoleState.CLEAR for hole in result.holes)
        count = say("clear-over", clear=clear, holes=len(result.holes), shots=count)
    rows = _hole_table(result, shots) if result.holes else _worst_table(result)
    return ReportModel(
        headline=Headline(
            verdict=result.verdict,
            title=VERDICTS[result.verdict],
            count=count,
            reasons=tuple(explain_verdict(result, shots)),
            about=say("against", name=printable(result.nozzle.name)),
        ),
        tables=(rows, _photo_table(shots)),
        findings=told_findings(result.findings),
        certainty=(
            _matching_line(shots),
            *([say("one-card")] if shots.count == 1 else []),
            *_scatter_lines(shots),
            *_probability_lines(result),
            limits_line(result.limits),
        ),
        pictures=tuple(
            Picture(caption=printable(photo.photo.file) or say("picture-result"), shows=photo)
            for photo in shots.photos
        ),
    )


def explain_verdict(result: Result, shots: Shots) -> list[str]:
    """List what decided the verdict on several shots, in a few words each; never empty."""
    rows = list(zip(result.holes, shots.holes, strict=True))
    if result.verdict is Verdict.PASS and rows:
        ratios = [hole.area_ratio for hole in result.holes]
        turn = max(abs(hole.deviation_deg) for hole in result.holes)
        return [say("pass-off", value=turn), say("pass-wets", low=min(ratios), high=max(ratios))]
    if result.verdict is Verdict.PASS:
        worst = {check.limit: check for check in worst_checks(result)}
        return [
            say("pass-value", name=WORST_ROWS[name], value=_figure(worst[name], worst[name].value))
            for name in _OF_A_PASS
            if name in worst
        ] or [say("no-hole-limit")]
    parts = [hole_in_words(hole) for hole in result.holes if hole.state.faulty]
    loose = [str(hole.hole) for hole, each in rows if each.intermittent]
    unsure = [
        str(hole.hole)
        for hole, each in rows
        if hole.state is HoleState.UNSURE and not each.intermittent
    ]
    for numbers, what in ((loose, say("intermittent")), (unsure, STATES[HoleState.UNSURE])):
        if numbers:
            parts.append(holes_in_words(numbers, what))
    if not rows:
        told = [f for f in result.findings if f.hole or f.kind is Kind.SHOTS_UNMATCHED]
        parts = list(dict.fromkeys(lowered(title_of(f)) for f in told))
    parts += [lowered(title_of(f)) for f in result.findings if f.kind in _DECISIVE]
    return parts or [say("near-limit")]


def _hole_table(result: Result, shots: Shots) -> Table:
    # The single photos' values need room; the document has them always.
    each = column("each", left=True, room=_ROOM + _EACH * len(shots.photos))
    columns = (
        column("hole"),
        column("off"),
        column("wets"),
        column("shots"),
        column("scatter"),
        each,
    )
    rows = [
        Row(
            cells=_cells(hole, over),
            word=say("intermittent") if over.intermittent else STATES[hole.state],
            look=LOOKS[hole.state],
        )
        for hole, over in zip(result.holes, shots.holes, strict=True)
    ]
    note = say("note-shots" if shots.count > 1 else "note-one-card")
    return Table(columns=columns, rows=tuple(rows), notes=(note,), state=say("head-state"))


def _cells(hole: Hole, over: HoleShots) -> tuple[Cell, ...]:
    off, wets = (
        Cell(f"{cell.text} ±{cell.u}" if cell.u else cell.text) for cell in value_cells(hole)
    )
    from_shots = math.isfinite(over.shot_sd_ratio)
    ratio = over.shot_sd_ratio if from_shots else over.photo_sd_ratio
    turn = over.shot_sd_deg if from_shots else over.photo_sd_deg
    scatter = UNKNOWN
    if math.isfinite(ratio):
        scatter = f"{number(turn, '.1f')}° {percent(ratio, 1)}"
    each = " ".join(percent(r) for r in over.ratios)
    return (Cell(str(hole.hole)), off, wets, Cell(str(over.shots)), Cell(scatter), Cell(each))


def _worst_table(result: Result) -> Table:
    columns = (
        column("value", "any", left=True),
        column("mean"),
        column("limit"),
    )
    rows = [
        Row(
            cells=(
                Cell(WORST_ROWS[check.limit]),
                Cell(f"{_figure(check, check.value)} ±{_figure(check, check.u)}"),
                Cell(_figure(check, check.allowed)),
            )
        )
        for check in worst_checks(result)
    ]
    return Table(columns=columns, rows=tuple(rows), notes=(say("note-worst"),))


def worst_checks(result: Result) -> list[LimitCheck]:
    """Return the checks of each shot's worst hole, where holes could not be matched."""
    return [check for check in result.checks if Doubt.NOT_FOLLOWED in check.doubts]


def _figure(check: LimitCheck, value: float) -> str:
    return f"{number(value, '.1f')}°" if check.unit == "deg" else percent(value)


def _photo_table(shots: Shots) -> Table:
    columns = (
        column("photo", left=True, ends=True),
        column("card"),
        column("verdict"),
        column("wets"),
        column("off"),
        column("faults", "state", left=True, room=WIDE),
    )
    rows = []
    for photo, card in zip(shots.photos, shots.cards, strict=True):
        ratios = [h.area_ratio for h in photo.holes if math.isfinite(h.area_ratio)]
        turns = [abs(h.deviation_deg) for h in photo.holes if math.isfinite(h.deviation_deg)]
        low, high = min(ratios, default=math.nan), max(ratios, default=math.nan)
        cells = (
            printable(photo.photo.file) or UNKNOWN,
            str(card),
            photo.verdict.value,
            say("range", low=percent(low), high=percent(high)),
            f"{number(max(turns, default=0.0), '.1f')}°",
            _faults(photo),
        )
        rows.append(Row(cells=tuple(Cell(text) for text in cells)))
    return Table(columns=columns, rows=tuple(rows))


def _faults(photo: Result) -> str:
    """Name the only fault of a photo, or count them."""
    bad = [hole for hole in photo.holes if hole.state.faulty]
    if len(bad) == 1:
        return hole_in_words(bad[0])
    return say("faulty-holes", count=len(bad)) if bad else ""


def _matching_line(shots: Shots) -> str:
    matching = shots.matching
    if not matching.sure:
        return say("not-matched", why=matching_reason(matching))
    turns = ", ".join(f"{signed(turn)}°" for turn in matching.turn_deg[1:])
    how = MATCHED_BY[matching.by]
    return say("matched", how=how, chance=matching.probability, turns=turns)


def _scatter_lines(shots: Shots) -> list[str]:
    what = (say("what-directions"), say("what-areas"))
    lines = [
        say("widened", factor=factor, what=name)
        for name, factor in zip(what, shots.widened, strict=True)
        if factor > 1
    ]
    lines += [
        say("photo-scatter", share=share, what=name)
        for name, share in zip(what, shots.photo_scatter, strict=True)
        if math.isfinite(share)
    ]
    return lines


def _probability_lines(result: Result) -> list[str]:
    if not math.isfinite(result.probability):
        return []
    sure = bool(result.holes) or result.probability > CERTAIN
    return [say("probability" if sure else "probability-least", chance=result.probability)]
