"""Two shots of one nozzle compared, as a technician reads it in a terminal."""

from __future__ import annotations

import math

from rich.text import Text

from spraycheck.judge.findings import AID, CAUTION
from spraycheck.judge.shots import Change, Comparison, HoleChange
from spraycheck.report.combination import MATCHED_IN_WORDS, percent, probability_in_words
from spraycheck.report.summary import signed
from spraycheck.report.terminal import Writer, printable

_SIGNS = {"better": "clear", "worse": "weak", "changed": "off-line"}
"""Change to the state whose sign and colour it borrows."""


def comparison_report(
    comparison: Comparison, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the report of a comparison; parameters and result as of `terminal_report`."""
    return _Writer(colour=colour, width=width, ascii_only=ascii_only).compared(comparison)


def in_one_line(c: Comparison) -> str:
    """Say what changed, in one line."""
    if not c.matching.sure:
        return f"holes cannot be matched surely; {_least_in_words(c)}"
    parts = []
    for word in ("better", "worse", "changed", "not known"):
        numbers = [str(h.hole) for h in c.holes if h.change == word]
        if numbers:
            parts.append(f"hole{'s' if len(numbers) > 1 else ''} {', '.join(numbers)} {word}")
    same = sum(h.change == "no sure change" for h in c.holes)
    if same:
        parts.append("no sure change" if not parts else f"{same} without sure change")
    return "; ".join(parts)


def ratio_change(change: Change) -> str:
    """Say a wetted area before and after, for example ``57% to 104%``."""
    return f"{percent(change.before)} to {percent(change.after)}"


def turn_change(change: Change) -> str:
    """Say a deviation before and after, for example ``+0.2 to -0.1``."""
    return f"{signed(change.before)} to {signed(change.after)}"


def _least_in_words(c: Comparison) -> str:
    """Say what the driest hole did: true whichever hole it is."""
    moved = c.least.after - c.least.before
    if not math.isfinite(moved):
        return "the driest hole is not known on both"
    if not c.least.sure:
        return f"the driest hole wets {ratio_change(c.least)}, no sure change"
    word = "better" if moved > 0 else "worse"
    return f"the driest hole wets {ratio_change(c.least)}, surely {word}"


class _Writer(Writer):
    """Writes what single photos do not have; the rest is theirs."""

    def compared(self, c: Comparison) -> str:
        line = Text(self._say(f"Before and after: {in_one_line(c)}"), style="bold")
        self._console.print(line)
        files = [printable(a.photo.file) or "-" for a in (c.before, c.after)]
        self._console.print(
            Text(self._say(f"{files[0]} and {files[1]} against {printable(c.before.layout.name)}"),
                 style="dim")
        )  # fmt: skip
        self._console.print()
        if c.holes:
            self._changes(c)
        self._whole(c)
        self._sureness(c)
        self._heading("Safety")
        self._paragraph(CAUTION)
        self._paragraph(AID)
        return self.text()

    def _changes(self, c: Comparison) -> None:
        wide = self._width >= 96
        heads = ["hole", "wets", "difference", "off by", "difference", "state"]
        table = self._table(heads if wide else [h for h in heads if h != "difference"])
        for h in c.holes:
            plain = [str(h.hole), ratio_change(h.area), turn_change(h.deviation)]
            cells = _cells(h) if wide else plain
            table.add_row(*(self._say(cell) for cell in cells), self._mark_of(h, wide=wide))
        self._console.print(table)
        self._paragraph(
            "Holes as numbered on the first photo; angles in degrees, + is clockwise. wets: wetted "
            "area against what the hole should wet. ± holds 95 %. !: surely changed.",
            indent=0,
            style="dim",
        )
        self._console.print()

    def _mark_of(self, h: HoleChange, *, wide: bool) -> Text:
        words = h.change
        if wide and h.state_before != h.state_after:
            words += f" ({h.state_before} to {h.state_after})"
        sign = _SIGNS.get(h.change)
        return self.mark(sign, words) if sign else Text(self._say(f"  {words}"))

    def _whole(self, c: Comparison) -> None:
        table = self._table(["of any hole", "before", "after", "difference"])
        for name, change in (("wets, least", c.least), ("wets, most", c.most)):
            table.add_row(name, percent(change.before), percent(change.after),
                          self._say(_ratio_difference(change)))  # fmt: skip
        far = c.furthest
        table.add_row(
            "furthest off by",
            signed(far.before).lstrip("+"),
            signed(far.after).lstrip("+"),
            self._say(_turn_difference(far)),
        )
        self._console.print(table)
        for name, a in (("Before", c.before), ("After", c.after)):
            self._paragraph(f"{name}, by itself: {a.verdict}.", indent=0)

    def _sureness(self, c: Comparison) -> None:
        self._heading("How sure")
        m = c.matching
        if m.sure:
            self._item(
                f"Holes matched {MATCHED_IN_WORDS[m.by]} (probability "
                f"{probability_in_words(m.probability)}); the second pattern is turned by "
                f"{signed(m.turn_deg[1])}° against the first."
            )
        else:
            self._item(
                f"Holes cannot be matched surely: {m.note}. What any hole did at least is told "
                "above. To follow holes, spray printed target cards laid down the same way, or "
                "leave the injector in its holder and give the card's turn with --turn."
            )
        self._item(
            "What both photos share, such as the holes' own scatter, is left out of a difference's "
            f"uncertainty. The chance that anything called sure is none is {c.risk:.0%} for all "
            "values together."
        )
        self._item(
            "One stroke differs from the next: a change seen on one card each may be the stroke's. "
            "Two or three cards each tell more."
        )


def _cells(h: HoleChange) -> list[str]:
    return [
        str(h.hole),
        ratio_change(h.area),
        _ratio_difference(h.area),
        turn_change(h.deviation),
        _turn_difference(h.deviation),
    ]


def _ratio_difference(change: Change) -> str:
    if not math.isfinite(change.difference):
        return "-"
    sure = " !" if change.sure else ""
    return f"{change.difference:+.0%} ±{percent(change.difference_u)}{sure}"


def _turn_difference(change: Change) -> str:
    if not math.isfinite(change.difference):
        return "-"
    sure = " !" if change.sure else ""
    return f"{signed(change.difference)} ±{change.difference_u:.1f}{sure}"
