"""The judge's own check of a value against a limit, on the worked examples of JCGM 106:2012.

Each test names clause and printed value. Tolerances are half a unit of the last printed digit;
where the standard rounded on the way, the unrounded value (recomputed) is asked for as well. The
judge holds ratios in logarithms and angles either side of zero; probabilities do not change when
value and limit are shifted together, so the examples' units are shifted to these scales.
"""

import math

import numpy as np
import pytest

from spraycheck.judge.checks import check_limit
from spraycheck.judge.limits import Limits
from spraycheck.stats.conformity import (
    Tolerance,
    guard_factor,
    joint_conformity,
    risk_per_limit,
)


def below(value: float, u: float, upper: float) -> float:
    """Probability of an upper limit kept, through a limit on a ratio."""
    limits = Limits()
    ratio = limits.area_high_ratio * math.exp(value - upper)
    return check_limit("area_high_ratio", ratio, u, limits).probability


def above(value: float, u: float, lower: float) -> float:
    """Probability of a lower limit kept, through a limit on a ratio."""
    limits = Limits()
    ratio = limits.area_low_ratio * math.exp(value - lower)
    return check_limit("area_low_ratio", ratio, u, limits).probability


def between(value: float, u: float, lower: float, upper: float) -> float:
    """Probability of an interval kept, through a limit on an angle."""
    limits = Limits(direction_deg=(upper - lower) / 2)
    return check_limit("direction_deg", value - (lower + upper) / 2, u, limits).probability


def test_table_1_coverage_probability_to_factor() -> None:
    # JCGM 106 table 1: one-sided 0.80, 0.90, 0.95, 0.99, 0.999 -> 0.84, 1.28, 1.64, 2.33, 3.09.
    for p, z in ((0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)):
        assert guard_factor(1 - p) == pytest.approx(z, abs=5e-3)
        assert below(-guard_factor(1 - p) * 0.1, 0.1, 0.0) == pytest.approx(p, abs=1e-12)


def test_7_3_3_example_1_upper_limit() -> None:
    # Breakdown voltage -5.47 V, u 0.05 V, upper limit -5.40 V: p_c = 0.92 (0.919243).
    p = below(-5.47, 0.05, -5.40)
    assert p == pytest.approx(0.92, abs=5e-3)
    assert p == pytest.approx(0.919243, abs=5e-7)


def test_7_3_3_example_2_lower_limit() -> None:
    # Bursting strength 509.7 kPa, u 8.6, lower limit 490: p_c = 0.99 (0.989010). The shape of an
    # opening pressure against its minimum. In hundreds of kPa, for the logarithm's sake.
    p = above(5.097, 0.086, 4.90)
    assert p == pytest.approx(0.99, abs=5e-3)
    assert p == pytest.approx(0.989010, abs=5e-7)


def test_7_4_two_sided() -> None:
    # Oil viscosity 13.6, u 1.8, limits 12.5 and 16.3 mm2/s: 0.93 - 0.27 = 0.66, from z rounded
    # to 1.5 and -0.6 (0.658940); unrounded 0.662630.
    p = between(13.6, 1.8, 12.5, 16.3)
    assert p == pytest.approx(0.66, abs=5e-3)
    assert p == pytest.approx(0.662630, abs=5e-7)
    assert between(0.0, 1.0, -0.6, 1.5) == pytest.approx(0.658940, abs=5e-7)
    # Negative control: forgetting the lower limit gives 0.93.
    assert below(1.36, 0.18, 1.63) == pytest.approx(0.93, abs=5e-3)


def test_7_7_5_index_of_one_leaves_a_sliver() -> None:
    # C_m = T / (4 u) = 1: p_c of 95 % or more only for 0.45 <= (value - T_L) / T <= 0.55.
    good = [y for y in np.linspace(0, 4, 1001) if between(float(y), 1.0, 0.0, 4.0) >= 0.95]
    assert min(good) / 4 == pytest.approx(0.45, abs=5e-3)
    assert max(good) / 4 == pytest.approx(0.55, abs=5e-3)


