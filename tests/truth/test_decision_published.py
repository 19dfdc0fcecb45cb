"""Decision rules against the worked examples of JCGM 106:2012, through the very same functions.

Each test names clause and printed value. Tolerances are half a unit of the last printed digit;
where the standard rounded on the way, the unrounded value (recomputed) is asked for as well.
"""

import math

import numpy as np
import pytest

from spraycheck.stats import decision
from spraycheck.stats.decision import Tolerance


def test_table_1_coverage_probability_to_factor() -> None:
    # JCGM 106 table 1: one-sided 0.80, 0.90, 0.95, 0.99, 0.999 -> 0.84, 1.28, 1.64, 2.33, 3.09.
    for p, z in ((0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)):
        assert decision.guard_factor(1 - p) == pytest.approx(z, abs=5e-3)


def test_7_3_3_example_1_upper_limit() -> None:
    # Breakdown voltage -5.47 V, u 0.05 V, upper limit -5.40 V: p_c = 0.92 (0.919243).
    p = decision.conformity_probability(-5.47, 0.05, Tolerance(upper=-5.40))
    assert p == pytest.approx(0.92, abs=5e-3)
    assert p == pytest.approx(0.919243, abs=5e-7)


def test_7_3_3_example_2_lower_limit() -> None:
    # Bursting strength 509.7 kPa, u 8.6, lower limit 490: p_c = 0.99 (0.989010). The shape of an
    # opening pressure against its minimum.
    p = decision.conformity_probability(509.7, 8.6, Tolerance(lower=490.0))
    assert p == pytest.approx(0.99, abs=5e-3)
    assert p == pytest.approx(0.989010, abs=5e-7)
    assert decision.decide(509.7, 8.6, Tolerance(lower=490.0)).outcome == "pass"


def test_7_4_two_sided() -> None:
    # Oil viscosity 13.6, u 1.8, limits 12.5 and 16.3 mm2/s: 0.93 - 0.27 = 0.66, from z rounded
    # to 1.5 and -0.6 (0.658940); unrounded 0.662630.
    limits = Tolerance(lower=12.5, upper=16.3)
    p = decision.conformity_probability(13.6, 1.8, limits)
    assert p == pytest.approx(0.66, abs=5e-3)
    assert p == pytest.approx(0.662630, abs=5e-7)
    rounded = decision.conformity_probability(0.0, 1.0, Tolerance(lower=-0.6, upper=1.5))
    assert rounded == pytest.approx(0.658940, abs=5e-7)
    assert decision.decide(13.6, 1.8, limits).outcome == "recheck"
    # Negative control: forgetting the lower limit gives 0.93.
    assert decision.conformity_probability(13.6, 1.8, Tolerance(upper=16.3)) > 0.9


def test_7_6_capability_index() -> None:
    # C_m = T / (4 u): at least 4 when u is at most T / 16.
    limits = Tolerance(lower=10.0, upper=12.0)
    assert decision.capability_index(limits, 2.0 / 16) == pytest.approx(4.0)
    assert decision.capability_index(limits, 2.0 / 15.9) < 4.0


def test_7_7_5_index_of_one_leaves_a_sliver() -> None:
    # C_m = 1: p_c of 95 % or more only for 0.45 <= (value - T_L) / T <= 0.55.
    u = 0.25  # T = 1
    limits = Tolerance(lower=0.0, upper=1.0)
    assert decision.capability_index(limits, u) == pytest.approx(1.0)
    good = [
        y for y in np.linspace(0, 1, 1001) if decision.conformity_probability(y, u, limits) >= 0.95
    ]
    assert min(good) == pytest.approx(0.45, abs=5e-3)
    assert max(good) == pytest.approx(0.55, abs=5e-3)


def test_8_2_3_simple_acceptance_in_legal_metrology() -> None:
    # U <= E_max / 3 (U = 2u) is C_m >= 3 for the interval -E_max to E_max.
    e_max = 0.6
    limits = Tolerance(lower=-e_max, upper=e_max)
    assert decision.capability_index(limits, e_max / 3 / 2) == pytest.approx(3.0)


