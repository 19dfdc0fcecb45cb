"""The document of one photo of a nozzle with holes, filled in."""

from __future__ import annotations

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Hole, Result, SprayAngles
from spraycheck.report.document import forms
from spraycheck.report.document.entries import Photo, Point, plain
from spraycheck.report.document.shared import (
    card_entry,
    finding_entry,
    in_photo,
    limits_entry,
    photo_values,
    points,
)
from spraycheck.report.model.shared import edge_frac
from spraycheck.report.words.findings import hole_reason


def holes_form(result: Result, layout: Layout) -> forms.HolesDocument:
    """Return the document of one photo."""
    centre = result.centre
    scale = result.card.px_per_mm(np.array([centre.x_mm, centre.y_mm]))
    axes = _axes_px(result)
    return forms.HolesDocument(
        schema="spraycheck.assessment/1",
        photo=Photo(**photo_values(result.photo)),
        card=card_entry(result.card, scale),
        centre=_centre(result, scale),
        plumes=tuple(_plume(result, k, axes[k]) for k in range(len(result.catalogue))),
        rotation_u_deg=result.catalogue.rotation_u_deg,
        holes=tuple(_hole(hole) for hole in result.holes),
        strays=tuple(int(plume) for plume in result.strays),
        marks=_spots(result),
        verdict=result.verdict,
        probability=result.probability,
        findings=tuple(finding_entry(finding) for finding in result.findings),
        angles=_angles(result.angles),
        quality=_quality(result),
        layout=_layout(layout),
        lined_up_with=plain(result.provenance.get("lined_up_with")) or None,
        limits=limits_entry(result.limits),
        provenance=plain(result.provenance),
    )


def _centre(result: Result, scale: float) -> forms.Centre:
    centre = result.centre
    x_px, y_px = in_photo(result.card, centre.x_mm, centre.y_mm)
    # In the photo the region is an ellipse; this is the circle of its area, seen square-on.
    return forms.Centre(
        x_px=x_px,
        y_px=y_px,
        x_mm=centre.x_mm,
        y_mm=centre.y_mm,
        u_px=float(centre.u95_mm * scale),
        u_mm=centre.u95_mm,
        found_by=centre.found_by,  # type: ignore[arg-type]
        flags=centre.flags,
    )


def _plume(result: Result, k: int, axis_px: tuple[Point, Point] | None) -> forms.Plume:
    rows = result.catalogue
    named = (
        *("direction_deg", "direction_u_deg", "width_deg", "near_mm", "reach_mm", "area_mm2"),
        *("area_u_mm2", "area_frac", "area_u_frac", "axis_deg", "raggedness", "drops_frac"),
    )
    return forms.Plume(
        id=k + 1,
        centroid_px=points(rows.centroid_px[k : k + 1])[0],
        centroid_mm=points(rows.centroid_mm[k : k + 1])[0],
        axis_px=axis_px,
        holes=tuple(hole.hole for hole in result.holes if hole.plume == k + 1),
        flags=rows.flags[k],
        **{name: float(getattr(rows, name)[k]) for name in named},
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


def _hole(hole: Hole) -> forms.Hole:
    return forms.Hole(
        hole=hole.hole,
        expected_deg=hole.expected_deg,
        plume=hole.plume,
        state=hole.state,
        deviation_deg=hole.deviation_deg,
        deviation_u_deg=hole.deviation_u_deg,
        spacing_deg=hole.spacing_deg,
        area_frac=hole.area_frac,
        area_ratio=hole.area_ratio,
        area_ratio_u=hole.area_ratio_u,
        probability=hole.probability,
        reason=hole_reason(hole),
        doubts=hole.doubts,
    )


def _spots(result: Result) -> tuple[forms.Spot, ...]:
    total = float(np.sum(result.catalogue.area_mm2))
    return tuple(
        forms.Spot(
            kind=spot.kind,  # type: ignore[arg-type]
            centroid_px=in_photo(result.card, spot.x_mm, spot.y_mm),
            area_frac=spot.area_mm2 / total if total > 0 else None,
            area_mm2=spot.area_mm2,
        )
        for spot in result.segmentation.marks
    )


def _quality(result: Result) -> forms.Quality | None:
    q = result.quality
    if q is None:
        return None
    named = (
        *("edge_x_mm", "edge_y_mm", "mm_per_px", "noise_frac", "evenness_frac", "clipped_frac"),
        *("glare_frac", "outside_frac", "view_deg", "elapsed_s"),
    )
    return forms.Quality(
        measured_on=q.measured_on or None,  # type: ignore[arg-type]
        edge_frac=edge_frac(q),
        jpeg_quality=result.photo.jpeg_quality,
        flags=q.flags,
        **{name: float(getattr(q, name)) for name in named},
    )


def _angles(angles: SprayAngles | None) -> forms.Angles | None:
    if angles is None:
        return None
    each = ("axis_angle_deg", "axis_angle_u_deg", "nominal_deg", "cone_deg")
    named = (
        *("height_mm", "height_u_mm", "spray_angle_deg", "spray_angle_u_deg"),
        *("tilt_deg", "tilt_u_deg", "tilt_towards_deg"),
    )
    return forms.Angles(
        plumes=tuple(
            forms.PlumeAngles(id=k + 1, **{name: getattr(angles, name)[k] for name in each})
            for k in range(len(angles.axis_angle_deg))
        ),
        **{name: getattr(angles, name) for name in named},
    )


def _layout(layout: Layout) -> forms.Layout:
    rows = zip(
        layout.azimuth_deg, layout.axis_angle_deg, layout.diameter_mm, layout.row, strict=True
    )
    return forms.Layout(
        name=layout.name,
        even=layout.even,
        counts_from=layout.counts_from or None,
        holes=tuple(
            forms.LayoutHole(azimuth_deg=azimuth, axis_angle_deg=angle, diameter_mm=width, row=row)
            for azimuth, angle, width, row in rows
        ),
    )
