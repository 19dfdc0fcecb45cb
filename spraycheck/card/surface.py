"""A bent sheet before a camera: the one model of every card; `surface_fit` fits it.

A pinhole camera with one radial lens term looks at a rectangle of paper whose height above its own
plane is a gentle bend plus lifted corners, and which bends without stretching: millimetres along
the curled sheet are millimetres on paper.
Units. Photo positions are in half long sides of the photo from its middle. The sheet's are in half
square roots of its area, so a rectangle of ``log(height / width) = a`` reaches to ``exp(-a/2)`` and
``exp(a/2)``; *fractions* run from -1 to 1 across either side.

Notes
-----
Bending a plane sheet to the height ``h`` without stretching it moves its points within the plane by
a field ``U`` of strain ``-h_i h_j / 2`` (to second order in the slope: 4 micrometres at a bulge of
9 mm on A4). Along the ray from the middle, with ``p`` the point, Cesaro's integral of it is

``U_i = -1/2 int_0^1 [h_i g + (1 - t) (h_i q - g m_i)] dt``,

all at ``t p``, with ``g = p . grad h``, ``m = (grad grad h) p`` and ``q = p . m``. It is exact for
what paper can do (Gaussian curvature nought) and the natural extension elsewhere (the integral:
I. S. Sokolnikoff, Mathematical Theory of Elasticity, 2nd ed., McGraw-Hill 1956, section 10).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import Float

SHAPES: Final = 15
"""Ways to depart from a plane: seven bends of second and third order, two shapes a corner."""

BENDS: Final = 7
"""The first so many bend the whole sheet, which keeps its lengths. A lifted corner's own shortening
is left out: edges alone cannot tell it, and a fit given it went astray on photographs."""

TURN, SHIFT, FOCAL, LENS, ASPECT, AXIS, SPREAD, HEIGHTS = 0, 3, 6, 7, 8, 9, 11, 12
"""First places of the parameters: rotation vector (3), shift (3), log focal length, radial term,
log proportions, where the lens looks (2), spread of print, heights of the `SHAPES`."""

COUNT: Final = HEIGHTS + SHAPES

_CORNERS: Final = ((-1, -1), (1, -1), (1, 1), (-1, 1))
_CORNER_START: Final = 0.4  # a corner's second shape is flat up to here on its diagonal
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(3)  # exact for the shapes of third order
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


@dataclass(frozen=True, kw_only=True)
class Surface:
    """A sheet in space.

    Parameters
    ----------
    values : (27,) ndarray of float64
        The parameters, see `TURN` and following.
    covariance : (27, 27) ndarray of float64
        Of ``values``.
    middle_px : (2,) ndarray of float64
        Middle of the full photo.
    unit_px : float
        Half the photo's long side in pixels.
    residual_px : float
        Robust scatter of the points about the fit, full-photo pixels.
    misfit : float
        What was minimised, in units of the least scatter: weighted squares of the residuals, those
        of strays capped, and of the departures from the prior.
    """

    values: Float
    covariance: Float
    middle_px: Float
    unit_px: float
    residual_px: float = 0.0
    misfit: float = 0.0

    @property
    def aspect_log(self) -> float:
        """Log of height over width."""
        return float(self.values[ASPECT])

    @property
    def aspect_u_log(self) -> float:
        """Standard uncertainty of it."""
        return float(np.sqrt(max(self.covariance[ASPECT, ASPECT], 0.0)))

    @property
    def half(self) -> Float:
        """Half width and half height, half square roots of the area."""
        return np.asarray(np.exp(np.array([-0.5, 0.5]) * self.values[ASPECT]))

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight to the sheet's middle and the sheet's normal."""
        turn = np.asarray(cv2.Rodrigues(self.values[TURN:SHIFT])[0], float)
        sight = self.values[SHIFT:FOCAL] / np.linalg.norm(self.values[SHIFT:FOCAL])
        return float(np.degrees(np.arccos(np.clip(abs(sight @ turn[:, 2]), 0, 1))))

    def shaped(self, aspect_log: float) -> Surface:
        """Return the same sheet with other proportions."""
        values = self.values.copy()
        values[ASPECT] = aspect_log
        return replace(self, values=values)

    def project(self, x: Float, y: Float) -> Float:
        """Full-photo pixels ``(N, 2)`` of sheet positions given as fractions."""
        return position_of(self.values, basis_of(x, y)) * self.unit_px + self.middle_px

    def relief(self, x: Float, y: Float) -> Float:
        """Height above the sheet's plane, away from the camera, half square roots of its area."""
        return np.asarray(_shapes(np.ravel(x), np.ravel(y)) @ self.values[HEIGHTS:])

    def local(self, x: Float, y: Float) -> Float:
        """Derivatives ``(N, 2, 2)`` of the photo position in pixels by the place on the sheet.

        By the place along its width and height, half square roots of the area.
        """
        step = 1e-4
        ways = np.array([[step, 0], [-step, 0], [0, step], [0, -step]])
        at = np.stack([x, y], axis=1) + ways[:, None]
        right, left, below, above = self.project(*at.reshape(-1, 2).T).reshape(4, -1, 2)
        return np.stack([right - left, below - above], axis=2) / (2 * step * self.half)

    def moved(self, x: Float, y: Float) -> Float:
        """Derivatives ``(N, 2, 27)`` of places on the sheet by the parameters.

        How the place that a photo position is taken for moves, half square roots of the area.
        """
        jacobian = view_of(self.values, basis_of(x, y))[1] * self.unit_px
        return np.asarray(np.linalg.solve(self.local(x, y), jacobian))

    def position_covariance(self, x: Float, y: Float) -> Float:
        """Covariance ``(2 N, 2 N)`` of sheet positions, half square roots of its area.

        Rows run x and y of the first position, x and y of the second and so on.
        """
        moved = self.moved(x, y).reshape(-1, COUNT)
        return np.asarray(moved @ self.covariance @ moved.T)

    def distortion_u(self, x: Float, y: Float, *, scale_known: bool) -> float:
        """Standard uncertainty of positions relative to one another.

        Parameters
        ----------
        x, y : (N,) ndarray of float64
            Where, as fractions of the sheet.
        scale_known : bool
            Count an error of scale too. A common shift and turn never count: they change no
            angle and no distance.

        Returns
        -------
        float
            Per axis, root mean square over the positions, half square roots of the sheet's area.
        """
        moved = self.moved(x, y).reshape(2 * len(x), -1)
        at = np.stack([x, y], axis=1) * self.half
        at = at - at.mean(axis=0)
        common = [np.tile([1.0, 0.0], len(x)), np.tile([0.0, 1.0], len(x))]
        common.append((at[:, ::-1] * [-1, 1]).ravel())
        if not scale_known:
            common.append(at.ravel())
        basis, _ = np.linalg.qr(np.stack(common, axis=1))
        moved = moved - basis @ (basis.T @ moved)
        spread = ((moved @ self.covariance) * moved).sum()
        return float(np.sqrt(max(spread, 0.0) / (2 * len(x))))


