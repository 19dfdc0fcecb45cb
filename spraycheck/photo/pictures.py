"""Bytes to pixels: upright, 8-bit, sRGB.

Pillow decodes everything (HEIC by way of pi_heif). Against OpenCV it is as fast where JPEGs are
decoded at reduced scale, raises on a cut-off file instead of filling the rest with grey, keeps the
decoders' own complaints off stderr, and hands over the colour profile.
"""

from __future__ import annotations

import contextlib
import io
import math
import os
import re
import threading
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from spraycheck.errors import PhotoError
from spraycheck.photo.colours import flatten, primaries_to_srgb, to_srgb
from spraycheck.photo.files import refuse
from spraycheck.photo.structure import check_structure

MAX_MEGAPIXELS: Final = 120.0
"""Largest photo read. Chosen because phones save up to 108 megapixels, and decoding twice as
many takes 1 GB in a format that cannot be decoded at reduced scale."""

MIN_SIDE_PX: Final = 200
"""Smallest shorter side. Chosen because on an A5 card it still leaves 1.4 pixels per mm, where a
streak 3 mm wide can just be seen; what can be judged needs more and is decided by the stages."""

MAX_SIDE_PX: Final = 30_000
"""Longest side. OpenCV addresses positions in a picture by 16-bit numbers (at most 32767)."""

KEEP_MEGAPIXELS: Final = 2.9
"""A reduced picture keeps at least this much: 12 megapixels, the usual phone photo, are halved to
3.0. On an A4 sheet that fills the photo this is 7 pixels per mm."""

# Tags: Exif 3.0 (CIPA DC-008), TIFF 6.0, DNG 1.7
_SUBFILE_TYPE, _ORIENTATION, _DATE, _EXIF_IFD, _DNG_VERSION = 254, 274, 306, 0x8769, 50706
_TAKEN, _DIGITISED, _OFFSET, _FLASH, _FOCAL_35MM = 36867, 36868, 36881, 37385, 41989
_COMMENT = 37510

_UPRIGHT: Final[dict[int, Image.Transpose]] = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_SIDEWAYS = (5, 6, 7, 8)

_LUMA_STEPS_SUM = 3688
# Sum of the 64 luminance quantisation steps of ITU-T T.81 (1992), table K.1.

_quiet = threading.Lock()


@dataclass(frozen=True, kw_only=True)
class Picture:
    """What a photo file holds.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Upright, sRGB, possibly reduced.
    width_px, height_px : int
        Of the full upright photo.
    taken_at : str
        ISO 8601; empty when unknown.
    focal_35mm : float
        NaN when unknown.
    quality : float
        Of a JPEG, on the scale of 1 to 100 most encoders use; NaN for other formats.
    flash : bool
        The flash fired.
    screenshot : bool
        The file says that it is one.
    """

    rgb: NDArray[np.uint8]
    width_px: int
    height_px: int
    taken_at: str
    focal_35mm: float
    quality: float
    flash: bool = False
    screenshot: bool = False


@dataclass(frozen=True, kw_only=True)
class _Header:
    orientation: int = 1
    taken_at: str = ""
    focal_35mm: float = math.nan
    raw: bool = False
    flash: bool = False
    screenshot: bool = False


