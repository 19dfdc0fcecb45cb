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

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.synthetic.nozzle import CentralSpray, SyntheticNozzle
from spraycheck.synthetic.shot import SprayShot, StrayJet
from spraycheck.synthetic.textures import noise_field

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]

GAUSSIAN_CUT = 3.0
"""A Gaussian plume ends at this many sigma, where 1.1 % of its flux would be left."""

MIST_WIDENING = 1.7
"""Cone of the mist over that of the plume (chosen by comparison with photographs)."""

COARSE_DROP_MM, SATELLITE_MM = 0.22, 0.34
"""Median diameter of the large drops inside, and thrown out of, a plume.

Chosen so that their spots come out 0.5 to 1.5 mm across on office paper, as in photographs. The
bulk of a plume has a Sauter mean diameter near 30 um (Hiroyasu-Kadota and Elkotb correlations, from
memory) and is far too fine to show as drops."""

DROP_SPREAD = 1.35
"""Geometric standard deviation of drop diameters (from memory: 1.3 to 2 for pressure atomisers)."""


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
        n = self.shape[1]
        return (np.arange(n) - (n - 1) / 2) * self.cell_mm

    @property
    def y_mm(self) -> Float:
        """Centres of the rows."""
        n = self.shape[0]
        return (np.arange(n) - (n - 1) / 2) * self.cell_mm

    def holds(self, x: Float, y: Float) -> NDArray[np.bool_]:
        """Tell which positions lie on the sheet."""
        rows, cols = self.shape
        half = np.array([cols, rows]) * self.cell_mm / 2
        inside: NDArray[np.bool_] = (np.abs(x) < half[0]) & (np.abs(y) < half[1])
        return inside


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
    return np.array([math.sin(a) * math.sin(z), -math.sin(a) * math.cos(z), math.cos(a)])


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
    return np.asarray(matrix, float)


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
        # A partly closed hole loses its pressure inside and sprays coarser: up to 0.35 more
        # (chosen by comparison with photographs of weak holes).
        coarse = min(0.9 - shot.mist_frac, shot.coarse_frac + 0.35 * max(0.0, 1.0 - flow))
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


def flux_at(theta: FloatMap | Float, half_cone_deg: float, profile: str) -> FloatMap | Float:
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
        return np.where(theta <= half, 1.0, 0.0).astype(theta.dtype)
    sigma = half / 2
    inside = theta <= GAUSSIAN_CUT * sigma
    return np.where(inside, np.exp(-0.5 * (theta / sigma) ** 2), 0.0).astype(theta.dtype)


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


# -- deposits ---------------------------------------------------------------------------------


def deposit_plume(
    grid: Grid, plume: Plume, shot: SprayShot, foot_mm: Float, rng: np.random.Generator
) -> FloatMap:
    """Return the volume per cell (mm3) that one plume leaves on the card: bulk, drops and mist.

    What misses the sheet is not in it; the sum says how much that is.
    """
    out = np.zeros(grid.shape, np.float32)
    if plume.volume_mm3 <= 0:
        return out
    satellites = int(rng.poisson(shot.satellites)) if shot.satellites else 0
    throw = _drop_volumes(satellites, SATELLITE_MM, rng)
    thrown = min(float(throw.sum()), 0.3 * plume.volume_mm3)
    if throw.sum() > 0:
        throw *= thrown / throw.sum()
    rest = plume.volume_mm3 - thrown
    coarse, mist = rest * plume.coarse_frac, rest * shot.mist_frac
    bulk = rest - coarse - mist

    density, rows, cols = footprint(grid, plume, shot.profile)
    if density.size:
        out[rows, cols] += density * np.float32(bulk * grid.cell_mm**2)
        if shot.mottle_frac:
            _mottle(out[rows, cols], shot.mottle_frac, grid.cell_mm, rng)
    if coarse > 0:
        mean = float(_drop_volumes(4000, COARSE_DROP_MM, np.random.default_rng(1)).mean())
        count = max(1, min(6000, round(coarse / mean)))
        drops = _drop_volumes(count, COARSE_DROP_MM, rng)
        drops *= coarse / drops.sum()
        _splat(out, grid, _fly(plume, count, 1.25, rng), drops)
    if satellites:
        where = _fly(plume, satellites, 2.0, rng)
        away = where - foot_mm
        # Thrown drops skid outward like the mist does.
        skid = 1 + rng.exponential(0.6 * shot.mist_mm, satellites) / np.maximum(
            np.hypot(away[:, 0], away[:, 1]), 1.0
        )
        _splat(out, grid, foot_mm + away * skid[:, None], throw)
    if mist > 0:
        out += _mist(grid, plume, shot, foot_mm, mist)
    return out


