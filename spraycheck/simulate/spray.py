"""Where the fluid lands: parcels flown straight from each hole onto a flat card.

Frame of the card: mm, ``x`` right, ``y`` down, ``z`` into the card (so that x, y, z is
right-handed and directions count clockwise as seen). The tip is at ``z = -height``.

The flux of a plume is a function of the angle to its axis only. A cell of the card at distance
``r`` from the hole, seen under the angle ``phi`` to the card's normal, receives per mm2
``f(theta) cos(phi) / r^2 = f(theta) h / r^3``; the footprint of a cone is then the exact ellipse
of a plane through a cone, without any further assumption.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.nozzle import SyntheticNozzle
from spraycheck.simulate.shot import SprayShot, StrayJet

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]
Angles = TypeVar("Angles", NDArray[np.float32], NDArray[np.float64])

GAUSSIAN_CUT = 3.0
"""A Gaussian plume ends at this many sigma, where 1.1 % of its flux would be left."""


@dataclass(frozen=True, kw_only=True)
class Grid:
    """The cells of the card.

    Parameters
    ----------
    width_mm, height_mm : float
        Size of the sheet.
    cell_mm : float
        Side of a cell; the cells fill the sheet exactly in number, rounded.
    """

    width_mm: float
    height_mm: float
    cell_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (
            max(2, round(self.height_mm / self.cell_mm)),
            max(2, round(self.width_mm / self.cell_mm)),
        )

    @property
    def x_mm(self) -> Float:
        """Centres of the columns."""
        return _centres(self.shape[1], self.cell_mm)

    @property
    def y_mm(self) -> Float:
        """Centres of the rows."""
        return _centres(self.shape[0], self.cell_mm)

    def holds(self, x: Float, y: Float) -> NDArray[np.bool_]:
        """Tell which positions lie on the sheet."""
        rows, cols = self.shape
        half = np.array([cols, rows]) * self.cell_mm / 2
        inside: NDArray[np.bool_] = (np.abs(x) < half[0]) & (np.abs(y) < half[1])
        return inside


def _centres(count: int, cell_mm: float) -> Float:
    return np.asarray((np.arange(count) - (count - 1) / 2) * cell_mm, np.float64)


# -- directions -------------------------------------------------------------------------------


def hole_axis(azimuth_deg: float, axis_angle_deg: float) -> Float:
    """Return the unit vector along which a hole sprays, for an upright nozzle.

    Parameters
    ----------
    azimuth_deg : float
        Clockwise.
    axis_angle_deg : float
        To the nozzle axis.

    Returns
    -------
    (3,) ndarray of float64
    """
    z, a = math.radians(azimuth_deg), math.radians(axis_angle_deg)
    return np.array(
        [math.sin(a) * math.sin(z), -math.sin(a) * math.cos(z), math.cos(a)], np.float64
    )


def to_angles(axis: Float) -> tuple[float, float]:
    """Return clockwise azimuth in [0, 360) and angle to the card's normal, in degrees."""
    across = math.hypot(axis[0], axis[1])
    azimuth = math.degrees(math.atan2(axis[0], -axis[1])) % 360.0
    return azimuth % 360.0, math.degrees(math.atan2(across, axis[2]))


def lean(angle_deg: float, towards_deg: float) -> Float:
    """Return the rotation that leans the downward axis by ``angle_deg`` towards a direction.

    Returns
    -------
    (3, 3) ndarray of float64
        Without any turn about the axis itself.
    """
    a, t = math.radians(angle_deg), math.radians(towards_deg)
    # The axis of rotation is horizontal and at right angles to the direction of the lean.
    pivot = np.array([math.cos(t), math.sin(t), 0.0])
    matrix, _ = cv2.Rodrigues(pivot * a)
    return np.asarray(matrix, np.float64)


