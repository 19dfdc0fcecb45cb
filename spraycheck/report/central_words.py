"""What the values of a central spray are called in every report, and the verdict in one line."""

from __future__ import annotations

import math
from typing import Final

from spraycheck.judge.axial import CentralAssessment, Judged
from spraycheck.judge.axial.assessment import LOWEST
from spraycheck.judge.findings import KINDS

NAMES: Final = {
    "roundness_low_ratio": "roundness",
    "circularity_low_ratio": "circularity",
    "heavy_side_frac": "heavy side",
    "streak_frac": "streaks",
    "core_hollow_ratio": "wet middle",
    "core_filled_ratio": "wet middle",
    "hollow_offset_ratio": "hollow off middle",
    "offset_ratio": "off the aim",
    "side_frac": "beside the patch",
    "spray_angle_deg": "spray angle off",
}
"""Limit to a few words for the value it holds."""

AIMS: Final = {
    "printed": "the printed card's aim",
    "centre": "the middle of the sheet",
    "given": "the place given",
}
"""Where the aim comes from."""


def rows_of(a: CentralAssessment) -> list[Judged]:
    """List what to show: every limit that is judged, and the middle's wetness in any case."""
    rows = [j for j in a.judged if j.state != "not judged"]
    if not any(j.quantity == "core_ratio" for j in rows):
        rows += [j for j in a.judged if j.limit == "core_hollow_ratio"]
    return rows


def figure(j: Judged, value: float) -> str:
    """Write a value the way its limit is written."""
    if not math.isfinite(value):
        return "-"
    if j.limit.endswith("_deg"):
        return f"{value:.1f}°"
    return f"{value:.2f}" if j.limit in LOWEST or "core" in j.limit else f"{value:.0%}"


def allowed_in_words(j: Judged) -> str:
    """Write the limit with the side it holds from; ``-`` for one that is not judged."""
    if j.state == "not judged":
        return "-"
    return f"{'at least' if j.limit in LOWEST else 'at most'} {figure(j, j.allowed)}"


def explain(a: CentralAssessment) -> list[str]:
    """List what decided the verdict, most important first, in a few words each; never empty."""
    if a.verdict == "pass":
        shown = ("roundness_low_ratio", "heavy_side_frac", "streak_frac", "offset_ratio")
        return [
            f"{NAMES[j.limit]} {figure(j, j.value)}"
            for j in a.judged
            if j.limit in shown and j.state == "kept"
        ] or ["no limit is held"]
    notes = ("central-no-aim", "central-fill-unknown", "no-scale")
    told = [f for f in a.findings if f.code not in notes]
    unsure = [NAMES[j.limit] for j in a.judged if j.state == "unsure"]
    parts = [KINDS[f.code].title.lower() for f in told if f.code != "central-unsure"]
    parts = list(dict.fromkeys(sorted(parts, key=lambda part: part == "photo too poor")))
    if any(f.code == "central-unsure" for f in told) and a.verdict == "recheck":
        parts.insert(0, f"too close to the limit: {', '.join(unsure)}")
    return parts or ["see the findings"]


def size_in_words(a: CentralAssessment) -> str:
    """Say how large the patch is: in mm where the scale is known."""
    seen = "hollow" if a.patch.hollow else "filled"
    if not a.card.scale_known:
        return f"{seen} patch"
    return f"{seen}, {a.patch.diameter_mm:.0f} mm"