def side_positions(side: int, along: Float) -> tuple[Float, Float]:
    """Sheet fractions of positions along a side (-1 at its first corner, 1 at its second)."""
    one = np.ones_like(along)
    x, y = ((along, -one), (one, along), (-along, one), (-one, -along))[side]
    return x, y


def place_flat(corners_px: Float, focal_log: float, size_px: tuple[int, int]) -> Surface:
    """Place a flat sheet so that its corners fall on four given ones, ``(4, 2)`` pixels.

    Its proportions follow from the focal length.

    References
    ----------
    Zhang, Z. & He, L.-W. (2007), "Whiteboard scanning and image enhancement", Digital Signal
    Processing 17, 414-432, doi:10.1016/j.dsp.2006.05.006.
    """
    middle = (np.array(size_px) - 1) / 2
    unit = max(size_px) / 2
    image = (np.asarray(corners_px, float) - middle) / unit
    plane = np.asarray(
        cv2.getPerspectiveTransform(
            np.array(_CORNERS, np.float32), np.ascontiguousarray(image, np.float32)
        ),
        float,
    )
    rays = np.diag([math.exp(-focal_log)] * 2 + [1.0]) @ plane
    lengths = np.linalg.norm(rays[:, :2], axis=0)
    rays = rays / (np.sqrt(lengths[0] * lengths[1]) * (1 if rays[2, 2] > 0 else -1))
    axes = rays[:, :2] / np.linalg.norm(rays[:, :2], axis=0)
    left, _, right = np.linalg.svd(np.column_stack([axes, np.cross(axes[:, 0], axes[:, 1])]))
    values = np.zeros(COUNT)
    values[TURN:SHIFT] = np.asarray(cv2.Rodrigues(left @ right)[0], float).ravel()
    values[SHIFT:FOCAL] = rays[:, 2]
    values[FOCAL] = focal_log
    # Beyond 3.3 to 1 a quadrilateral is no sheet, and a fit would start from nowhere.
    values[ASPECT] = np.clip(np.log(lengths[1] / lengths[0]), -1.2, 1.2)
    return Surface(
        values=values, covariance=np.zeros((COUNT, COUNT)), middle_px=middle, unit_px=unit
    )