def _mottle(block: FloatMap, frac: float, cell_mm: float, rng: np.random.Generator) -> None:
    """Make the flux uneven at the scale of 2 mm, at the same total."""
    before = float(block.sum(dtype=np.float64))
    if before <= 0:
        return
    block *= np.exp(np.float32(frac) * noise_field(block.shape, 2.0 / cell_mm, rng))
    block *= np.float32(before / float(block.sum(dtype=np.float64)))


def _mist(grid: Grid, plume: Plume, shot: SprayShot, foot_mm: Float, volume_mm3: float) -> FloatMap:
    """Lay down the mist: a wider footprint, carried outward by an exponential distance.

    A footprint carried outward is the same footprint stretched about the foot of the tip. Mist is
    smooth, so it is laid on cells four times as large.
    """
    coarse = Grid(
        width_mm=grid.shape[1] * grid.cell_mm,
        height_mm=grid.shape[0] * grid.cell_mm,
        cell_mm=grid.cell_mm * 4,
    )
    total = np.zeros(coarse.shape, np.float32)
    hit = impact_mm(plume.start, plume.axis)
    radius = float(np.hypot(*(hit - foot_mm))) if np.isfinite(hit).all() else 50.0
    steps = np.arange(0.0, 3.2, 0.4) if shot.mist_mm > 0 and radius > 1 else np.zeros(1)
    weights = np.exp(-steps)
    weights /= weights.sum()
    for step, weight in zip(steps, weights, strict=True):
        stretch = 1 + step * shot.mist_mm / max(radius, 1.0)
        # Stretching the footprint about the foot is the same as raising the tip by that factor.
        start = np.append(foot_mm + (plume.start[:2] - foot_mm) * stretch, plume.start[2] * stretch)
        wide = Plume(
            start=start,
            axis=plume.axis,
            half_cone_deg=min(45.0, plume.half_cone_deg * MIST_WIDENING),
            volume_mm3=0.0,
            coarse_frac=0.0,
        )
        density, rows, cols = footprint(coarse, wide)
        if density.size:
            total[rows, cols] += density * np.float32(weight)
    landed = float(total.sum(dtype=np.float64)) * coarse.cell_mm**2 * volume_mm3
    fine = cv2.resize(total, grid.shape[::-1], interpolation=cv2.INTER_LINEAR)
    amount = float(fine.sum(dtype=np.float64))
    return np.asarray(fine * np.float32(landed / amount if amount > 0 else 0.0), np.float32)


