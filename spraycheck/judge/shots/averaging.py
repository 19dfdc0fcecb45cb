"""Averages over photos and cards, with the uncertainty that is left.

Two kinds of scatter are kept apart. What differs between photos of one card (light, sheet edges,
noise) shrinks with the number of photos; what differs between cards (the stroke, the paper) shrinks
with the number of cards only. How much of the stated uncertainty of one photo is of the first kind
is not assumed: repeats show it, and only what they show is averaged away. What belongs to the
nozzle itself, the healthy scatter of its drilled holes, never shrinks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.assessment.area_ratios import Ratios
from spraycheck.judge.assessment.holes import Held
from spraycheck.judge.assessment.residuals import unexplained
from spraycheck.judge.matching import Match
from spraycheck.judge.shots.containers import Scatter
from spraycheck.judge.shots.shots import Shot
from spraycheck.spray.seen import Seen
from spraycheck.stats.uncertainty import between_within, weighted_mean

WIDEN_RISK = 0.01
"""Chance that shots scatter this far beyond what is stated, were it true, from which on the
uncertainties are widened (chosen: widening at every chance excess would undo the averaging)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Averages:
    """Combined values, ready for the same judgement as those of one photo.

    Parameters
    ----------
    seen, match, held
        As for one photo; one plume for every hole that left any, clockwise.
    plume : (n,) ndarray of int
        Row for each hole in the layout's order, -1 for none.
    widened, photo_scatter : (float, float)
        See `Combination`; of directions and areas.
    """

    seen: Seen
    match: Match
    held: Held
    plume: NDArray[np.int_]
    widened: tuple[float, float]
    photo_scatter: tuple[float, float]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Means:
    """Means of one kind of value: what is known of them but the covariance."""

    value: Float  # (n,)
    weight: Float  # (P, n): of every photo in every hole, columns sum to 1
    shrink: Float  # (P,): factor on each photo's variance, what its card's repeats average away
    widened: float
    photo_scatter: float

    def variance(self, each: Float) -> Float:
        """Variance of the means from ``(P, n)`` variances of the photos."""
        # Photos of a card share what does not shrink: their weights add before they are squared,
        # which `shrink` allows for.
        return np.asarray((self._effective**2 * np.nan_to_num(each)).sum(axis=0))

    def covariance(self, each: Sequence[Float]) -> Float:
        """Covariance of the means from the ``(n, n)`` covariances of the photos."""
        w = self._effective
        return np.asarray(sum(np.outer(w[p], w[p]) * c for p, c in enumerate(each)))

    @property
    def _effective(self) -> Float:
        return np.asarray(self.weight * np.sqrt(self.shrink)[:, None] * self.widened)


def average(shots: Sequence[Shot], cards: Sequence[int], steady: NDArray[np.bool_]) -> Averages:
    """Average matched photos.

    Parameters
    ----------
    shots : sequence of Shot
        Matched: hole h is the same hole in all.
    cards : sequence of int
        Which card each photo shows.
    steady : (n,) ndarray of bool
        Holes that take part in testing whether the shots scatter as stated; not intermittent ones.
    """
    first = shots[0]
    turn = _means(
        np.array([s.deviation_deg for s in shots]),
        np.array([s.direction_u_deg for s in shots]),
        cards,
        steady,
    )
    area = _means(
        np.array([s.log_area for s in shots]),
        np.array([s.log_area_u for s in shots]),
        cards,
        steady,
    )
    azimuth = np.array(first.photo.layout.azimuth_deg)
    direction = (azimuth + first.turn_deg + turn.value) % 360.0
    there = np.flatnonzero(np.isfinite(area.value))
    order = there[np.argsort(direction[there])]
    plume = np.full(len(first), -1)
    plume[order] = np.arange(len(order))
    match = Match(
        rotation_deg=first.turn_deg,
        hole_of=tuple(order.tolist()),
        deviation_deg=turn.value[order],
        misfit_deg=float(np.abs(turn.value[order]).mean()) if len(order) else math.nan,
    )
    seen, for_leaning = _seen(shots, turn, area, order, direction)
    at = np.ix_(order, order)
    log = Ratios(
        log=area.value[order],
        covariance=area.covariance([s.covariance_by_hole(s.held.area.covariance) for s in shots])[
            at
        ],
        own=np.sqrt(area.variance(np.array([s.by_hole(s.held.area.own) ** 2 for s in shots])))[
            order
        ],
    )
    return Averages(
        seen=seen,
        match=match,
        held=Held(
            leaning=unexplained(for_leaning.catalogue, seen.centre, match, first.photo.limits),
            area=log,
            width=_shape([s.held.width for s in shots], shots, area.weight, order),
            reach=_shape([s.held.reach for s in shots], shots, area.weight, order),
        ),
        plume=plume,
        widened=(turn.widened, area.widened),
        photo_scatter=(turn.photo_scatter, area.photo_scatter),
    )


