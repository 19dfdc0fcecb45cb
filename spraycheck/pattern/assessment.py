"""Stage 6: compare what was measured with the holes the nozzle should have, and judge.

Every value is held against its limit with its own uncertainty (JCGM 106:2012): beyond doubt inside
is good, beyond doubt outside is a fault, anything between is *unsure* and asks for another look.
Nothing is failed on a photo that cannot prove it and nothing is passed on one that cannot either.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.circular import wrap_180
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.decision import Tolerance, conformity_probability, guard_factor
from spraycheck.pattern import flags as flag
from spraycheck.pattern.containers import (
    Float,
    NozzleCentre,
    Photo,
    PlumeCatalogue,
    PlumeSegmentation,
    RectifiedCard,
    WetnessMap,
)
from spraycheck.pattern.findings import describe, most_important_first
from spraycheck.pattern.layout import Assessment, Finding, Hole, Layout
from spraycheck.pattern.limits import Limits
from spraycheck.pattern.matching import Match, even_pattern, match_layout

FITS_DEG = 4.0
"""Plumes within this of an even pattern are that pattern (healthy plumes stray by about 1 degree;
chosen a little below the direction limit)."""

MIRROR_DEG = 2.0
"""Mean misfit from which the mirrored layout is compared (twice what healthy plumes show); it must
then fit with less than 0.4 of it, which one off-line plume alone cannot bring about."""

SEEN_SHARE = 0.6
"""A missing plume is blocked only where this share of its place could be seen (chosen: with less
than half a plume hidden, enough of it would show)."""

FAINTEST_NOISE = 0.12
"""Noise of the wetness map up to which a weak plume would still show: its wetness of about 0.5 is
then four standard deviations."""

HEALTHY_DEG = 0.8
"""Standard scatter of a healthy hole's direction (chosen: drilled and flown, healthy plumes stay
within about 2 degrees of their line)."""

TILT_SHIFT = 0.006
"""Standard shift, in plume radii, that an ordinary tilt of the nozzle (0.75 degrees) imitates in
the directions: a tilt t leans a plume at hole angle a by t cot(a), with cot(65 degrees) = 0.47."""

COVERING = 0.5
"""A stain from this fraction of a plume's area may be that plume (chosen because below it no
healthy hole is left; smaller ones are drops and splashes)."""

RUN_TO_RUN_RATIO = 0.02
"""Standard scatter of a healthy hole's area from shot to shot (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class _Measured:
    """What the stages found, in one hand."""

    photo: Photo
    card: RectifiedCard
    wetness: WetnessMap
    centre: NozzleCentre
    segmentation: PlumeSegmentation
    catalogue: PlumeCatalogue


def assess_layout(
    catalogue: PlumeCatalogue,
    layout: Layout,
    limits: Limits,
    *,
    photo: Photo,
    card: RectifiedCard,
    wetness: WetnessMap,
    centre: NozzleCentre,
    segmentation: PlumeSegmentation,
    provenance: dict[str, object] | None = None,
) -> Assessment:
    """Judge a measured pattern against a layout.

    Parameters
    ----------
    catalogue : PlumeCatalogue
        From stage 5.
    layout : Layout
        The holes the nozzle should have.
    limits : Limits
        What is tolerated.
    photo, card, wetness, centre, segmentation
        What the earlier stages found; carried into the result and asked whether a missing plume
        could have been seen at all.
    provenance : dict, optional
        Versions and parameters to carry along.

    Returns
    -------
    Assessment
        One row per expected hole, findings most important first, and the verdict.
    """
    seen = _Measured(
        photo=photo,
        card=card,
        wetness=wetness,
        centre=centre,
        segmentation=segmentation,
        catalogue=catalogue,
    )
    azimuth = np.array(layout.azimuth_deg)
    match = match_layout(catalogue.direction_deg, azimuth)
    expected = (azimuth + match.rotation_deg) % 360.0
    order = np.argsort(expected) if layout.even else np.arange(len(layout))
    plume_of = {hole: plume for plume, hole in enumerate(match.hole_of) if hole >= 0}

    trouble = _misfit(seen, layout, match)
    ratio, ratio_u = _area_ratios(catalogue, layout, match)
    lean, lean_sigma = _unexplained(catalogue, centre, match, limits)
    spacing = _spacings(catalogue.direction_deg)
    merged = _merged(seen, expected, match)

    holes: list[Hole] = []
    findings: list[Finding] = list(trouble)
    for number, hole in enumerate(order.tolist(), start=1):
        plume = plume_of.get(hole, -1)
        if trouble:
            state, reason = "unsure", "the pattern does not fit"
        elif hole in merged:
            state, reason = "unsure", "plumes run together"
            plume = merged[hole]
        elif plume < 0:
            state, reason = _missing(seen, float(expected[hole]))
        else:
            state, reason = _judge(
                float(lean[plume]),
                float(lean_sigma[plume]),
                float(ratio[plume]),
                float(ratio_u[plume]),
                catalogue.flags[plume],
                limits,
            )
        row = _row(number, float(expected[hole]), plume, state, seen, ratio, ratio_u, spacing)
        holes.append(row)
        if not trouble and hole not in merged:
            findings += _hole_finding(row, reason, limits)
    findings += _merged_findings(merged, order)
    strays = () if trouble else _strays(match, merged)
    findings += _card_findings(seen, strays, limits, layout)
    verdict = _verdict(holes, strays, catalogue, limits, bool(trouble), bool(merged))
    findings += _photo_findings(seen, verdict)
    return Assessment(
        photo=photo,
        card=card,
        wetness=wetness,
        centre=centre,
        segmentation=segmentation,
        catalogue=catalogue,
        layout=layout,
        limits=limits,
        holes=tuple(holes),
        strays=tuple(k + 1 for k in strays),
        verdict=verdict,
        findings=most_important_first(findings),
        provenance=provenance or {},
    )


