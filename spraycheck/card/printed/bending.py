"""The printed card in space: camera, lens and curl, fitted to the corners of its markers.

Paper bends but does not stretch: a curled sheet is, nearly, part of a cylinder of changing
curvature, and lengths along it stay what they were printed as. The card is therefore modelled as
such a cylinder (exact, so that millimetres on the curled card are millimetres on paper), plus a
small twist and four lifted corners that a cylinder cannot have. What the markers do not tell stays
near what is usual and shows up in the covariance.

Notes
-----
Along the bent direction ``s`` the slope angle is ``theta(s) = k0 s + k1 s^2 / 2 + k2 s^3 / 3``, and
the place is the integral of ``(cos theta, sin theta)``, here by 8-point Gauss-Legendre quadrature,
exact to under a micrometre for bends up to half a turn. Camera: pinhole with radial terms
``1 + a r^2 + b r^4`` (D. C. Brown, Photogrammetric Engineering 37 (1971) 855-866).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import Float

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2

_NAMES: Final = (
    *("turn x", "turn y", "turn z", "shift x", "shift y", "shift z"),
    *("log focal", "lens 2", "lens 4", "spread"),
    *("twist", "corner 1", "corner 2", "corner 3", "corner 4"),
    *("axis", "curvature 0", "curvature 1", "curvature 2"),
)
_POSE = 10
_AXIS = 15

LENS_U: Final = (0.03, 0.01)
"""Standard uncertainties of the radial terms; what phones leave after their own correction is about
2 % at the corners (chosen)."""

SPREAD_U_MM: Final = 0.08
"""By how much each side of a printed square may stand out: ink spread, toner, and the camera's
tone curve (chosen: a dot of a 300 dpi printer)."""

TWIST_U_MM: Final = 1.0
CORNER_U_MM: Final = 3.0
"""Standard deviations of twist and lifted corners beyond the cylinder, at the card's corners
(chosen: sheets on a bench)."""

LIFT_U_MM: Final = 12.0
"""Standard deviation of the height the cylinder gives the ends over the middle (chosen)."""


@dataclass(frozen=True, kw_only=True)
class BentCard:
    """A fitted card.

    Parameters
    ----------
    values : (19,) ndarray of float64
        Parameters: turn (rotation vector), shift, log focal, lens terms, spread of the squares,
        twist, four corners, axis and three curvatures.
    covariance : (19, 19) ndarray of float64
        Of ``values``.
    half_mm : (float, float)
        Half width and height of the card.
    middle_px : (float, float)
        Principal point: middle of the photo.
    unit_px : float
        Half the photo's long side.
    noise_px : float
        Scatter of a corner coordinate about the fit.
    """

    values: Float
    covariance: Float
    half_mm: tuple[float, float]
    middle_px: tuple[float, float]
    unit_px: float
    noise_px: float

    def project(self, points_mm: Float) -> Float:
        """Return the photo pixels of ``(K, 2)`` card positions."""
        return _project(self, self.values, np.asarray(points_mm, float))

    def relief(self, points_mm: Float) -> Float:
        """Return heights, mm, of card positions over the plane that touches the middle."""
        return _space(self, self.values, np.asarray(points_mm, float))[:, 2]

    def position_u_mm(self, points_mm: Float) -> Float:
        """Return the standard uncertainty of card positions, from the fit."""
        points = np.asarray(points_mm, float)
        jacobian = _jacobian(self, self.values, points, points * 0)
        spread = np.einsum("ipk,kl,iql->ipq", jacobian, self.covariance, jacobian)
        step = 0.5
        across = self.project(points + [step, 0]) - self.project(points - [step, 0])
        down = self.project(points + [0, step]) - self.project(points - [0, step])
        to_px = np.stack([across, down], axis=2) / (2 * step)
        back = np.linalg.inv(to_px)
        spread = back @ spread @ back.transpose(0, 2, 1)
        return np.asarray(np.sqrt(np.maximum(np.trace(spread, axis1=1, axis2=2), 0) / 2))

    @property
    def tilt_deg(self) -> float:
        """Angle between the line of sight to the card's middle and its normal there."""
        turn = np.asarray(cv2.Rodrigues(self.values[:3].reshape(3, 1))[0], float)
        shift = self.values[3:6]
        sight = shift / np.linalg.norm(shift)
        return math.degrees(math.acos(min(1.0, abs(float(sight @ turn[:, 2])))))


