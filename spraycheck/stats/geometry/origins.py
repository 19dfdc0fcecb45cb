"""Where lines meet: the robust common origin of plume axes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.errors import InputError
from spraycheck.stats.circular import MAD_TO_SIGMA, tukey_weights
from spraycheck.stats.geometry.planes import Float, Numbers, Points, as_points, unit_vectors


@dataclass(frozen=True, kw_only=True, eq=False)
class CommonOrigin:
    """Where lines come from.

    Parameters
    ----------
    x, y : float
        The point nearest to all lines.
    covariance : (2, 2) ndarray of float64
        Of (x, y).
    weights : (N,) ndarray of float64
        Say of each line after robust weighing, 0 (left out) to 1.
    miss : (N,) ndarray of float64
        Signed distance of each line from the point, in its own standard uncertainties.
    """

    x: float
    y: float
    covariance: Float
    weights: Float
    miss: Float


def common_origin(
    points: Points,
    axis_deg: Numbers,
    sigma_deg: float | Numbers = 1.0,
    *,
    sigma_offset: float = 0.0,
    rounds: int = 50,
) -> CommonOrigin:
    """Robust common origin of lines, each given by a point on it and a direction.

    Parameters
    ----------
    points : (N, 2) array_like of float
        A point on each line, for a plume its centroid.
    axis_deg : (N,) array_like of float
        Direction of each line; which way along it does not matter.
    sigma_deg : float or (N,) array_like of float
        Standard uncertainty of each direction; acts with the distance from the point to the
        origin as its lever.
    sigma_offset : float
        Standard uncertainty of the points across their lines, in the unit of the points.
    rounds : int
        Limit of reweighting rounds.

    Raises
    ------
    InputError
        Fewer than two lines, none crossing at more than 5 degrees, or sigma not positive.

    Notes
    -----
    Start: weighted median, coordinate by coordinate, of the crossings of all pairs, each weighed
    by the sine of its angle. Then iteratively reweighted least squares with Tukey's biweight on
    misses over their standard uncertainty, which is never taken smaller than stated but larger
    where the scatter (median absolute miss) says so. Covariance
    ``(N^T W N)^-1``, times the larger of 1 and the weighted chi-square over its degrees of freedom.
    """
    p = as_points(points, 2)
    axis = np.asarray(axis_deg, float)
    if axis.shape != (len(p),) or not np.isfinite(axis).all():
        raise InputError(f"axes: expected {len(p)} finite directions, got shape {axis.shape}")
    sigma = np.broadcast_to(np.asarray(sigma_deg, float), axis.shape)
    if not (np.isfinite(sigma).all() and sigma.min() > 0 and sigma_offset >= 0):
        raise InputError("sigma: expected positive degrees and an offset of 0 or more")
    along = unit_vectors(axis)
    normal = np.column_stack([-along[:, 1], along[:, 0]])
    reach = (normal * p).sum(axis=1)  # each line is normal . x = reach
    at = _median_crossing(normal, reach)
    nearest = 1e-3 * float(np.ptp(p, axis=0).max() or 1.0)  # a lever of zero would weigh infinite
    robust = np.ones(len(p))
    for _ in range(rounds):
        lever = np.maximum(np.hypot(p[:, 0] - at[0], p[:, 1] - at[1]), nearest)
        width = np.hypot(np.deg2rad(sigma) * lever, sigma_offset)
        miss = (reach - normal @ at) / width
        scale = max(1.0, MAD_TO_SIGMA * float(np.median(np.abs(miss)))) if len(p) > 2 else 1.0
        robust = tukey_weights(miss / scale)
        try:
            new = _solve(normal, reach, robust / width**2)
        except InputError:  # robust weights left one bundle of parallels: keep all lines
            robust = np.ones(len(p))
            new = _solve(normal, reach, robust / width**2)
        moved = float(np.hypot(*(new - at)))
        at = new
        if moved < 1e-9 * nearest:
            break
    miss = (reach - normal @ at) / width
    weight = robust / width**2
    spare = float(robust.sum()) - 2.0
    excess = max(1.0, float(robust @ miss**2) / spare) if spare > 0 else 1.0
    covariance = np.linalg.inv((normal * weight[:, None]).T @ normal) * excess
    return CommonOrigin(
        x=float(at[0]), y=float(at[1]), covariance=covariance, weights=robust, miss=miss
    )


def _median_crossing(normal: Float, reach: Float) -> Float:
    i, j = np.triu_indices(len(reach), k=1)
    sine = normal[i, 0] * normal[j, 1] - normal[i, 1] * normal[j, 0]
    keep = np.abs(sine) > math.sin(math.radians(5.0))
    if not keep.any():
        raise InputError("axes: all nearly parallel; expected at least two crossing by 5 degrees")
    i, j, sine = i[keep], j[keep], sine[keep]
    x = (reach[i] * normal[j, 1] - reach[j] * normal[i, 1]) / sine
    y = (normal[i, 0] * reach[j] - normal[j, 0] * reach[i]) / sine
    return np.array([_weighted_median(x, np.abs(sine)), _weighted_median(y, np.abs(sine))])


def _weighted_median(values: Float, weights: Float) -> float:
    order = np.argsort(values)
    share = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(share, 0.5 * share[-1])])


def _solve(normal: Float, reach: Float, weight: Float) -> Float:
    information = (normal * weight[:, None]).T @ normal
    small, large = np.linalg.eigvalsh(information)
    if not small > 1e-12 * large:
        raise InputError("axes: the lines left are parallel; expected at least two that cross")
    return np.asarray(np.linalg.solve(information, normal.T @ (weight * reach)))
