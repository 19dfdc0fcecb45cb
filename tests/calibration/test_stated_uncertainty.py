"""Do the errors on drawn cards scatter as the stated uncertainties claim?

Forty cards with everything random that is random on real ones: number of holes, turn, centre, each
plume's own direction, axis, distance and size, softness of the edges, light, grain, one weak hole
on every third. Truth is what was drawn. An interval of 95 % that is honest holds the truth on 88 to
100 % of some 240 plumes (binomial scatter 1.4 %; plumes of one card share errors; drawn plumes are
smoother than sprayed ones, so the upper end is open), and one that is useful is not many times
wider than the errors.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from drawn_photos import Blot, Card, flat

from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

CARDS = 40


@dataclass(frozen=True)
class Gauge:
    """Errors and the expanded uncertainties stated for them, all cards together."""

    direction: np.ndarray
    direction_u: np.ndarray
    share: np.ndarray  # in units of an even share
    share_u: np.ndarray
    turn: np.ndarray
    turn_u: np.ndarray
    centre: np.ndarray
    centre_u: np.ndarray


def _drawn(rng: np.random.Generator, weak: bool) -> Card:
    n = int(rng.integers(4, 9))
    start = rng.uniform(0, 360)
    radius = rng.uniform(46, 58)
    length = rng.uniform(14, 19)
    width = min(rng.uniform(5.5, 8.0), 0.55 * radius * math.sin(math.pi / n))
    size = 1 + 0.05 * rng.normal(size=n)
    if weak:
        size[0] *= rng.uniform(0.4, 0.7)
    plumes = tuple(
        Blot(
            direction=float(start + 360 / n * k + rng.normal(0, 0.6)),
            radius=float(radius * (1 + 0.013 * rng.normal())),
            length=float(length * math.sqrt(size[k])),
            width=float(width * math.sqrt(size[k])),
            skew=float(rng.normal(0, 0.8)),
        )
        for k in range(n)
    )
    return Card(
        plumes=plumes,
        centre=(float(rng.uniform(-8, 8)), float(rng.uniform(-12, 12))),
        size=(190.0, 214.0),
        softness=float(rng.uniform(1.5, 4.0)),
        falloff=float(rng.uniform(0.05, 0.4)),
    )


def _areas(card: Card) -> np.ndarray:
    """Area with at least 0.3 of wetness: each ellipse grown by where its edge crosses 0.3."""
    grown = card.softness / 4 * math.log(0.7 / 0.3)
    ellipses = [(p.length + grown, p.width + grown) for p in card.plumes if isinstance(p, Blot)]
    return np.array([math.pi * a * b for a, b in ellipses])


@functools.cache
def _gauge() -> Gauge:
    columns: dict[str, list[float]] = {name: [] for name in Gauge.__dataclass_fields__}
    for seed in range(CARDS):
        rng = np.random.default_rng(1000 + seed)
        card = _drawn(rng, weak=seed % 3 == 0)
        wet = map_wetness(flat(card, cell=0.45, noise=float(rng.uniform(0.005, 0.025)), seed=seed))
        centre = locate_centre(wet)
        rows = measure_plumes(wet, segment_plumes(wet, centre), centre)
        drawn = np.array([p.direction for p in card.plumes]) % 360
        assert len(rows) == len(drawn), seed
        gap = (rows.direction_deg[:, None] - drawn[None] + 180) % 360 - 180
        order = np.abs(gap).argmin(axis=1)
        assert len(set(order.tolist())) == len(drawn), seed
        off = gap[np.arange(len(drawn)), order]
        turn = float(off.mean())
        areas = _areas(card)[order]
        columns["direction"] += (off - turn).tolist()
        columns["direction_u"] += rows.direction_u_deg.tolist()
        columns["share"] += ((rows.area_frac - areas / areas.sum()) * len(rows)).tolist()
        columns["share_u"] += (rows.area_u_frac * len(rows)).tolist()
        columns["turn"].append(turn)
        columns["turn_u"].append(rows.rotation_u_deg)
        miss = math.hypot(centre.x_mm - card.centre[0], centre.y_mm - card.centre[1])
        columns["centre"].append(miss)
        columns["centre_u"].append(centre.u95_mm)
    return Gauge(**{name: np.array(values) for name, values in columns.items()})


def _covered(error: np.ndarray, u: np.ndarray) -> float:
    return float(np.mean(np.abs(error) <= u))


def test_directions() -> None:
    g = _gauge()
    assert 0.88 <= _covered(g.direction, g.direction_u) <= 1.0
    assert np.sqrt(np.mean(g.direction**2)) < 0.7  # what is asked of bench photos
    # Negative control: a fifth of the stated interval is not enough.
    assert _covered(g.direction, g.direction_u / 5) < 0.88


def test_turn() -> None:
    g = _gauge()
    assert _covered(g.turn, g.turn_u) >= 0.88


def test_shares() -> None:
    g = _gauge()
    assert 0.88 <= _covered(g.share, g.share_u) <= 1.0
    # 1 % of an even share: drawn edges have no fibres, which is most of what is stated.
    assert np.sqrt(np.mean(g.share**2)) < 0.01
    assert _covered(g.share, g.share_u / 20) < 0.88


def test_centres() -> None:
    g = _gauge()
    assert _covered(g.centre, g.centre_u) >= 0.88
    assert np.median(g.centre) < 0.5
    assert _covered(g.centre, g.centre_u / 5) < 0.88


def test_intervals_are_not_many_times_too_wide() -> None:
    # Sprayed cards scatter more than drawn ones; on those the factor is to be at most 3. Shares:
    # what holds 19 of 20 on sprayed cards, whose errors have longer tails, is 5 % of an even share.
    g = _gauge()
    assert np.median(g.direction_u) < 4 * np.sqrt(np.mean(g.direction**2))
    assert np.median(g.centre_u) < 4 * np.sqrt(np.mean(g.centre**2))
    assert np.median(g.share_u) < 0.06
