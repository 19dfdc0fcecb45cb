"""Fit the sheet in space to its edge points.

Everything is fitted at once by robust least squares with honest priors, so what the edges do not
tell (focal length of a square-on view, curl across a side that is hidden) stays near what is usual
and shows up in the covariance.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from spraycheck.arrays import Float
from spraycheck.card.sheet.surface import (
    POSE,
    SHAPES,
    Surface,
    View,
    curl_shapes,
    side_positions,
    view_of,
)

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

_DENSE = 41  # positions along a side at which it is drawn; straight between two


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
        return np.concatenate([head, np.zeros(SHAPES)])

    def inverse_u(self) -> Float:
        """Inverse standard uncertainties; pose has no prior but a trace that keeps it regular."""
        head = [1e-2] * 6 + [1 / self.focal_u_log, 1 / LENS_U, 1 / self.aspect_u_log]
        head += [1 / AXIS_U] * 2
        spread = np.array([BEND_U] * 3 + [TWIST_U] * 4 + [CORNER_U] * 8) * self.curl
        return np.concatenate([head, 1 / spread])


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
    offset = inverse_u * (_vector(current) - centre)
    # Counted with the least scatter, so that fits to the same points can be compared.
    misfit = _cost(residual * current.unit_px, weight, noise_px, offset)
    return replace(current, covariance=np.linalg.inv(square), residual_px=scale, misfit=misfit)


def _residuals(surface: Surface, edges: tuple[EdgePoints, ...]) -> tuple[Float, View, Float]:
    """Distance of each edge point from its side, the side's points nearest, their normals."""
    places, targets, normals = [], [], []
    drawn = view_of(surface, _DENSE_X, _DENSE_Y, _DENSE_SHAPES).position.reshape(4, -1, 2)
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
    view = view_of(surface, x, y)
    normal = np.concatenate(normals)
    residual = ((view.position - np.concatenate(targets)) * normal).sum(axis=1)
    return residual, view, normal


def _precision(residual_px: Float, weight: Float, scale: float) -> Float:
    """Inverse variance of each edge point; Tukey's biweight leaves out what lies far off."""
    trust = np.maximum(1 - (residual_px / (TUKEY_REACH * scale)) ** 2, 0) ** 2
    return np.asarray(weight * trust / (SHARED * scale**2))


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
        heights=surface.heights + step[POSE:],
    )


_DENSE_ALONG = np.linspace(-1.0, 1.0, _DENSE)
_DENSE_X, _DENSE_Y = (
    np.concatenate([side_positions(side, _DENSE_ALONG)[k] for side in range(4)]) for k in (0, 1)
)
_DENSE_SHAPES = curl_shapes(_DENSE_X, _DENSE_Y)