def _means(values: Float, sigma: Float, cards: Sequence[int], steady: NDArray[np.bool_]) -> _Means:
    """Weighted means of ``(P, n)`` values over photos and cards, hole by hole."""
    known = np.isfinite(values) & np.isfinite(sigma)
    photo_scatter, share = _photo_share(values, sigma, cards, steady)
    card = np.asarray(cards)
    count = np.array([(card == c).sum() for c in card])
    shrink = np.maximum(1 - share, 0) + share / count
    # Photos of one card share its weight, which goes with what their mean leaves uncertain.
    usual = np.where(known, sigma, np.nan) ** 2 * shrink[:, None] * count[:, None]
    weight = np.where(known, 1 / np.where(known, usual, 1.0), 0.0)
    total = weight.sum(axis=0)
    weight = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0)
    value = np.where(total > 0, (weight * np.where(known, values, 0.0)).sum(axis=0), np.nan)
    # Within a card what does not shrink is common: k photos of weight w each count k w together.
    return _Means(
        value=value,
        weight=weight,
        shrink=shrink * count,
        widened=_widening(values, sigma, cards, shrink, steady),
        photo_scatter=photo_scatter,
    )


def _photo_share(
    values: Float, sigma: Float, cards: Sequence[int], steady: NDArray[np.bool_]
) -> tuple[float, float]:
    """Scatter between photos of one card over the stated uncertainty, and its square, at least 0.

    NaN and 0 without repeats: then nothing is known to shrink with photos.
    """
    square, dof = 0.0, 0
    for card in set(cards):
        rows = np.flatnonzero(np.asarray(cards) == card)
        if len(rows) < 2:
            continue
        off, holes = _residuals(values[rows], sigma[rows], steady)
        square += float((off**2).sum())
        dof += (len(rows) - 1) * max(holes - 1, 0)
    if dof == 0:
        return math.nan, 0.0
    return math.sqrt(square / dof), square / dof


def _widening(
    values: Float,
    sigma: Float,
    cards: Sequence[int],
    shrink: Float,
    steady: NDArray[np.bool_],
) -> float:
    """Birge's factor over all steady holes of all cards, where it is surely above 1."""
    from scipy.special import chdtrc  # chi-squared; the standard library has none

    numbers = sorted(set(cards))
    if len(numbers) < 2:
        return 1.0
    rows = [np.flatnonzero(np.asarray(cards) == c) for c in numbers]
    means = np.array([_mean_of_known(values[r]) for r in rows])
    left = np.array([_mean_of_known(sigma[r]) * math.sqrt(float(shrink[r[0]])) for r in rows])
    off, holes = _residuals(means, left, steady)
    square, dof = float((off**2).sum()), (len(rows) - 1) * max(holes - 1, 0)
    if dof == 0 or square <= dof or chdtrc(dof, square) > WIDEN_RISK:
        return 1.0
    return math.sqrt(square / dof)


def _residuals(values: Float, sigma: Float, steady: NDArray[np.bool_]) -> tuple[Float, int]:
    """Deviations from each hole's weighted mean over uncertainty, each row's common part off."""
    holes = np.flatnonzero(np.isfinite(values).all(axis=0) & steady & (sigma > 0).all(axis=0))
    if len(holes) < 2:
        return np.zeros((len(values), 0)), 0
    mean = [weighted_mean(values[:, h], sigma[:, h]).value for h in holes.tolist()]
    off = values[:, holes] - mean
    # The scale and the turn of a whole photo belong to no hole.
    off = off - off.mean(axis=1, keepdims=True)
    return np.asarray(off / sigma[:, holes]), len(holes)


