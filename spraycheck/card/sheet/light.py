"""From sRGB pixels to linear light on the card's grid."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import FloatMap
from spraycheck.optics import srgb_decode

LINEAR: Final = srgb_decode(np.arange(256) / 255)
"""Linear light of each 8-bit sRGB value (IEC 61966-2-1:1999, inverse transfer function)."""

LINEAR_STEPS: Final = 16
LINEAR_FINE: Final = srgb_decode(np.arange(255 * LINEAR_STEPS + 1) / (255 * LINEAR_STEPS)).astype(
    np.float32
)
"""The same in sixteenths of an 8-bit step, for interpolated values."""

_TABLE: Final = np.ascontiguousarray(LINEAR.astype(np.float32))


def sample_linear(
    rgb: NDArray[np.uint8], map_x: FloatMap, map_y: FloatMap, reduce: int
) -> FloatMap:
    """Linear light at positions of a photo.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        sRGB-encoded.
    map_x, map_y : (M, N) ndarray of float32
        Pixels of ``rgb``; beyond it the nearest pixel counts.
    reduce : int
        Average blocks of this many pixels a side first (in linear light), where the photo has more
        pixels than the grid has cells: averages noise and keeps fine texture from aliasing.

    Returns
    -------
    (M, N, 3) ndarray of float32
    """
    rows, cols = rgb.shape[:2]
    pad = reduce + 2

    def bounds(values: FloatMap, size: int) -> tuple[int, int]:
        low = int(np.clip(np.floor(values.min()) - pad, 0, size - 1))
        high = int(np.clip(np.ceil(values.max()) + pad + 1, low + 1, size))
        return low - low % reduce, high

    x0, x1 = bounds(map_x, cols)
    y0, y1 = bounds(map_y, rows)
    linear = cv2.LUT(rgb[y0:y1, x0:x1], _TABLE)
    if reduce > 1:
        height, width = linear.shape[:2]
        # Whole blocks only, so that a block's centre is where it is taken to be.
        height, width = max(height // reduce, 1) * reduce, max(width // reduce, 1) * reduce
        linear = linear[:height, :width]
        size = (max(linear.shape[1] // reduce, 1), max(linear.shape[0] // reduce, 1))
        linear = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    at_x = (map_x - x0 + 0.5) / reduce - 0.5
    at_y = (map_y - y0 + 0.5) / reduce - 0.5
    out = cv2.remap(
        linear,
        at_x.astype(np.float32),
        at_y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(out, np.float32)
