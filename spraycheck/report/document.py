"""The result document: one assessment, or one failure, as plain JSON values.

The published description is ``assessment.schema.json`` beside this module. Keys are public for
ever; a reader must accept keys it does not know.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from importlib import resources
from typing import Any, Final

import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.spec import PrintedFacts
from spraycheck.errors import InputError, MeasurementError
from spraycheck.judge.layout import Assessment, Finding, Hole, Layout, SprayAngles
from spraycheck.judge.limits import LimitSet, limit_fields
from spraycheck.photo.containers import Photo
from spraycheck.report.quality import quality_entry
from spraycheck.spray.containers import NozzleCentre

SCHEMA: Final = "spraycheck.assessment/1"
"""Name and version of the document's form."""

_DIGITS: Final = {"px": 2, "mm": 4, "mm2": 3, "deg": 4, "frac": 6, "ratio": 4}
# Chosen so that rounding stays a hundred times below the smallest uncertainty met.


def assessment_document(assessment: Assessment) -> dict[str, Any]:
    """Return the result document of a measured photo.

    Parameters
    ----------
    assessment : Assessment
        The judged photo.

    Returns
    -------
    dict
        Plain values only, ready for `dumps`. Values in mm are None unless the scale is known.

    Raises
    ------
    MeasurementError
        A value that is never null in the document could not be measured.
    """
    a = assessment
    scale = a.card.px_per_mm(np.array([a.centre.x_mm, a.centre.y_mm]))
    return {
        "schema": SCHEMA,
        "photo": photo_entry(a.photo),
        "card": card_entry(a.card, scale),
        "centre": _centre(a.card, a.centre, scale),
        "plumes": [_plume(a, k) for k in range(len(a.catalogue))],
        "rotation_u_deg": _number(a.catalogue.rotation_u_deg, "deg"),
        "holes": [_hole(hole) for hole in a.holes],
        "strays": [int(plume) for plume in a.strays],
        "marks": _marks(a),
        "verdict": a.verdict,
        "probability": plain(a.probability),
        "findings": [finding_entry(f) for f in a.findings],
        "angles": _angles(a.angles),
        "quality": quality_entry(a),
        "layout": _layout(a.layout),
        "lined_up_with": plain(a.provenance.get("lined_up_with")) or None,
        "limits": limits_entry(a.limits),
        "provenance": plain(a.provenance),
    }


def limits_entry(limits: LimitSet) -> dict[str, Any]:
    """Return the document's entry for a set of limits: each with unit and source.

    The value of a limit that is switched off is None, and ``off`` says so.
    """
    entry: dict[str, Any] = {"name": limits.name}
    for one in limit_fields(type(limits)):
        on = limits.held(one.name)
        entry[one.name] = {
            "value": plain(getattr(limits, one.name)) if on else None,
            "unit": limits.unit(one.name),
            "source": limits.source(one.name),
            "off": not on,
        }
    return entry


def error_document(photo: Photo | str, error: Exception) -> dict[str, Any]:
    """Return the document of a photo that could not be measured.

    Parameters
    ----------
    photo : Photo or str
        The photo, or the name of the file where it could not be read.
    error : Exception
        Why not. The stage is ``reading`` for a photo that cannot be read, ``internal`` for a
        mistake in the program.

    Returns
    -------
    dict
        Verdict None and the error, ready for `dumps`.
    """
    if isinstance(error, MeasurementError):
        stage, message, hint = error.stage, str(error), error.hint
    elif isinstance(error, InputError):
        stage, message, hint = "reading", error.message, error.hint
    else:
        stage, message = "internal", str(error) or type(error).__name__
        hint = "please report this together with the photo"
    unread = {"file": photo, "sha256": None, "width_px": None, "height_px": None, "taken_at": None}
    return {
        "schema": SCHEMA,
        "photo": photo_entry(photo) if isinstance(photo, Photo) else unread,
        "verdict": None,
        "error": {"stage": stage, "message": message, "hint": hint},
    }


