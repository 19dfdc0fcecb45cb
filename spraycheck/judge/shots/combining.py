"""Several shots of one nozzle judged together: their means go to the same judge as one photo."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.judge.case import Case
from spraycheck.judge.checks import check_limit, check_plume
from spraycheck.judge.holes import (
    HOLE_LIMITS,
    NOISY,
    SHAPES,
    better_photo_settles,
    hole_checks,
    hole_groups,
    row_of,
)
from spraycheck.judge.limits import Limits
from spraycheck.judge.pattern import (
    FOLLOWS,
    card_checks,
    centre_note,
    pattern_checks,
    pattern_findings,
)
from spraycheck.judge.result import (
    ABOUT_PHOTO,
    Doubt,
    Finding,
    HoleShots,
    Kind,
    LimitCheck,
    MatchedBy,
    Matching,
    Result,
    Shots,
    Verdict,
    most_important_first,
)
from spraycheck.judge.shots.consistency import (
    check_one_card,
    check_one_nozzle,
    check_photos,
    check_same_values,
    check_seen,
)
from spraycheck.judge.shots.intermittent import (
    intermittent,
    intermittent_unmatched,
)
from spraycheck.judge.shots.matching import follow, match_shots
from spraycheck.judge.shots.means import MeanPattern, mean_pattern, scatter
from spraycheck.judge.shots.shot import Shot, lay_out, name_of
from spraycheck.judge.verdict import Ruling, decide

SOUND_SHOTS: Final = "sound_shots"
"""Name of the check that some shot shows no faulty hole, where holes cannot be followed."""

CARRIED: Final = (Kind.STRAY_SPRAY, Kind.CENTRE_DRIP, Kind.NOZZLE_TILTED, Kind.NO_SCALE)
"""Findings of single photos that are told of the combination too."""


def combine_shots(
    photos: Sequence[Result],
    *,
    cards: Sequence[int] | None = None,
    turns_deg: Sequence[float] | None = None,
) -> Result:
    """Judge several photos of one nozzle together.

    Parameters
    ----------
    photos : sequence of Result
        Two or more, measured with the same layout and limits.
    cards : sequence of int, optional
        Which card each photo shows; photos of one card repeat the reading, cards repeat the shot.
        Every photo its own card when not given.
    turns_deg : sequence of float, optional
        Known turn of each card against the first one, clockwise, where the injector stayed in its
        holder and the cards carry no arrow.

    Returns
    -------
    Result
        Its ``shots`` hold the single photos.

    Raises
    ------
    InputError
        Photos that do not belong together, told with the evidence: see `consistency`; lists of
        differing length.
    """
    for name, given in (("cards", cards), ("turns_deg", turns_deg)):
        if given is not None and len(given) != len(photos):
            raise InputError(f"{name}: expected {len(photos)}, one per photo, got {len(given)}")
    check_photos(photos, same_job=True)
    order = list(dict.fromkeys(cards if cards is not None else range(len(photos))))
    numbers = tuple(order.index(c) + 1 for c in (cards or range(len(photos))))
    shots, matching = _matched(photos, numbers, turns_deg)
    together = _by_hole if matching.sure else _by_extremes
    return together(shots, numbers, matching)


def _matched(
    photos: Sequence[Result], cards: tuple[int, ...], turns_deg: Sequence[float] | None
) -> tuple[tuple[Shot, ...], Matching]:
    """Match photos of one card by its picture, and the cards with one another."""
    laid = [lay_out(photo) for photo in photos]
    check_seen(laid)
    lead_of = [cards.index(card) for card in cards]
    names = [name_of(photo, k) for k, photo in enumerate(photos)]
    turns = [
        0.0 if k == lead else check_one_card(photos[lead], photos[k], (names[lead], names[k]))
        for k, lead in enumerate(lead_of)
    ]
    leads = list(dict.fromkeys(lead_of))
    if len(leads) > 1:
        known = None if turns_deg is None else [turns_deg[k] for k in leads]
        first, matching = match_shots([laid[k] for k in leads], turns_deg=known)
        check_one_nozzle(first)
    else:
        first = (laid[0],)
        matching = Matching(by=MatchedBy.PICTURE, probability=1.0, turn_deg=(0.0,))
    by_lead = dict(zip(leads, first, strict=True))
    own = dict(zip(leads, matching.turn_deg, strict=True))
    shots = tuple(
        by_lead[k] if k == lead else follow(by_lead[lead], laid[k], turns[k])
        for k, lead in enumerate(lead_of)
    )
    for k, lead in enumerate(lead_of):
        if k != lead:
            check_same_values(shots[lead], shots[k], (names[lead], names[k]))
    whole = tuple((own[lead] + turns[k] + 180.0) % 360.0 - 180.0 for k, lead in enumerate(lead_of))
    return shots, replace(matching, turn_deg=whole)


# -- holes matched ---------------------------------------------------------------------------------


def _by_hole(shots: tuple[Shot, ...], cards: tuple[int, ...], matching: Matching) -> Result:
    first = shots[0].photo
    layout, limits = first.layout, _limits(shots)
    loose = {one.hole: one for one in intermittent(shots, cards)}
    steady = np.array([hole not in loose for hole in range(len(layout))])
    means = mean_pattern(shots, cards, steady)
    whole = [*pattern_checks(means.values, layout, limits), *_per_card(shots)]
    order = np.argsort([row.hole for row in shots[0].rows]).tolist()
    by_hole = [_hole_checks(shots, means, hole, hole in loose) for hole in order]
    shares = np.array(_by_plume(means), float)
    rows = []
    for hole, checks in zip(order, by_hole, strict=True):
        own = shots[0].rows[hole]
        row = row_of(
            own.hole,
            hole,
            own.expected_deg,
            int(means.values.plume[hole]),
            means.values,
            shares,
            float(means.spacing_deg[hole]),
            checks,
        )
        if hole in loose:  # its mean is no value that the hole keeps to
            row = replace(row, area_ratio_u=math.nan, deviation_u_deg=math.nan)
        rows.append(row)
    case = Case(
        measurement=first.measurement,
        nozzle=layout,
        limits=limits,
        checks=tuple(check for checks in (*by_hole, whole) for check in checks),
        groups=hole_groups(means.values, limits),
        grouped=frozenset(HOLE_LIMITS),
        follows=FOLLOWS,
        sharing=2 * len(layout) + len(whole),
        rows=tuple(rows),
        notes=(
            *(one.finding for one in loose.values()),
            *centre_note(COVERAGE_FACTOR_95 * means.values.sigma_deg, limits),
        ),
        shots=len(shots),
    )
    ruling = decide(case)
    return _result(
        case,
        ruling,
        pattern_findings(case, ruling),
        Shots(
            photos=tuple(shot.photo for shot in shots),
            cards=cards,
            matching=matching,
            holes=tuple(_hole_shots(shots, cards, hole, hole in loose) for hole in order),
            widened=(means.turn.widened, means.area.widened),
            photo_scatter=(means.turn.photo_scatter, means.area.photo_scatter),
        ),
    )


def _by_plume(means: MeanPattern) -> list[float]:
    """Return the shares of the holes that left a plume, clockwise."""
    plume = means.values.plume
    return [float(means.share[hole]) for hole in np.argsort(plume) if plume[hole] >= 0]


def _hole_checks(
    shots: tuple[Shot, ...], means: MeanPattern, hole: int, loose: bool
) -> list[LimitCheck]:
    rows = [shot.rows[hole] for shot in shots]
    number, plume = rows[0].hole, int(means.values.plume[hole])
    if loose:
        return [check_plume(number, int(plume >= 0), (Doubt.INTERMITTENT,))]
    if plume < 0:
        open_ = [row.doubts for row in rows if row.doubts]
        return [check_plume(number, 0, open_[0] if open_ else ())]
    first = shots[0].photo
    return hole_checks(
        number,
        hole,
        means.values,
        _limits(shots),
        (Doubt.OVER_EDGE,) if means.over_edge[hole] else (),
        better_photo=better_photo_settles(first.measurement),
        noisy=first.wetness.noise > NOISY,
    )


def _hole_shots(
    shots: tuple[Shot, ...], cards: tuple[int, ...], hole: int, loose: bool
) -> HoleShots:
    rows = [shot.rows[hole] for shot in shots]
    told = {
        card
        for card, shot in zip(cards, shots, strict=True)
        if shot.values.plume[hole] >= 0 or shot.blocked[hole]
    }
    shot_deg, photo_deg, shot_ratio, photo_ratio = scatter(shots, cards, hole)
    return HoleShots(
        shots=len(told),
        intermittent=loose,
        shot_sd_deg=shot_deg,
        photo_sd_deg=photo_deg,
        shot_sd_ratio=shot_ratio,
        photo_sd_ratio=photo_ratio,
        states=tuple(row.state for row in rows),
        ratios=tuple(row.area_ratio for row in rows),
        deviations_deg=tuple(row.deviation_deg for row in rows),
    )


# -- holes not matched -----------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Bound:
    """Lower bound of the probability that every hole keeps its limits (Bonferroni's inequality)."""

    checks: tuple[LimitCheck, ...]
    holes: int

    def probability(self) -> float:
        """Return the bound."""
        return max(0.0, 1.0 - sum(self.holes * (1 - one.probability) for one in self.checks))


def _by_extremes(shots: tuple[Shot, ...], cards: tuple[int, ...], matching: Matching) -> Result:
    """Judge by what is true however the holes are matched.

    Whichever hole of one shot is which of another, the mean of a hole over the shots lies between
    the mean of the shots' smallest values and that of their largest. Those two are held against the
    limits in place of every hole; they can show that all holes keep them, never that one does not.
    """
    first, limits = shots[0].photo, _limits(shots)
    loose = intermittent_unmatched(shots, cards)
    found = tuple(extremes(shots, cards))
    faulty = [shot.faulty for shot in shots]
    sound = LimitCheck(
        limit=SOUND_SHOTS,
        value=float(len(shots) - sum(faulty)),
        u=0.0,
        allowed=1.0,
        unit="",
        # A fault on every card is one of the nozzle; on some of them it is open, as it is where a
        # hole left no plume of its own on some card, which may be the worst.
        probability=0.0
        if all(faulty)
        else math.nan
        if any(faulty) or loose or not all(shot.complete for shot in shots)
        else 1.0,
        doubts=(Doubt.INTERMITTENT,) if loose and not all(faulty) else (),
    )
    whole = _per_card(shots)
    case = Case(
        measurement=first.measurement,
        nozzle=first.layout,
        limits=limits,
        checks=(*found, sound, *whole),
        groups=(_Bound(checks=found, holes=len(first.layout)),),
        grouped=frozenset(HOLE_LIMITS),
        sharing=2 * len(first.layout) + len(whole),
        notes=(
            *(one.finding for one in loose),
            Finding(kind=Kind.SHOTS_UNMATCHED, fields={"doubts": matching.doubts}),
        ),
        shots=len(shots),
    )
    ruling = decide(case)
    faults = [f for f in first.findings if f.hole and f.kind is not Kind.HOLE_UNSURE]
    return _result(
        case,
        ruling,
        [*(faults if all(faulty) else []), *pattern_findings(case, ruling)],
        Shots(photos=tuple(s.photo for s in shots), cards=cards, matching=matching),
    )


def extremes(shots: Sequence[Shot], cards: Sequence[int]) -> list[LimitCheck]:
    """Hold the mean of the cards' worst values against every limit of a hole that is on.

    Notes
    -----
    Areas are independent from card to card but for the nozzle itself, so the uncertainty of their
    mean shrinks with the cards. That of directions, widths and reaches holds what belongs to the
    nozzle too and is taken as for one card.
    """
    limits = _limits(shots)
    steady = np.ones(len(shots[0]), bool)
    each = []
    for card in sorted(set(cards)):
        own = [shot for shot, c in zip(shots, cards, strict=True) if c == card]
        each.append(mean_pattern(own, [1] * len(own), steady).values)
    why = (Doubt.NOT_FOLLOWED,)
    found = []
    if limits.held("direction_deg"):
        turns = [v.residuals for v in each]
        at = [int(np.nanargmax(np.abs(t.value_deg))) for t in turns]
        value = np.mean([abs(t.value_deg[k]) for t, k in zip(turns, at, strict=True)])
        sigma = _root_mean_square([t.sigma_deg[k] for t, k in zip(turns, at, strict=True)])
        found.append(check_limit("direction_deg", float(value), sigma, limits, doubts=why))
    for what in SHAPES:
        ratios = [getattr(v, what) for v in each]
        shrink = math.sqrt(len(each)) if what == "area" else 1.0
        for side, pick in (("low", np.nanargmin), ("high", np.nanargmax)):
            name = f"{what}_{side}_ratio"
            if limits.held(name):
                at = [int(pick(r.log)) for r in ratios]
                log = np.mean([r.log[k] for r, k in zip(ratios, at, strict=True)])
                sigma = _root_mean_square([r.sigma[k] for r, k in zip(ratios, at, strict=True)])
                value = math.exp(float(log))
                found.append(check_limit(name, value, sigma / shrink, limits, doubts=why))
    return found


# -- what belongs to the cards ---------------------------------------------------------------------


def _per_card(shots: Sequence[Shot]) -> list[LimitCheck]:
    """Average what is held of each card as a whole.

    As uncertain as one: a splash or a drip is another one on every card, and every card is laid
    down anew.
    """
    each: dict[str, list[LimitCheck]] = {}
    for shot in shots:
        strays = [k - 1 for k in shot.photo.strays]
        for check in card_checks(
            shot.photo.measurement,
            shot.values.turn_deg,
            shot.photo.layout,
            _limits(shots),
            shot.lined_up,
            strays,
        ):
            each.setdefault(check.limit, []).append(check)
    return [
        check_limit(
            name,
            sum(check.value for check in checks) / len(checks),
            _root_mean_square([check.u for check in checks]) / COVERAGE_FACTOR_95,
            _limits(shots),
            doubts=tuple(dict.fromkeys(doubt for check in checks for doubt in check.doubts)),
        )
        for name, checks in each.items()
    ]


def _result(case: Case, ruling: Ruling, own: Sequence[Finding], shots: Shots) -> Result:
    """Add what the photos say of cards and light, each kind once."""
    told = [*case.notes, *own]
    for photo in shots.photos:
        for one in photo.findings:
            of_photo = one.kind in ABOUT_PHOTO and ruling.verdict is Verdict.RECHECK
            if (one.kind in CARRIED or of_photo) and one.kind not in {f.kind for f in told}:
                told.append(one)
    return Result(
        measurement=case.measurement,
        nozzle=case.nozzle,
        limits=case.limits,
        verdict=ruling.verdict,
        findings=most_important_first(told),
        checks=ruling.checks,
        holes=ruling.holes,
        probability=ruling.probability,
        provenance=shots.photos[0].provenance,
        shots=shots,
    )


def _limits(shots: Sequence[Shot]) -> Limits:
    limits = shots[0].photo.limits
    if not isinstance(limits, Limits):
        raise TypeError("shots of an axial spray are not combined")
    return limits


def _root_mean_square(values: Sequence[float]) -> float:
    return math.sqrt(sum(float(v) ** 2 for v in values) / len(values))
