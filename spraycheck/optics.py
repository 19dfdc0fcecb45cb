"""Light: sRGB to linear light and back.

References
----------
.. [1] IEC 61966-2-1:1999, Colour management: default RGB colour space sRGB.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Float = NDArray[np.float64]


def srgb_decode(encoded: NDArray[np.floating] | float) -> Float:
    """Linear light, 0 to 1, of encoded sRGB values 0 to 1; IEC 61966-2-1 [1]_."""
    v = np.asarray(encoded, float)
    # The power branch is evaluated everywhere; below its domain the other one is taken.
    power = ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4
    return np.where(v <= 0.04045, v / 12.92, power)


def srgb_encode(linear: NDArray[np.floating] | float) -> Float:
    """Encoded sRGB values, 0 to 1, of linear light 0 to 1; inverse of `srgb_decode`."""
    v = np.asarray(linear, float)
    power = 1.055 * np.maximum(v, 0.0) ** (1.0 / 2.4) - 0.055
    return np.where(v <= 0.0031308, v * 12.92, power)
