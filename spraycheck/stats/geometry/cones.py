"""A straight round cone of spray on a flat card."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spraycheck.errors import InputError


@dataclass(frozen=True, kw_only=True)
class ConeFootprint:
    """Where a straight round cone of spray meets the card: an ellipse.

    Lengths are in the unit of the height, measured along the plume's direction from the foot of
    the perpendicular from the tip.

    Parameters
    ----------
    near, far : float
        The ellipse's two ends; ``near`` is negative when the cone reaches over the foot.
    centre : float
        Middle of the ellipse; always farther out than ``axis_point`` unless the axis is upright.
    axis_point : float
        Where the cone's axis meets the card.
    semi_major, semi_minor : float
        Half axes, along and across the direction.
    area : float
        Of the ellipse.
    azimuth_half_width_deg : float
        Half the angle the ellipse spans seen from the foot; 180 when it surrounds the foot.
    """

    near: float
    far: float
    centre: float
    axis_point: float
    semi_major: float
    semi_minor: float
    area: float
    azimuth_half_width_deg: float


def cone_footprint(axis_angle_deg: float, half_cone_deg: float, height: float) -> ConeFootprint:
    """Footprint of a cone whose apex stands above a plane.

    Parameters
    ----------
    axis_angle_deg : float
        Between the cone's axis and the plane's normal, 0 to below 90.
    half_cone_deg : float
        Between the cone's axis and its wall, above 0.
    height : float
        Of the apex above the plane, above 0.

    Raises
    ------
    InputError
        The outer wall is level or rises: it never meets the plane; or a value out of range.

    Notes
    -----
    A ray at t from the axis point along the plume's plane gives the ends ``H tan(a - b)`` and
    ``H tan(a + b)``; the plane section across them gives the half minor axis
    ``H sin b / sqrt(cos^2 a - sin^2 b)``. Seen from above, the cone's tangent planes through the
    normal stand at ``asin(sin b / sin a)`` either side of its direction.
    """
    a, b = math.radians(axis_angle_deg), math.radians(half_cone_deg)
    if not (0 <= axis_angle_deg < 90 and 0 < half_cone_deg < 90 and 0 < height < math.inf):
        raise InputError(
            f"cone at {axis_angle_deg} deg, half angle {half_cone_deg} deg, height {height}: "
            "expected 0 to below 90, above 0, above 0"
        )
    if axis_angle_deg + half_cone_deg >= 90:
        raise InputError(
            f"cone at {axis_angle_deg} deg with half angle {half_cone_deg} deg passes the horizon: "
            "its outer wall never meets the card; expected a sum below 90 deg"
        )
    near, far = height * math.tan(a - b), height * math.tan(a + b)
    semi_major = 0.5 * (far - near)
    semi_minor = height * math.sin(b) / math.sqrt(math.cos(a) ** 2 - math.sin(b) ** 2)
    surrounds = axis_angle_deg < half_cone_deg
    ratio = 1.0 if axis_angle_deg <= half_cone_deg else math.sin(b) / math.sin(a)
    return ConeFootprint(
        near=near,
        far=far,
        centre=0.5 * (near + far),
        axis_point=height * math.tan(a),
        semi_major=semi_major,
        semi_minor=semi_minor,
        area=math.pi * semi_major * semi_minor,
        azimuth_half_width_deg=180.0 if surrounds else math.degrees(math.asin(ratio)),
    )


def largest_separate_half_cone(axis_angle_deg: float, holes: int) -> float:
    """Half cone angle, in degrees, at which neighbouring footprints just touch.

    From ``asin(sin b / sin a) = 180 / n``: evenly spread holes at equal axis angles.
    """
    if holes < 2 or not 0 < axis_angle_deg < 90:
        raise InputError(
            f"{holes} holes at {axis_angle_deg} deg: expected 2 or more at above 0 to below 90 deg"
        )
    a = math.radians(axis_angle_deg)
    return math.degrees(math.asin(math.sin(a) * math.sin(math.pi / holes)))