def _mean_of_known(values: Float) -> Float:
    known = np.isfinite(values)
    count = known.sum(axis=0)
    total = np.where(known, values, 0.0).sum(axis=0)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _shape(
    ratios: Sequence[Ratios], shots: Sequence[Shot], weight: Float, order: NDArray[np.int_]
) -> Ratios:
    """Widths or reaches: averaged, but as uncertain as in one photo.

    Their stated scatter is that of healthy holes among one another, which belongs to the nozzle.
    """
    log = np.array([s.by_hole(r.log) for s, r in zip(shots, ratios, strict=True)])
    mean = np.where(weight > 0, weight * np.nan_to_num(log), 0.0).sum(axis=0)[order]
    each = [s.covariance_by_hole(r.covariance) for s, r in zip(shots, ratios, strict=True)]
    # Holes seen in fewer photos than others: their own mean, not one watered down by zeros.
    counts = np.maximum((weight > 0).sum(axis=0), 1)
    covariance = sum(each) / np.sqrt(np.outer(counts, counts))
    covariance = np.asarray(covariance)[np.ix_(order, order)]
    own = np.array([s.by_hole(r.own) for s, r in zip(shots, ratios, strict=True)])
    return Ratios(log=mean, covariance=covariance, own=_mean_of_known(own)[order])


def _seen(
    shots: Sequence[Shot], turn: _Means, area: _Means, order: NDArray[np.int_], direction: Float
) -> tuple[Seen, Seen]:
    """What the stages would have found on a card that shows the means.

    Returns
    -------
    seen, for_leaning : Seen
        The first as it is told; the second with each direction's own part and the centre's in one
        uncertainty, as `leaning` takes them apart again.
    """
    first = shots[0].photo
    radius, typical = _radii(shots)
    # Only ratios of lengths matter here; each photo's are put on the first one's scale.
    scale = typical[0] / typical
    mean_radius = _mean_of_known(radius * scale[:, None])[order]
    share = np.exp(area.value) * first.layout.expected_area()
    share = share[order] / share[order].sum() if len(order) else np.zeros(0)
    weight = np.sqrt(turn.variance(np.array([np.ones(len(s)) for s in shots])))
    covariance = np.zeros((2, 2))
    for p, shot in enumerate(shots):
        t = math.radians(shots[0].turn_deg - shot.turn_deg)
        spin = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
        part = float(np.mean(turn.weight[p])) ** 2 * float(turn.shrink[p]) * turn.widened**2
        covariance += part * scale[p] ** 2 * spin @ shot.photo.centre.covariance_mm2 @ spin.T
    covariance = (covariance + covariance.T) / 2
    centre = replace(first.centre, x_mm=0.0, y_mm=0.0, covariance_mm2=covariance)
    angle = np.radians(direction[order])
    outward = np.column_stack([np.sin(angle), -np.cos(angle)])
    sideways = np.column_stack([np.cos(angle), np.sin(angle)])
    stated = turn.variance(np.array([s.direction_u_deg**2 for s in shots]))[order]
    own = turn.variance(np.array([s.by_hole(s.held.leaning.own_deg) ** 2 for s in shots]))[order]
    lever = np.degrees(1 / np.maximum(mean_radius, 1e-3))
    moved = lever**2 * np.einsum("ij,jk,ik->i", sideways, covariance, sideways)
    area_u = area.variance(np.array([s.by_hole(s.held.area.own) ** 2 for s in shots]))[order]
    total = float(first.catalogue.area_mm2.sum())
    empty = np.full(len(order), math.nan)
    catalogue = replace(
        first.catalogue,
        direction_deg=direction[order],
        direction_u_deg=COVERAGE_FACTOR_95 * np.sqrt(stated),
        width_deg=_by_name(shots, "width_deg")[order],
        inner_mm=empty,
        outer_mm=empty,
        area_mm2=share * total,
        area_u_mm2=COVERAGE_FACTOR_95 * share * total * np.sqrt(area_u),
        area_frac=share,
        area_u_frac=COVERAGE_FACTOR_95 * share * np.sqrt(area_u),
        centroid_mm=outward * mean_radius[:, None],
        centroid_px=np.full((len(order), 2), math.nan),
        axis_deg=empty,
        raggedness=empty,
        drops_frac=empty,
        peak=empty,
        label=np.arange(1, len(order) + 1, dtype=np.int32),
        flags=tuple(_common_flags(shots, hole) for hole in order.tolist()),
        rotation_u_deg=first.catalogue.rotation_u_deg * float(weight.mean()),
        outlines_px=(),
    )
    seen = Seen(
        photo=first.photo,
        card=first.card,
        wetness=first.wetness,
        centre=centre,
        segmentation=first.segmentation,
        catalogue=catalogue,
    )
    whole = COVERAGE_FACTOR_95 * np.sqrt(own + moved)
    return seen, replace(seen, catalogue=replace(catalogue, direction_u_deg=whole))


