"""A `Photo` from a file or from an array."""

from __future__ import annotations

import hashlib
import math
import os

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck import flags
from spraycheck.photo.colours import to_uint8
from spraycheck.photo.containers import Photo
from spraycheck.photo.files import read_bytes, refuse
from spraycheck.photo.pictures import MAX_MEGAPIXELS, check_size, decode, reduction

_LOSSY_QUALITY = 70.0
# Chosen because phone cameras save at 85 and above and messengers at 60 to 80 (common practice, no
# source); below 70 the 8 x 8 blocks show at the edges of a streak.

_GREY_STEPS = 3
# Channels that differ by no more, in steps of 255, are grey: the rounding of JPEG's colour space.


def read_photo(
    path: str | os.PathLike[str],
    *,
    max_megapixels: float = MAX_MEGAPIXELS,
    reduce: bool = True,
) -> Photo:
    """Read a photo file: JPEG, PNG, TIFF, WebP, HEIC or AVIF.

    The EXIF orientation is applied once, here. Embedded colour profiles are converted to sRGB,
    16-bit and grey pictures to 8-bit RGB, transparency is laid on white.

    Parameters
    ----------
    path : str or path-like
        Where it is.
    max_megapixels : float
        Larger photos are refused before they are decoded.
    reduce : bool
        Give large photos at 1/2, 1/4 or 1/8 scale, keeping about 3 megapixels or more; the photo
        is then flagged ``decoded-reduced``, and its ``width_px`` and ``height_px`` stay those of
        the full photo. JPEGs are decoded at that scale, which is faster and leaves out noise.

    Returns
    -------
    Photo
        Upright, with SHA-256 of the file, date and focal length where stated.

    Raises
    ------
    PhotoError
        Missing, a folder, not permitted, empty, not a photo, cut off, damaged, too small or too
        large. The message says which, what was expected and what to try.
    """
    data, kind = read_bytes(path)
    picture = decode(data, kind, path, max_megapixels=max_megapixels, reduce=reduce)
    lossy = picture.quality < _LOSSY_QUALITY or picture.screenshot
    return Photo(
        rgb=picture.rgb,
        width_px=picture.width_px,
        height_px=picture.height_px,
        file=os.fsdecode(path),
        sha256=hashlib.sha256(data).hexdigest(),
        taken_at=picture.taken_at,
        focal_35mm=picture.focal_35mm,
        flags=_flags(picture.rgb, picture.width_px, lossy, picture.focal_35mm, flash=picture.flash),
        jpeg_quality=picture.quality,
    )


def photo_from_array(rgb: NDArray[np.generic], *, reduce: bool = True) -> Photo:
    """Make a `Photo` of an upright picture already decoded.

    Parameters
    ----------
    rgb : (H, W, 3) or (H, W) ndarray
        RGB or grey, sRGB-encoded: uint8, uint16 over the full range, or floats from 0 to 1. An
        8-bit RGB array is looked at, not copied: leave it unchanged while the photo is in use.
    reduce : bool
        As in `read_photo`.

    Raises
    ------
    PhotoError
        Another shape or type, values out of range, too small or too large.

    Notes
    -----
    OpenCV reads pictures as BGR; turn those around with ``picture[..., ::-1]``.
    """
    values = np.asarray(rgb)
    wanted = "RGB of shape (height, width, 3) or grey (height, width)"
    if values.ndim == 3 and values.shape[2] == 1:
        values = values[:, :, 0]
    if not (values.ndim == 2 or (values.ndim == 3 and values.shape[2] == 3)):
        what = "RGBA" if values.ndim == 3 and values.shape[2] == 4 else f"of shape {values.shape}"
        raise refuse(
            "",
            f"is {what}",
            "leave out the fourth channel" if what == "RGBA" else "pass one decoded photo",
            wanted,
        )
    height, width = values.shape[:2]
    check_size((width, height), "")
    kind = values.dtype.kind
    if not (values.dtype in (np.uint8, np.uint16) or kind == "f"):
        raise refuse("", f"is of type {values.dtype}", "convert it", "uint8, uint16 or float")
    if kind == "f" and not (values.min() >= 0 and values.max() <= 1):
        low, high = float(values.min()), float(values.max())
        raise refuse("", f"holds {low:g} to {high:g}", "divide it by its full scale", "0 to 1")
    pixels = to_uint8(values)
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[:, :, None], 3, axis=2)
    # A view, so that making the photo's pixels read-only does not freeze the caller's array.
    pixels = np.ascontiguousarray(pixels).view()
    digest = hashlib.sha256(pixels.data).hexdigest()
    if reduce and (factor := reduction((width, height))) > 1:
        size = (math.ceil(width / factor), math.ceil(height / factor))
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)
    return Photo(
        rgb=pixels,
        width_px=width,
        height_px=height,
        sha256=digest,
        flags=_flags(pixels, width, False, math.nan),
    )


def _flags(
    rgb: NDArray[np.uint8], width: int, lossy: bool, focal: float, *, flash: bool = False
) -> tuple[str, ...]:
    sample = rgb[::8, ::8].astype(np.int16)
    grey = int(np.ptp(sample, axis=2).max()) <= _GREY_STEPS
    found = {
        flags.REDUCED: rgb.shape[1] < width,
        flags.LOSSY_COPY: lossy,
        flags.NO_FOCAL_LENGTH: math.isnan(focal),
        flags.GREY_PHOTO: grey,
        flags.FLASH: flash,
    }
    return tuple(name for name, holds in found.items() if holds)