def _unexplained(
    catalogue: PlumeCatalogue, centre: NozzleCentre, match: Match, limits: Limits
) -> tuple[Float, Float]:
    """Deviation that neither the turn nor the centre nor a small tilt explains, with its sigma.

    All directions share the centre: an error of the centre leans them in a sine pattern round the
    card, and so does a nozzle not quite square. That shift is solved for together with the turn,
    held by the centre's own covariance, before any single hole is blamed; Cauchy weights keep an
    off-line hole from pulling it.

    Returns
    -------
    lean, sigma : (K,) ndarray of float64
        In degrees; NaN for a plume without a hole.
    """
    at = np.flatnonzero(np.isfinite(match.deviation_deg))
    lean = np.full(len(catalogue), np.nan)
    sigma = np.full(len(catalogue), np.nan)
    if len(at) == 0:
        return lean, sigma
    deviation = match.deviation_deg[at]
    offset = catalogue.centroid_mm[at] - [centre.x_mm, centre.y_mm]
    radius = np.maximum(np.hypot(offset[:, 0], offset[:, 1]), 1e-3)
    # A centre wrong by (dx, dy) mm leans a plume by -(n . d) / r, n pointing clockwise.
    clockwise = np.column_stack([-offset[:, 1], offset[:, 0]]) / radius[:, None]
    lever = np.degrees(-clockwise / radius[:, None])
    typical = float(np.median(radius))
    covariance = centre.covariance_mm2 + np.eye(2) * (TILT_SHIFT * typical) ** 2
    shared = np.einsum("ij,jk,ik->i", lever, centre.covariance_mm2, lever)
    total = (catalogue.direction_u_deg[at] / COVERAGE_FACTOR_95) ** 2
    own = np.maximum(total - shared, 0.15**2)
    design = np.column_stack([np.ones(len(at)), lever])
    prior = np.zeros((3, 3))
    prior[1:, 1:] = np.linalg.inv(covariance)
    prior[0, 0] = 1e-6
    spread = own + HEALTHY_DEG**2
    # Start from the turn alone: an off-line hole shows before the shift can hide it.
    residual = deviation - np.median(deviation)
    weight = np.ones(len(at))
    for _ in range(25):
        weight = 1 / spread / (1 + residual**2 / spread / 2.4**2)
        information = (design * weight[:, None]).T @ design + prior
        residual = deviation - design @ np.linalg.solve(
            information, design.T @ (weight * deviation)
        )
    # Each hole against what the others predict, so that it cannot explain itself away; the worst
    # one that is certainly off is left out of the others' prediction, then the next.
    trusted = weight.copy()
    certain = guard_factor(limits.risk)
    for _ in range(1 + len(at) // 3):
        worst, worst_at = 0.0, -1
        for k, plume in enumerate(at.tolist()):
            others = trusted.copy()
            others[k] = 0.0
            information = (design * others[:, None]).T @ design + prior
            predicted = design[k] @ np.linalg.solve(information, design.T @ (others * deviation))
            lean[plume] = deviation[k] - predicted
            sigma[plume] = math.sqrt(own[k] + design[k] @ np.linalg.solve(information, design[k]))
            excess = (abs(lean[plume]) - limits.direction_deg) / sigma[plume]
            if trusted[k] > 0 and excess > max(worst, certain):
                worst, worst_at = excess, k
        if worst_at < 0:
            break
        trusted[worst_at] = 0.0
    return lean, sigma


def _judge(
    deviation: float,
    sigma: float,
    ratio: float,
    ratio_u: float,
    flags: tuple[str, ...],
    limits: Limits,
) -> tuple[str, str]:
    """State of a hole that has a plume, and the reason when it is unsure."""
    if flag.MERGED in flags:
        return "unsure", "its plume runs into another one"
    line = Tolerance(lower=-limits.direction_deg, upper=limits.direction_deg)
    inside = conformity_probability(deviation, sigma, line)
    if inside < limits.risk:
        return "off-line", ""
    sigma_r = ratio_u / COVERAGE_FACTOR_95
    weak = conformity_probability(ratio, sigma_r, Tolerance(upper=limits.area_low_ratio))
    heavy = conformity_probability(ratio, sigma_r, Tolerance(lower=limits.area_high_ratio))
    edge = flag.AT_SHEET_EDGE in flags
    if weak > 1 - limits.risk and not edge:
        return "weak", ""
    if heavy > 1 - limits.risk:
        return "heavy", ""
    if inside < 1 - limits.risk:
        return "unsure", "its direction lies too close to the limit for this photo"
    if edge and weak > limits.risk:
        return "unsure", "its plume runs over the edge of the card or photo"
    if max(weak, heavy) > limits.risk:
        return "unsure", "its wetted area lies too close to the limit for this photo"
    return "clear", ""


def _missing(seen: _Measured, expected_deg: float) -> tuple[str, str]:
    """State of a hole without a plume: blocked if a plume there would have been seen."""
    reach = np.sort(seen.catalogue.reach_mm)
    near = np.sort(seen.catalogue.near_mm)
    if len(reach) == 0:
        return "unsure", "no plume to compare with"
    angle = math.radians(expected_deg)
    radii = np.linspace(float(np.median(near)), float(np.median(reach)), 12)
    points = np.column_stack(
        [
            seen.centre.x_mm + radii * math.sin(angle),
            seen.centre.y_mm - radii * math.cos(angle),
        ]
    )
    cells = np.round(seen.card.to_cells(points)).astype(int)
    rows, cols = seen.wetness.valid.shape
    on = (cells[:, 0] >= 0) & (cells[:, 0] < cols) & (cells[:, 1] >= 0) & (cells[:, 1] < rows)
    visible = np.zeros(len(cells), bool)
    visible[on] = seen.wetness.valid[cells[on, 1], cells[on, 0]]
    if visible.mean() < SEEN_SHARE:
        return "unsure", "its place lies outside the card or photo, or under glare"
    if seen.wetness.noise > FAINTEST_NOISE:
        return "unsure", "the photo is too faint to show a weak plume"
    if _covered(seen, expected_deg, float(near[0]), float(reach[-1])):
        return "unsure", "a large stain lies where its plume should be"
    return "blocked", ""


def _covered(seen: _Measured, expected_deg: float, near: float, reach: float) -> bool:
    """Whether something as large as a plume, but not one, lies where a plume is missing."""
    rows = seen.catalogue
    least = COVERING * float(np.median(rows.area_mm2))
    for mark in seen.segmentation.marks:
        dx, dy = mark.x_mm - seen.centre.x_mm, mark.y_mm - seen.centre.y_mm
        off = wrap_180(math.degrees(math.atan2(dx, -dy)) - expected_deg)
        there = near < math.hypot(dx, dy) < reach and abs(off) < float(np.median(rows.width_deg))
        if there and mark.area_mm2 > least:
            return True
    return False


def _misfit(seen: _Measured, layout: Layout, match: Match) -> list[Finding]:
    """Findings that keep every hole from being judged: wrong count, wrong or mirrored layout."""
    n, k = len(layout), len(seen.catalogue)
    direction = seen.catalogue.direction_deg
    matched = [d for d in match.deviation_deg.tolist() if math.isfinite(d)]
    gone = n - len(matched)
    extra = k - len(matched)
    if not layout.even:
        other = match_layout(direction, np.array(layout.mirrored().azimuth_deg))
        if match.misfit_deg > MIRROR_DEG and other.misfit_deg < 0.4 * match.misfit_deg:
            return [
                describe(
                    "mirrored-layout",
                    as_given_deg=match.misfit_deg,
                    mirrored_deg=other.misfit_deg,
                )
            ]
    off = sum(abs(d) > 2 * FITS_DEG for d in matched)
    wrong = gone + extra > n / 2 or gone + extra + off > max(n / 2, 2)
    if layout.even and not wrong and k != n and k >= 3:
        # Would another even count explain the plumes with nothing missing?
        count, misfit = even_pattern(direction)
        worst = max((abs(d) for d in matched), default=0.0)
        wrong = count == k and misfit < FITS_DEG and (extra > 0 or worst > 2 * FITS_DEG)
    if layout.even and not wrong and k >= 3 and gone > 1:
        count, misfit = even_pattern(direction)
        wrong = count == k and misfit < FITS_DEG
    if wrong:
        return [describe("count-does-not-fit", expected=n, found=k)]
    return []


def _area_ratios(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> tuple[Float, Float]:
    """Wetted area over what the plume's hole should wet, typical clear hole 1.

    The scale is the middle of the largest group of holes that agree; between groups of one size
    the wetter wins, since holes clog far more often than they grow. So a weak or blocked hole
    never makes its neighbours heavy.
    """
    k = len(catalogue)
    ratio, ratio_u = np.full(k, np.nan), np.full(k, np.nan)
    expected = layout.expected_area()
    pairs = [(p, h) for p, h in enumerate(match.hole_of) if h >= 0]
    if not pairs:
        return ratio, ratio_u
    at = np.array([p for p, _ in pairs])
    relative = catalogue.area_mm2[at] / expected[[h for _, h in pairs]]
    close = np.abs(np.log(np.maximum(relative[:, None], 1e-9) / relative[None, :])) < 0.15
    votes = close.sum(axis=1)
    lead = max(range(len(at)), key=lambda i: (votes[i], relative[i]))
    group = relative[close[lead]]
    scale = float(np.median(group))
    ratio[at] = relative / scale
    own = catalogue.area_u_mm2[at] / np.maximum(catalogue.area_mm2[at], 1e-9)
    shared = float(np.median(own)) / math.sqrt(len(group))
    scatter = COVERAGE_FACTOR_95 * RUN_TO_RUN_RATIO
    ratio_u[at] = ratio[at] * np.sqrt(own**2 + shared**2 + scatter**2)
    return ratio, ratio_u


def _spacings(direction: Float) -> Float:
    """To the next plume clockwise, per plume; the catalogue is sorted clockwise."""
    if len(direction) < 2:
        return np.full(len(direction), 360.0)
    return np.asarray((np.roll(direction, -1) - direction) % 360.0)


def _merged(seen: _Measured, expected: Float, match: Match) -> dict[int, int]:
    """Hole index to plume index for holes whose plumes run together."""
    catalogue = seen.catalogue
    if len(catalogue) == 0:
        return {}
    typical = float(np.median(catalogue.width_deg))
    found: dict[int, int] = {}
    taken = set(match.hole_of)
    for plume in range(len(catalogue)):
        width = float(catalogue.width_deg[plume])
        flagged = flag.MERGED in catalogue.flags[plume]
        if not flagged and width < 1.6 * typical:
            continue
        gap = wrap_180(expected - catalogue.direction_deg[plume])
        under = np.flatnonzero(np.abs(gap) < 0.5 * width).tolist()
        own = match.hole_of[plume]
        covered = [h for h in under if h == own or h not in taken]
        if len(covered) >= 2 or flagged:
            found.update(dict.fromkeys(covered, plume))
    return found


def _row(
    number: int,
    expected_deg: float,
    plume: int,
    state: str,
    seen: _Measured,
    ratio: Float,
    ratio_u: Float,
    spacing: Float,
) -> Hole:
    catalogue = seen.catalogue
    if plume < 0:
        return Hole(
            hole=number,
            expected_deg=expected_deg,
            plume=None,
            state=state,
            deviation_deg=math.nan,
            spacing_deg=math.nan,
            area_frac=0.0,
            area_ratio=0.0 if state == "blocked" else math.nan,
            deviation_u_deg=math.nan,
            area_ratio_u=math.nan,
        )
    gap = wrap_180(float(catalogue.direction_deg[plume]) - expected_deg)
    return Hole(
        hole=number,
        expected_deg=expected_deg,
        plume=plume + 1,
        state=state,
        deviation_deg=gap,
        spacing_deg=float(spacing[plume]),
        area_frac=float(catalogue.area_frac[plume]),
        area_ratio=float(ratio[plume]),
        deviation_u_deg=float(catalogue.direction_u_deg[plume]),
        area_ratio_u=float(ratio_u[plume]),
    )


def _hole_finding(row: Hole, reason: str, limits: Limits) -> list[Finding]:
    if row.state == "blocked":
        return [describe("hole-blocked", row.hole, expected_deg=row.expected_deg)]
    if row.state == "off-line":
        return [
            describe(
                "hole-off-line",
                row.hole,
                deviation_deg=row.deviation_deg,
                u_deg=row.deviation_u_deg,
                limit_deg=limits.direction_deg,
            )
        ]
    if row.state in ("weak", "heavy"):
        limit = limits.area_low_ratio if row.state == "weak" else limits.area_high_ratio
        return [
            describe(
                f"hole-{row.state}",
                row.hole,
                area_ratio=row.area_ratio,
                u=row.area_ratio_u,
                limit=limit,
            )
        ]
    if row.state == "unsure":
        return [describe("hole-unsure", row.hole, reason=reason)]
    return []


def _merged_findings(merged: dict[int, int], order: np.ndarray) -> list[Finding]:
    number = {int(hole): at for at, hole in enumerate(order.tolist(), start=1)}
    found = []
    for plume in sorted(set(merged.values())):
        names = sorted(number[h] for h, p in merged.items() if p == plume)
        found.append(describe("plumes-merged", holes=" and ".join(str(n) for n in names)))
    return found


def _strays(match: Match, merged: dict[int, int]) -> tuple[int, ...]:
    inside = set(merged.values())
    return tuple(p for p, h in enumerate(match.hole_of) if h < 0 and p not in inside)


def _card_findings(
    seen: _Measured, strays: tuple[int, ...], limits: Limits, layout: Layout
) -> list[Finding]:
    found = [
        describe(
            "stray-spray",
            direction_deg=float(seen.catalogue.direction_deg[p]),
            area_frac=float(seen.catalogue.area_frac[p]),
        )
        for p in strays
    ]
    total = float(seen.catalogue.area_mm2.sum())
    drip = sum(m.area_mm2 for m in seen.segmentation.marks if m.kind == "drip")
    if drip > 0 and total > 0:
        found.append(describe("centre-drip", area_frac=drip / total))
    tilt = _tilt_deg(seen.centre, layout)
    if tilt > 3.0:
        found.append(describe("nozzle-tilted", tilt_deg=tilt))
    worst = float(np.max(seen.catalogue.direction_u_deg, initial=0.0))
    if worst > 0.6 * limits.direction_deg:
        found.append(describe("centre-uncertain", u_deg=worst))
    return found


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


def _photo_findings(seen: _Measured, verdict: str) -> list[Finding]:
    """What limits the photo; quality only where it kept the verdict from being sure."""
    found = []
    if flag.NO_SHEET in seen.card.flags:
        found.append(describe("sheet-not-found"))
    if flag.SHEET_CROPPED in seen.card.flags and verdict == "recheck":
        found.append(describe("sheet-cropped"))
    if not seen.card.scale_known:
        found.append(describe("no-scale"))
    if verdict == "recheck":
        poor = (flag.DARK, flag.CLIPPED, flag.GLARE, flag.BLURRED, flag.NOISY, flag.FAINT)
        noted = set(seen.wetness.flags) | set(seen.card.flags) | set(seen.photo.flags)
        found += [describe("photo-poor", flag=f) for f in poor if f in noted]
    return found


def _verdict(
    holes: list[Hole],
    strays: tuple[int, ...],
    catalogue: PlumeCatalogue,
    limits: Limits,
    trouble: bool,
    merged: bool,
) -> str:
    if trouble:
        return "recheck"
    states = {h.state for h in holes}
    stray = sum(float(catalogue.area_frac[p]) for p in strays)
    if states & {"weak", "heavy", "blocked", "off-line"} or stray > limits.stray_frac:
        return "fail"
    if "unsure" in states or merged or strays:
        return "recheck"
    return "pass"
