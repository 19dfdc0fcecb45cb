"""The files of an outcome: each put in place whole, pictures named by the key of their result."""

from __future__ import annotations

import contextlib
import os
import urllib.parse
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from spraycheck.batch.scoring import jpeg_bytes
from spraycheck.batch.sources import is_address
from spraycheck.errors import InputError, SprayCheckError
from spraycheck.photo.files import shown

_PLAIN_SIDE_PX: Final = 640
_PLAIN_QUALITY: Final = 78
# Of the photo beside its drawing: as wide as that, lines as clean to the eye.


@contextlib.contextmanager
def replacing(path: Path, *, sync: bool = True) -> Iterator[Path]:
    """Give a name to write to; what was written takes the place of ``path`` at the end.

    A reader, or a kill, never meets half of a file. With ``sync`` a power cut does not either.
    """
    temporary = path.with_name(f".{path.name}.part")
    try:
        yield temporary
        if sync:
            with open(temporary, "rb+") as file:
                os.fsync(file.fileno())
        os.replace(temporary, path)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


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
        for data, place in ((small, self.small(key.hex())), (large, self.large(key.hex()))):
            if not data:
                continue
            path = self.folder / place
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                with replacing(path, sync=False) as part:  # one that is lost is drawn again
                    part.write_bytes(data)
            except OSError as error:
                raise InputError(
                    f"picture {shown(path)} cannot be written ({error.strerror}); what was "
                    "finished is kept",
                    "make room and run the same command again",
                ) from None

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
    from spraycheck.photo import read_photo

    try:
        rgb = read_photo(photo).rgb
    except SprayCheckError:
        return b""
    return jpeg_bytes(rgb, _PLAIN_QUALITY, width_px=_PLAIN_SIDE_PX, height_px=_PLAIN_SIDE_PX)
