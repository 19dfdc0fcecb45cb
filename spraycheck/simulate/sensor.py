"""From light in the lens to a JPEG: blur, noise, sharpening, tone curve, compression."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.camera import Camera
from spraycheck.simulate.optics import linear_to_srgb

FloatMap = NDArray[np.float32]

TONE_STEPS = 4096


def expose(light: FloatMap, camera: Camera, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Turn scene light into the picture a phone stores.

    Parameters
    ----------
    light : (H, W, 3) ndarray of float32
        Linear; 1 is a white sheet in full light.
    camera : Camera
        Blur, noise and processing.
    rng : numpy.random.Generator
        Noise and the direction of hand shake.

    Returns
    -------
    (H, W, 3) ndarray of uint8
        sRGB-encoded, after JPEG compression.
    """
    signal = light * np.float32(camera.exposure)
    signal *= np.array([1 + camera.warm_frac, 1.0, max(0.05, 1 - camera.warm_frac)], np.float32)
    if camera.motion_px > 0.3:
        signal = _smear(signal, camera.motion_px, float(rng.uniform(0, 180)))
    if camera.blur_px > 0.05:
        signal = np.asarray(cv2.GaussianBlur(signal, (0, 0), camera.blur_px))
    if camera.noise > 0:
        signal += _noise(signal, camera.noise, rng)
    # The sensor clips before anything is done to the picture.
    np.clip(signal, 0, 1, out=signal)
    code = _tone(signal, camera.contrast)
    if camera.sharpen > 0:
        soft = cv2.GaussianBlur(code, (0, 0), 1.2)
        code = code + np.float32(camera.sharpen) * (code - soft)
    rgb = np.clip(np.rint(code * 255), 0, 255).astype(np.uint8)
    return _jpeg(rgb, camera.jpeg_quality)


def _smear(light: FloatMap, length: float, angle_deg: float) -> FloatMap:
    half = math.ceil(length / 2) + 1
    n = 2 * half + 1
    kernel = np.zeros((n, n), np.float32)
    turn = math.radians(angle_deg)
    for t in np.linspace(-length / 2, length / 2, 8 * n):
        x, y = half + t * math.cos(turn), half + t * math.sin(turn)
        j, i = int(x), int(y)
        for di, wy in ((0, 1 - (y - i)), (1, y - i)):
            for dj, wx in ((0, 1 - (x - j)), (1, x - j)):
                kernel[i + di, j + dj] += wy * wx
    return np.asarray(cv2.filter2D(light, -1, kernel / kernel.sum()))


def _noise(signal: FloatMap, strength: float, rng: np.random.Generator) -> FloatMap:
    """Shot noise that goes with the root of the light, and a floor of a fifth of it."""
    raw = rng.standard_normal(signal.shape, dtype=np.float32)
    # Colours are interpolated from a mosaic, which ties neighbouring pixels together; the factor
    # restores the deviation that the small blur takes (its kernel's root sum of squares).
    raw = np.asarray(cv2.GaussianBlur(raw, (3, 3), 0.55))
    raw *= np.float32(strength / 0.56)
    raw *= np.sqrt(np.clip(signal, 0, 1) + np.float32(0.04))
    return raw


def _tone(signal: FloatMap, contrast: float) -> FloatMap:
    """Apply sRGB and a mild S-curve about middle grey, by table."""
    v = np.linspace(0, 1, TONE_STEPS, dtype=np.float32)
    code = linear_to_srgb(v).astype(np.float64)
    # Between the line and a smoothstep: steeper in the middle, flatter at both ends.
    code = (1 - contrast) * code + contrast * code * code * (3 - 2 * code)
    table = code.astype(np.float32)
    at = signal * np.float32(TONE_STEPS - 1)
    low = np.minimum(at.astype(np.int32), TONE_STEPS - 2)
    at -= low
    return np.asarray(table[low] + at * np.diff(table)[low], np.float32)


def _jpeg(rgb: NDArray[np.uint8], quality: int) -> NDArray[np.uint8]:
    ok, data = cv2.imencode(
        ".jpg", cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, int(quality)]
    )
    if not ok:  # pragma: no cover - OpenCV cannot fail on a valid array
        raise RuntimeError("JPEG compression failed")
    bgr = cv2.imdecode(data, cv2.IMREAD_COLOR)
    assert bgr is not None
    return np.asarray(bgr[..., ::-1].copy(), np.uint8)
