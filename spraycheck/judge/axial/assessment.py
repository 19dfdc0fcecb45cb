"""Hold the central patch against its limits, and say pass, fail or recheck.

As for a nozzle with holes, two questions are kept apart. *Fail* needs one limit proved broken at a
risk that is shared among all limits held, or that they are not all kept at that risk and one of
them broken at the nozzle's own. *Pass* needs the probability that all of them are kept
together, correlations included, to be at least one minus the risk (JCGM 106:2012, 7 and 8.3).
Between the two the answer is *recheck*. A limit that needs what is not known (an aim, the tip's
height, whether the spray should be hollow) is not judged, and that is said.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, Final

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.axial.containers import (
    EVEN,
    QUANTITIES,
    Aim,
    CentralAssessment,
    CentralPatch,
    Judged,
)
from spraycheck.judge.axial.nozzle import CentralNozzle
from spraycheck.judge.findings import PHOTO_ADVICE, describe, most_important_first
from spraycheck.judge.layout import Evidence, Finding
from spraycheck.judge.limits import CentralLimits
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import WetnessMap
from spraycheck.stats.decision import (
    FAIL,
    PASS,
    RECHECK,
    Tolerance,
    conformity_probability,
    joint_conformity,
    risk_per_limit,
)

HELD: Final = {
    "roundness_low_ratio": "roundness",
    "circularity_low_ratio": "circularity",
    "heavy_side_frac": "heavy_side_frac",
    "streak_frac": "streak_frac",
    "core_hollow_ratio": "core_ratio",
    "core_filled_ratio": "core_ratio",
    "hollow_offset_ratio": "hollow_offset_ratio",
    "offset_ratio": "offset_ratio",
    "side_frac": "side_frac",
    "spray_angle_deg": "spray_angle_deg",
}
"""Limit to the value it holds, all but the last among `QUANTITIES`."""

LOWEST: Final = ("roundness_low_ratio", "circularity_low_ratio", "core_filled_ratio")
"""Limits that hold a value from below."""

SOAKED_OVER: Final = 0.65
"""From this share of full paper on, a wet middle says nothing about a hollow. Chosen because the
middle of simulated hollow sprays stayed drier than 0.6 of the ring until 0.74 of the patch was
full, and closed from 0.8 on."""

MANY: Final = 3
"""From so many patches of about the same size on the card is another nozzle's (chosen: the fewest
holes a nozzle with plumes has; a damaged mouth throws one second jet, seldom two)."""

SOAK_FRAC: Final = 0.15
"""Relative standard uncertainty of the tangent of a half angle from soaking (chosen: on simulated
cards the patch is up to a quarter wider than the cone)."""

_CODES: Final = {
    "roundness_low_ratio": "central-not-round",
    "circularity_low_ratio": "central-ragged",
    "heavy_side_frac": "central-lopsided",
    "streak_frac": "central-streaky",
    "core_hollow_ratio": "central-not-hollow",
    "core_filled_ratio": "central-not-filled",
    "hollow_offset_ratio": "central-hollow-off-centre",
    "offset_ratio": "central-off-centre",
    "side_frac": "central-side-spray",
    "spray_angle_deg": "central-angle",
}

WORDS: Final = {
    "roundness": "the roundness",
    "circularity": "the circularity of the outline",
    "heavy_side_frac": "the share on the heavy side",
    "streak_frac": "the unevenness around the patch",
    "core_ratio": "the wetness in the middle",
    "hollow_offset_ratio": "the offset of the hollow",
    "offset_ratio": "the distance from the aim",
    "side_frac": "the share beside the patch",
    "spray_angle_deg": "the spray angle",
}
"""What each value is called in a sentence."""


def assess_central(
    patch: CentralPatch,
    nozzle: CentralNozzle,
    limits: CentralLimits,
    *,
    photo: Photo,
    card: RectifiedCard,
    wetness: WetnessMap,
    aim: Aim,
    standoff: Standoff | None = None,
    provenance: dict[str, object] | None = None,
) -> CentralAssessment:
    """Judge the central patch.

    Parameters
    ----------
    patch : CentralPatch
        From `measure_central`.
    nozzle, limits
        What is expected and tolerated.
    photo, card, wetness, aim
        What it was measured from.
    standoff : Standoff, optional
        Height of the tip over the card; adds the spray angle.
    provenance : dict, optional
        Versions and every stage with all its parameters.
    """
    angle, angle_u = _spray_angle(patch, card, standoff)
    # Without the sheet's edges neither shape nor place nor what lies beside the patch is known.
    lost = flag.AT_SHEET_EDGE in patch.flags or flag.NO_SHEET in card.flags
    # Of a pattern of plumes one is taken for the patch, and all the others for faults.
    lost = lost or patch.plumes >= MANY
    values = {name: (patch.value(name), patch.u(name)) for name in QUANTITIES}
    off_by = angle - nozzle.full_angle_deg
    values["spray_angle_deg"] = (off_by, angle_u)
    asked = {name: _why_not(name, patch, nozzle, limits, aim, off_by) for name in HELD}
    count = sum(not reason for reason in asked.values())
    risk = risk_per_limit(max(count, 1), limits.risk)
    judged = tuple(
        _judge(
            name,
            *values[HELD[name]],
            patch,
            limits,
            asked[name],
            risk,
            answerable=not (
                lost
                or (name == "core_hollow_ratio" and _soaked(patch, limits))
                or (name == "side_frac" and _shadowed(patch, limits))
                # A dry spot beside a wet middle may be cut off by a line drawn across the hollow.
                or (name == "hollow_offset_ratio" and not patch.hollow)
            ),
        )
        for name in HELD
    )
    if lost or any(j.state == "unsure" and math.isnan(j.probability) for j in judged):
        together = math.nan
    else:
        together = _together(judged, patch)
    if together <= risk:
        judged = _broken_together(judged, limits.risk)
    states = {j.state for j in judged}
    if "broken" in states:
        verdict = FAIL
    elif "unsure" in states or not together >= 1 - limits.risk:
        verdict = RECHECK
    else:
        verdict = PASS
    if verdict == RECHECK and "unsure" not in states and not lost:
        judged = _least_sure(judged)
    found = _findings(judged, patch, nozzle, limits, aim, angle)
    found += _photo_findings(photo, card, wetness, verdict)
    return CentralAssessment(
        photo=photo,
        card=card,
        wetness=wetness,
        aim=aim,
        patch=patch,
        nozzle=nozzle,
        limits=limits,
        judged=judged,
        verdict=verdict,
        findings=most_important_first(found),
        provenance=provenance or {},
        probability=together,
        spray_angle_deg=angle,
        spray_angle_u_deg=angle_u,
    )


def _why_not(
    name: str,
    patch: CentralPatch,
    nozzle: CentralNozzle,
    limits: CentralLimits,
    aim: Aim,
    off_by: float,
) -> str:
    """Say why a limit is not judged; empty when it is."""
    if not limits.held(name):
        return "the limit is off"
    if name == "core_filled_ratio" and nozzle.fill != "filled":
        return "the spray need not be filled"
    if name in ("core_hollow_ratio", "hollow_offset_ratio") and nozzle.fill != "hollow":
        return "the spray need not be hollow"
    if name == "hollow_offset_ratio" and not math.isfinite(patch.hollow_offset_ratio):
        return "no closed hollow to be seen"
    if name == "offset_ratio" and not aim.known:
        return "no aim on the card"
    if name == "spray_angle_deg" and not math.isfinite(off_by):
        return "the tip's height or the nozzle's angle is not known"
    return ""


def _judge(
    name: str,
    value: float,
    u: float,
    patch: CentralPatch,
    limits: CentralLimits,
    reason: str,
    risk: float,
    *,
    answerable: bool,
) -> Judged:
    allowed = float(getattr(limits, name))
    probability, state = math.nan, "not judged"
    if not reason:
        state = "unsure"
        if answerable:
            tolerance = _tolerance(name, allowed)
            at = patch.u_at(HELD[name], allowed) if HELD[name] in EVEN else u
            probability = conformity_probability(value, at / COVERAGE_FACTOR_95, tolerance)
            if probability <= risk:
                state = "broken"
            elif probability >= 1 - limits.risk:
                state = "kept"
    return Judged(
        limit=name,
        quantity=HELD[name],
        value=value,
        u=u,
        allowed=allowed,
        probability=probability,
        state=state,
        reason=reason,
    )


def _soaked(patch: CentralPatch, limits: CentralLimits) -> bool:
    """Whether a hollow may have been there and soaked over."""
    return patch.soaked_frac >= SOAKED_OVER and patch.core_ratio > limits.core_hollow_ratio


def _shadowed(patch: CentralPatch, limits: CentralLimits) -> bool:
    """Whether what lies against the border would decide, and nothing else does already."""
    return patch.doubtful_frac > limits.side_frac >= patch.side_frac - patch.u("side_frac")


def _tolerance(name: str, allowed: float) -> Tolerance:
    if name in LOWEST:
        return Tolerance(lower=allowed)
    return Tolerance(lower=-allowed if name.endswith("_deg") else -math.inf, upper=allowed)


def _together(judged: tuple[Judged, ...], patch: CentralPatch) -> float:
    """Probability that all judged limits are kept together."""
    held = [j for j in judged if j.state != "not judged"]
    inner = [j for j in held if j.quantity in QUANTITIES]
    alone = math.prod(j.probability for j in held if j.quantity not in QUANTITIES)
    if not inner:
        return alone
    at = [QUANTITIES.index(j.quantity) for j in inner]
    tolerances = [_tolerance(j.limit, j.allowed) for j in inner]
    values: Float = np.array([j.value for j in inner])
    together = joint_conformity(values, patch.covariance[np.ix_(at, at)], tolerances, points=1024)
    return together * alone


def _broken_together(judged: tuple[Judged, ...], risk: float) -> tuple[Judged, ...]:
    """Name what breaks a limit where it is certain only that not all of them are kept.

    That all are kept is then as improbable as a single limit's keeping must be to prove it broken.
    The one nearest to that is named if it is improbable at the nozzle's own risk.
    """
    open_ = [one for one in judged if one.state == "unsure"]
    if not open_ or any(one.state == "broken" for one in judged):
        return judged
    worst = min(open_, key=lambda one: one.probability)
    if not worst.probability <= risk:
        return judged
    return tuple(replace(j, state="broken") if j is worst else j for j in judged)


def _least_sure(judged: tuple[Judged, ...]) -> tuple[Judged, ...]:
    """Name the limit nearest to being broken as the one that cannot be told."""
    held = [j for j in judged if j.state == "kept"]
    worst = min(held, key=lambda j: j.probability)
    return tuple(replace(j, state="unsure") if j is worst else j for j in judged)


def _spray_angle(
    patch: CentralPatch, card: RectifiedCard, standoff: Standoff | None
) -> tuple[float, float]:
    """Full angle of a cone as wide as the patch, and its expanded uncertainty; degrees."""
    if standoff is None or not card.scale_known:
        return math.nan, math.nan
    tangent = patch.diameter_mm / 2 / standoff.height_mm
    relative = math.hypot(
        patch.diameter_u_mm / patch.diameter_mm,
        standoff.u_mm / standoff.height_mm,
        COVERAGE_FACTOR_95 * SOAK_FRAC,
    )
    # Twice the derivative of the arc tangent.
    return (
        math.degrees(2 * math.atan(tangent)),
        math.degrees(2 * tangent / (1 + tangent**2) * relative),
    )


def _findings(
    judged: tuple[Judged, ...],
    patch: CentralPatch,
    nozzle: CentralNozzle,
    limits: CentralLimits,
    aim: Aim,
    angle_deg: float,
) -> list[Finding]:
    """Say what is broken, what cannot be told, and what is not judged."""
    if patch.plumes >= MANY:
        return [describe("central-several", found=patch.plumes)]
    if flag.AT_SHEET_EDGE in patch.flags:
        return [describe("central-at-edge")]
    if all(math.isnan(one.probability) for one in judged):
        return []  # no sheet: said by the finding about the photo
    found = []
    failed = any(one.state == "broken" for one in judged)
    for one in judged:
        if one.state == "broken":
            fields = _fields(one, patch, nozzle, angle_deg)
            evidence = _evidence(one, limits)
            found.append(describe(_CODES[one.limit], evidence=evidence, **fields))
        elif one.state == "unsure" and one.limit == "core_hollow_ratio" and _soaked(patch, limits):
            found.append(describe("central-soaked", share=patch.soaked_frac))
        elif one.state == "unsure" and one.limit == "side_frac" and _shadowed(patch, limits):
            direction = patch.sides[-1].direction_deg
            found.append(
                describe(
                    "central-doubtful-spot", share=patch.doubtful_frac, direction_deg=direction
                )
            )
        elif one.state == "unsure" and not failed:  # a fail is settled by what is broken
            plain = limits.unit(one.limit) == "ratio" and "offset" not in one.limit
            shown = "{:.2f}" if plain else "{:.0%}"
            shown = "{:.0f}°" if one.limit.endswith("_deg") else shown
            found.append(
                describe(
                    "central-unsure",
                    evidence=_evidence(one, limits),
                    what=WORDS[one.quantity],
                    value=shown.format(one.value),
                    u=shown.format(one.u),
                    limit=shown.format(one.allowed),
                )
            )
    if not aim.known and limits.held("offset_ratio"):
        found.append(describe("central-no-aim"))
    if nozzle.fill == "either":
        found.append(describe("central-fill-unknown", seen="hollow" if patch.hollow else "filled"))
    return found


def _fields(
    one: Judged, patch: CentralPatch, nozzle: CentralNozzle, angle_deg: float
) -> dict[str, Any]:
    """The numbers that the finding of a broken limit is told with."""
    if one.limit == "spray_angle_deg":
        return {
            "angle_deg": angle_deg,
            "u_deg": one.u,
            "nominal_deg": nozzle.full_angle_deg,
            "limit_deg": one.allowed,
        }
    number = "share" if one.quantity.endswith("_frac") else "ratio"
    fields: dict[str, Any] = {number: one.value, "u": one.u, "limit": one.allowed}
    directions = {
        "heavy_side_frac": patch.heavy_side_deg,
        "offset_ratio": patch.offset_deg,
        "side_frac": patch.sides[0].direction_deg if patch.sides else math.nan,
    }
    if one.limit in directions:
        fields["direction_deg"] = directions[one.limit]
    return fields


def _evidence(one: Judged, limits: CentralLimits) -> Evidence:
    return Evidence(
        limit=one.limit,
        value=one.value,
        u=one.u,
        allowed=one.allowed,
        unit=limits.unit(one.limit),
        probability=one.probability,
    )


def _photo_findings(
    photo: Photo, card: RectifiedCard, wetness: WetnessMap, verdict: str
) -> list[Finding]:
    """What limits the photo; its quality only where it kept the verdict from being sure."""
    found = []
    if flag.NO_SHEET in card.flags:
        found.append(describe("sheet-not-found"))
    if not card.scale_known:
        found.append(describe("no-scale"))
    if verdict == RECHECK:
        if flag.SHEET_CROPPED in card.flags:
            found.append(describe("sheet-cropped"))
        noted = {*photo.flags, *card.flags, *wetness.flags}
        found += [describe("photo-poor", flag=f) for f in PHOTO_ADVICE if f in noted]
    return found
