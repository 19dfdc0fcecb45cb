"""The sheet in space: camera pose, focal length, proportions and curl, fitted to edge points.

A photo of a sheet is explained by a pinhole camera with one radial lens term looking at a
rectangle whose height above its own plane is a gentle bend plus lifted corners: what paper does on
a bench. Everything is fitted at once by robust least squares with honest priors, so what
the edges do not tell (focal length of a square-on view, curl across a side that is hidden) stays
near what is usual and shows up in the covariance.

Units. Photo positions are in half long sides of the photo from its middle; the sheet's are in
half square roots of its area, so a rectangle of ``log(height / width) = a`` reaches to
``exp(-a/2)`` and ``exp(a/2)``.

Notes
-----
Proportions of a rectangle from its perspective: Zhang, Z. & He, L.-W. (2007), "Whiteboard scanning
and image enhancement", Digital Signal Processing 17, 414-432, doi:10.1016/j.dsp.2006.05.006. There
the four corners give them in closed form; here they are one unknown of the same fit that uses
every edge point and the focal length's own uncertainty.

Slopes are taken as small: a sheet that bulges by 3 % of its length is shortened by 0.25 % of it
(8/3 of the square of the bulge), which the tolerance of cut paper in the fit takes up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from spraycheck.pattern.containers import Float

FOCAL_35MM = 26.0
"""Equivalent focal length of a phone's main camera in mm (24 to 28 on current phones; chosen as the
middle)."""

FOCAL_U_LOG = 0.2
"""Standard uncertainty of the log of it when the photo does not say: covers 24 to 28 mm with
electronic stabilisation, and mild digital zoom."""

FOCAL_EXIF_U_LOG = 0.04
"""The same when EXIF says: the tag is rounded to whole mm and cropping is not told."""

LENS_U = 0.03
"""Standard uncertainty of the radial term: 2 % at the corners of a 26 mm picture, what phones leave
after their own correction (chosen)."""

CUT_U_LOG = 0.004
"""Standard uncertainty of the log proportions of a cut sheet: ISO 216 allows 2 mm on sides of 150 to
600 mm (the tolerance of a rectangular distribution over root 3, on A4, in both sides)."""

BEND_U = 0.04
TWIST_U = 0.02
CORNER_U = 0.10
"""Standard deviations of the heights of bend, odd bend and lifted corners, in half square roots of
the sheet's area (0.1 = 12 mm on A4; chosen: sheets on a bench)."""

_DENSE = 41  # positions along a side at which it is drawn; a bent side is straight between two
_POSE = 9  # rotation 3, translation 3, log focal, lens, log proportions


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
    heights : (K,) ndarray of float64
        Coefficients of the curl, see `_curl`.
    middle_px : (2,) ndarray of float64
        Middle of the full photo.
    unit_px : float
        Half the photo's long side in pixels.
    covariance : (9 + K, 9 + K) ndarray of float64
        Of all parameters in this order.
    residual_px : float
        Robust scatter of edge points about the fit, full-photo pixels.
    """

    rotation: Float
    shift: Float
    log_focal: float
    lens: float
    log_aspect: float
    heights: Float
    middle_px: Float
    unit_px: float
    covariance: Float
    residual_px: float

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
        return _image(self, x, y)[0] * self.unit_px + self.middle_px

    def relief(self, x: Float, y: Float) -> Float:
        """Height above the sheet's plane, towards the bench, in half square roots of its area."""
        return np.asarray(_curl(x, y) @ self.heights)

    def position_u(self, x: Float, y: Float) -> Float:
        """Standard uncertainty of positions on the sheet, half square roots of its area."""
        position, jacobian = _image(self, x, y)
        step = 1e-4
        half = np.exp(np.array([-0.5, 0.5]) * self.log_aspect)
        across = (_image(self, x + step, y)[0] - position) / (step * half[0])
        down = (_image(self, x, y + step)[0] - position) / (step * half[1])
        local = np.stack([across, down], axis=2)
        moved = np.linalg.solve(local, jacobian)
        spread = np.einsum("nip,pq,niq->n", moved, self.covariance, moved)
        return np.sqrt(np.maximum(spread, 0) / 2)


