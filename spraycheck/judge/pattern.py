"""What is judged and told of the whole pattern of a nozzle with holes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.case import Case
from spraycheck.judge.checks import (
    PLUME,
    check_limit,
    remedy_of,
)
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import (
    Doubt,
    Finding,
    Hole,
    HoleState,
    Kind,
    LimitCheck,
    Outcome,
)
from spraycheck.judge.values import PatternValues
from spraycheck.judge.verdict import Ruling
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue
from spraycheck.spray.measurement import Measurement
from spraycheck.stats.circular import wrap_180

PALE = 0.7
"""A stray this pale beside the plumes may be a shadow's rim (chosen: soaked patches of one card
differ by up to a third; rims of shadows on simulated cards reach 0.3 to 0.6)."""

LIKELY_KEPT = 0.5
"""Strays that may be shadows leave the question open where the others keep the limit with more
than this probability (chosen: as likely as not)."""

EDGE_LINED_UP_U_DEG = 1.0
"""Expanded uncertainty of a plain sheet's edge as a reference of directions (chosen: hand-cut edges
differ from square by up to a degree)."""

DRIP_U = 0.2
"""Relative standard uncertainty of a drip's area (chosen: its edge is as fuzzy as a small plume's,
and part of it may have fallen when the card was taken out)."""

USUAL_ANGLE_DEG = 65.0
"""Between a hole's axis and the nozzle's, where it is not known (chosen: 60 to 75 is usual)."""

WIDE_SHARE = 0.6
"""A direction's uncertainty above this share of its limit is told (chosen)."""

FOLLOWS: Final = frozenset({"spacing_deg", "area_spread_ratio"})
"""Limits whose values follow from directions and areas that are counted already."""

PER_CARD: Final = ("rotation_deg", "centre_offset_mm", "drip_frac", "stray_frac")
"""Limits on what belongs to a card rather than to the nozzle's pattern."""


# -- values of the whole pattern -------------------------------------------------------------------


def pattern_checks(values: PatternValues, layout: Layout, limits: Limits) -> list[LimitCheck]:
    """Hold the worst spacing and the spread of areas against their limits, where those are on."""
    checks = [*_spacing(values, layout, limits), *_spread(values, limits)]
    return [check for check in checks if limits.held(check.limit)]


def _spacing(values: PatternValues, layout: Layout, limits: Limits) -> list[LimitCheck]:
    """The gap that differs most, surely, between neighbouring holes that both spray."""
    order = np.argsort(np.array(layout.azimuth_deg)).tolist()
    checks = []
    for a, b in zip(order, order[1:] + order[:1], strict=True):
        if values.whole[a] and values.whole[b]:
            apart = float(values.deviation_deg[b] - values.deviation_deg[a])
            # Neighbours turn alike when the centre is wrong; taken as independent it is a little
            # too wide, never too narrow.
            sigma = math.hypot(float(values.sigma_deg[a]), float(values.sigma_deg[b]))
            checks.append(check_limit("spacing_deg", apart, sigma, limits))
    return sorted(checks, key=lambda check: check.probability)[:1]


def _spread(values: PatternValues, limits: Limits) -> list[LimitCheck]:
    """Largest over smallest relative area, of plumes that are whole."""
    area = values.area
    at = np.flatnonzero(np.isfinite(area.log) & values.whole)
    if len(at) < 2:
        return []
    low, high = int(at[np.argmin(area.log[at])]), int(at[np.argmax(area.log[at])])
    c = area.covariance
    sigma = math.sqrt(max(float(c[low, low] + c[high, high] - 2 * c[low, high]), 0.0))
    value = math.exp(float(area.log[high] - area.log[low]))
    return [check_limit("area_spread_ratio", value, sigma, limits)]