def tilt_rotation(tilt_x_deg: float, tilt_y_deg: float) -> Float:
    """Return the rotation of a nozzle whose axis leans right by one angle and down by the other.

    Returns
    -------
    (3, 3) ndarray of float64
    """
    x, y = math.tan(math.radians(tilt_x_deg)), math.tan(math.radians(tilt_y_deg))
    return lean(math.degrees(math.atan(math.hypot(x, y))), math.degrees(math.atan2(x, -y)))


def impact_mm(start: Float, axis: Float) -> Float:
    """Return where a straight line from ``start`` along ``axis`` meets the card; NaN when never.

    Parameters
    ----------
    start, axis : (3,) ndarray of float64

    Returns
    -------
    (2,) ndarray of float64
    """
    if axis[2] <= 1e-6:
        return np.full(2, np.nan)
    return np.asarray(start[:2] - start[2] * axis[:2] / axis[2], float)


# -- flux -------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Plume:
    """One stream of fluid on its way to the card.

    Parameters
    ----------
    start, axis : (3,) ndarray of float64
        Where it leaves the nozzle, and its unit direction.
    half_cone_deg : float
        Half-angle of its cone.
    volume_mm3 : float
        What it carries.
    coarse_frac : float
        Share of it in large drops.
    """

    start: Float
    axis: Float
    half_cone_deg: float
    volume_mm3: float
    coarse_frac: float


def plumes_of(
    nozzle: SyntheticNozzle, shot: SprayShot, foot_mm: tuple[float, float]
) -> list[Plume]:
    """Return the plume of every hole, blocked ones with no volume."""
    turn = tilt_rotation(shot.tilt_x_deg, shot.tilt_y_deg)
    tip = np.array([foot_mm[0], foot_mm[1], -shot.height_mm])
    out = []
    for k, share in enumerate(nozzle.volume_shares):
        real = nozzle.azimuth_deg[k] + nozzle.deflections[k]
        axis = turn @ hole_axis(real, nozzle.axis_angles[k] + nozzle.axis_deflections[k])
        exit_ = turn @ (hole_axis(nozzle.azimuth_deg[k], 90.0) * nozzle.hole_radius_mm)
        flow = nozzle.flows[k]
        # A partly closed hole loses its pressure inside and sprays coarser: up to 0.25 more
        # (chosen by comparison with photographs of weak holes).
        coarse = min(0.9 - shot.mist_frac, shot.coarse_frac + 0.25 * max(0.0, 1.0 - flow))
        out.append(
            Plume(
                start=tip + exit_,
                axis=axis,
                half_cone_deg=shot.half_cone_deg,
                volume_mm3=share * shot.volume_mm3 * (1 - central_share(nozzle)),
                coarse_frac=coarse,
            )
        )
    return out


def stray_plume(
    stray: StrayJet, nozzle: SyntheticNozzle, shot: SprayShot, foot_mm: tuple[float, float]
) -> Plume:
    """Return the plume of a stray jet."""
    turn = tilt_rotation(shot.tilt_x_deg, shot.tilt_y_deg)
    return Plume(
        start=np.array([foot_mm[0], foot_mm[1], -shot.height_mm]),
        axis=turn @ hole_axis(stray.direction_deg, stray.axis_angle_deg),
        half_cone_deg=stray.half_cone_deg,
        volume_mm3=stray.share * shot.volume_mm3 / max(1, len(nozzle)),
        coarse_frac=min(0.5, 0.9 - shot.mist_frac),
    )


def central_share(nozzle: SyntheticNozzle) -> float:
    """Return the share of the volume that leaves along the axis: all of it without holes."""
    if nozzle.central is None:
        return 0.0
    # With holes beside it the central spray counts like one more hole.
    return 1.0 / (1.0 + sum(nozzle.flows))


def flux_at(theta: Angles, half_cone_deg: float, profile: str) -> Angles:
    """Return the relative flux per solid angle at an angle to the plume's axis.

    Parameters
    ----------
    theta : ndarray of float
        Angle in radians.
    half_cone_deg : float
        Half-angle of the cone.
    profile : str
        ``gaussian`` or ``uniform``, see `SprayShot`.
    """
    half = math.radians(half_cone_deg)
    if profile == "uniform":
        return np.asarray(theta <= half, theta.dtype)
    sigma = half / 2
    inside = theta <= GAUSSIAN_CUT * sigma
    return np.asarray(np.where(inside, np.exp(-0.5 * (theta / sigma) ** 2), 0.0), theta.dtype)


