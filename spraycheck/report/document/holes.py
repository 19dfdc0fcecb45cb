"""The document of one photo of a nozzle with holes, filled in."""

from __future__ import annotations

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result, SprayAngles
from spraycheck.report.document import forms
from spraycheck.report.document.entries import PhotoEntry, Point, entry_of, plain
from spraycheck.report.document.shared import (
    card_entry,
    finding_entry,
    in_photo,
    limits_entry,
    points,
)
from spraycheck.report.model.shared import edge_frac
from spraycheck.report.words.findings import hole_reason

PER_PLUME = (
    *("direction_deg", "direction_u_deg", "width_deg", "near_mm", "reach_mm", "area_mm2"),
    *("area_u_mm2", "area_frac", "area_u_frac", "axis_deg", "raggedness", "drops_frac"),
)
"""Columns of the catalogue of plumes that are written as they are."""

PER_ANGLE = ("axis_angle_deg", "axis_angle_u_deg", "nominal_deg", "cone_deg")


def holes_form(result: Result, layout: Layout) -> forms.HolesDocument:
    """Return the document of one photo."""
    centre = result.centre
    scale = result.card.px_per_mm(np.array([centre.x_mm, centre.y_mm]))
    axes = _axes_px(result)
    return entry_of(
        forms.HolesDocument,
        result,
        schema="spraycheck.assessment/1",
        photo=entry_of(PhotoEntry, result.photo),
        card=card_entry(result.card, scale),
        centre=_centre(result, scale),
        plumes=tuple(_plume(result, k, axes[k]) for k in range(len(result.catalogue))),
        rotation_u_deg=result.catalogue.rotation_u_deg,
        holes=tuple(
            entry_of(forms.HoleEntry, hole, reason=hole_reason(hole)) for hole in result.holes
        ),
        marks=_spots(result),
        findings=tuple(finding_entry(finding) for finding in result.findings),
        angles=_angles(result.angles),
        quality=_quality(result),
        layout=_layout(layout),
        lined_up_with=plain(result.provenance.get("lined_up_with")),
        limits=limits_entry(result.limits),
        provenance=plain(result.provenance),
    )


def _centre(result: Result, scale: float) -> forms.CentreEntry:
    centre = result.centre
    x_px, y_px = in_photo(result.card, centre.x_mm, centre.y_mm)
    # In the photo the region is an ellipse; this is the circle of its area, seen square-on.
    u_px = float(centre.u95_mm * scale)
    return entry_of(forms.CentreEntry, centre, x_px=x_px, y_px=y_px, u_px=u_px, u_mm=centre.u95_mm)


def _plume(result: Result, k: int, axis_px: tuple[Point, Point] | None) -> forms.PlumeEntry:
    rows = result.catalogue
    return forms.PlumeEntry(
        id=k + 1,
        centroid_px=points(rows.centroid_px[k : k + 1])[0],
        centroid_mm=points(rows.centroid_mm[k : k + 1])[0],
        axis_px=axis_px,
        holes=tuple(hole.hole for hole in result.holes if hole.plume == k + 1),
        flags=rows.flags[k],
        **{name: float(getattr(rows, name)[k]) for name in PER_PLUME},
    )


def _axes_px(result: Result) -> list[tuple[Point, Point] | None]:
    """Near and far end of every plume's axis, through its centroid and as long as the plume is."""
    rows = result.catalogue
    turn = np.radians(rows.axis_deg)
    half = (rows.reach_mm - rows.near_mm) / 2
    step = half[:, None] * np.column_stack([np.sin(turn), -np.cos(turn)])
    ends = np.stack([rows.centroid_mm - step, rows.centroid_mm + step], axis=1)
    known = np.isfinite(ends).all(axis=(1, 2))
    if not known.any():
        return [None] * len(known)
    drawn = iter(points(result.card.to_photo(ends[known].reshape(-1, 2))))
    return [(next(drawn), next(drawn)) if there else None for there in known]


def _spots(result: Result) -> tuple[forms.SpotEntry, ...]:
    total = float(np.sum(result.catalogue.area_mm2))
    return tuple(
        entry_of(
            forms.SpotEntry,
            spot,
            centroid_px=in_photo(result.card, spot.x_mm, spot.y_mm),
            area_frac=spot.area_mm2 / total if total > 0 else None,
        )
        for spot in result.segmentation.marks
    )


def _quality(result: Result) -> forms.QualityEntry | None:
    q = result.quality
    if q is None:
        return None
    return entry_of(forms.QualityEntry, q, result.photo, edge_frac=edge_frac(q))


def _angles(angles: SprayAngles | None) -> forms.AnglesEntry | None:
    if angles is None:
        return None
    plumes = tuple(
        forms.PlumeAnglesEntry(id=k + 1, **{name: getattr(angles, name)[k] for name in PER_ANGLE})
        for k in range(len(angles.axis_angle_deg))
    )
    return entry_of(forms.AnglesEntry, angles, plumes=plumes)


def _layout(layout: Layout) -> forms.LayoutEntry:
    columns = ("azimuth_deg", "axis_angle_deg", "diameter_mm", "row")
    rows = zip(*(getattr(layout, name) for name in columns), strict=True)
    holes = tuple(forms.LayoutHoleEntry(**dict(zip(columns, row, strict=True))) for row in rows)
    return entry_of(forms.LayoutEntry, layout, holes=holes)