def test_8_3_2_guard_band_of_one_expanded_uncertainty() -> None:
    # w = U = 2u: at worst 2.3 % of accepted items do not conform (0.022750).
    u = 0.3
    limits = Tolerance(upper=10.0)
    edge = decision.acceptance_limits(limits, 2 * u).upper
    worst = 1 - decision.conformity_probability(edge, u, limits)
    assert worst == pytest.approx(0.023, abs=5e-4)
    assert worst == pytest.approx(0.022750, abs=5e-7)
    # Negative control: no guard band, an even chance.
    assert decision.conformity_probability(limits.upper, u, limits) == pytest.approx(0.5)
    # The one-sided 95 % rule, w = 1.65 u: 4.95 % (recomputed).
    edge = decision.acceptance_limits(limits, 1.65 * u).upper
    assert 1 - decision.conformity_probability(edge, u, limits) == pytest.approx(0.0495, abs=5e-5)


def test_8_3_3_example_1_guarded_rejection() -> None:
    # Speed limit 100 km/h, relative u 2 %, 99.9 % certain before a fine: 107 km/h (106.587).
    def outcome(v: float) -> str:
        return decision.decide(v, 0.02 * v, Tolerance(upper=100.0), risk=0.001).outcome

    low, high = 100.0, 120.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if outcome(middle) == "fail" else (middle, high)
    assert high == pytest.approx(107.0, abs=0.5)
    # 100 / (1 - 0.02 * 3.09) with the factor rounded as in table 1; unrounded 3.0902.
    assert high == pytest.approx(106.587, abs=1e-3)
    # Negative control: at the limit itself nothing is proven either way.
    assert outcome(100.5) == "recheck"


def test_8_3_3_example_2_guard_band_from_few_repeats() -> None:
    # T = 2.00 ug/L, s = 0.20 from ten repeats, 95 %: t = 1.83, g = 0.37, so reject beyond 2.37.
    factor = decision.guard_factor(0.05, dof=9)
    assert factor == pytest.approx(1.833113, abs=5e-7)
    assert factor * 0.20 == pytest.approx(0.37, abs=5e-3)
    limits = Tolerance(upper=2.00)
    assert decision.acceptance_limits(limits, -factor * 0.20).upper == pytest.approx(2.37, abs=5e-3)
    assert decision.decide(2.368, 0.20, limits, dof=9).outcome == "fail"
    assert decision.decide(2.365, 0.20, limits, dof=9).outcome == "recheck"
    # Negative control: the normal factor would already reject at 2.33.
    assert decision.guard_factor(0.05) * 0.20 == pytest.approx(0.33, abs=5e-3)
    assert decision.decide(2.365, 0.20, limits).outcome == "fail"


def test_9_5_3_resistors() -> None:
    # 1500 ohm +- 0.2, made with sd 0.12, measured with u 0.04, accepted within +- 0.18.
    limits = Tolerance(lower=1499.8, upper=1500.2)
    accept = decision.acceptance_limits(limits, 0.02)
    prior = decision.NormalPrior(mean=1500.0, sd=0.12)
    assert decision.conformity_probability(1500.0, 0.12, limits) == pytest.approx(
        0.904419, abs=5e-7
    )
    risks = decision.global_risks(limits, accept, prior, 0.04)
    assert risks.consumer == pytest.approx(0.01, abs=5e-3)
    assert risks.producer == pytest.approx(0.07, abs=5e-3)
    assert risks.consumer == pytest.approx(0.0098783, abs=5e-8)
    assert risks.producer == pytest.approx(0.0690265, abs=5e-8)
    # Of 100: 90 good, 83 of them accepted, with one bad; 16 rejected, 7 of them good.
    good, lost, slipped = (round(100 * p) for p in (0.904419, risks.producer, risks.consumer))
    assert (good, lost, slipped, 100 - (good - lost + slipped)) == (90, 7, 1, 16)
    # Negative control: without the guard band bad ones slip through, and fewer good are lost.
    plain = decision.global_risks(limits, limits, prior, 0.04)
    assert plain.consumer > 1.5 * risks.consumer
    assert plain.producer < 0.7 * risks.producer


