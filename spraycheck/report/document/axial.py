"""The document of one photo of a nozzle that sprays along its axis, filled in."""

from __future__ import annotations

from typing import Any

import numpy as np

from spraycheck.judge.axial import QUANTITY
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import LimitCheck, Result
from spraycheck.report.document import forms
from spraycheck.report.document.entries import Photo, plain
from spraycheck.report.document.shared import (
    card_entry,
    finding_entry,
    in_photo,
    limits_entry,
    photo_values,
    points,
)
from spraycheck.report.words.findings import check_reason
from spraycheck.spray.axial.containers import QUANTITIES, SidePatch


def axial_form(result: Result, nozzle: AxialNozzle) -> forms.AxialDocument:
    """Return the document of one photo."""
    patch, angles = result.patch, result.angles
    scale = result.card.px_per_mm(np.array([patch.x_mm, patch.y_mm]))
    return forms.AxialDocument(
        schema="spraycheck.central/1",
        photo=Photo(**photo_values(result.photo)),
        card=card_entry(result.card, scale),
        aim=_aim(result),
        patch=_patch(result),
        sides=tuple(_side(result, side) for side in patch.sides),
        judged=tuple(_judged(check) for check in result.checks),
        verdict=result.verdict,
        probability=result.probability,
        findings=tuple(finding_entry(finding) for finding in result.findings),
        spray_angle_deg=angles.spray_angle_deg if angles else None,
        spray_angle_u_deg=angles.spray_angle_u_deg if angles else None,
        nozzle=forms.Nozzle(
            name=nozzle.name,
            kind=nozzle.kind,  # type: ignore[arg-type]
            fill=nozzle.fill,  # type: ignore[arg-type]
            full_angle_deg=nozzle.full_angle_deg,
        ),
        limits=limits_entry(result.limits),
        provenance=plain({**result.provenance, "measured_by": patch.method}),
    )


def _aim(result: Result) -> forms.Aim | None:
    aim = result.patch.aim
    if not aim.known:
        return None
    return forms.Aim(
        source=aim.source,  # type: ignore[arg-type]
        x_mm=aim.x_mm,
        y_mm=aim.y_mm,
        u_mm=2 * aim.u_mm,
        centroid_px=in_photo(result.card, aim.x_mm, aim.y_mm),
    )


def _patch(result: Result) -> forms.Patch:
    patch = result.patch
    named = (
        *("x_mm", "y_mm", "centre_u_mm", "area_mm2", "area_u_mm2", "diameter_mm"),
        *("diameter_u_mm", "heavy_side_deg", "offset_deg", "offset_mm", "hollow"),
        *("doubtful_frac", "soaked_frac", "flags"),
    )
    values: dict[str, Any] = {name: getattr(patch, name) for name in named}
    values |= {name: patch.value(name) for name in QUANTITIES}
    values |= {f"{name}_u": patch.u(name) for name in QUANTITIES}
    return forms.Patch(
        centroid_px=in_photo(result.card, patch.x_mm, patch.y_mm),
        profile=tuple(patch.profile.tolist()),
        by_angle=tuple(patch.by_angle.tolist()),
        outline_px=points(patch.outline_px),
        hollow_px=points(patch.hollow_px),
        **values,
    )


def _side(result: Result, side: SidePatch) -> forms.Side:
    return forms.Side(
        direction_deg=side.direction_deg,
        area_mm2=side.area_mm2,
        centroid_px=in_photo(result.card, side.x_mm, side.y_mm),
        outline_px=points(side.outline_px),
    )


def _judged(check: LimitCheck) -> forms.Judged:
    return forms.Judged(
        limit=check.limit,
        quantity=QUANTITY.get(check.limit, check.limit),
        value=check.value,
        u=check.u,
        allowed=check.allowed,
        unit=check.unit,
        probability=check.probability,
        state=check.outcome,
        reason=check_reason(check),
        doubts=check.doubts,
    )