def dumps(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> str:
    """Return a document, or several as an array, as JSON text.

    The text is ASCII, so that no terminal, pipe or odd file name can spoil it, and holds neither
    NaN nor infinity, which JSON does not know.
    """
    return json.dumps(document, indent=1, allow_nan=False)


def schema_text() -> str:
    """Return the JSON Schema of the result document."""
    return (
        resources.files("spraycheck.report").joinpath("assessment.schema.json").read_text("utf-8")
    )


def finding_entry(finding: Finding) -> dict[str, Any]:
    """Return the document's entry for a finding."""
    return {
        "code": finding.code,
        "hole": finding.hole if finding.hole > 0 else None,
        "text": finding.text,
        "evidence": plain(asdict(finding.evidence)) if finding.evidence else None,
    }


def photo_entry(photo: Photo) -> dict[str, Any]:
    """Return the document's entry for a photo that was read."""
    return {
        "file": photo.file or None,
        "sha256": photo.sha256 or None,
        "width_px": photo.width_px,
        "height_px": photo.height_px,
        "taken_at": photo.taken_at or None,
        "focal_35mm": plain(photo.focal_35mm),
        "flags": list(photo.flags),
    }


def plain(value: object) -> Any:
    """Return any nesting of values as JSON knows them; what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, str | bool | int | None):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    return str(value)


def card_entry(card: RectifiedCard, scale: float) -> dict[str, Any]:
    """Return the document's entry for the sheet; ``scale`` is in photo pixels per mm."""
    known = card.scale_known
    corners = np.asarray(card.corners_px)
    return {
        "found_by": card.found_by,
        "mm_per_px": _significant(1 / scale) if known and scale > 0 else None,
        "size_mm": [_number(side, "mm") for side in card.size_mm] if known else None,
        "flags": list(card.flags),
        "corners_px": _points(corners) if np.isfinite(corners).all() else None,
        "printed": _printed(card.printed),
    }


def _printed(facts: PrintedFacts | None) -> dict[str, Any] | None:
    if facts is None:
        return None
    return {
        "paper": facts.paper,
        "version": facts.version,
        "job": facts.job or None,
        "injector": facts.injector or None,
        "markers_seen": facts.markers_seen,
        "markers_total": facts.markers_total,
        "residual_mm": _number(facts.residual_mm, "mm"),
        "scale_u_frac": _number(facts.scale_u_frac, "frac"),
        "printed_x_mm": _number(facts.printed_x_mm, "mm"),
        "printed_y_mm": _number(facts.printed_y_mm, "mm"),
        "index_u_deg": _number(facts.index_u_deg, "deg"),
        "edge_x_mm": _number(facts.edge_x_mm, "mm"),
        "edge_y_mm": _number(facts.edge_y_mm, "mm"),
        "sheet_asked": facts.sheet_asked or None,
    }


def _centre(card: RectifiedCard, centre: NozzleCentre, scale: float) -> dict[str, Any]:
    x_px, y_px = card.to_photo(np.array([[centre.x_mm, centre.y_mm]]))[0]
    # In the photo the region is an ellipse; this is the circle of its area, seen square-on.
    values = {"x_px": x_px, "y_px": y_px, "u_px": centre.u95_mm * scale}
    _require("centre", values)
    known = card.scale_known
    return {
        "x_px": _number(x_px, "px"),
        "y_px": _number(y_px, "px"),
        "x_mm": _number(centre.x_mm, "mm") if known else None,
        "y_mm": _number(centre.y_mm, "mm") if known else None,
        "u_px": _number(values["u_px"], "px"),
        "u_mm": _number(centre.u95_mm, "mm") if known else None,
        "found_by": centre.found_by,
        "flags": list(centre.flags),
    }


def _plume(a: Assessment, k: int) -> dict[str, Any]:
    c = a.catalogue
    known = a.card.scale_known
    x_px, y_px = c.centroid_px[k]
    _require(
        f"plume {k + 1}",
        {
            "direction_deg": c.direction_deg[k],
            "direction_u_deg": c.direction_u_deg[k],
            "area_frac": c.area_frac[k],
            "area_u_frac": c.area_u_frac[k],
            "centroid_px": x_px + y_px,
        },
    )

    def mm(value: float, unit: str = "mm") -> float | None:
        return _number(value, unit) if known else None

    return {
        "id": k + 1,
        "direction_deg": _direction(c.direction_deg[k]),
        "direction_u_deg": _number(c.direction_u_deg[k], "deg"),
        "width_deg": _number(c.width_deg[k], "deg"),
        "near_mm": mm(c.near_mm[k]),
        "reach_mm": mm(c.reach_mm[k]),
        "area_mm2": mm(c.area_mm2[k], "mm2"),
        "area_u_mm2": mm(c.area_u_mm2[k], "mm2"),
        "area_frac": _number(c.area_frac[k], "frac"),
        "area_u_frac": _number(c.area_u_frac[k], "frac"),
        "centroid_px": [_number(x_px, "px"), _number(y_px, "px")],
        "centroid_mm": [mm(value) for value in c.centroid_mm[k]] if known else None,
        "axis_deg": _direction(c.axis_deg[k]),
        "axis_px": _axis_px(a, k),
        "raggedness": _number(c.raggedness[k], "ratio"),
        "drops_frac": _number(c.drops_frac[k], "frac"),
        "holes": [hole.hole for hole in a.holes if hole.plume == k + 1],
        "flags": list(c.flags[k]),
    }


def _axis_px(a: Assessment, k: int) -> list[list[float]] | None:
    """Near and far end of the plume's axis, drawn through its centroid as long as the plume is."""
    c = a.catalogue
    turn = math.radians(c.axis_deg[k])
    half = (c.reach_mm[k] - c.near_mm[k]) / 2
    ends = c.centroid_mm[k] + np.outer([-half, half], [math.sin(turn), -math.cos(turn)])
    if not np.isfinite(ends).all():
        return None
    return _points(a.card.to_photo(ends))


def _hole(hole: Hole) -> dict[str, Any]:
    return {
        "hole": hole.hole,
        "expected_deg": _direction(hole.expected_deg),
        "plume": hole.plume,
        "state": hole.state,
        "deviation_deg": _number(hole.deviation_deg, "deg"),
        "deviation_u_deg": _number(hole.deviation_u_deg, "deg"),
        "spacing_deg": _number(hole.spacing_deg, "deg"),
        "area_frac": _number(hole.area_frac, "frac"),
        "area_ratio": _number(hole.area_ratio, "ratio"),
        "area_ratio_u": _number(hole.area_ratio_u, "ratio"),
        "probability": plain(hole.probability),
        "reason": hole.reason,
    }


def _marks(a: Assessment) -> list[dict[str, Any]]:
    total = float(np.sum(a.catalogue.area_mm2))
    entries = []
    for mark in a.segmentation.marks:
        x_px, y_px = a.card.to_photo(np.array([[mark.x_mm, mark.y_mm]]))[0]
        entries.append(
            {
                "kind": mark.kind,
                "centroid_px": [_number(x_px, "px"), _number(y_px, "px")],
                "area_frac": _number(mark.area_mm2 / total, "frac") if total > 0 else None,
                "area_mm2": _number(mark.area_mm2, "mm2") if a.card.scale_known else None,
            }
        )
    return entries


def _angles(angles: SprayAngles | None) -> dict[str, Any] | None:
    if angles is None:
        return None
    return {
        "height_mm": _number(angles.height_mm, "mm"),
        "height_u_mm": _number(angles.height_u_mm, "mm"),
        "spray_angle_deg": _number(angles.spray_angle_deg, "deg"),
        "spray_angle_u_deg": _number(angles.spray_angle_u_deg, "deg"),
        "tilt_deg": _number(angles.tilt_deg, "deg"),
        "tilt_u_deg": _number(angles.tilt_u_deg, "deg"),
        "tilt_towards_deg": _number(angles.tilt_towards_deg, "deg"),
        "plumes": [
            {
                "id": k + 1,
                "axis_angle_deg": _number(angles.axis_angle_deg[k], "deg"),
                "axis_angle_u_deg": _number(angles.axis_angle_u_deg[k], "deg"),
                "nominal_deg": _number(angles.nominal_deg[k], "deg"),
                "cone_deg": _number(angles.cone_deg[k], "deg"),
            }
            for k in range(len(angles.axis_angle_deg))
        ],
    }


def _layout(layout: Layout) -> dict[str, Any]:
    rows = zip(
        layout.azimuth_deg, layout.axis_angle_deg, layout.diameter_mm, layout.row, strict=True
    )
    return {
        "name": layout.name,
        "even": layout.even,
        "counts_from": layout.counts_from or None,
        "holes": [
            {
                "azimuth_deg": azimuth,
                "axis_angle_deg": plain(angle),
                "diameter_mm": plain(width),
                "row": row,
            }
            for azimuth, angle, width, row in rows
        ],
    }


def _require(whose: str, values: Mapping[str, float]) -> None:
    """Refuse a result whose never-null values are missing."""
    missing = [name for name, value in values.items() if not math.isfinite(value)]
    if missing:
        raise MeasurementError(
            f"{whose}: {', '.join(missing)} could not be measured, expected a number",
            stage="measurement",
            hint="photograph a fresh card square-on, the whole sheet in the picture",
        )


def _number(value: float, unit: str) -> float | None:
    number = float(value)
    return round(number, _DIGITS[unit]) if math.isfinite(number) else None


def _significant(value: float) -> float:
    return float(f"{value:.6g}")


def _direction(value: float) -> float | None:
    """Round into ``[0, 360)``: 359.99996 becomes 0, not 360."""
    number = _number(value % 360.0, "deg")
    return None if number is None else number % 360.0


def _points(points: Any) -> list[list[float]]:
    return [[round(float(x), _DIGITS["px"]), round(float(y), _DIGITS["px"])] for x, y in points]
