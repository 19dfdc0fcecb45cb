"""The result document of a nozzle with one central spray, as plain JSON values.

The published description is ``central.schema.json`` beside this module. Keys are public for ever; a
reader must accept keys it does not know. A photo that could not be measured has the same document
as one of a nozzle with holes.
"""

from __future__ import annotations

from importlib import resources
from typing import Any, Final

import numpy as np

from spraycheck.judge.axial import QUANTITIES, CentralAssessment, Judged, SidePatch
from spraycheck.report.document import card_entry, finding_entry, limits_entry, photo_entry, plain

SCHEMA: Final = "spraycheck.central/1"
"""Name and version of the document's form."""

_DIGITS: Final = 6
"""Significant digits, chosen far beyond the smallest uncertainty met."""


def central_document(assessment: CentralAssessment) -> dict[str, Any]:
    """Return the result document of a measured photo, ready for `dumps`.

    Values in mm are None unless the scale is known.
    """
    a = assessment
    p = a.patch
    scale = a.card.px_per_mm(np.array([p.x_mm, p.y_mm]))
    return {
        "schema": SCHEMA,
        "photo": photo_entry(a.photo),
        "card": card_entry(a.card, scale),
        "aim": _aim(a),
        "patch": _patch(a),
        "sides": [_side(a, side) for side in p.sides],
        "judged": [_judged(a, one) for one in a.judged],
        "verdict": a.verdict,
        "probability": _tidy(a.probability),
        "findings": [finding_entry(f) for f in a.findings],
        "spray_angle_deg": _tidy(a.spray_angle_deg),
        "spray_angle_u_deg": _tidy(a.spray_angle_u_deg),
        "nozzle": {
            "name": a.nozzle.name,
            "kind": a.nozzle.kind,
            "fill": a.nozzle.fill,
            "full_angle_deg": _tidy(a.nozzle.full_angle_deg),
        },
        "limits": limits_entry(a.limits),
        "provenance": plain({**a.provenance, "measured_by": p.method}),
    }


def schema_text() -> str:
    """Return the JSON Schema of the document."""
    return resources.files("spraycheck.report").joinpath("central.schema.json").read_text("utf-8")


def _aim(a: CentralAssessment) -> dict[str, Any] | None:
    if not a.aim.known:
        return None
    known = a.card.scale_known
    return {
        "source": a.aim.source,
        "x_mm": _tidy(a.aim.x_mm) if known else None,
        "y_mm": _tidy(a.aim.y_mm) if known else None,
        "u_mm": _tidy(2 * a.aim.u_mm) if known else None,
        "centroid_px": _points(a.card.to_photo(np.array([[a.aim.x_mm, a.aim.y_mm]])))[0],
    }


def _patch(a: CentralAssessment) -> dict[str, Any]:
    p = a.patch

    def mm(value: float) -> float | None:
        return _tidy(value) if a.card.scale_known else None

    return {
        "centroid_px": _points(a.card.to_photo(np.array([[p.x_mm, p.y_mm]])))[0],
        "x_mm": mm(p.x_mm),
        "y_mm": mm(p.y_mm),
        "centre_u_mm": mm(p.centre_u_mm),
        "area_mm2": mm(p.area_mm2),
        "area_u_mm2": mm(p.area_u_mm2),
        "diameter_mm": mm(p.diameter_mm),
        "diameter_u_mm": mm(p.diameter_u_mm),
        **{name: _tidy(p.value(name)) for name in QUANTITIES},
        **{f"{name}_u": _tidy(p.u(name)) for name in QUANTITIES},
        "heavy_side_deg": _tidy(p.heavy_side_deg),
        "offset_deg": _tidy(p.offset_deg),
        "offset_mm": mm(p.offset_mm),
        "hollow": p.hollow,
        "doubtful_frac": _tidy(p.doubtful_frac),
        "soaked_frac": _tidy(p.soaked_frac),
        "profile": [_tidy(value) for value in p.profile],
        "by_angle": [_tidy(value) for value in p.by_angle],
        "outline_px": _points(p.outline_px),
        "hollow_px": _points(p.hollow_px),
        "flags": list(p.flags),
    }


def _side(a: CentralAssessment, side: SidePatch) -> dict[str, Any]:
    at = a.card.to_photo(np.array([[side.x_mm, side.y_mm]]))
    return {
        "direction_deg": _tidy(side.direction_deg),
        "area_mm2": _tidy(side.area_mm2) if a.card.scale_known else None,
        "centroid_px": _points(at)[0],
        "outline_px": _points(side.outline_px),
    }


def _judged(a: CentralAssessment, one: Judged) -> dict[str, Any]:
    return {
        "limit": one.limit,
        "quantity": one.quantity,
        "value": _tidy(one.value),
        "u": _tidy(one.u),
        "allowed": plain(one.allowed),
        "unit": a.limits.unit(one.limit),
        "probability": _tidy(one.probability),
        "state": one.state,
        "reason": one.reason,
    }


def _tidy(value: float) -> float | None:
    return plain(float(f"{float(value):.{_DIGITS}g}"))  # type: ignore[no-any-return]


def _points(points: Any) -> list[list[float]]:
    return [[round(float(x), 2), round(float(y), 2)] for x, y in points]