def deposit_central(
    grid: Grid,
    central: CentralSpray,
    shot: SprayShot,
    foot_mm: Float,
    volume_mm3: float,
    rng: np.random.Generator,
) -> FloatMap:
    """Return the volume per cell (mm3) of a spray along the nozzle's axis."""
    axis = tilt_rotation(shot.tilt_x_deg, shot.tilt_y_deg) @ np.array([0.0, 0.0, 1.0])
    dx = (grid.x_mm - foot_mm[0])[None, :]
    dy = (grid.y_mm - foot_mm[1])[:, None]
    h = shot.height_mm
    r2 = dx * dx + dy * dy + h * h
    along = dx * axis[0] + dy * axis[1] + h * axis[2]
    theta = np.arctan2(np.sqrt(np.maximum(r2 - along * along, 0)), along)
    edges = np.linspace(0.0, math.pi / 2, 9001)
    mid = (edges[1:] + edges[:-1]) / 2

    def ring(angle: Float) -> Float:
        if central.kind == "solid":
            return np.asarray(flux_at(angle, central.half_cone_deg, "gaussian"), float)
        wall = math.radians(central.wall_deg) / 2
        return np.exp(-0.5 * ((angle - math.radians(central.half_cone_deg)) / wall) ** 2)

    total = float(np.sum(ring(mid) * 2 * math.pi * np.sin(mid)) * (edges[1] - edges[0]))
    around = np.arctan2(dx - h * axis[0] / axis[2], -(dy - h * axis[1] / axis[2]))
    side = np.cos(around - math.radians(central.lopsided_deg))
    density = ring(theta) * (h / (r2 * np.sqrt(r2))) / total * (1 + central.lopsided_frac * side)
    mist, coarse = shot.mist_frac * volume_mm3, shot.coarse_frac * volume_mm3
    out = (density * (volume_mm3 - mist - coarse) * grid.cell_mm**2).astype(np.float32)
    if shot.mottle_frac:
        _mottle(out, shot.mottle_frac, grid.cell_mm, rng)
    plume = Plume(
        start=np.array([foot_mm[0], foot_mm[1], -h]),
        axis=axis,
        half_cone_deg=central.half_cone_deg * 1.3,
        volume_mm3=volume_mm3,
        coarse_frac=shot.coarse_frac,
    )
    if coarse > 0:
        count = max(1, min(6000, round(coarse / 0.008)))
        drops = _drop_volumes(count, COARSE_DROP_MM, rng)
        _splat(out, grid, _fly(plume, count, 1.2, rng), drops * (coarse / drops.sum()))
    if mist > 0:
        out += _mist(grid, plume, shot, foot_mm, mist)
    return out


def deposit_drops(grid: Grid, where_mm: Float, volumes_mm3: Float) -> FloatMap:
    """Return the volume per cell of separate drops; those beside the sheet are missing."""
    out = np.zeros(grid.shape, np.float32)
    _splat(out, grid, where_mm, volumes_mm3)
    return out


def _drop_volumes(count: int, median_mm: float, rng: np.random.Generator) -> Float:
    """Draw volumes of spheres with log-normal diameters."""
    spread = np.clip(rng.standard_normal(count), -2.5, 2.5)
    diameter = median_mm * np.exp(math.log(DROP_SPREAD) * spread)
    return np.asarray(math.pi / 6 * diameter**3, float)


def _fly(plume: Plume, count: int, widening: float, rng: np.random.Generator) -> Float:
    """Fly single drops from the hole to the card's plane; NaN for those that never land."""
    sigma = math.radians(plume.half_cone_deg) / 2 * widening
    side = np.cross(plume.axis, [0.0, 0.0, 1.0] if abs(plume.axis[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    other = np.cross(plume.axis, side)
    off = np.tan(rng.standard_normal((count, 2)) * sigma)
    ray = plume.axis + off[:, :1] * side + off[:, 1:] * other
    down = np.where(ray[:, 2] > 0.02, ray[:, 2], np.nan)
    return np.asarray(plume.start[:2] - plume.start[2] * ray[:, :2] / down[:, None], float)


def _splat(out: FloatMap, grid: Grid, where_mm: Float, volumes_mm3: Float) -> None:
    """Add drops to the four cells around each landing point."""
    ok = np.isfinite(where_mm).all(axis=1)
    ok &= grid.holds(np.nan_to_num(where_mm[:, 0]), np.nan_to_num(where_mm[:, 1]))
    p, v = where_mm[ok], volumes_mm3[ok]
    rows, cols = grid.shape
    cx = (p[:, 0] - grid.x_mm[0]) / grid.cell_mm
    cy = (p[:, 1] - grid.y_mm[0]) / grid.cell_mm
    i, j = np.floor(cy).astype(int), np.floor(cx).astype(int)
    fy, fx = cy - i, cx - j
    for di, wy in ((0, 1 - fy), (1, fy)):
        for dj, wx in ((0, 1 - fx), (1, fx)):
            at = (np.clip(i + di, 0, rows - 1), np.clip(j + dj, 0, cols - 1))
            np.add.at(out, at, (v * wy * wx).astype(np.float32))