@dataclass(frozen=True, kw_only=True)
class Basis:
    """The shapes at some places, and along the rays to them: what a fit needs again and again."""

    at: Float  # (N, 2) fractions
    shapes: Float  # (N, K)
    slope: Float  # (2, N, T, 7): of the bends, by x and by y
    twist: Float  # (2, N, T, 7): grad grad h times p
    along: Float  # (N, T, 7): p . grad h
    bend: Float  # (N, T, 7): p . twist
    outward: Float | None = None


def basis_of(x: Float, y: Float) -> Basis:
    """Shapes at ``(N,)`` places given as fractions of the sheet."""
    at = np.stack([np.ravel(x), np.ravel(y)], axis=1).astype(float)
    ray = at[:, None] * _NODES[:, None]
    first, second = _bends(ray[..., 0], ray[..., 1])
    px, py = at[:, 0, None, None], at[:, 1, None, None]
    twist = np.stack([second[0] * px + second[1] * py, second[1] * px + second[2] * py])
    return Basis(
        at=at,
        shapes=_shapes(at[:, 0], at[:, 1]),
        slope=first,
        twist=twist,
        along=first[0] * px + first[1] * py,
        bend=twist[0] * px + twist[1] * py,
    )


def _shapes(x: Float, y: Float) -> Float:
    """Shapes ``(N, K)`` a sheet bends into, each 0 in the middle and about 1 at its end."""
    shapes = [x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    for sx, sy in _CORNERS:
        along = np.maximum((sx * x + sy * y) / 2, 0)
        end = np.maximum(along - _CORNER_START, 0) / (1 - _CORNER_START)
        shapes += [along**3, end * end]
    return np.stack(shapes, axis=-1)


def _bends(x: Float, y: Float) -> tuple[Float, Float]:
    """Derivatives of the `BENDS`: by x, y ``(2, ..., 7)`` and by xx, xy, yy ``(3, ..., 7)``."""
    first: Float = np.zeros((2, *x.shape, BENDS))
    second: Float = np.zeros((3, *x.shape, BENDS))
    xx, xy, yy = x * x, x * y, y * y
    for k, slope in ((0, 2 * x), (1, y), (3, 3 * xx), (4, 2 * xy), (5, yy)):
        first[0, ..., k] = slope
    for k, slope in ((1, x), (2, 2 * y), (4, xx), (5, 2 * xy), (6, 3 * yy)):
        first[1, ..., k] = slope
    for k, bend in ((0, 2.0), (3, 6 * x), (4, 2 * y)):
        second[0, ..., k] = bend
    for k, bend in ((1, 1.0), (4, 2 * x), (5, 2 * y)):
        second[1, ..., k] = bend
    for k, bend in ((2, 2.0), (5, 2 * x), (6, 6 * y)):
        second[2, ..., k] = bend
    return first, second


def position_of(values: Float, basis: Basis) -> Float:
    """Image positions ``(N, 2)`` in half long sides."""
    turn = np.asarray(cv2.Rodrigues(values[TURN:SHIFT])[0], float)
    half = np.exp(np.array([-0.5, 0.5]) * values[ASPECT])
    heights = values[HEIGHTS:]
    at = (basis.at * half + _unstretched(basis, heights) / half) @ turn[:, :2].T
    at += (basis.shapes @ heights)[:, None] * turn[:, 2] + values[SHIFT:FOCAL]
    sight = at[:, :2] / at[:, 2:]
    grow = 1 + values[LENS] * (sight**2).sum(axis=1, keepdims=True)
    return np.asarray(math.exp(values[FOCAL]) * grow * sight + values[AXIS:SPREAD])


def view_of(values: Float, basis: Basis) -> tuple[Float, Float]:
    """Image positions ``(N, 2)`` in half long sides, and derivatives ``(N, 2, 27)``."""
    turn, by_turn = cv2.Rodrigues(values[TURN:SHIFT])
    turn = np.asarray(turn, float)
    by_turn = np.asarray(by_turn, float).reshape(3, 3, 3)
    half = np.exp(np.array([-0.5, 0.5]) * values[ASPECT])
    heights = values[HEIGHTS:]
    within, by_heights = _unstretched(basis, heights), _unstretched_by(basis, heights)
    flat = np.column_stack([basis.at * half + within / half, basis.shapes @ heights])
    spread = np.zeros((len(flat), 3))
    if basis.outward is not None:
        spread[:, :2] = basis.outward
        flat = flat + values[SPREAD] * spread
    at = flat @ turn.T + values[SHIFT:FOCAL]
    depth = at[:, 2:]
    sight = at[:, :2] / depth
    r2 = (sight**2).sum(axis=1, keepdims=True)
    focal = math.exp(values[FOCAL])
    grow = 1 + values[LENS] * r2
    position = focal * grow * sight + values[AXIS:SPREAD]

    by_sight = focal * (
        grow[..., None] * np.eye(2) + 2 * values[LENS] * sight[:, :, None] * sight[:, None]
    )
    by_point = np.concatenate([by_sight, -by_sight @ sight[:, :, None]], axis=2) / depth[..., None]
    in_sheet = by_point @ turn
    by_aspect = (within / half - basis.at * half) / 2 * [1, -1]
    out = np.empty((len(at), 2, COUNT))
    out[..., TURN:SHIFT] = by_point @ (flat @ by_turn.transpose(0, 2, 1)).transpose(1, 2, 0)
    out[..., SHIFT:FOCAL] = by_point
    out[..., FOCAL] = position - values[AXIS:SPREAD]
    out[..., LENS] = focal * r2 * sight
    out[..., ASPECT] = np.einsum("nij,nj->ni", in_sheet[..., :2], by_aspect)
    out[..., AXIS:SPREAD] = np.eye(2)
    out[..., SPREAD] = np.einsum("nij,nj->ni", in_sheet, spread)
    out[..., HEIGHTS:] = in_sheet[..., 2:] * basis.shapes[:, None]
    for k in (0, 1):
        out[..., HEIGHTS : HEIGHTS + BENDS] += (
            in_sheet[..., k, None] * (by_heights[k] / half[k])[:, None]
        )
    return position, out


def _unstretched(basis: Basis, heights: Float) -> Float:
    """Shift ``(N, 2)`` within the plane that keeps lengths; the equation stands at the head.

    In fractions of the sheet as if it were square.
    """
    bends = heights[:BENDS]
    slope, twist = basis.slope @ bends, basis.twist @ bends
    along, bend = basis.along @ bends, basis.bend @ bends
    rest = 1 - _NODES
    within = (slope * along + rest * (slope * bend - along * twist)) @ _WEIGHTS
    return np.asarray(-0.5 * within.T)


def _unstretched_by(basis: Basis, heights: Float) -> Float:
    """Derivatives ``(2, N, 7)`` of `_unstretched` by the bends' heights."""
    bends = heights[:BENDS]
    slope, twist = basis.slope @ bends, basis.twist @ bends
    along, bend = basis.along @ bends, basis.bend @ bends
    rest = 1 - _NODES

    def over(weight: Float, by: Float) -> Float:
        return np.asarray(((weight * _WEIGHTS)[..., None, :] @ by)[..., 0, :])

    return -0.5 * (
        over((along + rest * bend)[None], basis.slope)
        + over(slope - rest * twist, basis.along[None])
        + over(rest * slope, basis.bend[None])
        - over((rest * along)[None], basis.twist)
    )