def decode(
    data: bytes,
    kind: str,
    path: str | os.PathLike[str],
    *,
    max_megapixels: float = MAX_MEGAPIXELS,
    reduce: bool = True,
) -> Picture:
    """Decode the bytes of a photo.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        As `files.sniff` names it.
    path : str or path-like
        For messages only.
    max_megapixels : float
        Refuse larger photos before decoding them.
    reduce : bool
        Give large photos at 1/2, 1/4 or 1/8 scale, keeping `KEEP_MEGAPIXELS` or more.

    Raises
    ------
    PhotoError
        Too small, too large, cut off or damaged.
    """
    try:
        check_structure(data, kind)
        image, size, header = _load(
            data, kind, lambda size: check_size(size, path, max_megapixels), reduce
        )
        if header.raw:
            raise refuse(path, "is a camera raw file", "export it as JPEG")
        flat = flatten(image)
        left = round(size[0] / image.width)
        if left < (wanted := reduction(size) if reduce else 1):
            flat = flat.reduce(wanted // left)
        upright = to_srgb(flat, image.info.get("icc_profile"))
        if not image.info.get("icc_profile") and (named := image.info.get("nclx_profile")):
            upright = primaries_to_srgb(upright, named)
        if (turn := _UPRIGHT.get(header.orientation)) is not None:
            upright = upright.transpose(turn)
        rgb = np.asarray(upright)
    except PhotoError:
        raise
    except Image.DecompressionBombError as error:
        # Pillow's own limit, 179 megapixels, comes first where a header costs memory to read.
        pixels = re.search(r"\d+ pixels", str(error))
        raise refuse(
            path,
            f"is too large ({pixels[0] if pixels else 'far too many pixels'})",
            "take the photo at 12 megapixels, which is plenty",
            f"at most {max_megapixels:g} megapixels",
        ) from None
    except MemoryError:
        raise refuse(path, "needs more memory than there is", "save it at a smaller size") from None
    except Exception as error:
        # Damaged files make decoders raise nearly anything; a test with damaged files watches this.
        raise _damaged(path, kind, error) from None
    width, height = size[::-1] if header.orientation in _SIDEWAYS else size
    return Picture(
        rgb=rgb,
        width_px=width,
        height_px=height,
        taken_at=header.taken_at,
        focal_35mm=header.focal_35mm,
        quality=_quality(image),
        flash=header.flash,
        screenshot=header.screenshot,
    )


def reduction(size: tuple[int, int]) -> int:
    """Return by how much a photo of ``size`` (width, height) is reduced: 1, 2, 4 or 8."""
    megapixels = size[0] * size[1] / 1e6
    return max((n for n in (1, 2, 4, 8) if megapixels / n**2 >= KEEP_MEGAPIXELS), default=1)


def check_size(
    size: tuple[int, int], path: str | os.PathLike[str], max_megapixels: float = MAX_MEGAPIXELS
) -> None:
    """Refuse a photo that is too small or too large.

    Raises
    ------
    PhotoError
        Shorter side below `MIN_SIDE_PX`, longer above `MAX_SIDE_PX`, or too many megapixels.
    """
    found = f"is {size[0]} x {size[1]} pixels"
    if min(size) < MIN_SIDE_PX:
        raise refuse(
            path,
            found + " small",
            "send the original photo, not a thumbnail or preview",
            f"at least {MIN_SIDE_PX} on the shorter side",
        )
    megapixels = size[0] * size[1] / 1e6
    if megapixels > max_megapixels or max(size) > MAX_SIDE_PX:
        raise refuse(
            path,
            f"{found} ({megapixels:.0f} megapixels)",
            "take the photo at 12 megapixels, which is plenty",
            f"at most {max_megapixels:g} megapixels and {MAX_SIDE_PX} on the longer side",
        )


def _load(
    data: bytes, kind: str, check: Callable[[tuple[int, int]], None], reduce: bool
) -> tuple[Image.Image, tuple[int, int], _Header]:
    """Read the header, check the size, decode; return picture, stored size and header."""
    if kind == "heic":
        # libheif has turned the picture upright by the file's own transformation; the orientation
        # in its EXIF block repeats that and must not be applied again (ISO/IEC 23008-12, 6.5.10).
        import pi_heif

        heif = pi_heif.open_heif(data, convert_hdr_to_8bit=True)
        check(heif.size)
        image = heif.to_pillow()
        with _quiet, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            header = _header(image)
        return image, image.size, replace(header, orientation=1, raw=False)

    # Pillow reports odd metadata as warnings. They hold nothing the caller can act on and would end
    # on stderr; the lock keeps two threads from restoring each other's filters.
    with _quiet, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image = _opener(kind)(io.BytesIO(data))
        size = image.size
        check(size)
        # Asking a PNG for its EXIF block decodes it, which must not happen under the lock.
        header = _Header() if kind == "png" else _header(image)
    if reduce and (factor := reduction(size)) > 1:
        image.draft(None, (size[0] // factor, size[1] // factor))  # only a JPEG can
    if kind == "tiff":
        with _quiet, _libtiff_silenced():
            image.load()
    else:
        image.load()
    if kind == "png":
        with _quiet, warnings.catch_warnings():
            warnings.simplefilter("ignore")
            header = _header(image)
    elif kind == "tiff":
        # Pillow turns a TIFF upright itself while loading, and gives the upright size beforehand.
        header = replace(header, orientation=1)
    return image, size, header


@contextlib.contextmanager
def _libtiff_silenced() -> Iterator[None]:
    """Send what C code writes to stderr nowhere: libtiff complains there about damaged files.

    Nothing else keeps it off. It holds for the whole process, but only while a TIFF is decoded.
    """
    try:
        kept = os.dup(2)
    except OSError:  # no stderr, nothing to silence
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)


def _opener(kind: str) -> Callable[[io.BytesIO], Image.Image]:
    # The classes are called directly: Image.open would try all formats it knows, and enforces a
    # size limit of its own that is set for the whole process.
    if kind == "jpeg":
        from PIL.JpegImagePlugin import JpegImageFile

        return JpegImageFile
    if kind == "png":
        from PIL.PngImagePlugin import PngImageFile

        return PngImageFile
    if kind == "tiff":
        from PIL.TiffImagePlugin import TiffImageFile

        return TiffImageFile
    if kind == "webp":
        from PIL.WebPImagePlugin import WebPImageFile

        return WebPImageFile
    from PIL.AvifImagePlugin import AvifImageFile

    return AvifImageFile


def _header(image: Image.Image) -> _Header:
    """Read what the EXIF block says; damaged metadata is no reason to refuse a picture."""
    try:
        exif = image.getexif()
    except Exception:
        return _Header()
    orientation = exif.get(_ORIENTATION)
    raw = _DNG_VERSION in exif or (
        image.format == "TIFF" and exif.get(_SUBFILE_TYPE) == 1  # a preview before the raw data
    )
    try:
        details = exif.get_ifd(_EXIF_IFD)
    except Exception:
        details = {}
    taken = details.get(_TAKEN) or details.get(_DIGITISED) or exif.get(_DATE)
    return _Header(
        orientation=orientation if isinstance(orientation, int) else 1,
        taken_at=_iso(taken, details.get(_OFFSET)),
        focal_35mm=_focal(details.get(_FOCAL_35MM)),
        raw=raw,
        # Bit 0 says that it fired; the others say why, and what came back.
        flash=isinstance(fired := details.get(_FLASH), int) and fired & 1 == 1,
        # What one make of phone writes into its screenshots (from memory); others write nothing.
        screenshot="screenshot" in _plain_text(details.get(_COMMENT)),
    )


def _plain_text(value: Any) -> str:
    text = value.decode("latin-1") if isinstance(value, bytes) else str(value)
    return text.lower()


def _iso(taken: Any, offset: Any) -> str:
    try:
        when = datetime.strptime(str(taken).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return ""
    try:
        zone = datetime.strptime(str(offset).strip("\0 "), "%z").strftime("%z")
    except ValueError:
        return when.isoformat()
    return f"{when.isoformat()}{zone[:3]}:{zone[3:]}"


def _focal(value: Any) -> float:
    try:
        focal = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return math.nan
    # 8 mm is a fisheye, 1200 mm the longest made for photography; 0 means unknown in Exif.
    return focal if 8 <= focal <= 1200 else math.nan


def _quality(image: Image.Image) -> float:
    """Estimate a JPEG's quality from its quantisation, by the scale of the IJG encoder."""
    steps: list[int] = getattr(image, "quantization", {}).get(0, [])
    if len(steps) != 64:
        return math.nan
    scale = 100 * sum(steps) / _LUMA_STEPS_SUM
    return max(1.0, 100 - scale / 2 if scale <= 100 else 5000 / scale)


def _damaged(path: str | os.PathLike[str], kind: str, error: Exception) -> PhotoError:
    name = {"webp": "a WebP", "avif": "an AVIF"}.get(kind, f"a {kind.upper()}")
    again = "copy the photo from the phone again, or take it again"
    if "truncated" in str(error).lower() or isinstance(error, EOFError):
        return refuse(path, f"is {name} file that is cut off", again, "a complete photo")
    return refuse(path, f"is {name} file that is damaged", again, "an undamaged photo")
