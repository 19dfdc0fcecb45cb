"""Weighted means over photos and cards, with the uncertainty that is left.

Two kinds of scatter are kept apart. What differs between photos of one card (light, sheet edges,
noise) shrinks with the number of photos; what differs between cards (the stroke, the paper) shrinks
with the number of cards only. How much of the stated uncertainty of one photo is of the first kind
is not assumed: repeats show it, and only what they show is averaged away. What belongs to the
nozzle itself, the healthy scatter of its drilled holes, never shrinks.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.residuals import angular_residuals
from spraycheck.judge.shots.shot import Shot
from spraycheck.judge.values import PatternValues, Ratios
from spraycheck.stats.conformity import guard_factor
from spraycheck.stats.uncertainty import between_within, weighted_mean

ONE_SIDED: Final = 0.025
"""Risk on either side of a 95 % interval."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Means:
    """Means of one kind of value, hole by hole.

    Parameters
    ----------
    value : (n,) ndarray of float64
        The means; NaN for a hole that no photo tells of.
    weight : (P, n) ndarray of float64
        Of every photo in every hole; columns sum to 1.
    shrink : (P,) ndarray of float64
        Factor on each photo's variance: what its card's repeats average away.
    widened : float
        Factor on all uncertainties because the cards scatter more than is stated.
    photo_scatter : float
        Scatter between photos of one card over what is stated; NaN without repeats.
    """

    value: Float
    weight: Float
    shrink: Float
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


@dataclass(frozen=True, kw_only=True, eq=False)
class MeanPattern:
    """What all photos together say of every hole.

    Parameters
    ----------
    values : PatternValues
        The means; ``plume`` counts the holes that left a plume, clockwise.
    share : (n,) ndarray of float64
        Of each hole in the wetted area; 0 without a plume.
    spacing_deg : (n,) ndarray of float64
        To the next plume clockwise.
    over_edge : (n,) ndarray of bool
        Holes whose plume runs over the edge on every photo.
    turn, area : Means
        Of directions and of the logarithms of areas.
    """

    values: PatternValues
    share: Float
    spacing_deg: Float
    over_edge: NDArray[np.bool_]
    turn: Means
    area: Means


def mean_pattern(
    shots: Sequence[Shot], cards: Sequence[int], steady: NDArray[np.bool_]
) -> MeanPattern:
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
    each = [shot.values for shot in shots]
    first, layout = each[0], shots[0].photo.layout
    turn = means(
        np.array([v.deviation_deg for v in each]), _stack(each, "sigma_deg"), cards, steady
    )
    area = means(
        np.array([v.area.log for v in each]),
        np.array([v.area.sigma for v in each]),
        cards,
        steady,
    )
    direction = (np.array(layout.azimuth_deg) + first.turn_deg + turn.value) % 360.0
    there = np.flatnonzero(np.isfinite(area.value))
    order = there[np.argsort(direction[there])]
    plume = np.full(len(first), -1)
    plume[order] = np.arange(len(order))
    share = np.nan_to_num(np.exp(area.value) * layout.expected_area())
    spacing = np.full(len(first), 360.0)
    if len(order) > 1:
        spacing[order] = (np.roll(direction[order], -1) - direction[order]) % 360.0
    edge = np.array([_over_edge(shots, hole) for hole in range(len(first))])
    offset, covariance = _place(shots, turn, direction)
    limits = shots[0].photo.limits
    values = PatternValues(
        turn_deg=first.turn_deg,
        plume=plume,
        deviation_deg=turn.value,
        sigma_deg=np.sqrt(turn.variance(_stack(each, "sigma_deg") ** 2)),
        offset_mm=offset,
        residuals=angular_residuals(
            turn.value,
            _with_centre(shots, turn, offset, covariance),
            offset,
            covariance,
            limit_deg=limits.direction_deg,  # type: ignore[union-attr]
            risk=limits.risk,
        ),
        area=Ratios(
            log=area.value,
            covariance=area.covariance([v.area.covariance for v in each]),
            own=np.sqrt(area.variance(np.array([v.area.own for v in each]) ** 2)),
        ),
        width=_shape([v.width for v in each], area.weight),
        reach=_shape([v.reach for v in each], area.weight),
        whole=np.asarray(np.array([v.whole for v in each]).any(axis=0)),
    )
    return MeanPattern(
        values=values,
        share=share / max(float(share.sum()), 1e-12),
        spacing_deg=spacing,
        over_edge=edge,
        turn=turn,
        area=area,
    )


