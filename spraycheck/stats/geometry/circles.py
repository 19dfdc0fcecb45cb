"""Circle fits: two algebraic ones to start from and compare with, and the geometric one to use."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.errors import InputError
from spraycheck.stats.geometry.planes import Float, Numbers, Points, as_points


@dataclass(frozen=True, kw_only=True, eq=False)
class Circle:
    """A fitted circle.

    Parameters
    ----------
    x, y, radius : float
        Centre and radius.
    covariance : (3, 3) ndarray of float64
        Of (x, y, radius); NaN when the fit does not give one.
    rms : float
        Root mean square distance of the points from the circle.
    """

    x: float
    y: float
    radius: float
    covariance: Float
    rms: float


def fit_circle_kasa(points: Points) -> Circle:
    """Kåsa's algebraic fit: least squares of ``|p|^2 - 2 c.p - k``; a start for `fit_circle`.

    Linear and quick, invariant to shifts and turns, but pulled towards small circles on short arcs
    (I. Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8-14, doi:10.1109/TIM.1976.6312298).

    Raises
    ------
    InputError
        Fewer than three points, or points on one line.
    """
    p = as_points(points, 3)
    middle = p.mean(axis=0)
    q = p - middle
    size = _spread_or_refuse(q)
    q = q / size
    design = np.column_stack([2 * q, np.ones(len(q))])
    (cx, cy, k), *_ = np.linalg.lstsq(design, (q**2).sum(axis=1), rcond=None)
    radius = size * math.sqrt(k + cx**2 + cy**2)
    return _circle(p, size * np.array([cx, cy]) + middle, radius)


def fit_circle_algebraic(points: Points) -> Circle:
    """Algebraic fit with unit-norm coefficients ``a |p|^2 + b.p + c = 0``, by SVD.

    After W. Gander, G. H. Golub, R. Strebel, BIT 34 (1994) 558-578, doi:10.1007/BF01934268. Not
    invariant to shifts, so for comparison only; measure with `fit_circle`.

    Raises
    ------
    InputError
        Fewer than three points, or points on one line.
    """
    p = as_points(points, 3)
    _spread_or_refuse(p - p.mean(axis=0))
    design = np.column_stack([(p**2).sum(axis=1), p, np.ones(len(p))])
    a, b1, b2, c = np.linalg.svd(design)[2][-1]
    square = (b1**2 + b2**2) / (4 * a**2) - c / a if a != 0 else math.nan
    if not square > 0:
        raise InputError("points: no real circle fits them; expected points round a common centre")
    return _circle(p, np.array([-b1, -b2]) / (2 * a), math.sqrt(square))


def fit_circle(
    points: Points, sigma: float | Numbers | None = None, *, rounds: int = 200
) -> Circle:
    """Geometric circle fit: least squares of the distances, with covariance.

    Parameters
    ----------
    points : (N, 2) array_like of float
        At least three, not on one line.
    sigma : float or (N,) array_like of float, optional
        Standard uncertainty of each point's distance; without it all count alike and the scatter
        found sets the covariance (NaN for three points, which leave none).
    rounds : int
        Limit of Levenberg-Marquardt steps. Chosen because published examples need fewer than 20.

    Raises
    ------
    InputError
        Too few points, points on one line, sigma not positive, or no convergence.

    Notes
    -----
    Gander, Golub and Strebel (1994), section 3: minimise ``sum w (|p - c| - r)^2`` from the Kåsa
    fit. Covariance ``(J^T W J)^-1``, times chi-square over ``N - 3`` where sigma is not given.
    """
    p = as_points(points, 3)
    weight = np.ones(len(p))
    if sigma is not None:
        s = np.broadcast_to(np.asarray(sigma, float), (len(p),))
        if not (np.isfinite(s).all() and s.min() > 0):
            raise InputError("sigma: expected positive numbers, one or one per point")
        weight = 1.0 / s**2
    start = fit_circle_kasa(p)
    at = np.array([start.x, start.y, start.radius])

    def misses(at: Float) -> tuple[Float, Float]:
        d = p - at[:2]
        length = np.maximum(np.hypot(d[:, 0], d[:, 1]), 1e-300)
        return length - at[2], np.column_stack([-d / length[:, None], -np.ones(len(p))])

    miss, jacobian = misses(at)
    damping = 1e-3
    for _ in range(rounds):
        information = (jacobian * weight[:, None]).T @ jacobian
        gradient = jacobian.T @ (weight * miss)
        damped = information + damping * np.diag(np.diag(information))
        step = -np.linalg.solve(damped, gradient)
        new_miss, new_jacobian = misses(at + step)
        better = float(weight @ new_miss**2) <= float(weight @ miss**2)
        if better:
            at, miss, jacobian = at + step, new_miss, new_jacobian
            damping = max(damping * 0.2, 1e-12)
        else:
            damping *= 10.0
        if float(np.abs(step).max()) <= 1e-12 * max(float(np.abs(at).max()), start.radius):
            break
    else:
        raise InputError("points: the circle fit did not settle; the arc is too short or too noisy")
    information = (jacobian * weight[:, None]).T @ jacobian
    covariance = np.asarray(np.linalg.inv(information), np.float64)
    if sigma is None:
        spare = len(p) - 3
        covariance = covariance * (float(weight @ miss**2) / spare if spare else math.nan)
    return _circle(p, at[:2], float(at[2]), covariance)


def _circle(p: Float, centre: Float, radius: float, covariance: Float | None = None) -> Circle:
    miss = np.hypot(p[:, 0] - centre[0], p[:, 1] - centre[1]) - radius
    return Circle(
        x=float(centre[0]),
        y=float(centre[1]),
        radius=float(radius),
        covariance=np.full((3, 3), math.nan) if covariance is None else covariance,
        rms=float(np.sqrt(np.mean(miss**2))),
    )


def _spread_or_refuse(centred: Float) -> float:
    """Size of a set of centred points; refuses points on one line."""
    wide, narrow = np.linalg.svd(centred, compute_uv=False)[:2]
    if not narrow > 1e-9 * wide:
        raise InputError("points: all on one line; expected points round a circle")
    return float(wide) / math.sqrt(len(centred))
