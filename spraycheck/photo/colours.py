"""Any kind of pixel to 8-bit sRGB."""

from __future__ import annotations

import functools
import io
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from spraycheck.optics import srgb_decode, srgb_encode

if TYPE_CHECKING:
    from PIL.ImageCms import ImageCmsTransform

_SPACE_OF_MODE: Final = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}

_SRGB_TRANSFER, _PRIMARIES_709, _PRIMARIES_UNSTATED = 13, 1, 2  # ITU-T H.273
_REC_709: Final = {
    **{"red_x": 0.64, "red_y": 0.33, "green_x": 0.30, "green_y": 0.60},
    **{"blue_x": 0.15, "blue_y": 0.06, "white_x": 0.3127, "white_y": 0.3290},
}
"""Chromaticities of sRGB (ITU-R BT.709-6, IEC 61966-2-1)."""
_CORNERS: Final = tuple(_REC_709)

_SAME_SRGB = 2
# Largest difference, in steps of 255, at which a profile counts as sRGB. Chosen because the sRGB
# profiles in circulation differ by 1 to 2 steps in rounding and black point.


def flatten(image: Image.Image) -> Image.Image:
    """Bring a decoded picture to mode L, RGB or CMYK, 8 bits, transparency on white.

    Raises
    ------
    ValueError
        Values that are not finite.
    """
    if image.mode in _SPACE_OF_MODE and "transparency" not in image.info:
        return image
    if image.mode[0] in "IF":  # one channel of 16 or 32 bits, or of floats
        return Image.fromarray(to_uint8(np.asarray(image)))
    if image.mode == "1":
        return image.convert("L")
    if "transparency" in image.info or image.mode in ("RGBA", "RGBa", "LA", "La", "PA"):
        seen = image.convert("RGBA")
        paper = Image.new("RGBA", seen.size, "white")
        return Image.alpha_composite(paper, seen).convert("RGB")
    return image.convert("RGB")


def to_uint8(values: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Scale pixel values of any usual kind to 0 to 255.

    Parameters
    ----------
    values : ndarray
        Integers of 8 or 16 bits over their full range; integers of 32 bits as 8 or 16 bits,
        whichever holds the largest; floats as 0 to 1, else 0 to 255, else 0 to 65535.

    Raises
    ------
    ValueError
        Not finite, negative, or beyond these ranges.
    """
    if values.dtype == np.uint8:
        return values.astype(np.uint8, copy=False)
    if values.dtype == np.bool_:
        return values.astype(np.uint8) * np.uint8(255)
    if values.dtype.kind == "u" and values.dtype.itemsize == 2:
        # 65535 / 257 = 255 exactly; a shift by 8 bits would darken by half a step.
        return ((values.astype(np.uint32) + 128) // 257).astype(np.uint8)
    if values.dtype.kind not in "iuf":
        raise ValueError(f"pixels of type {values.dtype}")
    low, high = float(values.min()), float(values.max())
    if not (low >= 0 and high <= 65535):  # also true for NaN
        raise ValueError(f"pixel values from {low:g} to {high:g}")
    floats = values.dtype.kind == "f"
    full = 1.0 if floats and high <= 1 else 255.0 if high <= 255 else 65535.0
    scaled: NDArray[np.float32] = values.astype(np.float32) * np.float32(255 / full)
    return np.rint(scaled).astype(np.uint8)


def to_srgb(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Convert from the embedded colour profile to sRGB; without one the picture is sRGB already.

    Parameters
    ----------
    image : Image
        Mode L, RGB or CMYK.
    profile : bytes or None
        The ICC profile; one that is damaged or for another kind of picture is ignored, as all
        viewers do.

    Returns
    -------
    Image
        Mode RGB.
    """
    if profile and (transform := _transform(profile, image.mode)) is not None:
        from PIL import ImageCms

        converted = ImageCms.applyTransform(image, transform)
        assert converted is not None  # None only in place
        return converted
    return image if image.mode == "RGB" else image.convert("RGB")


def primaries_to_srgb(image: Image.Image, named: Mapping[str, Any]) -> Image.Image:
    """Convert from the primaries a HEIC file names in place of a profile (some Android phones).

    Parameters
    ----------
    image : Image
        Mode RGB.
    named : mapping
        The file's colour information as libheif gives it: code points of ITU-T H.273 (2021),
        tables 2 and 3, and the chromaticities they stand for. Anything but the sRGB transfer curve
        (13) is left alone, as are primaries not stated.
    """
    if named.get("transfer_characteristics") != _SRGB_TRANSFER or image.mode != "RGB":
        return image
    if named.get("color_primaries") in (_PRIMARIES_709, _PRIMARIES_UNSTATED):
        return image
    try:
        theirs = _to_xyz({name: float(named[f"color_primary_{name}"]) for name in _CORNERS})
        matrix = np.linalg.inv(_to_xyz(_REC_709)) @ theirs
    except (KeyError, TypeError, ValueError, ZeroDivisionError, np.linalg.LinAlgError):
        return image
    linear = srgb_decode(np.arange(256) / 255).astype(np.float32)[np.asarray(image)]
    mixed = np.clip(linear @ matrix.astype(np.float32).T, 0, 1)
    # 16384 steps of linear light are finer than a step of 255 even where the curve is steepest.
    encoded = np.rint(255 * srgb_encode(np.arange(16385) / 16384)).astype(np.uint8)
    return Image.fromarray(encoded[np.rint(mixed * 16384).astype(np.int32)])


def _to_xyz(xy: Mapping[str, float]) -> NDArray[np.float64]:
    """Matrix from linear RGB to XYZ for these primaries and white (SMPTE RP 177-1993)."""

    def column(name: str) -> list[float]:
        x, y = xy[f"{name}_x"], xy[f"{name}_y"]
        return [x / y, 1.0, (1 - x - y) / y]

    primaries = np.array([column(name) for name in ("red", "green", "blue")]).T
    return np.asarray(primaries * np.linalg.solve(primaries, np.array(column("white"))))


@functools.lru_cache(maxsize=8)
def _transform(profile: bytes, mode: str) -> ImageCmsTransform | None:
    """Build the transform to sRGB; None where there is nothing to convert."""
    from PIL import ImageCms

    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if source.profile.xcolor_space.strip() != _SPACE_OF_MODE[mode]:
            return None
        transform = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
        if mode == "CMYK":
            return transform
        # Most profiles are sRGB under one of many names: compare what it does, not its name.
        steps = np.arange(0, 256, 15, dtype=np.uint8)
        red, green, blue = np.meshgrid(steps, steps, steps)
        probe = Image.fromarray(np.stack([red, green, blue], axis=-1).reshape(1, -1, 3))
        if mode == "L":
            probe = Image.fromarray(np.arange(256, dtype=np.uint8)[None])
        after = ImageCms.applyTransform(probe, transform)
        assert after is not None
        before = np.asarray(probe.convert("RGB"), np.int16)
        same = np.abs(np.asarray(after, np.int16) - before).max() <= _SAME_SRGB
        return None if same else transform
    except Exception:  # a profile is a small program; a damaged one can fail in any way
        return None
