"""The result as a technician reads it in a terminal: verdict, holes, what to do, how sure."""

from __future__ import annotations

import io
import math
from collections import Counter
from collections.abc import Iterable, Sequence

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from spraycheck.circular import wrap_180
from spraycheck.pattern import flags
from spraycheck.pattern.assessment.pattern import turn_u_deg
from spraycheck.pattern.containers import PrintedFacts, RectifiedCard
from spraycheck.pattern.findings import AID, CAUTION, KINDS, clock_position
from spraycheck.pattern.layout import Assessment, Finding, Hole
from spraycheck.pattern.limits import Limits
from spraycheck.report.quality import quality_line
from spraycheck.report.summary import (
    count_in_words,
    explain_verdict,
    limits_in_words,
    pattern_fits,
    shared_plumes,
    signed,
    title_of,
)

MIN_WIDTH, MAX_WIDTH = 60, 120

_WIDE = 84
"""From this width on the table states each value's uncertainty."""

_WIDEST = 104
"""From this width on the table has room for millimetres."""

_SIGNS = {
    "clear": "✓",
    "weak": "▼",
    "heavy": "▲",
    "blocked": "✗",
    "off-line": "↷",
    "misshapen": "◇",
    "unsure": "?",
}
_ASCII_SIGNS = {
    "clear": " ", "weak": "-", "heavy": "+", "blocked": "x", "off-line": ">", "misshapen": "~",
    "unsure": "?",
}  # fmt: skip
_ASCII = str.maketrans({"°": " deg", "±": "+-", "×": "x", "–": "-", "²": "2", "✓": "", "’": "'"})

_VERDICT_STYLE = {
    "pass": "bold white on green",
    "fail": "bold white on red",
    "recheck": "bold black on yellow",
}
_STATE_STYLE = {
    "clear": "green",
    "weak": "bold yellow",
    "heavy": "bold yellow",
    "blocked": "bold red",
    "off-line": "bold magenta",
    "misshapen": "bold magenta",
    "unsure": "bold",
}
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


