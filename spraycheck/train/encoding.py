"""Pictures as the bytes of a file, as a phone writes them."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

JPEG_QUALITY = 92
"""Of a picture that is to be measured: blocks stay below the paper's own grain (chosen)."""

_FOCAL_35MM = 41989
# Exif 2.32, tag FocalLengthIn35mmFilm.


def picture_bytes(
    rgb: NDArray[np.uint8],
    suffix: str = ".jpg",
    focal_35mm: float = 0.0,
    *,
    quality: int = JPEG_QUALITY,
) -> bytes:
    """Encode a picture.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        sRGB.
    suffix : str
        ``.png`` for PNG, JPEG otherwise.
    focal_35mm : float
        Written into the header as a phone does; 0 for none.
    quality : int
        Of a JPEG.
    """
    image, out = Image.fromarray(rgb), io.BytesIO()
    exif = Image.Exif()
    if focal_35mm:
        exif.get_ifd(0x8769)[_FOCAL_35MM] = round(focal_35mm)
    if suffix.lower() == ".png":
        image.save(out, "PNG", exif=exif)
    else:
        image.save(out, "JPEG", quality=quality, exif=exif)
    return out.getvalue()
