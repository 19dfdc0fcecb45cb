"""What a reader is told of two photos compared: before and after."""

from __future__ import annotations

import math
from typing import Final

from spraycheck.judge.result import Way
from spraycheck.judge.shots import Change, Comparison, HoleChange
from spraycheck.report.looks import CHANGE_LOOKS
from spraycheck.report.model.parts import (
    WIDER,
    Cell,
    Headline,
    Picture,
    ReportModel,
    Row,
    Table,
    column,
)
from spraycheck.report.words.findings import matching_reason
from spraycheck.report.words.labels import CHANGES, MATCHED_BY, STATES
from spraycheck.report.words.numbers import UNKNOWN, number, percent, printable, signed
from spraycheck.report.words.sentences import say, say_count

_TOLD: Final = (Way.BETTER, Way.WORSE, Way.CHANGED, Way.NOT_KNOWN)
"""Changes that the headline names hole by hole."""


def build_changes(comparison: Comparison) -> ReportModel:
    """Return what a reader is told of two photos compared."""
    c = comparison
    before, after = (printable(one.photo.file) or UNKNOWN for one in (c.before, c.after))
    alone = (
        say("alone-before", verdict=c.before.verdict.value),
        say("alone-after", verdict=c.after.verdict.value),
    )
    return ReportModel(
        headline=Headline(
            verdict=None,
            title=say("before-after"),
            count="",
            reasons=tuple(changes_in_words(c)),
            about=say(
                "files-against", before=before, after=after, name=printable(c.before.nozzle.name)
            ),
        ),
        tables=(*([_hole_table(c)] if c.holes else []), _whole_table(c, alone)),
        certainty=(_matching_line(c), say("difference-u", risk=c.risk), say("one-stroke")),
        pictures=(Picture(caption=say("picture-changes"), shows=c),),
    )


def changes_in_words(comparison: Comparison) -> list[str]:
    """Say what changed, in a few words each; never empty."""
    if not comparison.matching.sure:
        return [say("unmatched-pair", driest=_driest_in_words(comparison))]
    parts = []
    for way in _TOLD:
        numbers = [str(h.hole) for h in comparison.holes if h.change is way]
        if numbers:
            told = {"holes": ", ".join(numbers), "change": CHANGES[way]}
            parts.append(say_count("holes-changed", len(numbers), **told))
    same = sum(h.change not in _TOLD for h in comparison.holes)
    if same:
        parts.append(say("some-unchanged", count=same) if parts else say("none-changed"))
    return parts or [say("none-changed")]


def ratio_change(change: Change) -> str:
    """Say a wetted area before and after, for example ``57% to 104%``."""
    return say("range", low=percent(change.before), high=percent(change.after))


def turn_change(change: Change) -> str:
    """Say a deviation before and after, for example ``+0.2 to -0.1``."""
    return say("range", low=signed(change.before), high=signed(change.after))


def _driest_in_words(c: Comparison) -> str:
    """Say what the driest hole did: true whichever hole it is."""
    moved = c.least.after - c.least.before
    if not math.isfinite(moved):
        return say("driest-unknown")
    if not c.least.sure:
        return say("driest-alike", range=ratio_change(c.least))
    return say("driest-better" if moved > 0 else "driest-worse", range=ratio_change(c.least))


def _hole_table(c: Comparison) -> Table:
    columns = (
        column("hole"),
        column("wets"),
        column("wets-difference", "difference", room=WIDER),
        column("off"),
        column("off-difference", "difference", room=WIDER),
    )
    rows = [
        Row(
            cells=(
                Cell(str(h.hole)),
                Cell(ratio_change(h.area)),
                Cell(_ratio_difference(h.area)),
                Cell(turn_change(h.deviation)),
                Cell(_turn_difference(h.deviation)),
            ),
            word=CHANGES[h.change],
            wide_word=_with_states(h),
            look=CHANGE_LOOKS.get(h.change),
        )
        for h in c.holes
    ]
    return Table(
        columns=columns, rows=tuple(rows), notes=(say("note-changes"),), state=say("head-state")
    )


def _with_states(h: HoleChange) -> str:
    if h.state_before == h.state_after:
        return CHANGES[h.change]
    states = {"before": STATES[h.state_before], "after": STATES[h.state_after]}
    return say("changed-states", change=CHANGES[h.change], **states)


def _whole_table(c: Comparison, notes: tuple[str, ...]) -> Table:
    columns = (
        column("value", "any", left=True),
        column("before"),
        column("after"),
        column("difference"),
    )
    rows = [
        (say(name), percent(change.before), percent(change.after), _ratio_difference(change))
        for name, change in (("least", c.least), ("most", c.most))
    ]
    far = c.furthest
    ends = (signed(far.before).lstrip("+"), signed(far.after).lstrip("+"))
    rows.append((say("furthest"), *ends, _turn_difference(far)))
    cells = [tuple(Cell(text) for text in row) for row in rows]
    return Table(columns=columns, rows=tuple(Row(cells=row) for row in cells), notes=notes)


def _ratio_difference(change: Change) -> str:
    if not math.isfinite(change.difference):
        return UNKNOWN
    text = f"{number(change.difference, '+.0%')} ±{percent(change.difference_u)}"
    return say("surely", value=text) if change.sure else text


def _turn_difference(change: Change) -> str:
    if not math.isfinite(change.difference):
        return UNKNOWN
    text = f"{signed(change.difference)} ±{number(change.difference_u, '.1f')}"
    return say("surely", value=text) if change.sure else text


def _matching_line(c: Comparison) -> str:
    matching = c.matching
    if not matching.sure:
        return say("not-matched-pair", why=matching_reason(matching))
    told = {"chance": matching.probability, "turn": matching.turn_deg[1]}
    return say("matched-pair", how=MATCHED_BY[matching.by], **told)
