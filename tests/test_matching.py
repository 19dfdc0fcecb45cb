"""Laying a layout over plumes when the centre is not quite where it was thought to be."""

from __future__ import annotations

import numpy as np

from spraycheck.judge.layout import Layout
from spraycheck.judge.matching import OUTER_BY_FACTOR, match_layout

SLANTED = Layout(
    name="slanted",
    azimuth_deg=(35.8, 103.2, 173.3, 250.8, 326.9),
    axis_angle_deg=(70.0, 68.6, 58.4, 53.1, 60.8),
)


def found(centre_u: float, *, sigma_mm: float, weak: bool = False) -> float:
    """Share of 80 drawn patterns, 45 mm wide, whose holes are all told rightly."""
    rng = np.random.default_rng(11)
    throw = OUTER_BY_FACTOR * SLANTED.log_radial_factor()
    right = 0
    for _ in range(80):
        azimuth = np.radians(np.array(SLANTED.azimuth_deg) + rng.uniform(0, 360))
        azimuth += np.radians(rng.normal(0, 0.7, 5))
        reach = 45 * np.exp(throw + rng.normal(0, 0.06, 5))
        reach[rng.integers(5)] *= 0.75 if weak else 1.0
        tips = np.column_stack([np.sin(azimuth), -np.cos(azimuth)]) * reach[:, None]
        tips -= rng.normal(0, sigma_mm, 2)
        seen = np.degrees(np.arctan2(tips[:, 0], -tips[:, 1])) % 360
        order = np.argsort(seen)
        match = match_layout(
            seen[order],
            np.array(SLANTED.azimuth_deg),
            log_reach=np.log(np.hypot(*tips.T))[order],
            log_radial_factor=throw,
            centre_u=centre_u,
        )
        right += match.hole_of == tuple(order.tolist())
    return right / 80


def test_a_wrong_centre_does_not_turn_a_slanted_nozzle() -> None:
    assert found(3 / 45, sigma_mm=3.0) > 0.98
    # Negative control: with the centre taken as true, one in four is numbered wrongly.
    assert found(0.0, sigma_mm=3.0) < 0.85


def test_allowing_for_the_centre_costs_nothing_where_it_is_right() -> None:
    assert found(3 / 45, sigma_mm=0.3) == 1.0
    assert found(3 / 45, sigma_mm=0.3, weak=True) > 0.95
