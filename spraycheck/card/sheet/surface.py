"""The sheet in space: camera pose, focal length, lens, proportions and curl.

A photo of a sheet is explained by a pinhole camera with one radial lens term looking at a
rectangle whose height above its own plane is a gentle bend plus lifted corners: what paper does on
a bench. `adjustment` fits it to edge points.

Units. Photo positions are in half long sides of the photo from its middle; the sheet's are in
half square roots of its area, so a rectangle of ``log(height / width) = a`` reaches to
``exp(-a/2)`` and ``exp(a/2)``.

Notes
-----
Slopes are taken as small: a sheet that bulges by 3 % of its length is shortened by 0.25 % of it
(8/3 of the square of the bulge), which the tolerance of cut paper in the fit takes up.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck.arrays import Float

SHAPES = 15  # ways to bend, see `curl_shapes`
POSE = 11  # rotation 3, translation 3, log focal, lens, log proportions, middle of the lens 2


@dataclass(frozen=True, kw_only=True)
class Surface:
    """A fitted sheet.

    Parameters
    ----------
    rotation : (3, 3) ndarray of float64
        Sheet axes to camera axes.
    shift : (3,) ndarray of float64
        Sheet's middle in camera axes.
    log_focal : float
        Log of the focal length in half long sides of the photo.
    lens : float
        Radial term: positions grow by ``1 + lens r^2`` (r as tangent of the view angle).
    log_aspect : float
        Log of height over width.
    axis : (2,) ndarray of float64
        Where the lens looks straight ahead, half long sides from the photo's middle.
    heights : (K,) ndarray of float64
        Coefficients of the curl, see `curl_shapes`.
    middle_px : (2,) ndarray of float64
        Middle of the full photo.
    unit_px : float
        Half the photo's long side in pixels.
    covariance : (11 + K, 11 + K) ndarray of float64
        Of all parameters in this order.
    residual_px : float
        Robust scatter of edge points about the fit, full-photo pixels.
    misfit : float
        What was minimised: weighted squares of the residuals and of the departures from the prior.
    """

    rotation: Float
    shift: Float
    log_focal: float
    lens: float
    log_aspect: float
    axis: Float
    heights: Float
    middle_px: Float
    unit_px: float
    covariance: Float
    residual_px: float
    misfit: float = 0.0

    @property
    def aspect_u_log(self) -> float:
        """Standard uncertainty of the log of height over width."""
        return float(np.sqrt(max(self.covariance[8, 8], 0.0)))

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight to the sheet's middle and the sheet's normal."""
        sight = self.shift / np.linalg.norm(self.shift)
        return float(np.degrees(np.arccos(np.clip(abs(sight @ self.rotation[:, 2]), 0, 1))))

    def project(self, x: Float, y: Float) -> Float:
        """Full-photo pixels of sheet positions given as fractions (-1 to 1 across the sheet)."""
        return view_of(self, x, y).position * self.unit_px + self.middle_px

    def relief(self, x: Float, y: Float) -> Float:
        """Height above the sheet's plane, towards the bench, in half square roots of its area."""
        return np.asarray(curl_shapes(x, y) @ self.heights)

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
        seen = view_of(self, x, y)
        jacobian = np.stack(
            [seen.derivative(np.tile(axis, (len(x), 1))) for axis in np.eye(2)], axis=1
        )
        step = 1e-4
        half = np.exp(np.array([-0.5, 0.5]) * self.log_aspect)
        across = (view_of(self, x + step, y).position - seen.position) / (step * half[0])
        down = (view_of(self, x, y + step).position - seen.position) / (step * half[1])
        local = np.stack([across, down], axis=2)
        moved = np.linalg.solve(local, jacobian).reshape(2 * len(x), -1)
        at = np.stack([x * half[0], y * half[1]], axis=1)
        at = at - at.mean(axis=0)
        common = [np.tile([1.0, 0.0], len(x)), np.tile([0.0, 1.0], len(x))]
        common.append((at[:, ::-1] * [-1, 1]).ravel())
        if not scale_known:
            common.append(at.ravel())
        basis, _ = np.linalg.qr(np.stack(common, axis=1))
        moved = moved - basis @ (basis.T @ moved)
        spread = ((moved @ self.covariance) * moved).sum()
        return float(np.sqrt(max(spread, 0.0) / (2 * len(x))))


