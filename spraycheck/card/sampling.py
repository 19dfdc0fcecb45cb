"""Samples of a photo at any places: as encoded, and as linear light."""

from __future__ import annotations

from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import FloatMap
from spraycheck.optics import srgb_decode

LINEAR: Final = np.ascontiguousarray(srgb_decode(np.arange(256) / 255), np.float32)
"""Linear light of each 8-bit sRGB value (IEC 61966-2-1:1999, inverse transfer function)."""

_FULL_SCALE: Final = 65535
_LINEAR_16: Final = np.ascontiguousarray(np.rint(_FULL_SCALE * LINEAR), np.uint16)
# In 16 bits while it is averaged: half the memory traffic; the darkest 8-bit step is 20 of these.

LUMINANCE: Final = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Share of each colour in the luminance of linear sRGB light (IEC 61966-2-1:1999)."""

_ROW = 128  # OpenCV takes at most 32767 rows and columns of places: they go in rows of this many
_MOST_ROWS = 30000


def sample(picture: NDArray[Any], at: NDArray[np.float32], *, beyond: float | None = None) -> Any:
    """Bilinear samples of a picture.

    Parameters
    ----------
    picture : (H, W) or (H, W, C) ndarray
        8-bit or float32.
    at : (..., 2) ndarray of float32
        Places x, y in pixels.
    beyond : float, optional
        What a place outside the picture reads; by default its nearest pixel.

    Returns
    -------
    (...) or (..., C) ndarray
        Of the picture's type.
    """
    places = np.ascontiguousarray(at, np.float32).reshape(-1, 2)
    padding = np.zeros((-len(places) % _ROW, 2), np.float32)
    rows = np.concatenate([places, padding]).reshape(-1, _ROW, 2)
    border = cv2.BORDER_REPLICATE if beyond is None else cv2.BORDER_CONSTANT
    parts = [
        cv2.remap(
            picture,
            rows[k : k + _MOST_ROWS, :, 0],
            rows[k : k + _MOST_ROWS, :, 1],
            cv2.INTER_LINEAR,
            borderMode=border,
            borderValue=beyond or 0.0,
        )
        for k in range(0, len(rows), _MOST_ROWS)
    ]
    joined = parts[0] if len(parts) == 1 else np.concatenate(parts)
    rest = picture.shape[2:]
    return joined.reshape(-1, *rest)[: len(places)].reshape(*at.shape[:-1], *rest)


def reduce_by(picture: NDArray[Any], block: int) -> NDArray[Any]:
    """Average whole blocks of ``block`` pixels a side; a rest at the right and bottom is left out.

    Whole blocks, so that positions stay exact; by halves where that goes, which is several times
    as fast as any other factor.
    """
    rows, cols = (max(size // block, 1) for size in picture.shape[:2])
    out = picture[: rows * block, : cols * block]
    while block > 1:
        step = 2 if block % 2 == 0 else block
        block //= step
        size = (cols * block, rows * block)
        out = cv2.resize(out, size, interpolation=cv2.INTER_AREA)
    return out


def block_for(picture: NDArray[Any], long_px: int) -> int:
    """Block by which `reduce_by` brings a picture's long side nearest to this many pixels."""
    return max(1, round(float(max(picture.shape[:2])) / long_px))


def sample_light(rgb: NDArray[np.uint8], at: NDArray[np.float32]) -> FloatMap:
    """Linear light ``(..., 3)`` of bilinear samples of a photo, nearest pixel beyond it.

    Encoded values are interpolated: between neighbouring pixels the curve is straight enough.
    """
    return np.asarray(LINEAR[sample(rgb, at)], np.float32)


def sample_linear(
    rgb: NDArray[np.uint8], map_x: FloatMap, map_y: FloatMap, reduce: int
) -> FloatMap:
    """Linear light on a grid of the card.

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
    # Whole blocks only, so that a block's centre is where it is taken to be.
    linear = reduce_by(cv2.LUT(rgb[y0:y1, x0:x1], _LINEAR_16), reduce)
    at_x = (map_x - x0 + 0.5) / reduce - 0.5
    at_y = (map_y - y0 + 0.5) / reduce - 0.5
    out = cv2.remap(linear, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.multiply(out, np.float32(1 / _FULL_SCALE), dtype=np.float32)
