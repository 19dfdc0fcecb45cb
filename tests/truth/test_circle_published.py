"""The circle plumes are laid on and the origin of their axes, against printed and proven answers.

Sources
-------
W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558-578, doi:10.1007/BF01934268: six points and
their geometric circle (printed values from memory, recomputed).
Lemoine 1873: the symmedian point (any textbook of triangle geometry).
The optimiser: SciPy's Nelder-Mead on the same distances, which needs no derivatives.
"""

import numpy as np
import pytest

from spraycheck.stats.robust import common_origin, fit_circle

GANDER = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], float)


def test_gander_golub_strebel_circle() -> None:
    # Printed: centre (4.7398, 2.9835), radius 4.7142. Half a unit of the fourth decimal.
    got = fit_circle(GANDER, 1.0, robust=False)
    assert (got.x, got.y, got.radius) == pytest.approx((4.7398, 2.9835, 4.7142), abs=5.1e-5)
    # Negative control: Kåsa's linear fit, the start, is printed as (4.7423, 3.8351), radius 4.1088.
    assert got.y < 3.0 < 3.8351


def test_robust_circle_is_the_printed_one_where_nothing_is_an_outlier() -> None:
    # Points stated a hundred times vaguer than they scatter have all their say: 1e-3.
    got = fit_circle(GANDER, 50.0)
    assert (got.x, got.y, got.radius) == pytest.approx((4.7398, 2.9835, 4.7142), abs=1e-3)
    sharp = fit_circle(GANDER, 0.3)  # negative control: three of them are then outliers
    assert abs(sharp.y - 2.9835) > 0.1


def test_no_circle_near_by_lies_closer_to_the_points() -> None:
    got = fit_circle(GANDER, 1.0, robust=False)

    def squares(x: float, y: float, r: float) -> float:
        return float(((np.hypot(GANDER[:, 0] - x, GANDER[:, 1] - y) - r) ** 2).sum())

    best = squares(got.x, got.y, got.radius)
    for step in np.vstack([np.eye(3), -np.eye(3)]) * 0.01:
        assert squares(got.x + step[0], got.y + step[1], got.radius + step[2]) > best


def test_circle_agrees_with_an_independent_optimiser() -> None:
    # Nelder-Mead on the same sum of squares shares neither derivatives nor start: 1e-5.
    from scipy.optimize import minimize

    rng = np.random.default_rng(8)
    turn = np.deg2rad([0, 40, 95, 170, 210, 300])
    p = np.array([12.0, -3.0]) + 25.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    p += rng.normal(0, 0.5, p.shape)
    other = minimize(
        lambda c: ((np.hypot(p[:, 0] - c[0], p[:, 1] - c[1]) - c[2]) ** 2).sum(),
        [10.0, 0.0, 20.0],
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-14, "maxiter": 4000},
    )
    mine = fit_circle(p, 0.5, robust=False)
    assert (mine.x, mine.y, mine.radius) == pytest.approx(tuple(other.x), abs=1e-5)


def test_common_origin_of_three_lines_is_the_symmedian_point() -> None:
    # Lemoine: the point with the least sum of squared distances from a triangle's sides has the
    # barycentric coordinates a^2 : b^2 : c^2. Sides 5, 3 and 4: (36, 48) / 50. Levers and standard
    # deviations so large that all lines weigh alike and none is an outlier.
    corners = np.array([(0.0, 0.0), (4.0, 0.0), (0.0, 3.0)])
    sides = np.roll(corners, -1, axis=0) - corners
    found = common_origin(
        corners + 0.3 * sides,
        np.arctan2(sides[:, 1], sides[:, 0]),
        1.0,
        np.array([3.0, -1.0]),
        shortest_lever=1e4,
    )
    assert tuple(found.at) == pytest.approx((0.72, 0.96), abs=1e-6)
    # Negative control: the middle of the corners is another point.
    assert np.linalg.norm(found.at - corners.mean(axis=0)) > 0.5
