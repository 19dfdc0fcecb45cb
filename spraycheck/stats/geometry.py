"""Projective maps between two planes: the card and its photo."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.float64]
Points = NDArray[np.floating] | NDArray[np.integer] | Sequence[Sequence[float]]


def fit_homography(source: Points, target: Points) -> Float:
    """Homography ``(3, 3)`` that takes source points to target points.

    Parameters
    ----------
    source, target : (N, 2) array_like of float
        At least four pairs, no three of four on one line; more are fitted by least squares.

    Raises
    ------
    InputError
        Fewer than four pairs, different numbers, or pairs that do not fix a homography.

    Notes
    -----
    Direct linear transformation on centred, scaled points (R. I. Hartley, IEEE Trans. Pattern
    Anal. Mach. Intell. 19 (1997) 580-593, doi:10.1109/34.601246). Scaled so that ``H[2, 2] = 1``.
    """
    s, t = _as_points(source, 4), _as_points(target, 4)
    if len(s) != len(t):
        raise InputError(f"points: {len(s)} source but {len(t)} target points")
    to_s, to_t = _centring(s), _centring(t)
    a, b = apply_homography(to_s, s), apply_homography(to_t, t)
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    ray = np.column_stack([a, one])
    rows = np.vstack(
        [
            np.hstack([ray, zero, -b[:, :1] * ray]),
            np.hstack([zero, ray, -b[:, 1:] * ray]),
        ]
    )
    values, vectors = np.linalg.svd(rows)[1:]
    between = vectors[8].reshape(3, 3)
    # Three of four source points on one line fix a map, but one that flattens the plane.
    if not (values[7] > 1e-9 * values[0] and abs(np.linalg.det(between)) > 1e-9):
        raise InputError("points: three of four on one line or repeated; expected four corners")
    h = np.linalg.inv(to_t) @ between @ to_s
    if not abs(h[2, 2]) > 1e-12 * np.abs(h).max():
        raise InputError("points: the source origin maps to infinity; shift the source points")
    return np.asarray(h / h[2, 2])


def apply_homography(homography: Float, points: Points) -> Float:
    """Map ``(N, 2)`` points; those on the horizon become infinite or NaN."""
    p = _as_points(points, 0)
    mapped = p @ homography[:, :2].T + homography[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):  # the horizon is a value, not an accident
        return np.asarray(mapped[:, :2] / mapped[:, 2:])


def _centring(p: Float) -> Float:
    middle = p.mean(axis=0)
    size = float(np.hypot(*(p - middle).T).mean()) or 1.0
    k = math.sqrt(2.0) / size
    return np.array([[k, 0.0, -k * middle[0]], [0.0, k, -k * middle[1]], [0.0, 0.0, 1.0]])


def _as_points(points: Points, at_least: int) -> Float:
    """Check and convert; finite values are asked for where a fit needs ``at_least`` points."""
    p = np.asarray(points, float)
    if p.ndim != 2 or p.shape[1] != 2 or len(p) < at_least:
        raise InputError(f"points: expected shape (N, 2) with N >= {at_least}, got {p.shape}")
    if at_least and not np.isfinite(p).all():
        raise InputError("points: expected finite numbers")
    return p