@pytest.mark.parametrize(
    ("r", "consumer", "producer"),
    [(0.0, 0.0080191, 0.0174446), (0.5, 0.0018390, 0.0564307), (0.65, 0.0010265, 0.0746497),
     (1.0, 0.00019933, 0.1308259)],
)  # fmt: skip
def test_9_5_4_ball_bearings(r: float, consumer: float, producer: float) -> None:
    # Radial error at most 2 um, prior gamma(4, rate 4), u 0.25; accept up to 2 - 2 r u. Printed:
    # r about 0.65, limit about 1.7 um, R_C 0.1 %, R_P about 7.5 %. Other rows recomputed.
    limits = Tolerance(upper=2.0)
    prior = decision.GammaPrior(shape=4.0, rate=4.0)
    accept = decision.acceptance_limits(limits, 2 * r * 0.25)
    got = decision.global_risks(limits, accept, prior, 0.25)
    assert got.consumer == pytest.approx(consumer, abs=5e-8)
    assert got.producer == pytest.approx(producer, abs=5e-8)
    if r == 0.65:
        assert accept.upper == pytest.approx(1.7, abs=0.05)
        assert got.consumer == pytest.approx(0.001, abs=5e-5)
        assert got.producer == pytest.approx(0.075, abs=5e-4)


def test_9_5_4_prior() -> None:
    # Density (128/3) x^3 exp(-4x); fraction beyond 2 um before measuring 0.042 (0.042380).
    prior = decision.GammaPrior(shape=4.0, rate=4.0)
    x = np.linspace(0.0, 15.0, 300_001)
    np.testing.assert_allclose(prior.density(x), 128 / 3 * x**3 * np.exp(-4 * x), atol=1e-12)
    beyond = float(np.trapezoid(np.where(x > 2.0, prior.density(x), 0.0), x))
    assert beyond == pytest.approx(0.042, abs=5e-4)
    assert beyond == pytest.approx(0.042380, abs=2e-5)  # the grid's step at the limit


@pytest.mark.parametrize(
    ("index", "consumer", "producer", "printed"),
    [
        (2.0, 0.00098158, 0.0146769, (0.001, 0.015)),
        (10.0, 0.00040813, 0.00071741, (0.0004, 0.0007)),
    ],
)
def test_9_5_6_figure_17(
    index: float, consumer: float, producer: float, printed: tuple[float, float]
) -> None:
    # u0 = T / 6, no guard band: C_m = 2 -> 0.1 % and 1.5 %; C_m = 10 -> 0.04 % and 0.07 %.
    limits = Tolerance(lower=-0.5, upper=0.5)
    u = 1.0 / (4 * index)
    assert decision.capability_index(limits, u) == pytest.approx(index)
    got = decision.global_risks(limits, limits, decision.NormalPrior(mean=0.0, sd=1 / 6), u)
    assert got == pytest.approx(printed, rel=0.05)
    assert got.consumer == pytest.approx(consumer, abs=5e-9)
    assert got.producer == pytest.approx(producer, abs=5e-8)


def test_a_4_4_update() -> None:
    # Normal prior and normal measurement: weights 1 / u^2. Checked against Bayes by quadrature.
    prior = decision.NormalPrior(mean=10.0, sd=2.0)
    got = decision.update(prior, 13.0, 1.5)
    x = np.linspace(-10, 30, 400_001)
    after = prior.density(x) * np.exp(-0.5 * ((13.0 - x) / 1.5) ** 2)
    after /= np.trapezoid(after, x)
    mean = float(np.trapezoid(after * x, x))
    assert got.mean == pytest.approx(mean, abs=1e-9)
    assert got.sd == pytest.approx(math.sqrt(np.trapezoid(after * (x - mean) ** 2, x)), abs=1e-9)


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
        assert decision.joint_conformity(y, v, limits) == pytest.approx(float(other), abs=3e-4)
        # Negative control: taken as independent the answer is another one.
        lone = decision.joint_conformity(y, np.eye(n), limits)
        assert abs(lone - float(other)) > 0.02


@pytest.mark.parametrize(
    ("count", "factor"),
    [(1, 1.64), (2, 1.92), (3, 2.06), (4, 2.16), (5, 2.23), (6, 2.29), (7, 2.34), (8, 2.38),
     (9, 2.42)],
)  # fmt: skip
def test_dunnett_one_sided_factors(count: int, factor: float) -> None:
    # Dunnett, J. Am. Stat. Assoc. 50 (1955) 1096, one-sided 5 %, infinite degrees of freedom,
    # correlation 0.5 (from memory); half a unit of the last digit.
    shared = decision.risk_per_limit(count, 0.05, 0.5)
    assert decision.guard_factor(shared) == pytest.approx(factor, abs=5.1e-3)