def card_checks(
    found: Measurement,
    turn_deg: float,
    layout: Layout,
    limits: Limits,
    lined_up: bool,
    strays: Sequence[int],
) -> list[LimitCheck]:
    """Hold what belongs to the card against its limits: turn, place, drip, and strays (always)."""
    card, plumes = found.card, found.plumes
    checks = []
    # Turn against the feature; only where the card was lined up with it, never guessed. Without
    # the sheet 12 o'clock is only the top of the photo.
    if lined_up and layout.counts_from and flag.NO_SHEET not in card.flags:
        sigma = turn_u_deg(card, plumes.catalogue) / COVERAGE_FACTOR_95
        checks.append(check_limit("rotation_deg", wrap_180(turn_deg), sigma, limits))
    if card.printed is not None:  # its aim is its middle
        offset = math.hypot(plumes.centre.x_mm, plumes.centre.y_mm)
        sigma = plumes.centre.u95_mm / COVERAGE_FACTOR_95
        checks.append(check_limit("centre_offset_mm", offset, sigma, limits))
    share = drip_share(found)
    checks.append(check_limit("drip_frac", share, DRIP_U * share, limits))
    held = [check for check in checks if limits.held(check.limit)]
    return [*held, stray_check(plumes.catalogue, strays, limits)]


def stray_check(rows: PlumeCatalogue, strays: Sequence[int], limits: Limits) -> LimitCheck:
    """Hold the share of all stray plumes together against its limit.

    What lies over the card's edge, or is pale beside the plumes, may be a shadow: no proof either
    way.
    """
    pale = rows.peak < PALE * np.median(rows.peak) if len(rows) else np.zeros(0, bool)
    proper = [p for p in strays if flag.AT_SHEET_EDGE not in rows.flags[p] and not pale[p]]
    share = sum(float(rows.area_frac[p]) for p in proper)
    sigma = math.hypot(*(float(rows.area_u_frac[p]) for p in proper)) / COVERAGE_FACTOR_95
    check = check_limit("stray_frac", share, sigma, limits)
    if len(proper) < len(strays) and check.probability > LIKELY_KEPT:
        every = sum(float(rows.area_frac[p]) for p in strays)
        return check_limit("stray_frac", every, math.nan, limits, doubts=(Doubt.MAY_BE_SHADOW,))
    return check


def turn_u_deg(card: RectifiedCard, rows: PlumeCatalogue) -> float:
    """Expanded uncertainty of the pattern's turn against 12 o'clock on the card, degrees."""
    index_u = EDGE_LINED_UP_U_DEG if card.printed is None else card.printed.index_u_deg
    return math.hypot(index_u, rows.rotation_u_deg)


def drip_share(found: Measurement) -> float:
    """Wet spot at the centre over the area of all plumes."""
    total = float(found.plumes.catalogue.area_mm2.sum())
    drip = sum(m.area_mm2 for m in found.plumes.segmentation.marks if m.kind == "drip")
    return drip / total if total > 0 else 0.0


# -- what is told of the whole pattern -------------------------------------------------------------


def pattern_notes(found: Measurement, layout: Layout, limits: Limits) -> list[Finding]:
    """Tell of a drip, a tilt and an unsure centre, whatever the verdict."""
    notes = []
    if (share := drip_share(found)) > 0:
        notes.append(Finding(kind=Kind.CENTRE_DRIP, fields={"area_frac": share}))
    tilt = _tilt_deg(found.plumes.centre, layout)
    if tilt > limits.tilt_deg:
        notes.append(Finding(kind=Kind.NOZZLE_TILTED, fields={"tilt_deg": tilt}))
    return notes + centre_note(found.plumes.catalogue.direction_u_deg, limits)


def centre_note(direction_u_deg: Float, limits: Limits) -> list[Finding]:
    """Tell of a centre that is not known well enough for directions."""
    worst = float(np.max(direction_u_deg, initial=0.0, where=np.isfinite(direction_u_deg)))
    if worst <= WIDE_SHARE * limits.direction_deg:
        return []
    return [Finding(kind=Kind.CENTRE_UNCERTAIN, fields={"u_deg": worst})]


