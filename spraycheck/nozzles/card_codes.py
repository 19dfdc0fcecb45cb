"""The nozzle that a printed card's own code names, read before anything is measured.

Only where nobody else says what a nozzle should do: an option, a manifest or a folder's file goes
before what is printed, and what is printed is only ever a name, looked up like any other.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np

from spraycheck.card.target import parse_label
from spraycheck.errors import InputError
from spraycheck.nozzles.model import Nozzle
from spraycheck.nozzles.nozzle_library import Library
from spraycheck.photo.containers import Photo

_SIDE_PX: Final = 2400
# Chosen because modules of a code are 0.5 mm or more: 4 pixels each with an A4 card in the picture.


def nozzle_printed(photo: Photo, library: Library) -> Nozzle | None:
    """Return the nozzle that the code on the card in a photo names.

    Parameters
    ----------
    photo : Photo
        With the card in it.
    library : Library
        Where to look the name up.

    Returns
    -------
    Nozzle or None
        None when no code can be read, or it names no nozzle.

    Raises
    ------
    InputError
        Codes that name different nozzles; a name with no nozzle file, or a file with mistakes.
    """
    name = one_name(names_printed(photo))
    return library.read(name) if name else None


def one_name(names: set[str]) -> str:
    """Return the only name; empty when there is none; refuse several.

    Raises
    ------
    InputError
        Several names.
    """
    if len(names) > 1:
        raise InputError(
            f"the codes in the photo name {len(names)} nozzles ({', '.join(sorted(names))}), "
            "expected one",
            "photograph one card at a time, or say which nozzle it is with --nozzle",
        )
    return min(names, default="")


def names_printed(photo: Photo) -> set[str]:
    """Return the names of nozzles that codes of this project's cards in a photo carry."""
    import cv2
    import zxingcpp

    grey = cv2.cvtColor(np.ascontiguousarray(photo.rgb), cv2.COLOR_RGB2GRAY)
    scale = min(1.0, _SIDE_PX / max(grey.shape))
    if scale < 1.0:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    formats: Any = zxingcpp.BarcodeFormat.QRCode  # the stub asks for a set of formats
    codes = zxingcpp.read_barcodes(np.asarray(grey, np.uint8), formats=formats)
    labels = [parse_label(code.text) for code in codes]
    return {label.nozzle for label in labels if label is not None and label.nozzle}
