"""Stage 6: compare what was measured with the holes the nozzle should have, and judge.

Every value is held against its limit with its own uncertainty (JCGM 106:2012): beyond doubt inside
is good, beyond doubt outside is a fault, anything between is *unsure* and asks for another look.
Nothing is failed on a photo that cannot prove it and nothing is passed on one that cannot either.

In order: `fitting` (does the layout fit at all), `leaning` and `amounts` (what is held against
limits, with covariances), `missing` (holes without a plume), `holes` (their states), `pattern`
(what belongs to no single hole), `judging` (probabilities and the shared risk).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.flags import Flags
from spraycheck.judge.assessment.area_ratios import area_ratios, reach_ratios, width_ratios
from spraycheck.judge.assessment.checks import Check, keeps_all, shared_risk, together
from spraycheck.judge.assessment.holes import (
    ANOTHER_SHOT,
    DRY_PHOTO,
    WHOLE_CARD,
    Held,
    Judged,
    finding,
    judge,
    row,
    unsure,
)
from spraycheck.judge.assessment.illumination import FADES
from spraycheck.judge.assessment.layout_check import misfit
from spraycheck.judge.assessment.missing import merged_holes, missing
from spraycheck.judge.assessment.pattern import (
    pattern_checks,
    pattern_findings,
    photo_findings,
    stray_check,
)
from spraycheck.judge.assessment.residuals import unexplained
from spraycheck.judge.findings import describe, most_important_first
from spraycheck.judge.layout import Assessment, Finding, Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.matching import Match, match_plumes
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.seen import Seen

__all__ = ["FAULTS", "assess_layout", "hold_pattern", "probability_of", "verdict_of"]

FAULTS = ("weak", "heavy", "blocked", "off-line", "misshapen")


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
    lined_up: bool = False,
    beyond: Flags = (),
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
    lined_up : bool
        12 o'clock on the card was lined up with the feature the layout counts from, so the turn of
        the whole pattern is judged too.
    beyond : tuple of str
        Flags of the limits of photo quality that were passed: where wet paper may look dry, a
        missing plume is no proof.
    provenance : dict, optional
        Versions and parameters to carry along.

    Returns
    -------
    Assessment
        One row per expected hole, findings most important first, the verdict and the probability
        behind it.
    """
    seen = Seen(
        photo=photo,
        card=card,
        wetness=wetness,
        centre=centre,
        segmentation=segmentation,
        catalogue=catalogue,
        beyond=beyond,
    )
    azimuth = np.array(layout.azimuth_deg)
    match = match_plumes(catalogue, layout, lined_up=lined_up)
    expected = (azimuth + match.rotation_deg) % 360.0
    order = np.argsort(expected) if layout.even else np.arange(len(layout))
    held = hold_pattern(catalogue, centre, layout, match, limits)
    trouble = misfit(catalogue, layout, match)
    merged = merged_holes(seen, expected, match)
    checks = pattern_checks(seen, held, match, layout, limits, lined_up=lined_up)
    strays = () if trouble else _strays(match, merged)
    stray = stray_check(seen, strays, limits)
    # Direction and area of every hole, each of the pattern's values, and the strays.
    risk = shared_risk(limits, 2 * len(layout) + len(checks) + 1)

    plume_of = {hole: plume for plume, hole in enumerate(match.hole_of) if hole >= 0}
    judged: list[tuple[int, int, Judged]] = []
    for hole in order.tolist():
        plume = plume_of.get(hole, -1)
        if trouble:
            found = Judged(state="unsure", reason="the pattern does not fit")
        elif hole in merged:
            plume = merged[hole]
            found = Judged(state="unsure", reason="plumes run together")
        elif plume < 0:
            throw = _throw(layout, match, hole)
            state, reason = missing(seen, match, float(expected[hole]), throw)
            settle = WHOLE_CARD if "outside" in reason else ANOTHER_SHOT
            found = Judged(state=state, reason=reason, settle=settle)
        else:
            found = judge(seen, held, plume, limits, risk)
        judged.append((hole, plume, found))
    if any(found.reason == FADES for _, _, found in judged):
        # Then no amount is proof, wherever on the card.
        judged = [(hole, plume, _doubt_amount(found)) for hole, plume, found in judged]
        checks = [check for check in checks if check.limit != "area_spread_ratio"]
    probability = probability_of(held, judged, checks, stray, limits, bool(trouble))
    judged = _doubt_together(seen, held, judged, probability, limits)

    rows = [
        row(number, float(expected[hole]), plume, found, seen, held)
        for number, (hole, plume, found) in enumerate(judged, start=1)
    ]
    findings: list[Finding] = list(trouble)
    if not trouble:
        for one, (hole, _, found) in zip(rows, judged, strict=True):
            if hole not in merged:
                findings += finding(one, found, limits)
    findings += _merged_findings(merged, order)
    findings += pattern_findings(seen, strays, stray, checks, limits, layout, risk)
    states = [found.state for _, _, found in judged]
    proven = any(check.probability <= risk for check in (*checks, stray))
    verdict = "recheck" if trouble else verdict_of(states, proven, probability, limits)
    findings += photo_findings(seen, verdict)
    return Assessment(
        photo=photo,
        card=card,
        wetness=wetness,
        centre=centre,
        segmentation=segmentation,
        catalogue=catalogue,
        layout=layout,
        limits=limits,
        holes=tuple(rows),
        strays=tuple(k + 1 for k in strays),
        verdict=verdict,
        findings=most_important_first(findings),
        provenance=provenance or {},
        probability=probability,
    )


