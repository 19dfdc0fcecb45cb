"""The pictures of a batch: beside the tables, named by the key of their result."""

from __future__ import annotations

import contextlib
import os
import urllib.parse
from dataclasses import dataclass
from pathlib import Path

from spraycheck.batch.sources import is_address
from spraycheck.errors import InputError, SprayCheckError
from spraycheck.photo.files import shown


@dataclass(frozen=True)
class Pictures:
    """Stores and finds pictures.

    Parameters
    ----------
    folder : Path
        Of the outcome; pictures go to ``pictures/`` in it, spread over 256 folders.
    """

    folder: Path

    def small(self, key: str) -> str:
        """Return where the small picture lies, from the outcome's folder."""
        return f"pictures/{key[:2]}/{key}-small.jpg"

    def large(self, key: str) -> str:
        """Return where the large picture lies, from the outcome's folder."""
        return f"pictures/{key[:2]}/{key}.jpg"

    def store(self, key: bytes, small: bytes, large: bytes) -> None:
        """Write both pictures.

        Raises
        ------
        InputError
            The disk is full or gone.
        """
        name = key.hex()
        for data, place in ((small, self.small(name)), (large, self.large(name))):
            if data:
                self._write(self.folder / place, data)

    def there(self, key: bytes) -> bool:
        """Tell whether the large picture is there."""
        return self.has(self.large(key.hex()))

    def has(self, place: str) -> bool:
        """Tell whether a picture is there and not empty, as a power cut may leave it."""
        try:
            return (self.folder / place).stat().st_size > 0
        except OSError:
            return False

    def read(self, place: str) -> bytes:
        """Return a picture; nothing when it is not there."""
        try:
            return (self.folder / place).read_bytes()
        except OSError:
            return b""

    def _write(self, path: Path, data: bytes) -> None:
        temporary = path.with_suffix(".part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            temporary.write_bytes(data)
            os.replace(temporary, path)
        except OSError as error:
            with contextlib.suppress(OSError):
                temporary.unlink()
            raise InputError(
                f"picture {shown(path)} cannot be written ({error.strerror}); what was finished is "
                "kept",
                "make room and run the same command again",
            ) from None


def link_to(photo: str, folder: Path) -> str:
    """Return the address of a photo from a page in ``folder``; empty for an object store."""
    if is_address(photo):
        return ""
    try:
        relative = os.path.relpath(photo, folder)
    except ValueError:  # another drive
        return Path(os.path.abspath(photo)).as_uri()
    return urllib.parse.quote(os.fsencode(relative.replace(os.sep, "/")))


def plain_picture(photo: str) -> bytes:
    """Return the photo itself, small enough for a page; nothing when it cannot be read."""
    import cv2

    from spraycheck.photo import read_photo

    try:
        rgb = read_photo(photo).rgb
    except SprayCheckError:
        return b""
    height, width = rgb.shape[:2]
    scale = min(1.0, 640 / max(height, width))  # as wide as the drawing beside it
    size = max(1, round(width * scale)), max(1, round(height * scale))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    good, data = cv2.imencode(
        ".jpg", cv2.cvtColor(small, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, 78]
    )
    return bytes(data.tobytes()) if good else b""