def means(values: Float, sigma: Float, cards: Sequence[int], steady: NDArray[np.bool_]) -> Means:
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
    mean = (weight * np.where(known, values, 0.0)).sum(axis=0)
    # Within a card what does not shrink is common: k photos of weight w each count k w together.
    return Means(
        value=np.where(total > 0, mean, np.nan),
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
        off, holes = _standardised(values[rows], sigma[rows], steady)
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
    """Birge's factor over all steady holes of all cards, never below 1, with Student's quantile.

    Notes
    -----
    Scatter beyond what is stated, ``b^2 - 1`` of the stated variance, is known with the degrees of
    freedom of the cards only, the stated part with many: together they have those of Welch and
    Satterthwaite (JCGM 100:2008, G.4), whose quantile replaces the normal one.
    """
    numbers = sorted(set(cards))
    if len(numbers) < 2:
        return 1.0
    rows = [np.flatnonzero(np.asarray(cards) == c) for c in numbers]
    each = np.array([_mean_of_known(values[r]) for r in rows])
    left = np.array([_mean_of_known(sigma[r]) * math.sqrt(float(shrink[r[0]])) for r in rows])
    off, holes = _standardised(each, left, steady)
    square, dof = float((off**2).sum()), (len(rows) - 1) * max(holes - 1, 0)
    if dof == 0 or square <= dof:
        return 1.0
    birge2 = square / dof
    effective = dof * (birge2 / (birge2 - 1)) ** 2
    return math.sqrt(birge2) * guard_factor(ONE_SIDED, effective) / COVERAGE_FACTOR_95


def _standardised(values: Float, sigma: Float, steady: NDArray[np.bool_]) -> tuple[Float, int]:
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


def _stack(each: Sequence[PatternValues], name: str) -> Float:
    return np.array([getattr(one, name) for one in each])


def _shape(each: Sequence[Ratios], weight: Float) -> Ratios:
    """Widths or reaches: averaged, but as uncertain as in one photo.

    Their stated scatter is that of healthy holes among one another, which belongs to the nozzle.
    """
    log = np.array([one.log for one in each])
    mean = np.where(weight > 0, weight * np.nan_to_num(log), 0.0).sum(axis=0)
    # Holes seen in fewer photos than others: their own mean, not one watered down by zeros.
    counts = np.maximum((weight > 0).sum(axis=0), 1)
    covariance = sum(one.covariance for one in each) / np.sqrt(np.outer(counts, counts))
    return Ratios(
        log=np.where((weight > 0).any(axis=0), mean, np.nan),
        covariance=np.asarray(covariance),
        own=_mean_of_known(np.array([one.own for one in each])),
    )


def _place(shots: Sequence[Shot], turn: Means, direction: Float) -> tuple[Float, Float]:
    """Mean place of each hole's plume from the centre, and the centre's covariance, mm.

    Only ratios of lengths matter here; each photo's are put on the first one's scale.
    """
    radius = np.array([np.hypot(*s.values.offset_mm.T) for s in shots])
    typical = np.array([float(np.nanmedian(row)) for row in radius])
    scale = typical[0] / typical
    mean_radius = _mean_of_known(radius * scale[:, None])
    covariance = np.zeros((2, 2))
    for p, shot in enumerate(shots):
        t = math.radians(shots[0].values.turn_deg - shot.values.turn_deg)
        spin = np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
        part = float(np.mean(turn.weight[p])) ** 2 * float(turn.shrink[p]) * turn.widened**2
        own = shot.photo.centre.covariance_mm2
        covariance += part * scale[p] ** 2 * spin @ own @ spin.T
    angle = np.radians(direction)
    outward = np.column_stack([np.sin(angle), -np.cos(angle)])
    return outward * mean_radius[:, None], (covariance + covariance.T) / 2


def _with_centre(shots: Sequence[Shot], turn: Means, offset: Float, covariance: Float) -> Float:
    """Standard uncertainty of each mean direction: its own part, and the centre's."""
    own = turn.variance(np.array([s.values.residuals.own_deg for s in shots]) ** 2)
    radius = np.maximum(np.hypot(*offset.T), 1e-3)
    sideways = np.column_stack([-offset[:, 1], offset[:, 0]]) / radius[:, None]
    moved = np.degrees(1 / radius) ** 2 * np.einsum("ij,jk,ik->i", sideways, covariance, sideways)
    return np.asarray(np.sqrt(own + moved))


def _over_edge(shots: Sequence[Shot], hole: int) -> bool:
    """Whether a hole's plume runs over the edge on every photo that shows it."""
    found = [
        flag.AT_SHEET_EDGE in s.photo.catalogue.flags[s.values.plume[hole]]
        for s in shots
        if s.values.plume[hole] >= 0
    ]
    return bool(found) and all(found)


def scatter(
    shots: Sequence[Shot], cards: Sequence[int], hole: int
) -> tuple[float, float, float, float]:
    """Standard deviations of one hole's direction and area, from shot to shot and photo to photo.

    Returns
    -------
    shot_deg, photo_deg, shot_ratio, photo_ratio : float
        NaN where unknown.

    Notes
    -----
    As many photos of every card, and more than one: analysis of variance (GUM H.5.2). One photo of
    each: the stated uncertainty of a single photo stands for its scatter, and what the shots
    scatter beyond that is the shots'.
    """
    each = [shot.values for shot in shots]
    turn = _two_scatters(
        [float(v.deviation_deg[hole]) for v in each],
        [float(v.sigma_deg[hole]) for v in each],
        cards,
    )
    ratio = _two_scatters(
        [float(v.area.log[hole]) for v in each], [float(v.area.own[hole]) for v in each], cards
    )
    return (*turn, *ratio)


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