def fit_card(
    points_mm: Float,
    outward: Float,
    seen_px: Float,
    *,
    homography: Float,
    half_mm: tuple[float, float],
    focal_px: float,
    focal_u_log: float,
    size_px: tuple[int, int],
    noise_px: float,
    curl: float = 1.0,
) -> BentCard:
    """Fit camera and curl to corners.

    Parameters
    ----------
    points_mm : (N, 2) ndarray of float64
        Corners on the card.
    outward : (N, 2) ndarray of float64
        By how much a corner moves, mm, when its square's sides stand out by 1 mm: signs.
    seen_px : (N, 2) ndarray of float64
        The same corners in the photo.
    homography : (3, 3) ndarray of float64
        From card to photo, roughly.
    half_mm : (float, float)
        Half width and height of the card.
    focal_px, focal_u_log : float
        Expected focal length and the standard uncertainty of its log.
    size_px : (int, int)
        Width and height of the photo.
    noise_px : float
        Least scatter of a corner coordinate.
    curl : float
        Scales how much curl is expected; 0 keeps the card flat.

    Returns
    -------
    BentCard
    """
    middle = ((size_px[0] - 1) / 2, (size_px[1] - 1) / 2)
    unit = max(size_px) / 2
    start = np.zeros(len(_NAMES))
    start[:7] = _pose(homography, focal_px, middle)
    start[6] -= math.log(unit)
    card = BentCard(
        values=start,
        covariance=np.zeros((len(start), len(start))),
        half_mm=half_mm,
        middle_px=middle,
        unit_px=unit,
        noise_px=noise_px,
    )
    problem = _Problem(
        points=np.asarray(points_mm, float),
        outward=np.asarray(outward, float),
        seen=np.asarray(seen_px, float),
        expected=np.where(np.arange(len(start)) == 6, start[6], 0.0),
        prior_u=_prior_u(half_mm, focal_u_log, max(curl, 1e-6)),
        noise_px=noise_px,
    )
    # Flat first, with room for the curl that is not modelled yet; then from both bending directions
    # of four axes, briefly; then the best to the end.
    stiff = problem.prior_u.copy()
    stiff[_POSE:] *= 1e-6
    size = float(np.ptp(problem.seen, axis=0).max())
    flat = replace(problem, prior_u=stiff, noise_px=max(noise_px, 0.003 * size))
    values = _descend(card, flat, start, rounds=8)
    if curl > 0:
        starts = [values]
        for axis in (0.0, math.pi / 4, math.pi / 2, 3 * math.pi / 4):
            for sign in (-1, 1):
                trial = values.copy()
                trial[_AXIS] = axis
                trial[_AXIS + 1] = sign * 4.0 / max(half_mm) ** 2  # ends lifted by 2 mm
                starts.append(_descend(card, problem, trial, rounds=3))
        values = min(starts, key=lambda v: problem.cost(card, v))
    values = _descend(card, problem, values, rounds=80)
    residual = _corners(card, values, problem.points, problem.outward) - problem.seen
    # Parameters the corners fix cost about one coordinate each; the priors keep the rest.
    free = max(residual.size - len(values), residual.size // 3)
    noise = max(noise_px, math.sqrt(float((residual**2).sum()) / free))
    square, _ = replace(problem, noise_px=noise).normal(card, values)
    return replace(card, values=values, covariance=np.linalg.inv(square), noise_px=noise)


# -- model ------------------------------------------------------------------------------------


def _space(card: BentCard, values: Float, points: Float) -> Float:
    """Place ``(K, 2)`` card positions in space, ``(K, 3)`` mm, z away from the camera's side."""
    axis, k0, k1, k2 = values[_AXIS:]
    cos, sin = math.cos(axis), math.sin(axis)
    s = points[:, 0] * cos + points[:, 1] * sin
    t = points[:, 1] * cos - points[:, 0] * sin
    u = s[:, None] * _NODES
    theta = u * (k0 + u * (k1 / 2 + u * (k2 / 3)))
    along = s * (np.cos(theta) @ _WEIGHTS)
    height = s * (np.sin(theta) @ _WEIGHTS)
    x, y = points[:, 0] / card.half_mm[0], points[:, 1] / card.half_mm[1]
    height = height + values[_POSE] * x * y
    for k, (sx, sy) in enumerate(((-1, -1), (1, -1), (1, 1), (-1, 1))):
        height = height + values[_POSE + 1 + k] * np.maximum((sx * x + sy * y) / 2, 0) ** 3
    return np.column_stack([along * cos - t * sin, along * sin + t * cos, height])


def _project(card: BentCard, values: Float, points: Float) -> Float:
    turn = np.asarray(cv2.Rodrigues(values[:3].reshape(3, 1))[0], float)
    at = _space(card, values, points) @ turn.T + values[3:6]
    sight = at[:, :2] / at[:, 2:]
    r2 = (sight**2).sum(axis=1, keepdims=True)
    focal = math.exp(values[6]) * card.unit_px
    return np.asarray(
        focal * sight * (1 + r2 * (values[7] + r2 * values[8])) + np.array(card.middle_px)
    )


def _corners(card: BentCard, values: Float, points: Float, outward: Float) -> Float:
    return _project(card, values, points + values[9] * outward)


def _jacobian(card: BentCard, values: Float, points: Float, outward: Float) -> Float:
    """Derivatives ``(K, 2, P)`` of the pixels by central differences."""
    steps = np.full(len(values), 1e-4)
    steps[3:6] = 1e-3 * abs(values[5])
    steps[9:_AXIS] = 1e-2
    steps[_AXIS + 1 :] = [1e-6, 1e-8, 1e-10]
    columns = []
    for k, step in enumerate(steps):
        up, down = values.copy(), values.copy()
        up[k] += step
        down[k] -= step
        columns.append(
            (_corners(card, up, points, outward) - _corners(card, down, points, outward))
            / (2 * step)
        )
    return np.stack(columns, axis=2)


def _prior_u(half_mm: tuple[float, float], focal_u_log: float, curl: float) -> Float:
    reach = max(half_mm)
    curvature = 2 * LIFT_U_MM / reach**2
    pose = [1e3] * 3 + [1e6] * 3
    bend = [1e3, curvature, curvature / reach, curvature / reach**2]
    extras = [TWIST_U_MM] + [CORNER_U_MM] * 4
    return np.array(
        [
            *pose,
            focal_u_log,
            *LENS_U,
            SPREAD_U_MM,
            *(curl * e for e in extras),
            bend[0],
            *(curl * b for b in bend[1:]),
        ]
    )


def _pose(homography: Float, focal_px: float, middle: tuple[float, float]) -> Float:
    """Turn, shift and log focal of a flat card seen through a homography."""
    rays = np.array(
        [[1 / focal_px, 0, -middle[0] / focal_px], [0, 1 / focal_px, -middle[1] / focal_px],
         [0, 0, 1]]
    ) @ homography  # fmt: skip
    rays = rays / math.sqrt(np.linalg.norm(rays[:, 0]) * np.linalg.norm(rays[:, 1]))
    if rays[2, 2] < 0:
        rays = -rays
    axes = rays[:, :2] / np.linalg.norm(rays[:, :2], axis=0)
    left, _, right = np.linalg.svd(np.column_stack([axes, np.cross(axes[:, 0], axes[:, 1])]))
    turn = np.asarray(cv2.Rodrigues(left @ right)[0], float).ravel()
    return np.concatenate([turn, rays[:, 2], [math.log(focal_px)]])


# -- fit --------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class _Problem:
    """What is fitted to what: corners on the card and in the photo, and what was known before."""

    points: Float
    outward: Float
    seen: Float
    expected: Float
    prior_u: Float
    noise_px: float

    def cost(self, card: BentCard, values: Float) -> float:
        residual = _corners(card, values, self.points, self.outward) - self.seen
        size = np.sqrt((residual**2).sum(axis=1)) / self.noise_px
        # Huber's loss: squared up to 3 standard deviations, linear beyond.
        loss = np.where(size < 3, size**2, 6 * size - 9)
        offset = (values - self.expected) / self.prior_u
        return float(loss.sum() + offset @ offset)

    def normal(self, card: BentCard, values: Float) -> tuple[Float, Float]:
        """Normal matrix and gradient at ``values``."""
        residual = _corners(card, values, self.points, self.outward) - self.seen
        size = np.sqrt((residual**2).sum(axis=1)) / self.noise_px
        weight = np.minimum(1.0, 3 / np.maximum(size, 1e-9)) / self.noise_px**2
        jacobian = _jacobian(card, values, self.points, self.outward)
        weighted = jacobian * weight[:, None, None]
        square = np.einsum("ipk,ipl->kl", weighted, jacobian) + np.diag(self.prior_u**-2.0)
        gradient = np.einsum("ipk,ip->k", weighted, residual)
        return square, gradient + (values - self.expected) / self.prior_u**2


def _descend(card: BentCard, problem: _Problem, start: Float, *, rounds: int) -> Float:
    """Levenberg-Marquardt."""
    values, damping = start, 1e-6
    cost = problem.cost(card, values)
    for _ in range(rounds):
        square, gradient = problem.normal(card, values)
        scale = np.diag(np.diag(square))
        for _ in range(8):
            trial = values - np.linalg.solve(square + damping * scale, gradient)
            lower = problem.cost(card, trial)
            if lower < cost:
                damping = max(damping / 50, 1e-12)
                break
            damping = max(damping * 50, 1e-9)
        else:
            break
        gain, values, cost = cost - lower, trial, lower
        if gain < 1e-5 * max(cost, 1.0):
            break
    return values
