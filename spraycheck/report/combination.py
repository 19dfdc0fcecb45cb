"""Several shots of one nozzle, as a technician reads them in a terminal."""

from __future__ import annotations

import math

import numpy as np
from rich.text import Text

from spraycheck.judge.findings import AID, CAUTION, KINDS
from spraycheck.judge.layout import Assessment, Evidence
from spraycheck.judge.shots import Combination, CombinedHole
from spraycheck.report.summary import name_hole, signed
from spraycheck.report.terminal import Writer, printable

MATCHED_IN_WORDS = {
    "arrow": "by the cards' index arrows",
    "turn": "by the turn given",
    "layout": "by the layout, which fits one way only",
    "pattern": "by best fit of the patterns",
    "picture": "by the shape of the wet patches, all on one card",
}
_LIMITS_IN_WORDS = {
    "direction_deg": "furthest off by",
    "area_low_ratio": "wets, least",
    "area_high_ratio": "wets, most",
    "width_low_ratio": "width, least",
    "width_high_ratio": "width, most",
    "reach_low_ratio": "reach, least",
    "reach_high_ratio": "reach, most",
}


def combination_report(
    combination: Combination, *, colour: bool, width: int, ascii_only: bool = False
) -> str:
    """Write the report of several shots; parameters and result as of `terminal_report`."""
    return _Writer(colour=colour, width=width, ascii_only=ascii_only).combined(combination)


def explain(c: Combination) -> list[str]:
    """List what decided the verdict on several shots, in a few words each; never empty."""
    faults = [name_hole(h.hole) for h in c.holes if h.hole.state not in ("clear", "unsure")]
    loose = [str(h.hole.hole) for h in c.holes if h.intermittent]
    unsure = [str(h.hole.hole) for h in c.holes if h.hole.state == "unsure" and not h.intermittent]
    parts = list(faults)
    for numbers, what in ((loose, "intermittent"), (unsure, "unsure")):
        if numbers:
            parts.append(f"hole{'s' if len(numbers) > 1 else ''} {', '.join(numbers)} {what}")
    if c.verdict == "pass" and c.holes:
        ratios = [h.hole.area_ratio for h in c.holes]
        turn = max(abs(h.hole.deviation_deg) for h in c.holes)
        return [f"off by {turn:.1f}° at most", f"holes wet {min(ratios):.0%} to {max(ratios):.0%}"]
    if c.verdict == "pass":
        most = {e.limit: e for e in c.extremes}
        return [
            f"{_LIMITS_IN_WORDS[name]} {_figure(most[name], most[name].value)}"
            for name in ("direction_deg", "area_low_ratio", "area_high_ratio")
            if name in most
        ] or ["no limit of a hole is held"]
    if not c.holes:
        told = [f for f in c.findings if f.hole or f.code == "shots-unmatched"]
        titles = [f"{KINDS[f.code].title.lower()}" for f in told]
        parts = list(dict.fromkeys([*parts, *titles]))
    whole = [KINDS[f.code].title.lower() for f in c.findings if f.code in _DECISIVE]
    return parts + whole or ["too close to a limit to tell"]


_CERTAIN = 0.9995
"""From here on a probability is told as "over 99.9 %"."""

_DECISIVE = ("stray-spray", "spacing-uneven", "shares-uneven", "centre-off-aim", "drip-over-limit")


