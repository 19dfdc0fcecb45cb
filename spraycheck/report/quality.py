"""The photo's quality, for the document and in one line for a reader."""

from __future__ import annotations

import math
from typing import Any

from spraycheck.judge.layout import Assessment


def quality_entry(assessment: Assessment) -> dict[str, Any] | None:
    """Return the document's entry; None where the photo was not looked at.

    Lengths in mm are None unless the scale is known.
    """
    q = assessment.quality
    if q is None:
        return None
    known = assessment.card.scale_known

    def mm(value: float) -> float | None:
        return _number(value) if known else None

    return {
        "measured_on": q.measured_on or None,
        "edge_x_mm": mm(q.edge_x_mm),
        "edge_y_mm": mm(q.edge_y_mm),
        "edge_frac": _number(_edge_frac(assessment)),
        "mm_per_px": mm(q.mm_per_px),
        "noise_frac": _number(q.noise_frac),
        "evenness_frac": _number(q.evenness_frac),
        "clipped_frac": _number(q.clipped_frac),
        "glare_frac": _number(q.glare_frac),
        "outside_frac": _number(q.outside_frac),
        "view_deg": _number(q.view_deg),
        "jpeg_quality": _number(assessment.photo.jpeg_quality),
        "elapsed_s": _number(q.elapsed_s),
        "flags": list(q.flags),
    }


def quality_line(assessment: Assessment) -> str:
    """Say in one line what the photo is like; empty where it was not looked at."""
    q = assessment.quality
    if q is None:
        return ""
    parts = []
    edge = max((e for e in (q.edge_x_mm, q.edge_y_mm) if math.isfinite(e)), default=math.nan)
    if math.isfinite(edge) and assessment.card.scale_known:
        parts.append(f"edges sharp to {edge:.1f} mm")
    elif math.isfinite(_edge_frac(assessment)):
        parts.append(f"edges sharp to {_edge_frac(assessment):.0%} of a plume's width")
    width = q.plume_width_mm / q.mm_per_px
    if math.isfinite(width):
        parts.append(f"a plume {width:.0f} pixels wide")
    parts.append(f"seen {q.view_deg:.0f}° off square")
    if math.isfinite(q.evenness_frac):
        parts.append(f"darkest paper {q.evenness_frac:.0%} as light as the brightest")
    if math.isfinite(q.elapsed_s):
        parts.append(f"taken {q.elapsed_s / 60:.0f} min after spraying")
    return f"Photo: {', '.join(parts)}."


def _edge_frac(assessment: Assessment) -> float:
    q = assessment.quality
    assert q is not None
    edges = [e for e in (q.edge_x_mm, q.edge_y_mm) if math.isfinite(e)]
    return max(edges) / q.plume_width_mm if edges and q.plume_width_mm > 0 else math.nan


def _number(value: float) -> float | None:
    return float(f"{value:.4g}") if math.isfinite(value) else None
