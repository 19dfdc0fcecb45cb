"""Overlay files: where each one goes, and writing it.

Never over a photo that is being measured, and never two to the same file.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from spraycheck.errors import InputError
from spraycheck.output_files import target_file

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

SUFFIXES: Final = (".png", ".jpg", ".jpeg")

_JPEG_QUALITY = 92
# Chosen because thin outlines show no blocks from about 90 on; common practice, no source.


def plan_overlays(photos: Sequence[str], target: str) -> list[Path]:
    """Decide where the overlay of each photo goes.

    Parameters
    ----------
    photos : sequence of str
        The photos, as given.
    target : str
        A file (one photo only) ending in .png, .jpg or .jpeg, or a folder, made when missing.

    Returns
    -------
    list of Path
        One for each photo, all different: in a folder ``NAME-overlay.jpg``, with a number where
        two photos share a name.

    Raises
    ------
    InputError
        The target is one of the photos, has another ending, or is a file for several photos; its
        folder does not exist or cannot be made.
    """
    wanted = Path(target)
    as_folder = wanted.is_dir() or target.endswith(("/", os.sep)) or not wanted.suffix
    if as_folder or (len(photos) > 1 and wanted.suffix.lower() not in SUFFIXES):
        return _in_folder(photos, wanted)
    if len(photos) > 1:
        raise InputError(
            f"overlay {target!r} is a file name but there are {len(photos)} photos, expected "
            "a folder",
            f"use --overlay {str(wanted.with_suffix(''))!r}",
        )
    target_file(
        target,
        "overlay",
        SUFFIXES,
        expected=".png, .jpg or a folder",
        hint=f"use --overlay {wanted.with_suffix('.png').name!r}",
    )
    if _same_file(wanted, photos):
        raise InputError(
            f"overlay {target!r} is the photo itself, expected another name",
            "choose another file so that the photo is kept",
        )
    return [wanted]


def write_overlay(rgb: NDArray[np.uint8], path: Path) -> None:
    """Write an RGB picture as PNG or JPEG, by the ending of the path.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    from PIL import Image

    try:
        Image.fromarray(rgb).save(path, quality=_JPEG_QUALITY)
    except OSError as error:
        raise InputError(
            f"overlay {str(path)!r} cannot be written ({error.strerror or error}), expected room "
            "and permission to write",
            "choose another place",
        ) from None


def _in_folder(photos: Sequence[str], folder: Path) -> list[Path]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"overlay folder {str(folder)!r} cannot be made ({error.strerror}), expected a folder",
            "choose another name or place",
        ) from None
    taken: set[str] = set()
    paths = []
    for photo in photos:
        stem = Path(photo).stem or "photo"
        number, name = 1, f"{stem}-overlay.jpg"
        # Some file systems take Card.jpg and card.jpg for the same file.
        while name.casefold() in taken or _same_file(folder / name, photos):
            number += 1
            name = f"{stem}-{number}-overlay.jpg"
        taken.add(name.casefold())
        paths.append(folder / name)
    return paths


def _same_file(path: Path, photos: Iterable[str]) -> bool:
    for photo in photos:
        try:
            if os.path.samefile(path, photo):
                return True
        except (OSError, ValueError):  # one of them does not exist or has an impossible name
            continue
    return False
