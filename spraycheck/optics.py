"""Light and paper: sRGB to linear light and back, and Kubelka-Munk's ratio.

Oil makes paper darker by taking away scattering, so its effect is even in K/S, not in grey levels;
and K/S needs linear light: encoded pixel values give another answer.

References
----------
.. [1] IEC 61966-2-1:1999, Colour management: default RGB colour space sRGB.
.. [2] P. Kubelka, F. Munk, Z. Tech. Phys. 12 (1931) 593-601.
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


def kubelka_munk_ratio(reflectance: NDArray[np.floating] | float) -> Float:
    """Absorption over scattering, ``K/S = (1 - R)^2 / (2 R)``.

    Parameters
    ----------
    reflectance : array_like of float
        Of a layer thick enough to be opaque, linear, above 0 to 1. 0 gives infinity, values outside
        0 to 1 (glare) NaN.

    Notes
    -----
    Kubelka and Munk [2]_. Best where more than half is reflected; poor for dark or dyed sheets.
    """
    r = np.asarray(reflectance, float)
    valid = np.where((r >= 0.0) & (r <= 1.0), r, np.nan)
    with np.errstate(divide="ignore"):  # black scatters nothing back: infinite, as documented
        return np.asarray((1.0 - valid) ** 2 / (2.0 * valid))


def kubelka_munk_reflectance(ratio: NDArray[np.floating] | float) -> Float:
    """Reflectance of an opaque layer with the given K/S of 0 or more; inverse of the ratio.

    Written as ``1 / (1 + k + sqrt(k^2 + 2 k))``, which keeps its digits for large k where
    ``1 + k - sqrt(k^2 + 2 k)`` would cancel; negative ratios give NaN.
    """
    k = np.asarray(ratio, float)
    valid = np.where(k >= 0.0, k, np.nan)
    return np.asarray(1.0 / (1.0 + valid + np.sqrt(valid * (valid + 2.0))))
