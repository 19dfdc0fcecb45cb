"""Points and directions in the plane of the card; what the other geometry modules share.

Frame: ``x`` right, ``y`` DOWN, any unit. Directions are degrees clockwise from 12 o'clock, so the
unit vector of direction d is ``(sin d, -cos d)``; a positive rotation turns clockwise as seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.stats.circular import wrap_360

Float = NDArray[np.float64]
Numbers = NDArray[np.floating] | NDArray[np.integer] | Sequence[float]
Points = NDArray[np.floating] | NDArray[np.integer] | Sequence[Sequence[float]]


def direction_to(points: Points, origin: Numbers = (0.0, 0.0)) -> Float:
    """Direction from ``origin`` to each of ``(N, 2)`` points, ``(N,)`` in ``[0, 360)``."""
    d = as_points(points, 0) - np.asarray(origin, float)
    direction: Float = np.degrees(np.arctan2(d[:, 0], -d[:, 1]))
    return wrap_360(direction)


def unit_vectors(direction_deg: Numbers) -> Float:
    """Unit vectors ``(N, 2)`` of ``(N,)`` directions."""
    radians = np.deg2rad(np.asarray(direction_deg, float))
    return np.stack([np.sin(radians), -np.cos(radians)], axis=-1)


def rotate(points: Points, angle_deg: float, about: Numbers = (0.0, 0.0)) -> Float:
    """Turn ``(N, 2)`` points clockwise (as seen, y down) about a point."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    middle = np.asarray(about, float)
    return np.asarray((as_points(points, 0) - middle) @ np.array([[c, s], [-s, c]]) + middle)


def as_points(points: Points, at_least: int) -> Float:
    """Check and convert; finite values are asked for where a fit needs ``at_least`` points."""
    p = np.asarray(points, float)
    if p.ndim != 2 or p.shape[1] != 2 or len(p) < at_least:
        raise InputError(f"points: expected shape (N, 2) with N >= {at_least}, got {p.shape}")
    if at_least and not np.isfinite(p).all():
        raise InputError("points: expected finite numbers")
    return p
