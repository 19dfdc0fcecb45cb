"""GUM arithmetic: identities, agreement with simulation, and the edges."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.stats import uncertainty

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=100)


def test_type_a_is_the_standard_error() -> None:
    got = uncertainty.type_a([10.0, 12.0, 11.0, 13.0])
    assert got == (11.5, pytest.approx(math.sqrt(5.0 / 3.0) / 2.0), 3)


def _polar(v: np.ndarray) -> np.ndarray:
    return np.array([np.hypot(v[0], v[1]), np.arctan2(v[1], v[0]), v[0] * v[1]])


def test_numerical_derivatives_are_the_analytic_ones() -> None:
    x, y = 3.0, 4.0
    exact = [[x / 5, y / 5], [-y / 25, x / 25], [y, x]]
    np.testing.assert_allclose(uncertainty.numerical_jacobian(_polar, [x, y]), exact, rtol=1e-8)
    np.testing.assert_allclose(
        uncertainty.numerical_jacobian(_polar, [x, y], [1e-3, 1e-3]), exact, rtol=1e-6
    )
    assert uncertainty.numerical_jacobian(lambda v: v[0] ** 2, [3.0]).shape == (1, 1)


def test_propagation_agrees_with_simulation_and_needs_the_correlation() -> None:
    v = np.array([[0.01, 0.008], [0.008, 0.01]])
    got = uncertainty.propagate(uncertainty.numerical_jacobian(_polar, [3.0, 4.0]), v)
    draws = np.random.default_rng(4).multivariate_normal([3.0, 4.0], v, 200_000)
    seen = np.cov(np.array([_polar(d) for d in draws[:50_000]]).T)
    np.testing.assert_allclose(np.diag(got), np.diag(seen), rtol=0.03)
    # Negative control: dropping the covariances gives another answer.
    lone = uncertainty.propagate(
        uncertainty.numerical_jacobian(_polar, [3.0, 4.0]), np.diag(np.diag(v))
    )
    assert abs(lone[0, 0] / seen[0, 0] - 1) > 0.3


@repeatable
@given(st.lists(st.floats(1e-2, 1e2), min_size=1, max_size=6), st.integers(1, 50))
def test_effective_dof_lies_between_the_least_and_the_sum(u: list[float], nu: int) -> None:
    dofs = [nu + k for k in range(len(u))]
    got = uncertainty.effective_dof(u, dofs)
    assert min(dofs) * (1 - 1e-9) <= got <= sum(dofs) * (1 + 1e-9)


def test_dof_of_certain_components_is_infinite() -> None:
    assert uncertainty.effective_dof([1.0, 2.0], [math.inf, math.inf]) == math.inf
    assert uncertainty.effective_dof([1.0, 1.0], [math.inf, 5]) == pytest.approx(20.0)


def test_weighted_mean_of_consistent_and_of_quarrelling_results() -> None:
    calm = uncertainty.weighted_mean([10.0, 10.1, 9.9], [0.2, 0.2, 0.2])
    assert calm.value == pytest.approx(10.0)
    assert calm.u == calm.u_internal == pytest.approx(0.2 / math.sqrt(3))
    assert calm.birge == pytest.approx(0.5)
    quarrel = uncertainty.weighted_mean([10.0, 11.0, 9.0], [0.2, 0.2, 0.2])
    assert quarrel.birge == pytest.approx(5.0)
    assert quarrel.u == quarrel.u_external == pytest.approx(1.0 / math.sqrt(3))
    alone = uncertainty.weighted_mean([10.0], [0.2])
    assert (alone.value, alone.u, alone.dof) == (10.0, pytest.approx(0.2), 0.0)
    assert math.isnan(alone.birge)


def test_groups_that_differ_are_told_from_groups_that_do_not() -> None:
    rng = np.random.default_rng(9)
    offsets = rng.normal(0, 3.0, 200)[:, None]
    noise = rng.normal(0, 1.0, (200, 4))
    for shift, sigma in ((offsets, 3.0), (0.0 * offsets, 0.0)):
        x = noise + shift
        got = uncertainty.between_within(x.mean(axis=1), x.std(axis=1, ddof=1), 4)
        assert got.s_within == pytest.approx(1.0, rel=0.1)
        assert got.sigma_groups == pytest.approx(sigma, abs=0.4)
        assert got.dof_between + got.dof_within == 799


@pytest.mark.parametrize(
    "call",
    [
        lambda: uncertainty.type_a([1.0]),
        lambda: uncertainty.type_a([1.0, math.nan]),
        lambda: uncertainty.propagate(np.ones((1, 2)), np.eye(3)),
        lambda: uncertainty.numerical_jacobian(_polar, [1.0, 2.0], [0.1, 0.0]),
        lambda: uncertainty.effective_dof([1.0, 2.0], [3.0]),
        lambda: uncertainty.weighted_mean([1.0, 2.0], [1.0, 0.0]),
        lambda: uncertainty.between_within([1.0, 2.0], [0.1, 0.1], 1),
    ],
)
def test_impossible_requests_are_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="expected"):
        call()
