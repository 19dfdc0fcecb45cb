"""A sprayed printed card whose QR code tries everything, as a photo on disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from printed_cards import photograph, view

from spraycheck.card.target import Label
from spraycheck.report.card_page import compose_card
from spraycheck.report.card_png import card_picture

DPI = 150
SIZE = (800, 1050)
PX_PER_MM = 4.5
ANSI, BIDI, BELL = "\x1b[2J\x1b[31m", "\u202e", "\x07"


def hostile_photo(path: Path, *, job: str = "", injector: str = "", nozzle: str = "") -> str:
    """Photograph an A5 card with four clear plumes; names go into its code as they are."""
    label = Label(version=1, paper="a5", job=job, injector=injector, nozzle=nozzle)
    grey = card_picture(compose_card(label), DPI)
    flat = np.repeat(grey[..., None], 3, axis=2).astype(float)
    for k in range(4):
        flat *= _plume(flat.shape[:2], np.radians(20 + 90 * k))[..., None] ** [0.6, 1.0, 1.5]
    homography = view("a5", turn_deg=4, tilt_deg=5, px_per_mm=PX_PER_MM, size=SIZE)
    rgb = photograph(flat.astype(np.uint8), "a5", homography, size=SIZE)
    Image.fromarray(rgb).save(path, quality=92)
    return str(path)


def _plume(shape: tuple[int, int], turn: float) -> NDArray[np.float64]:
    """Share of light that a wet ellipse 34 mm off the centre leaves."""
    rows, cols = np.indices(shape)
    mm = 25.4 / DPI
    x, y = (cols - shape[1] / 2) * mm, (rows - shape[0] / 2) * mm
    along = x * np.sin(turn) - y * np.cos(turn) - 34
    across = x * np.cos(turn) + y * np.sin(turn)
    inside = 1 - np.hypot(along / 14, across / 6.5)
    return np.asarray(1 - 0.3 / (1 + np.exp(-np.clip(inside * 18, -50, 50))))
