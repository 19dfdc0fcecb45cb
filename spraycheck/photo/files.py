"""The bytes of a file, and what kind of file they are.

A file is named by its first bytes, never by its extension: phones and messengers rename freely.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from spraycheck.errors import PhotoError

FORMATS = "a JPEG, PNG, TIFF, WebP, HEIC or AVIF photo"
"""What is read, as messages say it."""

_MAX_BYTES = 1 << 30
# Chosen because 120 megapixels (the limit in `pictures`) as uncompressed 16-bit RGB with alpha,
# the largest that could be read, are 0.96 GB.

_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_AVIF_BRANDS = {b"avif", b"avis"}  # AV1 Image File Format, section 6; HEIF: ISO/IEC 23008-12

_NOT_PHOTOS: tuple[tuple[bytes, str], ...] = (
    (b"%PDF", "a PDF document"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"PK\x03\x04", "a ZIP or office file"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"7z\xbc\xaf", "a 7-Zip archive"),
    (b"Rar!", "a RAR archive"),
    (b"8BPS", "a Photoshop file"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"FUJIFILM", "a camera raw file"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"ID3", "a sound file"),
    (b"OggS", "a sound or video file"),
    (b"\x7fELF", "a program"),
    (b"MZ", "a program"),
    (b"SQLite format 3", "a database"),
)


def shown(path: str | os.PathLike[str]) -> str:
    """Return a path as a message shows it: quoted, on one line."""
    text = os.fsdecode(path)
    return "'" + "".join(c if c.isprintable() else repr(c)[1:-1] for c in text) + "'"


def refuse(
    path: str | os.PathLike[str], found: str, hint: str, expected: str = FORMATS
) -> PhotoError:
    """Return the error that says what was found, what was expected and what to try."""
    where = shown(path) if os.fspath(path) else "the array"
    return PhotoError(f"{where}: {found}, expected {expected}", hint)


def read_bytes(path: str | os.PathLike[str]) -> tuple[bytes, str]:
    """Read a file once and name its kind.

    Parameters
    ----------
    path : str or path-like
        Where it is.

    Returns
    -------
    data : bytes
        The whole file.
    kind : str
        ``jpeg``, ``png``, ``tiff``, ``webp``, ``heic`` or ``avif``.

    Raises
    ------
    PhotoError
        Missing, a folder, not an ordinary file, not permitted, empty, or no kind of photo.
    """
    try:
        info = os.stat(path)
    except FileNotFoundError:
        raise _missing(path) from None
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        raise _unreachable(path, error) from None
    if stat.S_ISDIR(info.st_mode):
        raise refuse(
            path, "is a folder", "name the photos in it, for example folder/*.jpg", "a photo"
        )
    if not stat.S_ISREG(info.st_mode):
        raise refuse(path, "is a device or pipe", "save the photo as a file first", "a file")
    if info.st_size == 0:
        raise refuse(path, "is empty (0 bytes)", "copy the photo from the phone again")
    try:
        with open(path, "rb") as file:
            head = file.read(64)
            kind = sniff(head)
            if not kind:
                raise refuse(path, f"is {describe(head)}", _hint_for(head))
            if info.st_size > _MAX_BYTES:
                raise refuse(
                    path,
                    f"is {info.st_size / 1e9:.1f} GB large",
                    "give the photo as the camera saved it",
                    f"at most {_MAX_BYTES / 1e9:.1f} GB",
                )
            return head + file.read(), kind
    except OSError as error:
        raise _unreachable(path, error) from None


def sniff(head: bytes) -> str:
    """Name the kind of photo from its first bytes; empty when it is none that is read."""
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+") and head[8:10] != b"CR":
        return "tiff"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head[4:8] == b"ftyp":
        # The major brand, then (after a version number) the compatible ones.
        length = int.from_bytes(head[:4], "big")
        box = head[8 : min(length, len(head))]
        brands = {box[i : i + 4] for i in range(0, len(box), 4) if i != 4}
        if brands & _AVIF_BRANDS:
            return "avif"
        if brands & _HEIF_BRANDS:
            return "heic"
    return ""


def describe(head: bytes) -> str:
    """Say in plain words what a file that is no photo looks like."""
    for magic, name in _NOT_PHOTOS:
        if head.startswith(magic):
            return name
    if head[4:8] == b"ftyp":
        return "a video"
    if head[:4] in (b"II*\0", b"IIRO", b"IIU\0"):
        return "a camera raw file"
    if head[:4] == b"RIFF":
        return "a sound or video file"
    try:
        # A character may be cut at the end of what was read.
        text = head.decode("utf-8", errors="strict" if len(head) < 64 else "ignore")
    except UnicodeDecodeError:
        return "not a photo"
    printable = all(c.isprintable() or c in "\r\n\t\ufeff" for c in text)
    if printable and len(text) >= len(head) - 4:
        return "a text file"
    return "not a photo"


def _hint_for(head: bytes) -> str:
    what = describe(head)
    if "picture" in what or "raw" in what or "PDF" in what:
        return "export it as JPEG, or photograph the card again"
    if "video" in what:
        return "take a still photo of the card"
    return "check that this is the photo itself, copied completely from the phone"


def _missing(path: str | os.PathLike[str]) -> PhotoError:
    folder = Path(path).parent
    if not folder.is_dir():
        return refuse(
            path, f"not found, there is no folder {shown(folder)}", "check the path", "a photo"
        )
    return refuse(path, "not found", "check the name and the folder", "a photo")


def _unreachable(path: str | os.PathLike[str], error: Exception) -> PhotoError:
    if isinstance(error, PermissionError):
        return refuse(
            path, "reading it is not permitted", "check the file's permissions", "a photo"
        )
    reason = getattr(error, "strerror", None) or str(error)
    return refuse(path, f"cannot be read ({reason})", "copy the photo to this computer", "a photo")
