"""What an axial spray is held against, and the case of one photo of it.

A limit that needs what is not known (an aim, the tip's height, whether the spray should be hollow)
is not asked, and that is said.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.case import Case
from spraycheck.judge.checks import Group, check_limit, waived
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Doubt, Finding, Kind, LimitCheck, Outcome, Verdict
from spraycheck.judge.verdict import Ruling
from spraycheck.spray.axial.containers import EVEN, QUANTITIES, AxialPatch
from spraycheck.spray.measurement import Measurement

QUANTITY: Final = {
    "ellipse_low_ratio": "ellipse_ratio",
    "form_factor_low_ratio": "form_factor",
    "heavy_side_frac": "heavy_side_frac",
    "streak_frac": "streak_frac",
    "core_hollow_ratio": "core_ratio",
    "core_filled_ratio": "core_ratio",
    "hollow_offset_ratio": "hollow_offset_ratio",
    "offset_ratio": "offset_ratio",
    "side_frac": "side_frac",
}
"""Limit to the value it holds, of `QUANTITIES`."""

SOAKED_OVER: Final = 0.65
"""From this share of full paper on, a wet middle says nothing about a hollow. Chosen because the
middle of simulated hollow sprays stayed drier than 0.6 of the ring until 0.74 of the patch was
full, and closed from 0.8 on."""

MANY: Final = 3
"""From so many patches of about the same size on the card is another nozzle's (chosen: the fewest
holes a nozzle with plumes has; a damaged mouth throws one second jet, seldom two)."""


def check_axial(found: Measurement, nozzle: AxialNozzle, limits: AxialLimits) -> Case:
    """Hold one photo of an axial spray against its limits.

    Parameters
    ----------
    found : Measurement
        What was measured.
    nozzle, limits
        What is expected and tolerated.
    """
    patch = found.patch
    several = patch.plumes >= MANY
    # Without its whole outline on the sheet neither shape nor place nor what lies beside the patch
    # is known; of a pattern of plumes one is taken for the patch, and all the others for faults.
    # A patch whose area may be nought has none, and everything is told over its diameter.
    outline = (
        flag.AT_SHEET_EDGE in patch.flags
        or flag.NO_SHEET in found.card.flags
        or not patch.area_u_mm2 < patch.area_mm2
    )
    lost = (
        *((Doubt.SEVERAL_PLUMES,) if several else ()),
        *((Doubt.NO_OUTLINE,) if outline else ()),
    )
    checks = tuple(
        check_limit(
            name,
            patch.value(quantity),
            patch.u(quantity) / COVERAGE_FACTOR_95,
            limits,
            doubts=_not_asked(name, patch, nozzle, limits)
            or lost
            or _not_told(name, patch, limits),
            sigma_at_limit=_sigma_at(quantity, patch, float(getattr(limits, name))),
        )
        for name, quantity in QUANTITY.items()
    )
    return Case(
        measurement=found,
        nozzle=nozzle,
        limits=limits,
        checks=checks,
        groups=(_group(checks, patch, limits),),
        grouped=frozenset(QUANTITY),
        sharing=sum(not waived(check.doubts) for check in checks),
        notes=tuple(_notes(found, nozzle, limits, several=several)),
        joint_proof=True,
    )


def _not_asked(
    name: str, patch: AxialPatch, nozzle: AxialNozzle, limits: AxialLimits
) -> tuple[Doubt, ...]:
    """Why a limit is not asked; empty when it is."""
    if not limits.held(name):
        return (Doubt.LIMIT_OFF,)
    if name == "core_filled_ratio" and nozzle.fill != "filled":
        return (Doubt.NEED_NOT_BE_FILLED,)
    if name in ("core_hollow_ratio", "hollow_offset_ratio") and nozzle.fill != "hollow":
        return (Doubt.NEED_NOT_BE_HOLLOW,)
    if name == "hollow_offset_ratio" and not math.isfinite(patch.hollow_offset_ratio):
        return (Doubt.NO_HOLLOW,)
    if name == "offset_ratio" and not patch.aim.known:
        return (Doubt.NO_AIM,)
    return ()


def _not_told(name: str, patch: AxialPatch, limits: AxialLimits) -> tuple[Doubt, ...]:
    """Why a limit that is asked cannot be told by this photo; empty when it can."""
    # A hollow may have been there and soaked over.
    if name == "core_hollow_ratio" and (
        patch.soaked_frac >= SOAKED_OVER and patch.core_ratio > limits.core_hollow_ratio
    ):
        return (Doubt.SOAKED_OVER,)
    # What lies against the border would decide, and nothing else does already.
    if name == "side_frac" and (
        patch.doubtful_frac > limits.side_frac >= patch.side_frac - patch.u("side_frac")
    ):
        return (Doubt.MAY_BE_SHADOW,)
    # A dry spot beside a wet middle may be cut off by a line drawn across the hollow.
    if name == "hollow_offset_ratio" and not patch.hollow:
        return (Doubt.OPEN_HOLLOW,)
    return ()


def _sigma_at(quantity: str, patch: AxialPatch, allowed: float) -> float | None:
    if quantity not in EVEN:
        return None
    return patch.u_at(quantity, allowed) / COVERAGE_FACTOR_95


def _group(checks: tuple[LimitCheck, ...], patch: AxialPatch, limits: AxialLimits) -> Group:
    """Return what is asked, with its correlations."""
    asked = [check for check in checks if not waived(check.doubts)]
    at = [QUANTITIES.index(QUANTITY[check.limit]) for check in asked]
    values: Float = np.array([check.value for check in asked], float)
    return Group(
        values=values,
        covariance=patch.covariance[np.ix_(at, at)],
        tolerances=tuple(limits.tolerance(check.limit) for check in asked),
    )


def _notes(
    found: Measurement, nozzle: AxialNozzle, limits: AxialLimits, *, several: bool
) -> list[Finding]:
    """Tell of what keeps everything from being judged, or else of what is not asked."""
    patch = found.patch
    if several:
        return [Finding(kind=Kind.AXIAL_SEVERAL, fields={"found": patch.plumes})]
    if flag.AT_SHEET_EDGE in patch.flags:
        return [Finding(kind=Kind.AXIAL_AT_EDGE)]
    if flag.NO_SHEET in found.card.flags:
        return []  # told of the photo
    notes = []
    if not patch.aim.known and limits.held("offset_ratio"):
        notes.append(Finding(kind=Kind.AXIAL_NO_AIM))
    if nozzle.fill == "either":
        seen = "hollow" if patch.hollow else "filled"
        notes.append(Finding(kind=Kind.AXIAL_FILL_UNKNOWN, fields={"seen": seen}))
    return notes


KIND_OF_LIMIT: Final = {
    "ellipse_low_ratio": Kind.AXIAL_NOT_ROUND,
    "form_factor_low_ratio": Kind.AXIAL_RAGGED,
    "heavy_side_frac": Kind.AXIAL_LOPSIDED,
    "streak_frac": Kind.AXIAL_STREAKY,
    "core_hollow_ratio": Kind.AXIAL_NOT_HOLLOW,
    "core_filled_ratio": Kind.AXIAL_NOT_FILLED,
    "hollow_offset_ratio": Kind.AXIAL_HOLLOW_OFF_CENTRE,
    "offset_ratio": Kind.AXIAL_OFF_CENTRE,
    "side_frac": Kind.AXIAL_SIDE_SPRAY,
    "spray_angle_deg": Kind.AXIAL_ANGLE,
}
"""Limit to the finding that it is broken."""


def axial_findings(case: Case, ruling: Ruling) -> list[Finding]:
    """Tell of every limit of an axial spray that is broken or that this photo cannot tell."""
    patch = case.measurement.patch
    failed = ruling.verdict is Verdict.FAIL
    told = []
    for check in ruling.checks:
        why = set(check.doubts)
        if why & {Doubt.SEVERAL_PLUMES, Doubt.NO_OUTLINE}:
            continue  # one of the notes says so, or a finding about the photo
        if check.outcome is Outcome.BROKEN:
            kind, fields = KIND_OF_LIMIT[check.limit], _where(check, case)
            told.append(Finding(kind=kind, fields=fields, check=check))
        elif check.outcome is not Outcome.UNSURE:
            continue
        elif Doubt.SOAKED_OVER in why:
            told.append(Finding(kind=Kind.AXIAL_SOAKED, fields={"share": patch.soaked_frac}))
        elif Doubt.MAY_BE_SHADOW in why:
            at = {"share": patch.doubtful_frac, "direction_deg": patch.sides[-1].direction_deg}
            told.append(Finding(kind=Kind.AXIAL_DOUBTFUL_SPOT, fields=at))
        elif not failed:  # a fail is settled by what is broken
            told.append(Finding(kind=Kind.AXIAL_UNSURE, check=check))
    return told


def _where(check: LimitCheck, case: Case) -> dict[str, object]:
    """What a finding tells beside its check: where the fault lies, or the angles themselves."""
    patch = case.measurement.patch
    if check.limit == "spray_angle_deg":
        nominal = case.axial_nozzle.full_angle_deg
        return {"angle_deg": nominal + check.value, "nominal_deg": nominal}
    directions = {
        "heavy_side_frac": patch.heavy_side_deg,
        "offset_ratio": patch.offset_deg,
        "side_frac": patch.sides[0].direction_deg if patch.sides else math.nan,
    }
    return {"direction_deg": directions[check.limit]} if check.limit in directions else {}
