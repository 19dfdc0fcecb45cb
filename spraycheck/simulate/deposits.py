"""What each stream of fluid leaves on the card: bulk, coarse drops, thrown drops, mist."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.nozzle import CentralSpray
from spraycheck.simulate.shot import SprayShot
from spraycheck.simulate.spray import (
    Grid,
    Plume,
    flux_at,
    footprint,
    hole_axis,
    impact_mm,
    tilt_rotation,
)
from spraycheck.simulate.textures import noise_field

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]

MIST_WIDENING = 1.7
"""Cone of the mist over that of the plume (chosen by comparison with photographs)."""

COARSE_DROP_MM, SATELLITE_MM = 0.27, 0.42
"""Median diameter of the large drops inside, and thrown out of, a plume.

Chosen so that their spots come out 0.5 to 1.5 mm across on office paper, as in photographs. The
bulk of a plume has a Sauter mean diameter near 30 um (Hiroyasu-Kadota and Elkotb correlations, from
memory) and is far too fine to show as drops."""

DROP_SPREAD = 1.5
"""Geometric standard deviation of drop diameters (from memory: 1.3 to 2 for pressure atomisers)."""

# Mean volume of a log-normal sphere: pi/6 d^3 exp(9/2 ln(spread)^2).
_MEAN_COARSE_MM3 = math.pi / 6 * COARSE_DROP_MM**3 * math.exp(4.5 * math.log(DROP_SPREAD) ** 2)


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
        count = max(1, min(6000, round(coarse / _MEAN_COARSE_MM3)))
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
    turn = tilt_rotation(shot.tilt_x_deg, shot.tilt_y_deg)
    axis = turn @ hole_axis(central.lean_to_deg, central.lean_deg)
    dx = (grid.x_mm - foot_mm[0])[None, :]
    dy = (grid.y_mm - foot_mm[1])[:, None]
    h = shot.height_mm
    r2 = dx * dx + dy * dy + h * h
    along = dx * axis[0] + dy * axis[1] + h * axis[2]
    theta = np.arctan2(np.sqrt(np.maximum(r2 - along * along, 0)), along)
    fall = h / (r2 * np.sqrt(r2))
    around = np.arctan2(dx - h * axis[0] / axis[2], -(dy - h * axis[1] / axis[2]))
    side = np.cos(around - math.radians(central.lopsided_deg))
    density = _central_flux(theta, central) * (1 + central.lopsided_frac * side)
    if central.streak_frac > 0:
        # Fingers reach further: the same flux, at angles a fifth smaller than where it lands.
        fingers = _central_flux(theta / 1.2, central) / 1.2**2 * _around(around, central)
        density = (1 - central.streak_frac) * density + central.streak_frac * fingers
    density = density * fall
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
        count = max(1, min(6000, round(coarse / _MEAN_COARSE_MM3)))
        drops = _drop_volumes(count, COARSE_DROP_MM, rng)
        _splat(out, grid, _fly(plume, count, 1.2, rng), drops * (coarse / drops.sum()))
    if mist > 0:
        out += _mist(grid, plume, shot, foot_mm, mist)
    return np.asarray(out, np.float32)


def _central_flux(theta: Float, central: CentralSpray) -> Float:
    """Flux per solid angle of a central spray, 1 in all, at an angle to its axis."""
    half, wall = math.radians(central.half_cone_deg), math.radians(central.wall_deg) / 2
    edges = np.linspace(0.0, math.pi / 2, 9001)
    mid = (edges[1:] + edges[:-1]) / 2

    def scaled(flux: Callable[[Float], Float]) -> Float:
        whole = float(np.sum(flux(mid) * 2 * math.pi * np.sin(mid)) * (edges[1] - edges[0]))
        return np.asarray(flux(theta) / whole, float)

    solid = scaled(lambda a: flux_at(a, central.half_cone_deg, "gaussian"))
    if central.kind == "solid":
        return solid
    hollow = scaled(lambda a: np.asarray(np.exp(-0.5 * ((a - half) / wall) ** 2), float))
    return (1 - central.fill_frac) * hollow + central.fill_frac * solid


def _around(around: Float, central: CentralSpray) -> Float:
    """Relative flux of the streaks by direction, mean 1."""
    width = math.radians(central.streak_width_deg)
    total = np.zeros_like(around)
    for direction in central.streaks_deg:
        off = np.angle(np.exp(1j * (around - math.radians(direction))))
        total += np.exp(-0.5 * (off / width) ** 2)
    mean = len(central.streaks_deg) * width * math.sqrt(2 * math.pi) / (2 * math.pi)
    return np.asarray(total / mean, float)


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
