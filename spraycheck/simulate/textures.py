"""Random fields: paper formation, table tops, uneven flux."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

FloatMap = NDArray[np.float32]


def noise_field(
    shape: tuple[int, ...], scale: float, rng: np.random.Generator, *, stretch: float = 1.0
) -> FloatMap:
    """Return a smooth random field of mean 0 and standard deviation 1.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    scale : float
        Correlation length in cells (sigma of the smoothing); below 0.3 the field is white.
    stretch : float
        Correlation along x over that along y.
    rng : numpy.random.Generator
        Where the randomness comes from.

    Returns
    -------
    (M, N) ndarray of float32
    """
    rows, cols = shape[0], shape[1]
    # A field with a long correlation is drawn small and enlarged: the same statistics, cheaper.
    step_y = max(1.0, scale / 2.0)
    step_x = max(1.0, scale * stretch / 2.0)
    small = (math.ceil(rows / step_y) + 4, math.ceil(cols / step_x) + 4)
    field = rng.standard_normal(small, dtype=np.float32)
    sx, sy = scale * stretch / step_x, scale / step_y
    if max(sx, sy) >= 0.3:
        field = np.asarray(cv2.GaussianBlur(field, (0, 0), max(sx, 0.2), sigmaY=max(sy, 0.2)))
        # Standard deviation of white noise after a Gaussian: 1 / (2 sqrt(pi) sigma) per axis pair.
        field /= max(float(field.std()), 1e-6)
    if step_x > 1 or step_y > 1:
        wide = (max(cols, round(small[1] * step_x)), max(rows, round(small[0] * step_y)))
        field = np.asarray(cv2.resize(field, wide, interpolation=cv2.INTER_CUBIC))
    return np.ascontiguousarray(field[:rows, :cols], np.float32)


def cloud_field(
    shape: tuple[int, ...], scales: tuple[float, ...], rng: np.random.Generator
) -> FloatMap:
    """Return a sum of smooth fields, each coarser one as strong as the finer, of deviation 1."""
    total = np.zeros(shape[:2], np.float32)
    for scale in scales:
        total += noise_field(shape, scale, rng)
    return total / np.float32(math.sqrt(len(scales)))
