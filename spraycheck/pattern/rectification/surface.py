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

AXIS_U = 0.03
"""Standard uncertainty of where the lens looks, half long sides: 1.5 % of the long side (image
stabilisation and light cropping; chosen)."""

CUT_U_LOG = 0.004
"""Standard uncertainty of the log proportions of a cut sheet: ISO 216 allows 1.5 to 2 mm a side (a
rectangular distribution over root 3, on both sides of A4, is 0.6 to 0.7 %; good cutters do better).
"""

BEND_U = 0.04
TWIST_U = 0.005
CORNER_U = 0.10
"""Standard deviations of the heights of bend, odd bend and lifted corners, in half square roots of
the sheet's area (0.1 = 12 mm on A4; chosen: sheets on a bench)."""

TUKEY_REACH = 5.0
"""Edge points further off than this many standard deviations count for nothing (4.685 gives 95 %
efficiency on normal errors: Holland & Welsch 1977; rounded up)."""

SHARED = 4.0
"""Neighbouring edge points share blur, paper texture and what the curl model lacks: they count as a
quarter of their number (chosen; checked against sheets of known truth)."""

_DENSE = 41  # positions along a side at which it is drawn; a bent side is straight between two
_SHAPES = 15  # ways to bend, see `_curl`
_POSE = 11  # rotation 3, translation 3, log focal, lens, log proportions, middle of the lens 2


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
        Coefficients of the curl, see `_curl`.
    middle_px : (2,) ndarray of float64
        Middle of the full photo.
    unit_px : float
        Half the photo's long side in pixels.
    covariance : (11 + K, 11 + K) ndarray of float64
        Of all parameters in this order.
    residual_px : float
        Robust scatter of edge points about the fit, full-photo pixels.
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
        return _view(self, x, y).position * self.unit_px + self.middle_px

    def relief(self, x: Float, y: Float) -> Float:
        """Height above the sheet's plane, towards the bench, in half square roots of its area."""
        return np.asarray(_curl(x, y) @ self.heights)

    def position_u(self, x: Float, y: Float) -> Float:
        """Standard uncertainty of positions on the sheet, half square roots of its area."""
        seen = _view(self, x, y)
        axes = np.eye(2)
        jacobian = np.stack([seen.derivative(np.tile(axis, (len(x), 1))) for axis in axes], axis=1)
        step = 1e-4
        half = np.exp(np.array([-0.5, 0.5]) * self.log_aspect)
        across = (_view(self, x + step, y).position - seen.position) / (step * half[0])
        down = (_view(self, x, y + step).position - seen.position) / (step * half[1])
        moved = np.linalg.solve(np.stack([across, down], axis=2), jacobian)
        spread = ((moved @ self.covariance) * moved).sum(axis=(1, 2))
        return np.asarray(np.sqrt(np.maximum(spread, 0) / 2))


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


@dataclass(frozen=True, kw_only=True)
class Prior:
    """What was known before any edge was seen.

    Parameters
    ----------
    log_focal, focal_u_log : float
        Log of the focal length in half long sides of the photo, and its standard uncertainty.
    log_aspect, aspect_u_log : float
        Log of height over width, and its standard uncertainty.
    curl : float
        Scales the standard deviations of all curl; a tiny value keeps the sheet flat.
    """

    log_focal: float
    focal_u_log: float
    log_aspect: float
    aspect_u_log: float
    curl: float = 1.0

    def centre(self) -> Float:
        """Expected parameters, pose left at 0."""
        head = np.array([0.0] * 6 + [self.log_focal, 0.0, self.log_aspect, 0.0, 0.0])
        return np.concatenate([head, np.zeros(_SHAPES)])

    def inverse_u(self) -> Float:
        """Inverse standard uncertainties; pose has no prior but a trace that keeps it regular."""
        head = [1e-2] * 6 + [1 / self.focal_u_log, 1 / LENS_U, 1 / self.aspect_u_log]
        head += [1 / AXIS_U] * 2
        spread = np.array([BEND_U] * 3 + [TWIST_U] * 4 + [CORNER_U] * 8) * self.curl
        return np.concatenate([head, 1 / spread])


