"""Conformity: probability and guard band agree; joint probabilities; the edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.stats.conformity import (
    Tolerance,
    conformity_probability,
    guard_factor,
    joint_bounds,
    joint_conformity,
    risk_per_limit,
)

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=200)
few = settings(repeatable, max_examples=40)
risk = st.floats(1e-4, 0.49)


@repeatable
@given(st.floats(-50, 50), st.floats(1e-3, 30), st.floats(-20, 0), st.floats(0.1, 20))
def test_probability_is_one_and_its_parts_add_up(
    y: float, u: float, low: float, width: float
) -> None:
    high = low + width
    inside = conformity_probability(y, u, Tolerance(lower=low, upper=high))
    below = conformity_probability(y, u, Tolerance(upper=low))
    above = conformity_probability(y, u, Tolerance(lower=high))
    assert 0.0 <= inside <= 1.0
    assert inside + below + above == pytest.approx(1.0, abs=1e-12)


def test_far_tails_keep_their_digits() -> None:
    # Mirror images are equally (im)probable; computed naively the upper one is lost to rounding.
    low = conformity_probability(-12.0, 1.0, Tolerance(lower=-1.0, upper=1.0))
    high = conformity_probability(12.0, 1.0, Tolerance(lower=-1.0, upper=1.0))
    assert high == low
    assert 0 < high < 1e-27


@repeatable
@given(st.floats(-3, 3), st.floats(0.01, 3), risk)
def test_one_sided_probability_and_guard_band_say_the_same(y: float, u: float, r: float) -> None:
    guard = guard_factor(r) * u
    if abs(abs(y) - guard) < 1e-6:  # on the border rounding decides
        return
    p = conformity_probability(y, u, Tolerance(upper=0.0))
    assert (p >= 1 - r) == (y < -guard)
    assert (p <= r) == (y > guard)


def test_exact_values_conform_on_the_limit() -> None:
    assert conformity_probability(5.0, 0.0, Tolerance(upper=5.0)) == 1.0
    assert conformity_probability(5.0 + 1e-12, 0.0, Tolerance(upper=5.0)) == 0.0


@pytest.mark.parametrize(("y", "u"), [(math.nan, 1.0), (1.0, math.nan), (1.0, math.inf)])
def test_unknown_has_no_probability(y: float, u: float) -> None:
    assert math.isnan(conformity_probability(y, u, Tolerance(upper=1e9)))


def test_few_degrees_of_freedom_ask_for_more() -> None:
    assert guard_factor(0.05, 4) > guard_factor(0.05, 40)
    assert guard_factor(0.05, 1e7) == pytest.approx(guard_factor(0.05), abs=1e-6)
    y, limits = -1.8, Tolerance(upper=0.0)
    assert conformity_probability(y, 1.0, limits) > 0.95
    assert 0.9 < conformity_probability(y, 1.0, limits, dof=4) < 0.95


def test_joint_probability_of_independent_values_is_the_product() -> None:
    y, u = [0.3, -0.5, 1.0, 0.0], np.array([1.0, 0.5, 2.0, 0.1])
    limits = [Tolerance(upper=1.0), Tolerance(lower=-1.0, upper=1.0), Tolerance(lower=-1.0),
              Tolerance(lower=-0.15, upper=0.2)]  # fmt: skip
    alone = [conformity_probability(v, s, t) for v, s, t in zip(y, u, limits, strict=True)]
    joint = joint_conformity(y, np.diag(u**2), limits)
    assert joint == pytest.approx(math.prod(alone), abs=1e-4)


def test_joint_probability_of_values_that_move_as_one_is_the_least_of_them() -> None:
    limits = [Tolerance(upper=1.0), Tolerance(upper=0.5), Tolerance(upper=2.0)]
    joint = joint_conformity([0.0, 0.0, 0.0], np.ones((3, 3)), limits)
    assert joint == pytest.approx(
        conformity_probability(0.0, 1.0, limits[1]), abs=1e-4
    )  # the tightest limit decides


def test_joint_probability_of_shares_that_add_up_to_one() -> None:
    # Two shares with s1 + s2 = 1: both below 0.55 is s1 in 0.45 to 0.55 exactly.
    u = 0.04
    joint = joint_conformity(
        [0.52, 0.48], u**2 * np.array([[1.0, -1.0], [-1.0, 1.0]]), [Tolerance(upper=0.55)] * 2
    )
    exact = conformity_probability(0.52, u, Tolerance(lower=0.45, upper=0.55))
    # A singular covariance makes the integrand a step, which the lattice takes less well.
    assert joint == pytest.approx(exact, abs=5e-4)


def test_joint_probability_of_exact_values_is_a_yes_or_no() -> None:
    limits = [Tolerance(upper=1.0)] * 2
    assert joint_conformity([0.5, 1.0], np.zeros((2, 2)), limits) == 1.0
    assert joint_conformity([0.5, 1.1], np.zeros((2, 2)), limits) == 0.0


@few
@given(st.integers(2, 6), st.integers(0, 10_000))
def test_joint_probability_keeps_between_its_bounds_and_repeats(n: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    a = rng.normal(size=(n, n))
    v, y = a @ a.T, rng.normal(size=n)
    limits = [Tolerance(lower=-2.0, upper=2.0) if k % 2 else Tolerance(upper=1.5) for k in range(n)]
    alone = [conformity_probability(y[k], math.sqrt(v[k, k]), limits[k]) for k in range(n)]
    low, high = joint_bounds(alone)
    joint = joint_conformity(y, v, limits)
    assert low - 1e-3 <= joint <= high + 1e-3
    assert joint_conformity(y, v, limits) == joint
    order = rng.permutation(n)
    turned = joint_conformity(y[order], v[np.ix_(order, order)], [limits[k] for k in order])
    assert turned == pytest.approx(joint, abs=1e-3)


def test_joint_probability_refuses_what_is_no_covariance() -> None:
    limits = [Tolerance(upper=1.0)] * 2
    with pytest.raises(InputError, match="semidefinite"):
        joint_conformity([0, 0], np.array([[1.0, 2.0], [2.0, 1.0]]), limits)
    with pytest.raises(InputError, match="symmetric"):
        joint_conformity([0, 0], np.array([[1.0, 0.5], [0.0, 1.0]]), limits)
    with pytest.raises(InputError, match="expected N"):
        joint_conformity([0, 0, 0], np.eye(2), limits)
    assert math.isnan(joint_conformity([0.0, math.nan], np.eye(2), limits))


@few
@given(st.integers(1, 60), st.floats(0.001, 0.4), st.floats(0, 1), st.floats(0, 1))
def test_shared_risk_grows_with_correlation_between_its_ends(
    n: int, r: float, a: float, b: float
) -> None:
    low, high = sorted((a, b))
    apart, together = (risk_per_limit(n, r, rho) for rho in (low, high))
    assert r / n - 1e-9 <= apart <= together + 1e-9
    assert together <= r + 1e-9


def test_shared_risk_keeps_the_whole_at_its_risk() -> None:
    # Closing the circle through the other routine: all limits guarded by the shared risk, values on
    # the guard band's edge, equicorrelated: the joint probability is 1 - risk again.
    n, rho = 6, 0.4
    z = guard_factor(risk_per_limit(n, 0.05, rho))
    v = np.full((n, n), rho) + (1 - rho) * np.eye(n)
    joint = joint_conformity(np.full(n, -z), v, [Tolerance(upper=0.0)] * n)
    assert joint == pytest.approx(0.95, abs=2e-4)


@pytest.mark.parametrize(
    "call",
    [
        lambda: Tolerance(lower=2.0, upper=1.0),
        lambda: Tolerance(lower=math.nan, upper=1.0),
        Tolerance,
        lambda: conformity_probability(0.0, -1.0, Tolerance(upper=1.0)),
        lambda: guard_factor(0.0),
        lambda: guard_factor(0.05, 0),
        lambda: risk_per_limit(0),
        lambda: risk_per_limit(3, 0.05, -0.1),
        lambda: joint_bounds([]),
    ],
)
def test_impossible_requests_are_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="expected"):
        call()