@dataclass(frozen=True, kw_only=True)
class EdgePoints:
    """Edge points found along one side, in order.

    Parameters
    ----------
    side : int
        0 top, 1 right, 2 bottom, 3 left, as walked clockwise from the first corner.
    points_px : (K, 2) ndarray of float64
        Full-photo pixels.
    weight : (K,) ndarray of float64
        0 to 1.
    """

    side: int
    points_px: Float
    weight: Float


def _curl(x: Float, y: Float) -> Float:
    """Shapes a sheet bends into, ``(N, K)``, each 0 in the middle and about 1 at its end."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = [x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        along = np.maximum((sx * x + sy * y) / 2, 0)
        shapes += [along**3, np.maximum(along - 0.4, 0) ** 2 / 0.36]
    return np.stack(shapes, axis=1)


def _curl_u() -> Float:
    return np.array([BEND_U] * 3 + [TWIST_U] * 4 + [CORNER_U] * 8)


def _image(surface: Surface, x: Float, y: Float) -> tuple[Float, Float]:
    """Image positions ``(N, 2)`` in half long sides, and their derivatives ``(N, 2, P)``."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = _curl(x, y)
    half = np.exp(np.array([-0.5, 0.5]) * surface.log_aspect)
    flat = np.stack([half[0] * x, half[1] * y, shapes @ surface.heights], axis=1)
    turned = flat @ surface.rotation.T
    at = turned + surface.shift
    n, bends = len(x), shapes.shape[1]
    move = np.zeros((n, 3, _POSE + bends))
    # A small turn w moves a point p by w x p.
    move[:, 0, 1], move[:, 0, 2] = turned[:, 2], -turned[:, 1]
    move[:, 1, 0], move[:, 1, 2] = -turned[:, 2], turned[:, 0]
    move[:, 2, 0], move[:, 2, 1] = turned[:, 1], -turned[:, 0]
    move[:, 0, 3] = move[:, 1, 4] = move[:, 2, 5] = 1
    stretched = np.stack([-flat[:, 0] / 2, flat[:, 1] / 2, np.zeros(n)], axis=1)
    move[:, :, 8] = stretched @ surface.rotation.T
    move[:, :, _POSE:] = surface.rotation[None, :, 2:] * shapes[:, None, :]

    depth = at[:, 2:]
    view = at[:, :2] / depth
    turn = (move[:, :2] - view[:, :, None] * move[:, 2:]) / depth[:, :, None]
    r2 = (view**2).sum(axis=1)
    grow = 1 + surface.lens * r2
    inward = np.einsum("ni,nip->np", view, turn)
    bent = grow[:, None, None] * turn + 2 * surface.lens * view[:, :, None] * inward[:, None, :]
    bent[:, :, 7] += view * r2[:, None]
    focal = np.exp(surface.log_focal)
    position = focal * grow[:, None] * view
    bent *= focal
    bent[:, :, 6] += position
    return position, bent


def side_positions(side: int, along: Float) -> tuple[Float, Float]:
    """Sheet fractions of positions along a side (-1 at its first corner, 1 at its second)."""
    one = np.ones_like(along)
    x, y = ((along, -one), (one, along), (-along, one), (-one, -along))[side]
    return x, y


