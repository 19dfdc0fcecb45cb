"""Several shots of one nozzle judged together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from spraycheck.errors import InputError
from spraycheck.judge.assessment import FAULTS, probability_of, verdict_of
from spraycheck.judge.assessment.checks import Check, hold, shared_risk
from spraycheck.judge.assessment.holes import ANOTHER_SHOT, Judged, finding, judge, row
from spraycheck.judge.assessment.pattern import pattern_checks, pattern_findings, stray_check
from spraycheck.judge.findings import KINDS, describe, most_important_first
from spraycheck.judge.layout import Assessment, Finding, Hole
from spraycheck.judge.limits import Limits
from spraycheck.judge.shots.averaging import Averages, average, scatter
from spraycheck.judge.shots.consistency import (
    check_one_card,
    check_one_nozzle,
    check_photos,
    check_same_values,
    check_seen,
    name_of,
)
from spraycheck.judge.shots.containers import Combination, CombinedHole, Matching
from spraycheck.judge.shots.extremes import extremes, keeps_extremes
from spraycheck.judge.shots.intermittent import Wavering, wavering, wavering_unmatched
from spraycheck.judge.shots.matching import follow, match_shots
from spraycheck.judge.shots.shots import Shot, lay_out
from spraycheck.spray.seen import Seen

ONE_MORE = "Spray one more card and give its photo together with these."
"""What settles a doubt once there are several shots."""

_PER_CARD = ("rotation_deg", "centre_offset_mm", "drip_frac")
"""Limits on what belongs to a card, not to the averaged pattern: their values are averaged."""

_CARRIED = ("stray-spray", "centre-drip", "nozzle-tilted", "no-scale")
"""Findings of single photos that are told of the combination too."""


def combine_shots(
    photos: Sequence[Assessment],
    *,
    cards: Sequence[int] | None = None,
    turns_deg: Sequence[float] | None = None,
) -> Combination:
    """Judge several photos of one nozzle together.

    Parameters
    ----------
    photos : sequence of Assessment
        Two or more, measured with the same layout and limits.
    cards : sequence of int, optional
        Which card each photo shows; photos of one card repeat the reading, cards repeat the shot.
        Every photo its own card when not given.
    turns_deg : sequence of float, optional
        Known turn of each card against the first one, clockwise, where the injector stayed in its
        holder and the cards carry no arrow.

    Returns
    -------
    Combination

    Raises
    ------
    InputError
        Photos that do not belong together, told with the evidence: see `mismatch`; lists of
        differing length.
    """
    for name, given in (("cards", cards), ("turns_deg", turns_deg)):
        if given is not None and len(given) != len(photos):
            raise InputError(f"{name}: expected {len(photos)}, one per photo, got {len(given)}")
    check_photos(photos, same_job=True)
    numbers = _numbered(cards if cards is not None else range(len(photos)))
    shots, matching = _matched(photos, numbers, turns_deg)
    if matching.sure:
        return _by_hole(shots, numbers, matching)
    return _by_extremes(shots, numbers, matching)


def _numbered(cards: Sequence[int]) -> tuple[int, ...]:
    order = list(dict.fromkeys(cards))
    return tuple(order.index(card) + 1 for card in cards)


def _matched(
    photos: Sequence[Assessment], cards: tuple[int, ...], turns_deg: Sequence[float] | None
) -> tuple[tuple[Shot, ...], Matching]:
    """Match photos of one card by its picture, and the cards with one another."""
    laid = [lay_out(photo) for photo in photos]
    check_seen(laid)
    leads = [cards.index(card) for card in sorted(set(cards))]
    turns = {}
    for k, card in enumerate(cards):
        lead = cards.index(card)
        names = name_of(photos[lead], lead), name_of(photos[k], k)
        turns[k] = 0.0 if k == lead else check_one_card(photos[lead], photos[k], names)
    if len(leads) > 1:
        known = None if turns_deg is None else [turns_deg[k] for k in leads]
        first, matching = match_shots([laid[k] for k in leads], turns_deg=known)
        check_one_nozzle(first)
    else:
        first = (laid[0],)
        matching = Matching(by="picture", probability=1.0, turn_deg=())
    by_card = dict(zip(sorted(set(cards)), first, strict=True))
    shots = tuple(
        by_card[card] if k in leads else follow(by_card[card], laid[k], turns[k])
        for k, card in enumerate(cards)
    )
    for k, card in enumerate(cards):
        lead = cards.index(card)
        if k != lead:
            names = name_of(photos[lead], lead), name_of(photos[k], k)
            check_same_values(shots[lead], shots[k], names)
    own = dict(zip(sorted(set(cards)), matching.turn_deg or (0.0,), strict=True))
    whole = tuple((own[card] + turns[k] + 180.0) % 360.0 - 180.0 for k, card in enumerate(cards))
    return shots, replace(matching, turn_deg=whole)


# -- holes matched ---------------------------------------------------------------------------------


def _by_hole(shots: tuple[Shot, ...], cards: tuple[int, ...], matching: Matching) -> Combination:
    first = shots[0].photo
    layout, limits = first.layout, first.limits
    loose = {one.hole: one for one in wavering(shots, cards)}
    steady = np.array([hole not in loose for hole in range(len(layout))])
    means = average(shots, cards, steady)
    checks = [
        check
        for check in pattern_checks(
            means.seen, means.held, means.match, layout, limits, lined_up=False
        )
        if check.limit not in _PER_CARD
    ]
    checks += _per_card(shots, cards)
    stray = _stray(shots)
    risk = shared_risk(limits, 2 * len(layout) + len(checks) + 1)
    order = np.argsort([row.hole for row in shots[0].rows]).tolist()
    judged = [
        (hole, int(means.plume[hole]), _judged(shots, means, hole, loose.get(hole), risk))
        for hole in order
    ]
    probability = probability_of(means.held, judged, checks, stray, limits, False)
    rows = [
        row(
            shots[0].rows[hole].hole,
            shots[0].rows[hole].expected_deg,
            plume,
            found,
            means.seen,
            means.held,
        )
        for hole, plume, found in judged
    ]
    findings: list[Finding] = []
    for one, (hole, _, found) in zip(rows, judged, strict=True):
        findings += _of_hole(one, found, loose.get(hole), limits)
    findings += pattern_findings(means.seen, (), stray, checks, limits, layout, risk)
    proven = any(check.probability <= risk for check in (*checks, stray))
    verdict = verdict_of([found.state for _, _, found in judged], proven, probability, limits)
    return Combination(
        photos=tuple(shot.photo for shot in shots),
        cards=cards,
        matching=matching,
        holes=tuple(
            _combined(shots, cards, hole, one, hole in loose)
            for one, (hole, _, _) in zip(rows, judged, strict=True)
        ),
        extremes=(),
        verdict=verdict,
        findings=_told(findings, shots, verdict),
        probability=probability,
        widened=means.widened,
        photo_scatter=means.photo_scatter,
    )


def _judged(
    shots: tuple[Shot, ...], means: Averages, hole: int, loose: Wavering | None, risk: float
) -> Judged:
    if loose is not None:
        return Judged(state="unsure", reason=f"intermittent: {loose.told}", settle=ONE_MORE)
    plume = int(means.plume[hole])
    states = [shot.rows[hole] for shot in shots]
    if plume < 0 and all(one.state == "blocked" for one in states):
        return Judged(state="blocked")
    if plume < 0:
        reason = next(one.reason for one in states if one.state != "blocked")
        return Judged(state="unsure", reason=reason, settle=ONE_MORE)
    found = judge(means.seen, means.held, plume, shots[0].photo.limits, risk)
    if found.state == "unsure":
        many = found.reason.replace("for this photo", "even for all photos together")
        settle = ONE_MORE if found.settle == ANOTHER_SHOT else found.settle
        return replace(found, reason=many, settle=settle)
    return found


def _combined(
    shots: tuple[Shot, ...], cards: tuple[int, ...], hole: int, found: Hole, intermittent: bool
) -> CombinedHole:
    rows = [shot.rows[hole] for shot in shots]
    told = {
        card
        for card, shot in zip(cards, shots, strict=True)
        if shot.plume[hole] >= 0 or shot.rows[hole].state == "blocked"
    }
    if intermittent:  # its mean is no value that the hole keeps to
        found = replace(found, area_ratio_u=math.nan, deviation_u_deg=math.nan)
    return CombinedHole(
        hole=found,
        shots=len(told),
        scatter=scatter(shots, cards, hole),
        intermittent=intermittent,
        states=tuple(one.state for one in rows),
        ratios=tuple(one.area_ratio for one in rows),
        deviations_deg=tuple(one.deviation_deg for one in rows),
    )


# -- holes not matched -----------------------------------------------------------------------------


def _by_extremes(
    shots: tuple[Shot, ...], cards: tuple[int, ...], matching: Matching
) -> Combination:
    """Judge by what is true however the holes are matched."""
    first = shots[0].photo
    loose = wavering_unmatched(shots, cards)
    stray, checks = _stray(shots), _per_card(shots, cards)
    found = extremes(shots, cards)
    probability = keeps_extremes(found, [*checks, stray], shots)
    faulty = [any(row.state in FAULTS for row in shot.rows) for shot in shots]
    if all(faulty):
        verdict, probability = "fail", 0.0
    elif loose or any(faulty) or not probability >= 1 - first.limits.risk:
        verdict = "recheck"
    else:
        verdict = "pass"
    findings = [
        describe(
            "hole-intermittent",
            shots[one.index].rows[one.hole].hole,
            state=one.state,
            seen=one.told,
        )
        for one in loose
    ]
    if all(faulty):
        findings += [f for f in first.findings if f.code.removeprefix("hole-") in FAULTS]
    findings.append(describe("shots-unmatched", note=matching.note))
    return Combination(
        photos=tuple(shot.photo for shot in shots),
        cards=cards,
        matching=matching,
        holes=(),
        extremes=tuple(check.evidence(first.limits) for check in found),
        verdict=verdict,
        findings=_told(findings, shots, verdict),
        probability=math.nan if loose else probability,
    )


# -- what belongs to the cards ---------------------------------------------------------------------


def _per_card(shots: tuple[Shot, ...], cards: tuple[int, ...]) -> list[Check]:
    """Average what is held of each card as a whole."""
    each: dict[str, list[Check]] = {}
    for shot in shots:
        photo = shot.photo
        for check in pattern_checks(
            seen_of(photo),
            shot.held,
            shot.match,
            photo.layout,
            photo.limits,
            lined_up=bool(photo.provenance.get("lined_up_with")),
        ):
            if check.limit in _PER_CARD:
                each.setdefault(check.limit, []).append(check)
    return [_mean_check(name, checks, shots) for name, checks in each.items()]


def _stray(shots: tuple[Shot, ...]) -> Check:
    checks = [
        stray_check(seen_of(shot.photo), tuple(k - 1 for k in shot.photo.strays), shot.photo.limits)
        for shot in shots
    ]
    return _mean_check("stray_frac", checks, shots)


def _mean_check(name: str, checks: Sequence[Check], shots: tuple[Shot, ...]) -> Check:
    value = sum(check.value for check in checks) / len(checks)
    # As uncertain as one: a splash or a drip is another one on every card, and every card is laid
    # down anew.
    sigma = math.sqrt(sum(check.sigma**2 for check in checks) / len(checks))
    return hold(name, value, sigma, shots[0].photo.limits)


def seen_of(photo: Assessment) -> Seen:
    """What the stages found in one photo, in one hand."""
    return Seen(
        photo=photo.photo,
        card=photo.card,
        wetness=photo.wetness,
        centre=photo.centre,
        segmentation=photo.segmentation,
        catalogue=photo.catalogue,
    )


def _of_hole(one: Hole, found: Judged, loose: Wavering | None, limits: Limits) -> list[Finding]:
    if loose is None:
        return [
            replace(told, text=told.text.replace("from this photo", "from these photos"))
            for told in finding(one, found, limits)
        ]
    return [describe("hole-intermittent", one.hole, state=loose.state, seen=loose.told)]


def _told(
    findings: Sequence[Finding], shots: tuple[Shot, ...], verdict: str
) -> tuple[Finding, ...]:
    """Add what the photos say of cards and light, each kind once."""
    out = list(findings)
    for shot in shots:
        for one in shot.photo.findings:
            about = KINDS[one.code].about if one.code in KINDS else ""
            wanted = one.code in _CARRIED or (about == "photo" and verdict == "recheck")
            if wanted and one.code not in {f.code for f in out}:
                out.append(one)
    return most_important_first(out)