def _curl(x: Float, y: Float) -> Float:
    """Shapes a sheet bends into, ``(N, K)``, each 0 in the middle and about 1 at its end."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = [x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3]
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        along = np.maximum((sx * x + sy * y) / 2, 0)
        shapes += [along**3, np.maximum(along - 0.4, 0) ** 2 / 0.36]
    return np.stack(shapes, axis=1)


@dataclass(frozen=True, kw_only=True)
class _View:
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


def _view(surface: Surface, x: Float, y: Float, shapes: Float | None = None) -> _View:
    """Image positions, in half long sides, of sheet positions given as fractions."""
    x, y = np.asarray(x, float).ravel(), np.asarray(y, float).ravel()
    shapes = _curl(x, y) if shapes is None else shapes
    half = np.exp(np.array([-0.5, 0.5]) * surface.log_aspect)
    flat = np.stack([half[0] * x, half[1] * y, shapes @ surface.heights], axis=1)
    turned = flat @ surface.rotation.T
    at = turned + surface.shift
    depth = at[:, 2:]
    sight = at[:, :2] / depth
    grow = 1 + surface.lens * (sight**2).sum(axis=1)
    position = np.exp(surface.log_focal) * grow[:, None] * sight + surface.axis
    return _View(
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
    return Surface(
        rotation=left @ right,
        shift=rays[:, 2],
        log_focal=float(np.log(focal)),
        lens=0.0,
        log_aspect=log_aspect,
        axis=np.zeros(2),
        heights=np.zeros(_SHAPES),
        middle_px=middle,
        unit_px=unit,
        covariance=np.zeros((_POSE + _SHAPES, _POSE + _SHAPES)),
        residual_px=0.0,
    )


def fit_surface(
    start: Surface,
    edges: tuple[EdgePoints, ...],
    prior: Prior,
    *,
    noise_px: float = 0.4,
    rounds: int = 25,
) -> Surface:
    """Fit pose, focal length, lens, proportions and curl to edge points.

    Parameters
    ----------
    start : Surface
        First guess.
    edges : tuple of EdgePoints
        Sides that were seen; a hidden side is left out.
    prior : Prior
        What was known before.
    noise_px : float
        Least scatter of an edge point, full-photo pixels.
    rounds : int
        Most Gauss-Newton steps.

    Returns
    -------
    Surface

    Notes
    -----
    Levenberg-Marquardt on Tukey's biweight, with derivatives in closed form: the scatter is
    estimated anew each round and may only shrink, so costs stay comparable.
    """
    edges = tuple(edge for edge in edges if len(edge.points_px))
    if not edges:
        return start
    centre, inverse_u = prior.centre(), prior.inverse_u()
    current, damping, scale = start, 1e-9, np.inf
    residual, view, normal = _residuals(current, edges)
    weight = np.concatenate([edge.weight for edge in edges])
    for _ in range(rounds):
        spread = 1.4826 * float(np.median(np.abs(residual))) * current.unit_px
        scale = min(scale, max(spread, noise_px))
        jacobian = view.derivative(normal)
        precision = _precision(residual * current.unit_px, weight, scale) * current.unit_px**2
        offset = _vector(current) - centre
        gradient = jacobian.T @ (precision * residual) + inverse_u**2 * offset
        square = (jacobian.T * precision) @ jacobian + np.diag(inverse_u**2)
        cost = _cost(residual * current.unit_px, weight, scale, inverse_u * offset)
        for _ in range(8):
            step = np.linalg.solve(square + damping * np.diag(np.diag(square)), -gradient)
            trial = _moved(current, step)
            moved, view, normal = _residuals(trial, edges)
            after = inverse_u * (_vector(trial) - centre)
            lower = _cost(moved * current.unit_px, weight, scale, after)
            if lower < cost:
                damping = max(damping / 100, 1e-12)
                break
            damping *= 100
        else:
            break
        current, residual = trial, moved
        if cost - lower < 1e-3 * max(cost, 1.0):
            break
    residual, view, normal = _residuals(current, edges)
    scale = max(1.4826 * float(np.median(np.abs(residual))) * current.unit_px, noise_px)
    jacobian = view.derivative(normal)
    precision = _precision(residual * current.unit_px, weight, scale) * current.unit_px**2
    square = (jacobian.T * precision) @ jacobian + np.diag(inverse_u**2)
    return replace(current, covariance=np.linalg.inv(square), residual_px=scale)


def _residuals(surface: Surface, edges: tuple[EdgePoints, ...]) -> tuple[Float, _View, Float]:
    """Distance of each edge point from its side, the side's points nearest, their normals."""
    places, targets, normals = [], [], []
    drawn = _view(surface, *_DENSE_SIDES, _DENSE_SHAPES).position.reshape(4, -1, 2)
    for edge in edges:
        line = drawn[edge.side]
        chord = line[-1] - line[0]
        chord = chord / (np.linalg.norm(chord) + 1e-12)
        seen = (edge.points_px - surface.middle_px) / surface.unit_px
        line_at, seen_at = line @ chord, seen @ chord
        after = np.clip(np.searchsorted(line_at, seen_at), 1, _DENSE - 1)
        way = line[after] - line[after - 1]
        part = (seen_at - line_at[after - 1]) / (line_at[after] - line_at[after - 1] + 1e-12)
        at = _DENSE_ALONG[after - 1] + np.clip(part, 0, 1) * (2 / (_DENSE - 1))
        way /= np.sqrt((way**2).sum(axis=1, keepdims=True)) + 1e-12
        places.append(side_positions(edge.side, at))
        targets.append(seen)
        normals.append(np.stack([way[:, 1], -way[:, 0]], axis=1))
    x, y = (np.concatenate([place[k] for place in places]) for k in (0, 1))
    view = _view(surface, x, y)
    normal = np.concatenate(normals)
    residual = ((view.position - np.concatenate(targets)) * normal).sum(axis=1)
    return residual, view, normal


def _precision(residual_px: Float, weight: Float, scale: float) -> Float:
    """Inverse variance of each edge point; Tukey's biweight leaves out what lies far off."""
    trust = np.maximum(1 - (residual_px / (TUKEY_REACH * scale)) ** 2, 0) ** 2
    return weight * trust / (SHARED * scale**2)


def _cost(residual_px: Float, weight: Float, scale: float, prior: Float) -> float:
    reach = TUKEY_REACH * scale
    part = np.minimum((residual_px / reach) ** 2, 1)
    loss = reach**2 / 3 * (1 - (1 - part) ** 3)
    return float((weight * loss).sum() / (SHARED * scale**2) + (prior**2).sum())


def _vector(surface: Surface) -> Float:
    head = [surface.log_focal, surface.lens, surface.log_aspect, *surface.axis]
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
        axis=surface.axis + step[9:11],
        heights=surface.heights + step[_POSE:],
    )


_DENSE_ALONG = np.linspace(-1.0, 1.0, _DENSE)
_DENSE_SIDES = tuple(
    np.concatenate([side_positions(side, _DENSE_ALONG)[k] for side in range(4)]) for k in (0, 1)
)
_DENSE_SHAPES = _curl(*_DENSE_SIDES)