def terminal_report(
    assessment: Assessment, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the report of one photo.

    Parameters
    ----------
    assessment : Assessment
        The judged photo.
    colour : bool
        Add ANSI colours; they only repeat what words and signs say.
    width : int
        Columns of the terminal; used between 60 and 120.
    ascii_only : bool
        Use no character beyond ASCII, for streams that cannot encode others.

    Returns
    -------
    str
        Lines, the last one ended by a newline. Lengths and areas in mm appear only when the
        scale is known.
    """
    return Writer(colour=colour, width=width, ascii_only=ascii_only).report(assessment)


def printable(text: str) -> str:
    """Return a text from outside (a file's or a layout's name) with control characters made inert.

    A file name may hold escape sequences that would recolour or rewrite the terminal.
    """
    return "".join(c if c.isprintable() else "?" for c in text)


class Writer:
    """Holds the console and the choice of characters while one report is written."""

    def __init__(self, *, colour: bool, width: int, ascii_only: bool) -> None:
        self._out = io.StringIO()
        self._ascii = ascii_only
        self._colour = colour
        self._width = min(max(width, MIN_WIDTH), MAX_WIDTH)
        self._console = Console(
            file=self._out,
            width=self._width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            no_color=not colour,
            highlight=False,
            markup=False,
            emoji=False,
            legacy_windows=False,
        )

    def report(self, a: Assessment) -> str:
        """Write the report of one photo."""
        self._verdict(a)
        self._console.print()
        if pattern_fits(a):
            self._holes(a)
        else:
            self._plumes(a)
        self._findings(a.findings)
        self._how_sure(a)
        self._heading("Safety")
        self._paragraph(CAUTION)
        self._paragraph(AID)
        return self.text()

    def text(self) -> str:
        """Return what was written so far."""
        text = self._out.getvalue()
        if not self._colour:
            text = "\n".join(line.rstrip() for line in text.splitlines()) + "\n"
        return text

    # -- pieces -----------------------------------------------------------------------------
    def _say(self, text: str) -> str:
        if not self._ascii:
            return text
        return text.translate(_ASCII).encode("ascii", "replace").decode("ascii")

    def _heading(self, text: str) -> None:
        self._console.print()
        self._console.print(Text(text, style="bold"))

    def _paragraph(self, text: str, *, indent: int = 2, style: str = "") -> None:
        self._console.print(Padding(Text(self._say(text), style=style), (0, 0, 0, indent)))

    def _item(self, text: str, mark: str = "-") -> None:
        grid = Table.grid(padding=(0, 1, 0, 0))
        grid.add_column(width=len(mark))
        grid.add_column()
        grid.add_row(mark, Text(self._say(text)))
        self._console.print(Padding(grid, (0, 0, 0, 2)))

    def _verdict(self, a: Assessment) -> None:
        reasons = "; ".join(explain_verdict(a))
        self.verdict_line(a.verdict, f"{count_in_words(a)}: {reasons}")
        names = [printable(a.photo.file)] if a.photo.file else []
        names.append(f"against {printable(a.layout.name)}" if a.layout.name else "")
        self._console.print(Text(self._say(" ".join(n for n in names if n)), style="dim"))

    def verdict_line(self, verdict: str, reason: str) -> None:
        """Write the first line of a report."""
        line = Text()
        word = f" {verdict.upper()} " if self._colour else verdict.upper()
        line.append(word, style=_VERDICT_STYLE[verdict])
        line.append(f"  {self._say(reason)}")
        self._console.print(line)

    def mark(self, state: str, word: str) -> Text:
        """Return a state's sign and the word to write for it."""
        signs = _ASCII_SIGNS if self._ascii else _SIGNS
        return Text(f"{signs[state]} {word}", style=_STATE_STYLE[state])

    def limits_line(self, limits: Limits) -> None:
        """Write which limits were held, and what they are."""
        self._item(
            f"Limits, {printable(limits_in_words(limits))}. They are settings to be agreed, "
            "not a standard; --json tells where each comes from."
        )

    def _table(self, headers: Sequence[str]) -> Table:
        table = Table(box=None, padding=(0, 2 if self._width >= 76 else 1, 0, 0), pad_edge=False)
        for header in headers:
            left = header in ("state", "photo", "each photo", "of any hole", "change")
            table.add_column(
                Text(self._say(header), style="dim"),
                justify="left" if left else "right",
                no_wrap=True,
            )
        return table

    # -- table of holes ---------------------------------------------------------------------
    def _holes(self, a: Assessment) -> None:
        wide = self._width >= _WIDE
        metric = self._width >= _WIDEST and a.card.scale_known
        headers = ["hole", "direction", "clock", "off by", "to next", "share", "wets"]
        headers += ["reach mm", "area mm²"] if metric else []
        table = self._table([*headers, "state"])
        shared = shared_plumes(a)
        for hole in a.holes:
            cells = self._cells(a, hole, wide=wide, merged=hole.plume in shared)
            if metric:
                cells += self._metric(a, hole)
            state = "merged" if hole.plume in shared else hole.state
            table.add_row(*(self._say(c) for c in cells), self.mark(hole.state, state))
        self._console.print(table)
        notes = ["Angles in degrees, clockwise from 12 o'clock on the card, + is clockwise.",
                 "wets: wetted area against what the hole should wet."]  # fmt: skip
        if any(hole.plume is None for hole in a.holes):
            notes.append("( ): where the hole should spray.")
        if wide:
            notes.append("± holds 95 %.")
        self._paragraph(" ".join(notes), indent=0, style="dim")

    def _cells(self, a: Assessment, hole: Hole, *, wide: bool, merged: bool) -> list[str]:
        if hole.plume is None:
            share = "0%" if hole.state == "blocked" else "-"
            where = f"({hole.expected_deg:.1f})"
            clock = f"({clock_position(hole.expected_deg)})"
            return [str(hole.hole), where, clock, "-", "-", share, share]
        direction = float(a.catalogue.direction_deg[hole.plume - 1])
        off, ratio = signed(hole.deviation_deg), _percent(hole.area_ratio)
        if wide and math.isfinite(hole.deviation_u_deg):
            off += f" ±{hole.deviation_u_deg:.1f}"
        if wide and math.isfinite(hole.area_ratio_u):
            ratio += f" ±{_percent(hole.area_ratio_u)}"
        if merged:  # the plume's values speak for two holes at once
            off, ratio = "-", "-"
        return [
            str(hole.hole),
            f"{direction:.1f}",
            clock_position(direction),
            off,
            f"{hole.spacing_deg:.1f}" if math.isfinite(hole.spacing_deg) else "-",
            _percent(hole.area_frac),
            ratio,
        ]

    def _metric(self, a: Assessment, hole: Hole) -> list[str]:
        if hole.plume is None:
            return ["-", "-"]
        row = hole.plume - 1
        return [f"{a.catalogue.reach_mm[row]:.1f}", f"{a.catalogue.area_mm2[row]:.0f}"]

    def _plumes(self, a: Assessment) -> None:
        """List the plumes as they lie, for a pattern that fits no holes."""
        table = self._table(["plume", "direction", "clock", "to next", "share"])
        directions = a.catalogue.direction_deg
        for row, direction in enumerate(directions):
            gap = (directions[(row + 1) % len(directions)] - direction) % 360 or 360.0
            table.add_row(
                str(row + 1),
                f"{direction:.1f}",
                clock_position(float(direction)),
                f"{gap:.1f}",
                _percent(float(a.catalogue.area_frac[row])),
            )
        self._console.print(table)
        self._paragraph("Angles in degrees, clockwise from 12 o'clock.", indent=0, style="dim")

    # -- what to do, how sure ---------------------------------------------------------------
    def _findings(self, findings: Sequence[Finding]) -> None:
        if not findings:
            return
        self._heading("What was found, and what to do")
        advised: dict[str, int] = {}
        for number, finding in enumerate(findings, start=1):
            title = title_of(finding)
            about = f"Hole {finding.hole}: {title.lower()}" if finding.hole else title
            self._console.print(Text(self._say(f"{number}. {about}"), style="bold"))
            kind = KINDS.get(finding.code)
            text = printable(finding.text)
            if kind and finding.code in advised and text.endswith(kind.next_step):
                text = text.removesuffix(kind.next_step)
                self._paragraph(f"{text}Do as under {advised[finding.code]}.", indent=3)
                continue
            advised.setdefault(finding.code, number)
            self._paragraph(text, indent=3)
            if kind and kind.causes:
                self._paragraph(f"May come from: {'; '.join(kind.causes)}.", indent=3, style="dim")

    def _how_sure(self, a: Assessment) -> None:
        self._heading("How sure")
        for line in [
            _centre_line(a),
            *_value_lines(a),
            *_turn_lines(a),
            sheet_line(a.card),
            *filter(None, [quality_line(a)]),
            *_angle_lines(a),
            *_mark_lines(a),
            *_notes(a),
        ]:
            self._item(line)
        self.limits_line(a.limits)


def _percent(value: float) -> str:
    return f"{value:.0%}" if math.isfinite(value) else "-"


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


def _notes(a: Assessment) -> list[str]:
    """Flags in plain words, leaving out what a finding already says."""
    said = {finding.code for finding in a.findings}
    told = " ".join(finding.text for finding in a.findings)
    everywhere = [
        *a.photo.flags, *a.card.flags, *a.wetness.flags, *a.centre.flags, *a.segmentation.flags,
    ]  # fmt: skip
    notes = []
    for flag in dict.fromkeys(everywhere):
        meaning = flags.MEANING.get(flag, flag)
        if _SAID_BY_FINDING.get(flag) not in said and meaning not in told:
            notes.append(f"{meaning[0].upper()}{meaning[1:]}.")
    owner = {hole.plume: f"hole {hole.hole}" for hole in a.holes if pattern_fits(a)}
    for row, own in enumerate(a.catalogue.flags, start=1):
        for flag in own:
            if _SAID_BY_FINDING.get(flag) not in said:
                who = owner.get(row, f"plume {row}")
                notes.append(f"{who.capitalize()}: {flags.MEANING.get(flag, flag)}.")
    return notes
