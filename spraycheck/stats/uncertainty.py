"""Uncertainty after the GUM: from repeats to means, through models, and between groups.

Lower-case ``u`` is a standard uncertainty (one standard deviation); expanded ones are ``u`` times a
coverage factor. ``dof`` is degrees of freedom, infinite where an uncertainty is known for certain.

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement (GUM).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.float64]
Numbers = NDArray[np.floating] | NDArray[np.integer] | Sequence[float]


class Estimate(NamedTuple):
    """A value with its standard uncertainty and the degrees of freedom that one rests on."""

    value: float
    u: float
    dof: float = math.inf


# --- one component --------------------------------------------------------------------------------


def type_a(repeats: Numbers) -> Estimate:
    """Mean of repeats and its standard uncertainty ``s / sqrt(n)``; GUM [1]_, 4.2.3.

    Raises
    ------
    InputError
        Fewer than two repeats: one alone shows no scatter.
    """
    x = _finite("repeats", repeats, 2)
    return Estimate(float(x.mean()), float(x.std(ddof=1)) / math.sqrt(len(x)), len(x) - 1)


# --- propagation ----------------------------------------------------------------------------------


def propagate(jacobian: NDArray[np.floating], covariance: NDArray[np.floating]) -> Float:
    """Covariance ``J V J^T`` of outputs whose inputs may be correlated.

    Parameters
    ----------
    jacobian : (M, N) ndarray of float
        Derivative of each output by each input, analytic or from `numerical_jacobian`.
    covariance : (N, N) ndarray of float
        Of the inputs.

    Notes
    -----
    GUM [1]_, 5.2.2, equation 13, in matrix form; first order, so the model has to be close to
    straight over a standard uncertainty of each input.
    """
    j, v = np.asarray(jacobian, float), np.asarray(covariance, float)
    if j.ndim != 2 or v.shape != (j.shape[1], j.shape[1]):
        raise InputError(f"jacobian {j.shape}, covariance {v.shape}: expected (M, N) and (N, N)")
    return np.asarray(j @ v @ j.T)


def numerical_jacobian(
    model: Callable[[Float], Float | float], at: Numbers, steps: Numbers | None = None
) -> Float:
    """Derivatives ``(M, N)`` of a model by central differences.

    Parameters
    ----------
    model : callable
        Takes an ``(N,)`` array, returns an ``(M,)`` array or a number.
    at : (N,) array_like of float
        Where.
    steps : (N,) array_like of float, optional
        Half the distance between the two evaluations; the inputs' standard uncertainties are a
        good choice (GUM [1]_, 5.1.3, note 2). Without it the cube root of the machine epsilon times
        the size of the input, where rounding and curvature weigh alike.
    """
    x = _finite("at", at, 1)
    if steps is None:
        h = np.cbrt(np.finfo(float).eps) * np.maximum(np.abs(x), 1.0)
    else:
        h = _finite("steps", steps, 1)
    if h.shape != x.shape or not (h > 0).all():
        raise InputError(f"steps: expected {len(x)} positive numbers")
    columns = []
    for i in range(len(x)):
        step = np.zeros_like(x)
        step[i] = h[i]
        up, down = np.atleast_1d(model(x + step)), np.atleast_1d(model(x - step))
        columns.append((up - down) / (2.0 * h[i]))
    return np.column_stack(columns)


def effective_dof(components: Numbers, dofs: Numbers) -> float:
    """Effective degrees of freedom of a root sum of squares (Welch-Satterthwaite).

    Parameters
    ----------
    components : (N,) array_like of float
        Standard uncertainties, each already times its sensitivity.
    dofs : (N,) array_like of float
        Of each; ``inf`` allowed.

    Notes
    -----
    GUM [1]_, G.4.1, equation G.2b. Round down to a whole number before a table look-up (G.4.1).
    """
    u = _finite("components", components, 1)
    nu = np.asarray(dofs, float)
    if nu.shape != u.shape or not (nu > 0).all():
        raise InputError(f"degrees of freedom: expected {len(u)} above 0")
    below = float((u**4 / nu).sum())
    return float((u**2).sum()) ** 2 / below if below > 0 else math.inf


# --- several results of the same quantity ---------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class WeightedMean:
    """Inverse-variance mean of several results.

    Parameters
    ----------
    value : float
        The mean.
    u_internal : float
        From the stated uncertainties alone.
    u_external : float
        From the scatter actually seen; NaN for a single result.
    birge : float
        ``u_external / u_internal``: well above 1 says that the uncertainties are understated.
    u : float
        The larger of the two.
    dof : float
        Number of results less one.
    """

    value: float
    u_internal: float
    u_external: float
    birge: float
    u: float
    dof: float


def weighted_mean(values: Numbers, uncertainties: Numbers) -> WeightedMean:
    """Mean weighed by ``1 / u^2``, with internal and external uncertainty.

    Notes
    -----
    R. T. Birge, Phys. Rev. 40 (1932) 207-227, doi:10.1103/PhysRev.40.207.
    """
    x = _finite("values", values, 1)
    u = _finite("uncertainties", uncertainties, 1)
    if u.shape != x.shape or not (u > 0).all():
        raise InputError(f"uncertainties: expected {len(x)} positive numbers")
    weight = 1.0 / u**2
    mean = float(weight @ x / weight.sum())
    internal = float(weight.sum()) ** -0.5
    dof = len(x) - 1
    birge = math.sqrt(float(weight @ (x - mean) ** 2) / dof) if dof else math.nan
    return WeightedMean(
        value=mean,
        u_internal=internal,
        u_external=birge * internal,
        birge=birge,
        u=internal * max(1.0, birge if dof else 1.0),
        dof=float(dof),
    )


@dataclass(frozen=True, kw_only=True)
class BetweenWithin:
    """Scatter between groups of repeats set apart from the scatter within them.

    Parameters
    ----------
    mean : float
        Of the group means.
    s_between, s_within : float
        The two estimates of one repeat's standard deviation: from the group means, and pooled.
        Alike when groups do not differ.
    dof_between, dof_within : float
        Degrees of freedom of the two.
    sigma_groups : float
        Standard deviation between groups beyond what repeats explain; 0 when there is none.
    """

    mean: float
    s_between: float
    s_within: float
    dof_between: float
    dof_within: float
    sigma_groups: float


def between_within(means: Numbers, stds: Numbers, repeats: int) -> BetweenWithin:
    """Analyse equal groups of repeats (days, shots, photos) from their means and deviations.

    Parameters
    ----------
    means, stds : (J,) array_like of float
        Mean and experimental standard deviation of each group, two groups or more.
    repeats : int
        In each group, two or more.

    Notes
    -----
    GUM [1]_, H.5.2: analysis of variance, balanced, groups taken as random.
    """
    m, s = _finite("means", means, 2), _finite("stds", stds, 2)
    if s.shape != m.shape or repeats < 2 or s.min() < 0:
        raise InputError(
            f"groups: {len(m)} means, {len(s)} deviations, {repeats} repeats; expected as many of "
            "each, none negative, 2 repeats or more"
        )
    groups = len(m)
    between2, within2 = repeats * float(m.var(ddof=1)), float((s**2).mean())
    return BetweenWithin(
        mean=float(m.mean()),
        s_between=math.sqrt(between2),
        s_within=math.sqrt(within2),
        dof_between=float(groups - 1),
        dof_within=float(groups * (repeats - 1)),
        sigma_groups=math.sqrt(max(between2 - within2, 0.0) / repeats),
    )


def _finite(name: str, values: Numbers, at_least: int) -> Float:
    x = np.asarray(values, float)
    if x.ndim != 1 or len(x) < at_least or not np.isfinite(x).all():
        raise InputError(f"{name}: expected {at_least} or more finite numbers, got shape {x.shape}")
    return x