def _tilt_deg(centre: NozzleCentre, layout: Layout) -> float:
    """Tilt that would move the ring as far as it lies off the centre; NaN without a ring.

    The ring moves by ``H t / cos(a)**2`` and has the radius ``H tan(a)``, so
    ``t = offset / radius * sin(a) * cos(a)``.
    """
    if not math.isfinite(centre.ring_radius_mm):
        return math.nan
    known = [a for a in layout.axis_angle_deg if math.isfinite(a)]
    angle = math.radians(float(np.median(known)) if known else USUAL_ANGLE_DEG)
    offset = math.hypot(*centre.ring_offset_mm)
    return math.degrees(offset / centre.ring_radius_mm * math.sin(angle) * math.cos(angle))


def _stray_notes(found: Measurement, strays: Sequence[int], check: LimitCheck) -> list[Finding]:
    """Tell of every stray plume; ``strays`` are ids, from 1."""
    rows = found.plumes.catalogue
    return [
        Finding(
            kind=Kind.STRAY_SPRAY,
            fields={
                "direction_deg": float(rows.direction_deg[k - 1]),
                "area_frac": float(rows.area_frac[k - 1]),
            },
            check=check,
        )
        for k in strays
    ]


KIND_OF_LIMIT: Final = {
    "direction_deg": Kind.HOLE_OFF_LINE,
    "area_low_ratio": Kind.HOLE_WEAK,
    "area_high_ratio": Kind.HOLE_HEAVY,
    "width_low_ratio": Kind.HOLE_SOLID_STREAM,
    "width_high_ratio": Kind.HOLE_BUSHY,
    "reach_low_ratio": Kind.HOLE_SHORT,
    "reach_high_ratio": Kind.HOLE_LONG,
    "spacing_deg": Kind.SPACING_UNEVEN,
    "area_spread_ratio": Kind.SHARES_UNEVEN,
    "rotation_deg": Kind.PATTERN_TURNED,
    "centre_offset_mm": Kind.CENTRE_OFF_AIM,
    "drip_frac": Kind.DRIP_OVER_LIMIT,
    "spray_angle_deg": Kind.SPRAY_ANGLE_OFF,
}
"""Limit to the finding that it is broken; strays are told one by one."""


SAID_ELSEWHERE: Final = frozenset({Doubt.LAYOUT_MISFIT, Doubt.RUN_TOGETHER})
"""Doubts about a hole of one photo that findings of their own tell of."""


def pattern_findings(case: Case, ruling: Ruling) -> list[Finding]:
    """Tell of every hole that is not clear, of strays, and of the pattern's broken limits."""
    told = [finding for row in ruling.holes for finding in hole_finding(row, case.shots)]
    for check in ruling.checks:
        if check.limit == "stray_frac":
            told += _stray_notes(case.measurement, case.strays, check)
        elif check.hole == 0 and check.outcome is Outcome.BROKEN and check.limit in KIND_OF_LIMIT:
            told.append(Finding(kind=KIND_OF_LIMIT[check.limit], check=check))
    return told


def hole_finding(row: Hole, shots: int = 1) -> list[Finding]:
    """Tell what is wrong with a hole; nothing for a clear one or where something else says it."""
    check = row.check
    if row.state is HoleState.BLOCKED:
        fields: dict[str, object] = {"expected_deg": row.expected_deg}
        return [Finding(kind=Kind.HOLE_BLOCKED, hole=row.hole, fields=fields)]
    said = SAID_ELSEWHERE if shots == 1 else {Doubt.INTERMITTENT}
    if row.state is HoleState.CLEAR or check is None or said & set(row.doubts):
        return []
    if row.state is not HoleState.UNSURE:
        return [Finding(kind=KIND_OF_LIMIT[check.limit], hole=row.hole, check=check)]
    fields = {
        "doubt": row.doubts[0],
        "remedy": remedy_of(row.doubts, shots),
        "of": check.limit,
        "shots": shots,
    }
    shown = None if check.limit == PLUME else check
    return [Finding(kind=Kind.HOLE_UNSURE, hole=row.hole, fields=fields, check=shown)]