def pose_from_corners(
    corners_px: Float,
    *,
    log_aspect: float | None,
    focal_px: float,
    width_px: int,
    height_px: int,
) -> Surface:
    """Place a flat sheet so that its corners fall on four given ones.

    Without ``log_aspect`` the proportions follow from the focal length.
    """
    middle = np.array([(width_px - 1) / 2, (height_px - 1) / 2])
    unit = max(width_px, height_px) / 2
    focal = focal_px / unit
    image = (np.asarray(corners_px, float) - middle) / unit
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], float)
    plane = cv2.getPerspectiveTransform(square.astype(np.float32), image.astype(np.float32))
    rays = np.diag([1 / focal, 1 / focal, 1.0]) @ plane
    lengths = np.linalg.norm(rays[:, :2], axis=0)
    if log_aspect is None:
        log_aspect = float(np.clip(np.log(lengths[1] / lengths[0]), -1.2, 1.2))
    rays /= np.sqrt(lengths[0] * lengths[1])
    if rays[2, 2] < 0:
        rays = -rays
    axes = rays[:, :2] / np.linalg.norm(rays[:, :2], axis=0)
    frame = np.column_stack([axes, np.cross(axes[:, 0], axes[:, 1])])
    left, _, right = np.linalg.svd(frame)
    bends = len(_curl_u())
    return Surface(
        rotation=left @ right,
        shift=rays[:, 2],
        log_focal=float(np.log(focal)),
        lens=0.0,
        log_aspect=log_aspect,
        heights=np.zeros(bends),
        middle_px=middle,
        unit_px=unit,
        covariance=np.zeros((_POSE + bends, _POSE + bends)),
        residual_px=0.0,
    )


def fit_surface(
    start: Surface,
    edges: tuple[EdgePoints, ...],
    *,
    focal_u_log: float,
    aspect_u_log: float,
    bend: float = 1.0,
    noise_px: float = 0.4,
    rounds: int = 20,
) -> Surface:
    """Fit pose, focal length, lens, proportions and curl to edge points.

    Parameters
    ----------
    start : Surface
        First guess; its focal length and proportions are also the priors' centres.
    edges : tuple of EdgePoints
        Sides that were seen; a hidden side is left out.
    focal_u_log, aspect_u_log : float
        Standard uncertainties of the priors.
    bend : float
        Scales the curl's priors; a tiny value keeps the sheet flat.
    noise_px : float
        Least scatter of an edge point, full-photo pixels.
    rounds : int
        Most Gauss-Newton steps.

    Returns
    -------
    Surface
    """
    prior_at = _vector(start)
    prior_at[9:] = 0
    prior_at[7] = 0
    inverse_u = np.zeros(len(prior_at))
    inverse_u[6] = 1 / focal_u_log
    inverse_u[7] = 1 / LENS_U
    inverse_u[8] = 1 / aspect_u_log
    inverse_u[9:] = 1 / (_curl_u() * bend)
    # Pose parameters have no prior; a trace of one keeps the normal matrix regular when sides
    # are missing.
    inverse_u[:6] = 1e-2

    current, damping = start, 1e-3
    scale = np.inf
    for _ in range(rounds):
        residual, jacobian, weight = _residuals(current, edges)
        if len(residual) == 0:
            break
        spread = 1.4826 * float(np.median(np.abs(residual))) * current.unit_px
        # The scatter may only shrink between rounds, so that the cost is comparable.
        scale = min(scale, max(spread, noise_px))
        trust = weight * _tukey(residual * current.unit_px, 5 * scale)
        precision = _precision(trust, scale / current.unit_px)
        offset = _vector(current) - prior_at
        offset[:6] = 0
        gradient = jacobian.T @ (precision * residual) + inverse_u**2 * offset
        normal = (jacobian.T * precision) @ jacobian + np.diag(inverse_u**2)
        cost = _cost(residual, current.unit_px, scale, weight, offset, inverse_u)
        improved = False
        for _ in range(8):
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
            trial = _moved(current, step)
            moved, _, weight2 = _residuals(trial, edges)
            offset2 = _vector(trial) - prior_at
            offset2[:6] = 0
            cost2 = _cost(moved, current.unit_px, scale, weight2, offset2, inverse_u)
            if cost2 < cost:
                improved = True
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if not improved:
            break
        current = trial
        if cost - cost2 < 1e-4 * max(cost, 1.0):
            break
    return _with_covariance(current, edges, inverse_u, noise_px)


