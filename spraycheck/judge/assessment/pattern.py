"""What is judged of the whole pattern: strays, spacing, spread, turn, place, drip, tilt."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from spraycheck import flags as flag
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.assessment.area_ratios import whole_plumes
from spraycheck.judge.assessment.checks import Check, hold
from spraycheck.judge.assessment.holes import Held
from spraycheck.judge.findings import describe
from spraycheck.judge.layout import Finding, Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.matching import Match
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue
from spraycheck.spray.seen import Seen
from spraycheck.stats.circular import wrap_180

PALE = 0.7
"""A stray this pale beside the plumes may be a shadow's rim (chosen: soaked patches of one card
differ by up to a third; rims of shadows on simulated cards reach 0.3 to 0.6)."""

EDGE_LINED_UP_U_DEG = 1.0
"""Expanded uncertainty of a plain sheet's edge as a reference of directions (chosen: hand-cut edges
differ from square by up to a degree)."""

DRIP_U = 0.2
"""Relative standard uncertainty of a drip's area (chosen: its edge is as fuzzy as a small plume's,
and part of it may have fallen when the card was taken out)."""


def pattern_checks(
    seen: Seen, held: Held, match: Match, layout: Layout, limits: Limits, *, lined_up: bool
) -> list[Check]:
    """Hold what belongs to no single hole against its limits; only limits that are on."""
    checks = [
        *_spacing(seen, match, layout, limits),
        *_spread(seen, held, limits),
        *_rotation(seen, match, layout, limits, lined_up),
        *_offset(seen, limits),
        *_drip(seen, limits),
    ]
    return [check for check in checks if limits.held(check.limit)]


def stray_check(seen: Seen, strays: tuple[int, ...], limits: Limits) -> Check:
    """Hold the share of all stray plumes together against its limit."""
    catalogue = seen.catalogue
    # What lies over the card's edge, or is pale beside the plumes, may be a shadow: no proof either
    # way.
    pale = catalogue.peak < PALE * np.median(catalogue.peak)
    proper = [p for p in strays if flag.AT_SHEET_EDGE not in catalogue.flags[p] and not pale[p]]
    share = sum(float(catalogue.area_frac[p]) for p in proper)
    sigma = math.hypot(*(float(catalogue.area_u_frac[p]) for p in proper)) / COVERAGE_FACTOR_95
    check = hold("stray_frac", share, sigma, limits)
    if len(proper) < len(strays) and check.probability > 0.5:
        every = sum(float(catalogue.area_frac[p]) for p in strays)
        return replace(check, value=every, sigma=math.nan, probability=math.nan)
    return check


def _spacing(seen: Seen, match: Match, layout: Layout, limits: Limits) -> list[Check]:
    """The gap that differs most, surely, between neighbouring holes that both spray."""
    expected = np.array(layout.azimuth_deg)
    order = np.argsort(expected).tolist()
    whole = whole_plumes(seen.catalogue)
    plume_of = {h: plume for plume, h in enumerate(match.hole_of) if h >= 0 and whole[plume]}
    checks = []
    for hole, following in zip(order, order[1:] + order[:1], strict=True):
        if hole in plume_of and following in plume_of:
            a, b = plume_of[hole], plume_of[following]
            apart = float(match.deviation_deg[b] - match.deviation_deg[a])
            # Neighbours lean alike when the centre is wrong; taken as independent it is a little
            # too wide, never too narrow.
            u = seen.catalogue.direction_u_deg
            sigma = math.hypot(float(u[a]), float(u[b])) / COVERAGE_FACTOR_95
            checks.append(hold("spacing_deg", apart, sigma, limits))
    return sorted(checks, key=lambda check: check.probability)[:1]


def _spread(seen: Seen, held: Held, limits: Limits) -> list[Check]:
    """Largest over smallest relative area, of plumes that are whole."""
    at = np.flatnonzero(np.isfinite(held.area.log) & whole_plumes(seen.catalogue))
    if len(at) < 2:
        return []
    low = int(at[np.argmin(held.area.log[at])])
    high = int(at[np.argmax(held.area.log[at])])
    c = held.area.covariance
    sigma = math.sqrt(max(float(c[low, low] + c[high, high] - 2 * c[low, high]), 0.0))
    value = math.exp(float(held.area.log[high] - held.area.log[low]))
    return [hold("area_spread_ratio", value, sigma, limits)]


def _rotation(
    seen: Seen, match: Match, layout: Layout, limits: Limits, lined_up: bool
) -> list[Check]:
    """Turn against the feature; only where the card was lined up with it, never guessed."""
    # Without the sheet 12 o'clock is only the top of the photo.
    if not (lined_up and layout.counts_from) or flag.NO_SHEET in seen.card.flags:
        return []
    sigma = turn_u_deg(seen.card, seen.catalogue) / COVERAGE_FACTOR_95
    return [hold("rotation_deg", wrap_180(match.rotation_deg), sigma, limits)]


def turn_u_deg(card: RectifiedCard, catalogue: PlumeCatalogue) -> float:
    """Expanded uncertainty of the pattern's turn against 12 o'clock on the card, degrees."""
    index_u = EDGE_LINED_UP_U_DEG if card.printed is None else card.printed.index_u_deg
    return math.hypot(index_u, catalogue.rotation_u_deg)


def _offset(seen: Seen, limits: Limits) -> list[Check]:
    """Distance of the nozzle from the printed card's aim, which is its middle."""
    if seen.card.printed is None:
        return []
    offset = math.hypot(seen.centre.x_mm, seen.centre.y_mm)
    return [hold("centre_offset_mm", offset, seen.centre.u95_mm / COVERAGE_FACTOR_95, limits)]


