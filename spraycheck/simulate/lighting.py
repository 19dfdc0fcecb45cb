"""Light on the table: even, from a window, a lamp or a flash; shadows and gloss."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.camera import Camera, View
from spraycheck.simulate.textures import noise_field

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]

STEP_PX = 8
"""Light and geometry vary slowly: they are computed on every 8th pixel and interpolated, good to
some thousandths of a pixel."""


def light_map(
    camera: Camera, view: View, sheet_mm: tuple[float, float], rng: np.random.Generator
) -> tuple[FloatMap, FloatMap]:
    """Compute light and gloss for every pixel.

    Parameters
    ----------
    camera, view : Camera, View
        What looks, from where.
    sheet_mm : (float, float)
        Size of the sheet; the light at its middle is 1.
    rng : numpy.random.Generator
        Places shadow and lamp.

    Returns
    -------
    light : (H, W) ndarray of float32
        Irradiance relative to the sheet's middle.
    gloss : (H, W) ndarray of float32
        Mirrored light, to be added, before the surface's own shine; zero without ``camera.gloss``.
    """
    shape = (camera.height_px, camera.width_px)
    xs = np.arange(-STEP_PX, shape[1] + 2 * STEP_PX, STEP_PX, dtype=float)
    ys = np.arange(-STEP_PX, shape[0] + 2 * STEP_PX, STEP_PX, dtype=float)
    px = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    at = np.nan_to_num(view.to_table(px), nan=1e4)
    coarse = (len(ys), len(xs))
    size = math.hypot(*sheet_mm)
    lamp = _lamp(camera, view, size, rng)
    light = _irradiance(camera, at, lamp, size)
    light /= float(_irradiance(camera, np.zeros((1, 2)), lamp, size)[0])
    uneven = noise_field(coarse, max(coarse) / 6, rng).reshape(-1)
    light *= np.exp(0.015 * uneven)
    if camera.shadow_frac > 0:
        light *= _shadow(camera, at, size, rng)
    gloss = _mirror(camera, view, px, at, lamp) if camera.gloss > 0 else np.zeros(len(px))
    out = [np.asarray(enlarge(m.reshape(coarse), shape)) for m in (light, gloss)]
    middle = np.array(view.middle_px)
    yy, xx = np.ogrid[: shape[0], : shape[1]]
    r2 = ((xx - middle[0]) ** 2 + (yy - middle[1]) ** 2) / float(middle @ middle)
    out[0] *= (1 - camera.vignette_frac * r2).astype(np.float32)
    return out[0], out[1]


def enlarge(coarse: NDArray[np.float64], shape: tuple[int, int]) -> FloatMap:
    """Interpolate a map given on every ``STEP_PX``-th pixel, from one step before the first.

    Parameters
    ----------
    coarse : (m, n) ndarray of float64
        Node ``[i, j]`` belongs to pixel ``((i - 1) STEP_PX, (j - 1) STEP_PX)``.
    shape : (int, int)
        Rows and columns wanted.

    Returns
    -------
    (H, W) ndarray of float32
    """
    # resize() maps pixel x to (x + 0.5) / s - 0.5 of its source; the half steps it adds are taken
    # off again by cutting at the matching place.
    s = STEP_PX
    big = cv2.resize(
        coarse.astype(np.float32),
        (coarse.shape[1] * s, coarse.shape[0] * s),
        interpolation=cv2.INTER_LINEAR,
    )
    # Node 1 (pixel 0) sits at 1.5 s - 0.5 of the enlarged map, a half pixel between two of its
    # own, so the mean of both is taken. Linear and not cubic: OpenCV's cubic kernel does not keep
    # a straight line straight, which would show as waves along the sheet's edges.
    k = s + s // 2
    rows, cols = shape
    big = (big[k - 1 : k - 1 + rows] + big[k : k + rows]) / 2
    big = (big[:, k - 1 : k - 1 + cols] + big[:, k : k + cols]) / 2
    return np.asarray(big, np.float32)


def _from(camera: Camera) -> Float:
    t = math.radians(camera.light_from_deg)
    return np.array([math.sin(t), -math.cos(t)])


def _lamp(camera: Camera, view: View, size: float, rng: np.random.Generator) -> Float:
    """Say where the light source is, (3,) mm."""
    side = _from(camera)
    jitter = rng.uniform(0.8, 1.25)
    if camera.light == "flash":
        # Some 12 mm beside the lens (chosen: phones have it there).
        return np.asarray(view.centre_mm + 12.0 * view.turn[0], float)
    if camera.light == "lamp":
        return np.array([*(side * 0.9 * size * jitter), -1.3 * size * jitter])
    if camera.light == "window":
        return np.array([*(side * 4.0 * size), -3.0 * size * jitter])
    return np.array([*(side * 1.5 * size * jitter), -6.0 * size])


def _irradiance(camera: Camera, at: Float, lamp: Float, size: float) -> Float:
    if camera.light == "window":
        slope = -math.log(1 - min(0.89, camera.light_fall_frac)) / size
        return np.exp(np.clip(slope * (at @ _from(camera)), -3, 3))
    away = np.column_stack([at, np.zeros(len(at))]) - lamp
    r2 = np.sum(away * away, axis=1)
    # Point source over a matt plane: cos(theta) / r^2, with a share of stray light of the room.
    direct = -lamp[2] / (r2 * np.sqrt(r2))
    room = {"ceiling": 0.5, "lamp": 0.25, "flash": 0.15}[camera.light]
    here = -lamp[2] / float(np.sum(lamp**2)) ** 1.5
    return np.asarray(direct / here * (1 - room) + room, float)


def _shadow(camera: Camera, at: Float, size: float, rng: np.random.Generator) -> Float:
    """Return the factor of a soft edge that crosses the sheet, on the side away from the light."""
    turn = math.radians(camera.light_from_deg + rng.uniform(-50, 50))
    across = np.array([math.sin(turn), -math.cos(turn)])
    edge = rng.uniform(-0.22, 0.22) * size
    bow = rng.uniform(-0.6, 0.6) / size
    along = at @ np.array([across[1], -across[0]])
    depth = (at @ across - edge + bow * along**2) / camera.shadow_soft_mm
    return np.asarray(1 - camera.shadow_frac / (1 + np.exp(np.clip(4 * depth, -40, 40))), float)


def _mirror(camera: Camera, view: View, px: Float, at: Float, lamp: Float) -> Float:
    """Return the mirrored image of the light source on a rough horizontal surface."""
    to_eye = -view.rays(px)
    to_eye /= np.linalg.norm(to_eye, axis=1, keepdims=True)
    to_lamp = lamp - np.column_stack([at, np.zeros(len(at))])
    to_lamp /= np.linalg.norm(to_lamp, axis=1, keepdims=True)
    half = to_eye + to_lamp
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    # Blinn's lobe; exponent 60 is a half-width of about 9 degrees, that of calendered paper
    # (chosen by eye).
    return np.asarray(camera.gloss * np.maximum(-half[:, 2], 0) ** 60, float)