def cone_reach(half_cone_deg: float, profile: str) -> float:
    """Return the angle in radians beyond which a plume carries nothing."""
    half = math.radians(half_cone_deg)
    return half if profile == "uniform" else GAUSSIAN_CUT * half / 2


def flux_total(half_cone_deg: float, profile: str) -> float:
    """Return the flux over the whole cone: the integral of ``f(theta) 2 pi sin(theta)``."""
    edges = np.linspace(0.0, cone_reach(half_cone_deg, profile), 2001)
    theta = (edges[1:] + edges[:-1]) / 2
    f = flux_at(theta, half_cone_deg, profile)
    return float(np.sum(f * 2 * math.pi * np.sin(theta)) * (edges[1] - edges[0]))


def footprint(grid: Grid, plume: Plume, profile: str = "gaussian") -> tuple[FloatMap, slice, slice]:
    """Spread one unit of volume over the card.

    Parameters
    ----------
    grid : Grid
        The card.
    plume : Plume
        Its volume is not used.
    profile : str
        See `flux_at`.

    Returns
    -------
    density : (m, n) ndarray of float32
        Share of the volume per mm2, in the block below. It integrates to 1 over the endless plane,
        to less where part of the cone passes beside the sheet.
    rows, cols : slice
        The block of the grid that holds the footprint; empty when the plume misses the card.
    """
    reach = cone_reach(plume.half_cone_deg, profile)
    rows, cols = _block(grid, plume, reach)
    if rows.stop <= rows.start or cols.stop <= cols.start:
        return np.zeros((0, 0), np.float32), slice(0, 0), slice(0, 0)
    dx = (grid.x_mm[cols] - plume.start[0])[None, :].astype(np.float32)
    dy = (grid.y_mm[rows] - plume.start[1])[:, None].astype(np.float32)
    h = -float(plume.start[2])
    r2 = dx * dx + dy * dy + np.float32(h * h)
    along = dx * np.float32(plume.axis[0]) + dy * np.float32(plume.axis[1])
    along += np.float32(h * plume.axis[2])
    # Half-angle form: arccos loses half its digits at small angles in single precision.
    sine2 = np.maximum(r2 - along * along, 0)
    theta = np.arctan2(np.sqrt(sine2), along)
    density = flux_at(theta, plume.half_cone_deg, profile) * (np.float32(h) / (r2 * np.sqrt(r2)))
    density /= np.float32(flux_total(plume.half_cone_deg, profile))
    return density.astype(np.float32), rows, cols


def _block(grid: Grid, plume: Plume, reach: float) -> tuple[slice, slice]:
    """Find the block of cells that the cone can strike: the bounding box of its rim."""
    axis = plume.axis
    side = np.cross(axis, [0.0, 0.0, 1.0] if abs(axis[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    turn = np.linspace(0, 2 * math.pi, 181)
    rim = math.cos(reach) * axis + math.sin(reach) * (
        np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * other
    )
    h = -float(plume.start[2])
    # Directions at or above the horizon run to the end of the sheet and beyond.
    down = np.maximum(rim[:, 2], h / 2000.0)
    xs = plume.start[0] + h * rim[:, 0] / down
    ys = plume.start[1] + h * rim[:, 1] / down
    n_rows, n_cols = grid.shape
    cell = grid.cell_mm

    def span(values: Float, first: float, count: int) -> slice:
        low = math.floor((values.min() - first) / cell) - 1
        high = math.ceil((values.max() - first) / cell) + 2
        low, high = max(0, low), min(count, high)
        return slice(low, max(low, high))

    return span(ys, grid.y_mm[0], n_rows), span(xs, grid.x_mm[0], n_cols)
