"""Statistics of directions: plain NumPy, degrees in and out.

Directions live on a circle, so an ordinary mean of 350 and 10 degrees is wrong by half a turn.
Everything here is invariant to whole turns and turns with the data. Weights are relative, never
negative; which way is clockwise does not matter to any of it.

References
----------
.. [1] K. V. Mardia, P. E. Jupp, Directional Statistics, Wiley 2000, doi:10.1002/9780470316979.
.. [2] N. I. Fisher, Statistical Analysis of Circular Data, Cambridge 1993,
   doi:10.1017/CBO9780511564345.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import overload

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.float64]
Angles = NDArray[np.floating] | NDArray[np.integer] | Sequence[float]

NO_DIRECTION = 1e-12
"""A mean resultant shorter than this has no direction: rounding alone leaves about 1e-16."""

TUKEY = 4.685
"""Tukey biweight constant for 95 % efficiency on normal data (P. J. Huber, E. M. Ronchetti, Robust
Statistics, Wiley 2009, doi:10.1002/9780470434697; recalled, found again by integration in tests).
"""

MAD_TO_SIGMA = 1.482602218505602
"""Standard deviations per median absolute deviation of normal data: 1 / Phi^-1(3/4)."""


@overload
def wrap_360(angle_deg: float) -> float: ...
@overload
def wrap_360(angle_deg: Angles) -> Float: ...
def wrap_360(angle_deg: float | Angles) -> float | Float:
    """Bring angles into ``[0, 360)``; NaN and infinity become NaN."""
    with np.errstate(invalid="ignore"):  # infinity has no direction, and NaN says so
        turned = np.mod(np.asarray(angle_deg, float), 360.0)
    # -1e-20 % 360 rounds up to 360.0, which is outside; + 0.0 turns -0.0 into 0.0.
    held = np.where(turned >= 360.0, 0.0, turned) + 0.0
    return float(held) if held.ndim == 0 else held


@overload
def wrap_180(angle_deg: float) -> float: ...
@overload
def wrap_180(angle_deg: Angles) -> Float: ...
def wrap_180(angle_deg: float | Angles) -> float | Float:
    """Bring angles into ``(-180, 180]``; NaN and infinity become NaN."""
    angle = np.asarray(angle_deg, float)
    # Angles already inside are kept bit for bit: 180 - (180 - 1e-20) would lose them.
    inside = (angle > -180.0) & (angle <= 180.0)
    held = np.where(
        inside, angle, 180.0 - wrap_360(180.0 - np.atleast_1d(angle)).reshape(angle.shape)
    )
    return float(held) if held.ndim == 0 else held


def mean_direction(angle_deg: Angles, weights: Angles | None = None) -> float:
    """Direction of the sum of unit vectors, in ``[0, 360)``; NaN when they cancel.

    Parameters
    ----------
    angle_deg : (N,) array_like of float
        Directions; several turns are fine.
    weights : (N,) array_like of float, optional
        Relative weights, at least one positive; counts for grouped data.

    Raises
    ------
    InputError
        No directions, or unusable weights.

    Notes
    -----
    Mardia and Jupp [1]_, equations 2.2.1 to 2.2.4.
    """
    angle, weight = _checked(angle_deg, weights)
    radians = np.deg2rad(angle)
    c, s = float(weight @ np.cos(radians)), float(weight @ np.sin(radians))
    if math.hypot(c, s) < NO_DIRECTION:
        return math.nan
    return wrap_360(math.degrees(math.atan2(s, c)))


def median_direction(angle_deg: Angles, weights: Angles | None = None) -> float:
    """Direction with the least mean arc to the data, in ``[0, 360)``.

    Half of the data may lie anywhere without moving it far. Where a whole arc is equally good (an
    even number of directions) its middle is returned; NaN when no single arc is best, as for
    evenly spread directions.

    Notes
    -----
    Fisher [2]_, section 2.3.2. The mean arc is piecewise linear and its minima lie on data.
    """
    angle, weight = _checked(angle_deg, weights)

    def mean_arc(at: Float) -> Float:
        arcs = np.abs(wrap_180(angle[None, :] - at[:, None]))
        return np.asarray(arcs @ weight)

    at_data = mean_arc(angle)
    tied = 1e-9 * 360.0  # rounding of sums of arcs; far below any measured direction
    best = angle[at_data <= at_data.min() + tied]
    # Ties stand on one flat arc: its two ends are what the middle is between, however many lie in.
    middle = mean_direction(np.unique(wrap_360(best)))
    if math.isnan(middle):
        return math.nan
    off = wrap_180(best - middle)
    middle = wrap_360(middle + 0.5 * float(off.min() + off.max()))
    flat = float(mean_arc(np.array([middle]))[0]) <= float(at_data.min()) + tied
    return middle if flat else math.nan


def best_rotation(
    measured_deg: Angles,
    expected_deg: Angles,
    weights: Angles | None = None,
    *,
    scale_floor_deg: float = 0.5,
) -> float:
    """Turn of a layout that fits measured directions best, hole by hole paired.

    Starts from the median of the differences and refines by Tukey-weighted means, so up to half of
    the holes, less one, may be off line without dragging the rest along.

    Parameters
    ----------
    measured_deg, expected_deg : (N,) array_like of float
        Paired directions.
    weights : (N,) array_like of float, optional
        Relative weights, for example inverse variances.
    scale_floor_deg : float
        Smallest scatter assumed when outliers are weighed. Chosen because measured plume
        directions are not believed to repeat better than 0.5 degrees (common practice, no source);
        with it four exact directions and a fifth 3 degrees off leave the four alone.

    Returns
    -------
    float
        Rotation in ``(-180, 180]``: ``measured`` is close to ``expected + rotation``. NaN when the
        differences have no preferred direction.

    Raises
    ------
    InputError
        Different lengths, none at all, or unusable weights.
    """
    measured = np.asarray(measured_deg, float)
    expected = np.asarray(expected_deg, float)
    if measured.shape != expected.shape:
        raise InputError(f"paired directions: {measured.shape} measured, {expected.shape} expected")
    turn, weight = _checked(measured - expected, weights)
    at = median_direction(turn, weight)
    if math.isnan(at):  # no single median (two directions 180 degrees apart, an even spread)
        return math.nan
    for _ in range(30):
        off = wrap_180(turn - at)
        scale = max(MAD_TO_SIGMA * float(np.median(np.abs(off[weight > 0]))), scale_floor_deg)
        robust = weight * tukey_weights(off / scale)
        step = float(robust @ off) / float(robust.sum())
        at += step
        if abs(step) < 1e-10:
            break
    return wrap_180(at)


def tukey_weights(standardised: Float) -> Float:
    """Tukey's biweight: 1 for no residual, 0 beyond 4.685 standard deviations."""
    return np.asarray(np.clip(1.0 - (np.asarray(standardised, float) / TUKEY) ** 2, 0.0, None) ** 2)


def _checked(angle_deg: Angles, weights: Angles | None) -> tuple[Float, Float]:
    """Directions and weights as arrays, the weights summing to 1."""
    angle = np.asarray(angle_deg, float)
    if angle.ndim != 1 or angle.size == 0:
        raise InputError(f"directions: expected shape (N,) with N >= 1, got {angle.shape}")
    if not np.isfinite(angle).all():
        raise InputError("directions: expected finite numbers; leave out the NaN ones first")
    if weights is None:
        return angle, np.full(angle.shape, 1.0 / angle.size)
    weight = np.asarray(weights, float)
    if weight.shape != angle.shape:
        raise InputError(f"weights: expected shape {angle.shape}, got {weight.shape}")
    if not np.isfinite(weight).all() or weight.min() < 0 or weight.sum() <= 0:
        raise InputError("weights: expected finite, none negative, at least one positive")
    return angle, weight / weight.sum()