def curl_shapes(x: Float, y: Float) -> Float:
    """Shapes a sheet bends into, ``(N, K)``, each 0 in the middle and about 1 at its end."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = [x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        along = np.maximum((sx * x + sy * y) / 2, 0)
        shapes += [along**3, np.maximum(along - 0.4, 0) ** 2 / 0.36]
    return np.stack(shapes, axis=1)


@dataclass(frozen=True, kw_only=True)
class View:
    """Sheet positions as the camera sees them, with what their derivatives need."""

    surface: Surface
    shapes: Float
    flat: Float
    turned: Float
    sight: Float
    depth: Float
    grow: Float
    position: Float

    def derivative(self, along: Float) -> Float:
        """Derivatives ``(N, P)`` of the image positions' components along ``(N, 2)`` vectors."""
        surface, sight = self.surface, self.sight
        focal = np.exp(surface.log_focal)
        along_sight = (along * sight).sum(axis=1)
        # Chain rule backwards: by the line of sight first, then by the point in space.
        by_sight = focal * (
            self.grow[:, None] * along + 2 * surface.lens * along_sight[:, None] * sight
        )
        by_point = np.column_stack([by_sight, -(by_sight * sight).sum(axis=1)]) / self.depth
        in_sheet = by_point @ surface.rotation
        r2 = (sight**2).sum(axis=1)
        return np.column_stack(
            [
                # A small turn w moves a point p by w x p, so a gradient g counts as p x g.
                np.cross(self.turned, by_point),
                by_point,
                (along * (self.position - surface.axis)).sum(axis=1),
                focal * r2 * along_sight,
                (in_sheet[:, 1] * self.flat[:, 1] - in_sheet[:, 0] * self.flat[:, 0]) / 2,
                along,
                in_sheet[:, 2:] * self.shapes,
            ]
        )


def view_of(surface: Surface, x: Float, y: Float, shapes: Float | None = None) -> View:
    """Image positions, in half long sides, of sheet positions given as fractions."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = curl_shapes(x, y) if shapes is None else shapes
    half = np.exp(np.array([-0.5, 0.5]) * surface.log_aspect)
    flat = np.stack([half[0] * x, half[1] * y, shapes @ surface.heights], axis=1)
    turned = flat @ surface.rotation.T
    at = turned + surface.shift
    depth = at[:, 2:]
    sight = at[:, :2] / depth
    grow = 1 + surface.lens * (sight**2).sum(axis=1)
    position = np.exp(surface.log_focal) * grow[:, None] * sight + surface.axis
    return View(
        surface=surface,
        shapes=shapes,
        flat=flat,
        turned=turned,
        sight=sight,
        depth=depth,
        grow=grow,
        position=position,
    )


def side_positions(side: int, along: Float) -> tuple[Float, Float]:
    """Sheet fractions of positions along a side (-1 at its first corner, 1 at its second)."""
    one = np.ones_like(along)
    x, y = ((along, -one), (one, along), (-along, one), (-one, -along))[side]
    return x, y


def pose_from_corners(
    corners_px: Float,
    *,
    focal_px: float,
    width_px: int,
    height_px: int,
) -> Surface:
    """Place a flat sheet so that its corners fall on four given ones.

    Its proportions follow from the focal length.

    References
    ----------
    Zhang, Z. & He, L.-W. (2007), "Whiteboard scanning and image enhancement", Digital Signal
    Processing 17, 414-432, doi:10.1016/j.dsp.2006.05.006.
    """
    middle = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    unit = max(width_px, height_px) / 2
    focal = focal_px / unit
    image = (np.asarray(corners_px, float) - middle) / unit
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    plane = np.asarray(
        cv2.getPerspectiveTransform(square.astype(np.float32), image.astype(np.float32)), float
    )
    rays = np.diag([1 / focal, 1 / focal, 1.0]) @ plane
    lengths = np.linalg.norm(rays[:, :2], axis=0)
    log_aspect = float(np.clip(np.log(lengths[1] / lengths[0]), -1.2, 1.2))
    rays /= np.sqrt(lengths[0] * lengths[1])
    if rays[2, 2] < 0:
        rays = -rays
    axes = rays[:, :2] / np.linalg.norm(rays[:, :2], axis=0)
    frame = np.column_stack([axes, np.cross(axes[:, 0], axes[:, 1])])
    left, _, right = np.linalg.svd(frame)
    return Surface(
        rotation=left @ right,
        shift=rays[:, 2],
        log_focal=float(np.log(focal)),
        lens=0.0,
        log_aspect=log_aspect,
        axis=np.zeros(2),
        heights=np.zeros(SHAPES),
        middle_px=middle,
        unit_px=unit,
        covariance=np.zeros((POSE + SHAPES, POSE + SHAPES)),
        residual_px=0.0,
    )
