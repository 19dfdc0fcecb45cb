"""A central spray, as a technician reads it in a terminal."""

from __future__ import annotations

import math
from typing import Final

from rich.text import Text

from spraycheck import flags
from spraycheck.judge.axial import CentralAssessment
from spraycheck.judge.findings import AID, CAUTION, clock_position
from spraycheck.report.central_words import (
    AIMS,
    NAMES,
    allowed_in_words,
    explain,
    figure,
    rows_of,
    size_in_words,
)
from spraycheck.report.how_sure import flag_lines, sheet_line
from spraycheck.report.terminal import Writer, printable

_STATES: Final = {
    "kept": ("clear", "kept"),
    "broken": ("blocked", "broken"),
    "unsure": ("unsure", "unsure"),
    "not judged": ("unsure", "not judged"),
}
"""State of a limit to the sign it shares with a hole's, and its word."""


def central_report(
    assessment: CentralAssessment, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the report of one photo; parameters and result as of `terminal_report`."""
    return _Writer(colour=colour, width=width, ascii_only=ascii_only).central(assessment)


class _Writer(Writer):
    """Writes what nozzles with holes do not have; the rest is theirs."""

    def central(self, a: CentralAssessment) -> str:
        self.verdict_line(a.verdict, f"{size_in_words(a)}: {'; '.join(explain(a))}")
        names = [printable(a.photo.file)] if a.photo.file else []
        names.append(f"against {printable(a.nozzle.name)} ({a.nozzle.kind})")
        self._console.print(Text(self._say(" ".join(names)), style="dim"))
        self._console.print()
        self._values(a)
        self._findings(a.findings)
        self._heading("How sure")
        for line in _sure_lines(a):
            self._item(line)
        self._item(
            f"Limits, {printable(a.limits.name)}. They are settings to be agreed, not a standard; "
            "--json tells where each comes from."
        )
        self._heading("Safety")
        self._paragraph(CAUTION)
        self._paragraph(AID)
        return self.text()

    def _values(self, a: CentralAssessment) -> None:
        table = self._table(["change", "measured", "limit", "state"])
        table.columns[0].header = Text("value", style="dim")
        for j in rows_of(a):
            value = figure(j, j.value)
            if math.isfinite(j.u):
                value += f" ±{figure(j, j.u)}"
            table.add_row(
                NAMES[j.limit],
                self._say(value),
                self._say(allowed_in_words(j)),
                self.mark(*_STATES[j.state]),
            )
        self._console.print(table)
        notes = "± holds 95 %. heavy side: share of the fluid on the heavier half"
        if a.patch.heavy_side_frac > 0.52:
            notes += f", here towards {clock_position(a.patch.heavy_side_deg)} on the card's clock"
        self._paragraph(
            f"{notes}. streaks: unevenness around the patch. wet middle: against the "
            "wettest ring. circularity: 1 is a circle. off the aim, hollow off middle: against the "
            "patch's diameter.",
            indent=0,
            style="dim",
        )


def _sure_lines(a: CentralAssessment) -> list[str]:
    p = a.patch
    lines = []
    if a.card.scale_known:
        lines.append(
            f"Patch {p.diameter_mm:.1f} ± {p.diameter_u_mm:.1f} mm across, wetted area "
            f"{p.area_mm2:.0f} ± {p.area_u_mm2:.0f} mm²."
        )
    if a.aim.known:
        off = f", {p.offset_mm:.1f} mm" if a.card.scale_known else ""
        lines.append(
            f"Aim: {AIMS[a.aim.source]}; the patch lies {p.offset_ratio:.0%} of its diameter{off} "
            f"off it, towards {clock_position(p.offset_deg)}."
        )
    if math.isfinite(a.spray_angle_deg):
        asked = a.nozzle.full_angle_deg
        nominal = f" (nozzle {asked:.0f}°)" if math.isfinite(asked) else ""
        lines.append(
            f"Full spray angle {a.spray_angle_deg:.0f} ± {a.spray_angle_u_deg:.0f}°{nominal}; "
            "soaking widens the patch, so rather less."
        )
    if math.isfinite(a.probability):
        chance = "over 99.9 %" if a.probability > 0.9995 else f"{100 * a.probability:.1f} %"
        lines.append(f"Probability that every judged limit is kept: {chance}.")
    lines.append(sheet_line(a.card))
    # The patch at the edge is a finding of its own.
    noted = [
        f
        for f in (*a.photo.flags, *a.card.flags, *a.wetness.flags, *p.flags)
        if f != flags.AT_SHEET_EDGE
    ]
    return [*lines, *flag_lines(noted, a.findings)]
