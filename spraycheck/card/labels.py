"""Read the card's QR code, where the markers say it stands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.card.target import Artwork, Label, parse_label

_QUIET_MM = 3.0  # four modules of the densest code (ISO/IEC 18004 asks for four)
_QR: Any = zxingcpp.BarcodeFormat.QRCode  # the stub asks for a set of formats
_PITCHES = (0.12, 0.2, 0.08)  # mm per sample: 4 to 10 to a module


def read_label(
    rgb: NDArray[np.uint8], card: Artwork, to_picture: Callable[[Float], Float]
) -> Label | None:
    """Read job, injector and version.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Picture.
    card : Artwork
        Which card.
    to_picture : callable
        From ``(K, 2)`` card mm, as printed, to pixels of ``rgb``.

    Returns
    -------
    Label or None
        None when the code cannot be read or is not this project's; never anything but inert text.
    """
    box = card.qr.grown(_QUIET_MM)
    for pitch in _PITCHES:
        cols, rows = round(box.width / pitch), round(box.height / pitch)
        x, y = np.meshgrid(
            box.left + (np.arange(cols) + 0.5) * pitch, box.top + (np.arange(rows) + 0.5) * pitch
        )
        at = to_picture(np.column_stack([x.ravel(), y.ravel()])).astype(np.float32)
        flat = cv2.remap(
            rgb,
            at[:, 0].reshape(rows, cols),
            at[:, 1].reshape(rows, cols),
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        )
        grey = cv2.cvtColor(np.asarray(flat, np.uint8), cv2.COLOR_RGB2GRAY)
        for picture in (grey, cv2.GaussianBlur(grey, (0, 0), 0.25 / pitch)):
            for code in zxingcpp.read_barcodes(np.ascontiguousarray(picture), formats=_QR):
                label = parse_label(code.text)
                if label is not None:
                    return label
    return None
