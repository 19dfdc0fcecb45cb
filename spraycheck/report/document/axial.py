"""The document of one photo of a nozzle that sprays along its axis, filled in."""

from __future__ import annotations

import numpy as np

from spraycheck.judge.axial import QUANTITY
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import LimitCheck, Result
from spraycheck.report.document import forms
from spraycheck.report.document.entries import PhotoEntry, entry_of, plain
from spraycheck.report.document.shared import (
    card_entry,
    finding_entry,
    in_photo,
    limits_entry,
    points,
)
from spraycheck.report.words.findings import check_reason
from spraycheck.spray.axial.containers import QUANTITIES, SidePatch


def axial_form(result: Result, nozzle: AxialNozzle) -> forms.AxialDocument:
    """Return the document of one photo."""
    patch, angles = result.patch, result.angles
    scale = result.card.px_per_mm(np.array([patch.x_mm, patch.y_mm]))
    return entry_of(
        forms.AxialDocument,
        result,
        schema="spraycheck.central/1",
        photo=entry_of(PhotoEntry, result.photo),
        card=card_entry(result.card, scale),
        aim=_aim(result),
        patch=_patch(result),
        sides=tuple(_side(result, side) for side in patch.sides),
        judged=tuple(_judged(check) for check in result.checks),
        findings=tuple(finding_entry(finding) for finding in result.findings),
        spray_angle_deg=angles.spray_angle_deg if angles else None,
        spray_angle_u_deg=angles.spray_angle_u_deg if angles else None,
        nozzle=entry_of(forms.NozzleEntry, nozzle),
        limits=limits_entry(result.limits),
        provenance=plain({**result.provenance, "measured_by": patch.method}),
    )


def _aim(result: Result) -> forms.AimEntry | None:
    aim = result.patch.aim
    if not aim.known:
        return None
    at = in_photo(result.card, aim.x_mm, aim.y_mm)
    return entry_of(forms.AimEntry, aim, u_mm=2 * aim.u_mm, centroid_px=at)


def _patch(result: Result) -> forms.PatchEntry:
    patch = result.patch
    return entry_of(
        forms.PatchEntry,
        patch,
        centroid_px=in_photo(result.card, patch.x_mm, patch.y_mm),
        profile=tuple(patch.profile.tolist()),
        by_angle=tuple(patch.by_angle.tolist()),
        outline_px=points(patch.outline_px),
        hollow_px=points(patch.hollow_px),
        **{name: patch.value(name) for name in QUANTITIES},
        **{f"{name}_u": patch.u(name) for name in QUANTITIES},
    )


def _side(result: Result, side: SidePatch) -> forms.SideEntry:
    at = in_photo(result.card, side.x_mm, side.y_mm)
    return entry_of(forms.SideEntry, side, centroid_px=at, outline_px=points(side.outline_px))


def _judged(check: LimitCheck) -> forms.JudgedEntry:
    return entry_of(
        forms.JudgedEntry,
        check,
        quantity=QUANTITY.get(check.limit, check.limit),
        state=check.outcome,
        reason=check_reason(check),
    )
