"""The upright photo, where every measurement begins.

Frames. *Photo*: pixels of the full-size upright photo, ``x_px`` right, ``y_px`` down, integer =
pixel centre. *Card*: mm, ``x_mm`` right, ``y_mm`` down, origin in the middle of the sheet. Where
the sheet's size is not known the card frame is an assumed one (``RectifiedCard.scale_known`` is
False) and ``_mm`` values are in assumed millimetres, good for angles and ratios only.

Directions are degrees clockwise from 12 o'clock on the card, in ``[0, 360)``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, check_array
from spraycheck.flags import Flags


@dataclass(frozen=True, kw_only=True)
class Photo:
    """An upright photo.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Upright pixels, sRGB-encoded, possibly decoded at a reduced scale.
    width_px, height_px : int
        Size of the full upright photo; every ``_px`` value in a result counts in these pixels.
    file : str
        Where it came from; empty for an array.
    sha256 : str
        Of the file's bytes (of the pixels, for an array).
    taken_at : str
        ISO 8601 local time from EXIF; empty when unknown.
    focal_35mm : float
        Focal length as equivalent on 36 x 24 mm film, from EXIF; NaN when unknown.
    flags : tuple of str
        See `flags`.
    jpeg_quality : float
        How strongly a JPEG was compressed, 1 (most) to 100, on the scale most encoders use; NaN
        for other formats and for arrays.
    """

    rgb: NDArray[np.uint8]
    width_px: int
    height_px: int
    file: str = ""
    sha256: str = ""
    taken_at: str = ""
    focal_35mm: float = math.nan
    flags: Flags = ()
    jpeg_quality: float = math.nan

    def __post_init__(self) -> None:
        check_array("rgb", self.rgb, (None, None, 3), np.uint8)

    @property
    def decode_scale(self) -> float:
        """Full-photo pixels per pixel of ``rgb``."""
        return float(self.width_px / self.rgb.shape[1])

    def to_full(self, points: Float) -> Float:
        """Convert ``(K, 2)`` positions in ``rgb`` to positions in the full photo."""
        return np.asarray((np.asarray(points, float) + 0.5) * self.decode_scale - 0.5)

    def to_decoded(self, points: Float) -> Float:
        """Convert ``(K, 2)`` positions in the full photo to positions in ``rgb``."""
        return np.asarray((np.asarray(points, float) + 0.5) / self.decode_scale - 0.5)