def _residuals(surface: Surface, edges: tuple[EdgePoints, ...]) -> tuple[Float, Float, Float]:
    """Distance of each edge point from its side, its derivatives, its weight."""
    along = np.linspace(-1.0, 1.0, _DENSE)
    all_x, all_y, normals, targets, weights = [], [], [], [], []
    for edge in edges:
        drawn = _image(surface, *side_positions(edge.side, along))[0]
        chord = drawn[-1] - drawn[0]
        chord /= np.linalg.norm(chord) + 1e-12
        seen = (edge.points_px - surface.middle_px) / surface.unit_px
        at = np.interp(seen @ chord, drawn @ chord, along)
        tangent = np.gradient(drawn, axis=0)
        way = np.stack([np.interp(at, along, tangent[:, k]) for k in (0, 1)], axis=1)
        way /= np.linalg.norm(way, axis=1, keepdims=True) + 1e-12
        x, y = side_positions(edge.side, at)
        all_x.append(x)
        all_y.append(y)
        normals.append(np.stack([way[:, 1], -way[:, 0]], axis=1))
        targets.append(seen)
        weights.append(edge.weight)
    if not all_x:
        return np.empty(0), np.empty((0, _POSE + len(_curl_u()))), np.empty(0)
    position, derivative = _image(surface, np.concatenate(all_x), np.concatenate(all_y))
    normal = np.concatenate(normals)
    residual = ((position - np.concatenate(targets)) * normal).sum(axis=1)
    return residual, np.einsum("nip,ni->np", derivative, normal), np.concatenate(weights)


def _tukey(residual: Float, reach: float) -> Float:
    """Tukey's biweight: 1 at zero, 0 from ``reach`` on."""
    return np.where(np.abs(residual) < reach, (1 - (residual / reach) ** 2) ** 2, 0.0)


def _precision(trust: Float, scale: float) -> Float:
    # Neighbouring edge points share blur, paper texture and what the curl model lacks: the points
    # count as a quarter of their number (chosen; checked against sheets of known truth).
    return trust / (4 * scale**2)


def _cost(
    residual: Float, unit_px: float, scale: float, weight: Float, offset: Float, inverse_u: Float
) -> float:
    reach = 5 * scale
    part = np.clip((residual * unit_px / reach) ** 2, 0, 1)
    loss = reach**2 / 3 * (1 - (1 - part) ** 3)
    return float((weight * loss).sum() / (4 * scale**2) + ((inverse_u * offset) ** 2).sum())


def _vector(surface: Surface) -> Float:
    head = [surface.log_focal, surface.lens, surface.log_aspect]
    return np.concatenate([np.zeros(6), head, surface.heights])


def _moved(surface: Surface, step: Float) -> Surface:
    turn = np.asarray(cv2.Rodrigues(step[:3].reshape(3, 1))[0], float)
    return replace(
        surface,
        rotation=turn @ surface.rotation,
        shift=surface.shift + step[3:6],
        log_focal=surface.log_focal + float(step[6]),
        lens=surface.lens + float(step[7]),
        log_aspect=surface.log_aspect + float(step[8]),
        heights=surface.heights + step[9:],
    )


def _with_covariance(
    surface: Surface, edges: tuple[EdgePoints, ...], inverse_u: Float, noise_px: float
) -> Surface:
    residual, jacobian, weight = _residuals(surface, edges)
    if len(residual) == 0:
        return surface
    scale = max(1.4826 * float(np.median(np.abs(residual))) * surface.unit_px, noise_px)
    trust = weight * _tukey(residual * surface.unit_px, 5 * scale)
    precision = _precision(trust, scale / surface.unit_px)
    normal = (jacobian.T * precision) @ jacobian + np.diag(inverse_u**2)
    return replace(surface, covariance=np.linalg.inv(normal), residual_px=scale)