def _drip(seen: Seen, limits: Limits) -> list[Check]:
    share = drip_share(seen)
    return [hold("drip_frac", share, DRIP_U * share, limits)]


def drip_share(seen: Seen) -> float:
    """Wet spot at the centre over the area of all plumes."""
    total = float(seen.catalogue.area_mm2.sum())
    drip = sum(m.area_mm2 for m in seen.segmentation.marks if m.kind == "drip")
    return drip / total if total > 0 else 0.0


def pattern_findings(
    seen: Seen,
    strays: tuple[int, ...],
    stray: Check,
    checks: list[Check],
    limits: Limits,
    layout: Layout,
    risk: float,
) -> list[Finding]:
    """Tell what is worth knowing of the whole pattern."""
    catalogue = seen.catalogue
    found = [
        describe(
            "stray-spray",
            evidence=stray.evidence(limits),
            direction_deg=float(catalogue.direction_deg[p]),
            area_frac=float(catalogue.area_frac[p]),
        )
        for p in strays
    ]
    for check in checks:
        if check.probability > risk:
            continue
        evidence = check.evidence(limits)
        found.append(
            describe(
                _CODES[check.limit],
                evidence=evidence,
                value=evidence.value,
                u=evidence.u,
                limit=evidence.allowed,
            )
        )
    if (share := drip_share(seen)) > 0:
        found.append(describe("centre-drip", area_frac=share))
    tilt = _tilt_deg(seen.centre, layout)
    if tilt > limits.tilt_deg:
        found.append(describe("nozzle-tilted", tilt_deg=tilt))
    worst = float(np.max(catalogue.direction_u_deg, initial=0.0))
    if worst > 0.6 * limits.direction_deg:
        found.append(describe("centre-uncertain", u_deg=worst))
    return found


_CODES = {
    "spacing_deg": "spacing-uneven",
    "area_spread_ratio": "shares-uneven",
    "rotation_deg": "pattern-turned",
    "centre_offset_mm": "centre-off-aim",
    "drip_frac": "drip-over-limit",
}


def _tilt_deg(centre: NozzleCentre, layout: Layout) -> float:
    """Tilt that would move the ring as far as it lies off the centre; NaN without a ring.

    The ring moves by ``H t / cos(a)**2`` and has the radius ``H tan(a)``, so
    ``t = offset / radius * sin(a) * cos(a)``; 65 degrees is taken for an unknown angle ``a``.
    """
    if not math.isfinite(centre.ring_radius_mm):
        return math.nan
    known = [a for a in layout.axis_angle_deg if math.isfinite(a)]
    angle = math.radians(float(np.median(known)) if known else 65.0)
    offset = math.hypot(*centre.ring_offset_mm)
    return math.degrees(offset / centre.ring_radius_mm * math.sin(angle) * math.cos(angle))


def photo_findings(seen: Seen, verdict: str) -> list[Finding]:
    """What limits the photo; quality only where it kept the verdict from being sure."""
    found = []
    if flag.NO_SHEET in seen.card.flags:
        found.append(describe("sheet-not-found"))
    if flag.SHEET_CROPPED in seen.card.flags and verdict == "recheck":
        found.append(describe("sheet-cropped"))
    if not seen.card.scale_known:
        found.append(describe("no-scale"))
    if verdict == "recheck":
        poor = (
            flag.DARK,
            flag.CLIPPED,
            flag.GLARE,
            flag.THING_ON_CARD,
            flag.THING_OVER_EDGE,
            flag.BLURRED,
            flag.NOISY,
            flag.FAINT,
        )
        noted = set(seen.wetness.flags) | set(seen.card.flags) | set(seen.photo.flags)
        found += [describe("photo-poor", flag=f) for f in poor if f in noted]
    return found