def hold_pattern(
    catalogue: PlumeCatalogue, centre: NozzleCentre, layout: Layout, match: Match, limits: Limits
) -> Held:
    """Work out what is held against limits, for plumes whose holes are known."""
    return Held(
        leaning=unexplained(catalogue, centre, match, limits),
        area=area_ratios(catalogue, layout, match),
        width=width_ratios(catalogue, layout, match),
        reach=reach_ratios(catalogue, layout, match),
    )


def probability_of(
    held: Held,
    judged: list[tuple[int, int, Judged]],
    checks: list[Check],
    stray: Check,
    limits: Limits,
    trouble: bool,
) -> float:
    """Probability that the nozzle keeps every limit; NaN when a hole cannot be judged at all.

    Directions hang together through the centre, areas through their common scale; directions,
    areas, widths and reaches do not hang together with one another. Spacing and spread follow
    from directions and areas that are counted already, so they can only lower the result.
    """
    if trouble:
        return math.nan
    if any(found.state == "blocked" for _, _, found in judged):
        return 0.0
    if any(math.isnan(found.probability) for _, _, found in judged):
        return math.nan
    leaning = held.leaning
    parts = [
        keeps_all(leaning.lean_deg, leaning.covariance_deg2, "direction_deg", limits),
        *(
            keeps_all(
                ratios.log,
                ratios.covariance,
                (f"{what}_low_ratio", f"{what}_high_ratio"),
                limits,
            )
            for what, ratios in (
                ("area", held.area),
                ("width", held.width),
                ("reach", held.reach),
            )
        ),
        stray.probability,
    ]
    follows = ("spacing_deg", "area_spread_ratio")
    alone = [check.probability for check in checks if check.limit not in follows]
    least = [check.probability for check in checks if check.limit in follows]
    return min([together([*parts, *alone]), *least])


def _doubt_together(
    seen: Seen,
    held: Held,
    judged: list[tuple[int, int, Judged]],
    probability: float,
    limits: Limits,
) -> list[tuple[int, int, Judged]]:
    """Where each hole alone would pass but all together would not, doubt the least sure one."""
    states = {found.state for _, _, found in judged}
    if states != {"clear"} or not probability < 1 - limits.risk:
        return judged
    worst = min(range(len(judged)), key=lambda i: judged[i][2].probability)
    hole, plume, found = judged[worst]
    if found.check is None or found.probability > 1 - limits.risk / (2 * len(judged)):
        return judged  # the doubt lies in the pattern, not in a hole
    doubt = unsure(seen, held, plume, found.check, found.probability)
    doubt = replace(doubt, reason=f"{doubt.reason}, all holes taken together")
    return [*judged[:worst], (hole, plume, doubt), *judged[worst + 1 :]]


def _doubt_amount(found: Judged) -> Judged:
    """Take back that a hole is weak, under light that fades across the card."""
    if found.state != "weak":
        return found
    return replace(found, state="unsure", reason=FADES, settle=DRY_PHOTO)


def _merged_findings(merged: dict[int, int], order: np.ndarray) -> list[Finding]:
    number = {int(hole): at for at, hole in enumerate(order.tolist(), start=1)}
    found = []
    for plume in sorted(set(merged.values())):
        names = sorted(number[h] for h, p in merged.items() if p == plume)
        found.append(describe("plumes-merged", holes=" and ".join(str(n) for n in names)))
    return found


def _throw(layout: Layout, match: Match, hole: int) -> float:
    """How far a hole throws beside those whose plumes were found."""
    log = layout.log_throw()
    found = [log[h] for h in match.hole_of if h >= 0]
    return math.exp(float(log[hole] - np.median(found))) if found else 1.0


def _strays(match: Match, merged: dict[int, int]) -> tuple[int, ...]:
    inside = set(merged.values())
    return tuple(p for p, h in enumerate(match.hole_of) if h < 0 and p not in inside)


def verdict_of(states: list[str], proven: bool, probability: float, limits: Limits) -> str:
    """Fail with proof of a fault, pass with proof of none, otherwise recheck."""
    if proven or set(states) & set(FAULTS):
        return "fail"
    return "pass" if set(states) == {"clear"} and probability >= 1 - limits.risk else "recheck"
