"""Plane geometry of the card: directions, cones on a plane, circles, meeting lines, homographies.

Frame: ``x`` right, ``y`` DOWN, any unit. Directions are degrees clockwise from 12 o'clock, so the
unit vector of direction d is ``(sin d, -cos d)``; a positive rotation turns clockwise as seen.
"""

from spraycheck.stats.geometry.circles import (
    Circle,
    fit_circle,
    fit_circle_algebraic,
    fit_circle_kasa,
)
from spraycheck.stats.geometry.cones import (
    ConeFootprint,
    cone_footprint,
    largest_separate_half_cone,
)
from spraycheck.stats.geometry.homographies import (
    apply_homography,
    fit_homography,
    homography_jacobian,
)
from spraycheck.stats.geometry.origins import CommonOrigin, common_origin
from spraycheck.stats.geometry.planes import direction_to, rotate, unit_vectors

__all__ = [
    "Circle",
    "CommonOrigin",
    "ConeFootprint",
    "apply_homography",
    "common_origin",
    "cone_footprint",
    "direction_to",
    "fit_circle",
    "fit_circle_algebraic",
    "fit_circle_kasa",
    "fit_homography",
    "homography_jacobian",
    "largest_separate_half_cone",
    "rotate",
    "unit_vectors",
]