def test_8_3_2_guard_band_of_one_expanded_uncertainty() -> None:
    # w = U = 2u: at worst 2.3 % of accepted items do not conform (0.022750).
    worst = 1 - below(1.0 - 2 * 0.3, 0.3, 1.0)
    assert worst == pytest.approx(0.023, abs=5e-4)
    assert worst == pytest.approx(0.022750, abs=5e-7)
    # The one-sided 95 % rule, w = 1.65 u: 4.95 % (recomputed).
    assert 1 - below(1.0 - 1.65 * 0.3, 0.3, 1.0) == pytest.approx(0.0495, abs=5e-5)
    # Negative control: no guard band, an even chance.
    assert below(1.0, 0.3, 1.0) == pytest.approx(0.5)


def test_8_3_3_example_1_guarded_rejection() -> None:
    # Speed limit 100 km/h, relative u 2 %, 99.9 % certain before a fine: 107 km/h; 106.587 with
    # the factor of table 1, which is rounded. In hundreds of km/h.
    low, high = 1.0, 1.2
    for _ in range(60):
        middle = (low + high) / 2
        proven = below(middle, 0.02 * middle, 1.0) <= 0.001
        low, high = (low, middle) if proven else (middle, high)
    assert 100 * high == pytest.approx(107.0, abs=0.5)
    assert 100 * high == pytest.approx(106.587, abs=1e-3)
    assert below(1.005, 0.02 * 1.005, 1.0) > 0.3  # at the limit nothing is proven either way


def test_8_3_3_example_2_guard_band_from_few_repeats() -> None:
    # T = 2.00 ug/L, s = 0.20 from ten repeats, 95 %: t = 1.83, g = 0.37, so reject beyond 2.37.
    factor = guard_factor(0.05, dof=9)
    assert factor == pytest.approx(1.833113, abs=5e-7)
    assert factor * 0.20 == pytest.approx(0.37, abs=5e-3)
    # Negative control: the normal factor would already reject at 2.33.
    assert guard_factor(0.05) * 0.20 == pytest.approx(0.33, abs=5e-3)


def test_9_5_3_resistors_before_inspection() -> None:
    # 1500 ohm +- 0.2, made with a standard deviation of 0.12: 90 of 100 are good (0.904419). In
    # tenths of an ohm.
    assert between(15000.0, 1.2, 14998.0, 15002.0) == pytest.approx(0.904419, abs=5e-7)


def test_joint_probability_agrees_with_an_independent_implementation() -> None:
    # scipy's multivariate normal (Genz's Fortran); both to about 1e-4, tolerance three times that.
    from scipy.stats import multivariate_normal

    for n, rho in ((2, 0.9), (4, 0.8), (6, 0.6)):
        v = np.full((n, n), rho) + (1 - rho) * np.eye(n)
        y = 0.1 * np.arange(n) - 0.2
        limits = [
            Tolerance(lower=-1.2, upper=1.2) if k % 2 else Tolerance(upper=0.5) for k in range(n)
        ]
        other = multivariate_normal.cdf(
            np.array([t.upper for t in limits]), y, v,
            lower_limit=np.array([t.lower for t in limits]), rng=np.random.default_rng(1),
        )  # fmt: skip
        assert joint_conformity(y, v, limits) == pytest.approx(float(other), abs=3e-4)
        # Negative control: taken as independent the answer is another one.
        assert abs(joint_conformity(y, np.eye(n), limits) - float(other)) > 0.02


@pytest.mark.parametrize(
    ("count", "factor"),
    [(1, 1.64), (2, 1.92), (3, 2.06), (4, 2.16), (5, 2.23), (6, 2.29), (7, 2.34), (8, 2.38),
     (9, 2.42)],
)  # fmt: skip
def test_dunnett_one_sided_factors(count: int, factor: float) -> None:
    # Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096, one-sided 5 %, infinite degrees of freedom,
    # correlation 0.5 (from memory); half a unit of the last digit.
    assert guard_factor(risk_per_limit(count, 0.05, 0.5)) == pytest.approx(factor, abs=5.1e-3)