class _Writer(Writer):
    """Writes what single photos do not have; the rest is theirs."""

    def combined(self, c: Combination) -> str:
        self._headline(c)
        self._console.print()
        if c.holes:
            self._combined_holes(c)
        else:
            self._extremes(c)
        self._console.print()
        self._photos(c)
        self._findings(c.findings)
        self._how_sure_together(c)
        self._heading("Safety")
        self._paragraph(CAUTION)
        self._paragraph(AID)
        return self.text()

    def _headline(self, c: Combination) -> None:
        shots = f"{c.shots} shot{'s' if c.shots > 1 else ''}"
        if len(c.photos) != c.shots:
            shots += f", {len(c.photos)} photos"
        clear = sum(h.hole.state == "clear" for h in c.holes)
        count = f"{clear} of {len(c.holes)} clear over {shots}" if c.holes else shots
        self.verdict_line(c.verdict, f"{count}: {'; '.join(explain(c))}")
        self._console.print(Text(self._say(f"against {printable(c.layout.name)}"), style="dim"))

    def _combined_holes(self, c: Combination) -> None:
        # The single photos' values need room; --json has them always.
        each_photo = self._width >= 60 + 6 * len(c.photos)
        heads = ["hole", "off by", "wets", "shots", "scatter"]
        table = self._table([*heads, *(["each photo"] if each_photo else []), "state"])
        for h in c.holes:
            cells = _cells(h)[: None if each_photo else -1]
            table.add_row(*(self._say(cell) for cell in cells), self.mark(*_state(h)))
        self._console.print(table)
        each = "from shot to shot" if c.shots > 1 else "from photo to photo"
        self._paragraph(
            "Means over all; angles in degrees, + is clockwise. wets: wetted area against what the "
            f"hole should wet. ± holds 95 %. scatter: standard deviation {each}.",
            indent=0,
            style="dim",
        )

    def _extremes(self, c: Combination) -> None:
        table = self._table(["of any hole", "mean", "limit"])
        for e in c.extremes:
            table.add_row(
                self._say(_LIMITS_IN_WORDS.get(e.limit, e.limit)),
                self._say(_figure(e, e.value) + " ±" + _figure(e, e.u)),
                self._say(_figure(e, e.allowed)),
            )
        self._console.print(table)
        self._paragraph(
            "Mean over the shots of each shot's worst hole: no hole's own mean is worse, whichever "
            "hole of one shot is which of another. ± holds 95 %.",
            indent=0,
            style="dim",
        )

    def _photos(self, c: Combination) -> None:
        wide = self._width >= 84  # room for what is wrong with each
        heads = ["photo", "card", "verdict", "wets", "off by", *(["state"] if wide else [])]
        table = self._table(heads)
        for photo, card in zip(c.photos, c.cards, strict=True):
            low, high, turn = _span(photo)
            name = printable(photo.photo.file) or "-"
            room = self._width - (72 if wide else 44)
            shown = name if len(name) <= room else "..." + name[3 - room :]
            table.add_row(
                self._say(shown),
                str(card),
                photo.verdict,
                f"{low:.0%} to {high:.0%}",
                self._say(f"{turn:.1f}°"),
                *([self._say(_faults(photo))] if wide else []),
            )
        self._console.print(table)

    def _how_sure_together(self, c: Combination) -> None:
        self._heading("How sure")
        m = c.matching
        if m.sure:
            turned = ", ".join(f"{signed(t)}°" for t in m.turn_deg[1:])
            self._item(
                f"Holes matched {MATCHED_IN_WORDS[m.by]} (probability "
                f"{probability_in_words(m.probability)}); turned against the first photo by "
                f"{turned}."
            )
        else:
            self._item(f"Holes not matched: {m.note}.")
        if c.shots == 1:
            self._item(
                "One card, photographed more than once: only what the photos add is averaged. How "
                "far one shot differs from the next stays in the uncertainty."
            )
        for what, factor in zip(("directions", "areas"), c.widened, strict=True):
            if factor > 1:
                self._item(
                    f"The shots scatter {factor:.1f} times as far in their {what} as each photo's "
                    "uncertainty explains; the uncertainties were widened by as much."
                )
        for what, share in zip(("directions", "areas"), c.photo_scatter, strict=True):
            if math.isfinite(share):
                self._item(
                    f"Photos of one card scatter {share:.0%} of a single photo's uncertainty in "
                    f"their {what}."
                )
        if math.isfinite(c.probability):
            bound = "" if c.holes or c.probability > _CERTAIN else "at least "
            self._item(
                f"Probability that the nozzle keeps every limit: {bound}"
                f"{probability_in_words(c.probability)}."
            )
        self.limits_line(c.limits)


def _cells(h: CombinedHole) -> list[str]:
    hole = h.hole
    off, wets = signed(hole.deviation_deg), percent(hole.area_ratio)
    if math.isfinite(hole.deviation_u_deg):
        off += f" ±{hole.deviation_u_deg:.1f}"
    if math.isfinite(hole.area_ratio_u):
        wets += f" ±{percent(hole.area_ratio_u)}"
    scatter = h.scatter
    shot = math.isfinite(scatter.shot_ratio)
    ratio = scatter.shot_ratio if shot else scatter.photo_ratio
    turn = scatter.shot_deg if shot else scatter.photo_deg
    spread = f"{turn:.1f}° {ratio:.1%}" if math.isfinite(ratio) else "-"
    each = " ".join(percent(r) for r in h.ratios)
    return [str(hole.hole), off, wets, str(h.shots), spread, each]


def _faults(photo: Assessment) -> str:
    """Name the only fault of a photo, or count them."""
    bad = [h for h in photo.holes if h.state not in ("clear", "unsure")]
    if len(bad) == 1:
        return name_hole(bad[0])
    return f"{len(bad)} faulty holes" if bad else ""


def _state(h: CombinedHole) -> tuple[str, str]:
    return h.hole.state, "intermittent" if h.intermittent else h.hole.state


def _span(photo: Assessment) -> tuple[float, float, float]:
    ratios = [h.area_ratio for h in photo.holes if math.isfinite(h.area_ratio)] or [math.nan]
    turns = [abs(h.deviation_deg) for h in photo.holes if math.isfinite(h.deviation_deg)]
    return min(ratios), max(ratios), float(np.max(turns, initial=0.0))


def _figure(e: Evidence, value: float) -> str:
    return f"{value:.1f}°" if e.unit == "deg" else f"{value:.0%}"


def percent(value: float) -> str:
    """Write a ratio as a whole percentage; ``-`` for NaN."""
    return f"{value:.0%}" if math.isfinite(value) else "-"


def probability_in_words(value: float) -> str:
    """Say a probability without ever rounding it to certainty."""
    if value > _CERTAIN:
        return "over 99.9 %"
    return "below 0.1 %" if value < 0.0005 else f"{100 * value:.1f} %"