def _radii(shots: Sequence[Shot]) -> tuple[Float, Float]:
    """Distance of each hole's plume from the centre, ``(P, n)``, and the typical one, ``(P,)``."""
    rows = []
    for shot in shots:
        centre = np.array([shot.photo.centre.x_mm, shot.photo.centre.y_mm])
        offset = shot.photo.catalogue.centroid_mm - centre
        rows.append(shot.by_hole(np.hypot(offset[:, 0], offset[:, 1])))
    radius = np.array(rows)
    return radius, np.array([float(np.nanmedian(row)) for row in radius])


def _by_name(shots: Sequence[Shot], name: str) -> Float:
    return _mean_of_known(np.array([s.by_hole(getattr(s.photo.catalogue, name)) for s in shots]))


def _common_flags(shots: Sequence[Shot], hole: int) -> tuple[str, ...]:
    """Flags of a hole's plume in every photo that shows it; where one does not, that one counts."""
    found = [s.photo.catalogue.flags[s.plume[hole]] for s in shots if s.plume[hole] >= 0]
    return (flag.AT_SHEET_EDGE,) if all(flag.AT_SHEET_EDGE in f for f in found) else ()


def scatter(shots: Sequence[Shot], cards: Sequence[int], hole: int) -> Scatter:
    """Scatter of one hole's values from shot to shot and from photo to photo.

    Notes
    -----
    As many photos of every card, and more than one: analysis of variance (GUM H.5.2). One photo of
    each: the stated uncertainty of a single photo stands for its scatter, and what the shots
    scatter beyond that is the shots'.
    """
    degrees = _two_scatters(
        [float(s.deviation_deg[hole]) for s in shots],
        [float(s.direction_u_deg[hole]) for s in shots],
        cards,
    )
    ratio = _two_scatters(
        [float(s.log_area[hole]) for s in shots],
        [float(s.by_hole(s.held.area.own)[hole]) for s in shots],
        cards,
    )
    return Scatter(
        shot_deg=degrees[0], photo_deg=degrees[1], shot_ratio=ratio[0], photo_ratio=ratio[1]
    )


def _two_scatters(
    values: Sequence[float], stated: Sequence[float], cards: Sequence[int]
) -> tuple[float, float]:
    """Return the standard deviations from shot to shot and from photo to photo; NaN if unknown."""
    groups: dict[int, list[float]] = {}
    for card, value in zip(cards, values, strict=True):
        if math.isfinite(value):
            groups.setdefault(card, []).append(value)
    sizes = [len(group) for group in groups.values()]
    if not sizes:
        return math.nan, math.nan
    if max(sizes) == 1:
        known = [u for u in stated if math.isfinite(u)]
        photo = math.sqrt(sum(u**2 for u in known) / len(known))
        if len(sizes) < 2:
            return math.nan, photo
        seen = float(np.var([group[0] for group in groups.values()], ddof=1))
        return math.sqrt(max(seen - photo**2, 0.0)), photo
    within = [float(np.std(g, ddof=1)) for g in groups.values() if len(g) > 1]
    photo = math.sqrt(sum(s**2 for s in within) / len(within))
    if len(sizes) < 2 or len(set(sizes)) > 1:
        return math.nan, photo
    found = between_within([float(np.mean(g)) for g in groups.values()], within, sizes[0])
    return found.sigma_groups, found.s_within
