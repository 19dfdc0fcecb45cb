"""Wetness maps of central sprays from plain formulas, for the tests: discs, rings, jets.

No code of the package's own; the photo is the card at four pixels to the millimetre.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.card.containers import RectifiedCard
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import CellFlag, WetnessMap

SIZE = (150.0, 190.0)
CELL = 0.4
CONTRAST = 0.5
Float = NDArray[np.float64]


def grid(middle: tuple[float, float] = (0.0, 0.0)) -> tuple[Float, Float]:
    """Distance from a point in mm, and angle clockwise from 12 o'clock in degrees."""
    cols, rows = round(SIZE[0] / CELL), round(SIZE[1] / CELL)
    x = (np.arange(cols) - (cols - 1) / 2) * CELL - middle[0]
    y = (np.arange(rows) - (rows - 1) / 2) * CELL - middle[1]
    dx, dy = np.meshgrid(x, y)
    return np.hypot(dx, dy), np.degrees(np.arctan2(dx, -dy))


def disc(radius: float, middle: tuple[float, float] = (0.0, 0.0), *, long: float = 1.0) -> Float:
    """A full disc, or an ellipse that is ``long`` times as high as wide."""
    r, turn = grid(middle)
    a = np.radians(turn)
    return (np.hypot(r * np.sin(a), r * np.cos(a) / long) <= radius).astype(float)


def wet_map(
    wetness: Float,
    *,
    noise: float = 0.01,
    scale_known: bool = True,
    seed: int = 5,
    light: Float | None = None,
) -> WetnessMap:
    """The map that stage 2 would make of it: a little noise, and the filter for detection.

    The card's light is that of wet paper unless it is given.
    """
    rows, cols = wetness.shape
    raw = wetness + np.random.default_rng(seed).normal(0, noise, wetness.shape)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    pitch = CELL * 4
    if light is None:
        # Wet paper passes exp(-contrast / 2) of the light either way (Yule-Nielsen, n = 2).
        light = 0.6 * (1 - np.clip(wetness, 0, 1) * (1 - math.exp(-CONTRAST / 2))) ** 2
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(SIZE) / 2
    corners_px = (corners + np.array(SIZE) / 2) * 4
    card = RectifiedCard(
        linear_rgb=np.repeat(light[..., None], 3, axis=2).astype(np.float32),
        inside=np.ones((rows, cols), bool),
        map_x_px=x * np.float32(pitch),
        map_y_px=y * np.float32(pitch),
        cell_mm=CELL,
        x0_mm=-(cols - 1) / 2 * CELL,
        y0_mm=-(rows - 1) / 2 * CELL,
        size_mm=SIZE,
        scale_known=scale_known,
        found_by="sheet",
        corners_px=corners_px,
        outline_px=corners_px,
        geometry_u_mm=0.1,
        aspect_u_frac=0.001,
        method="drawn",
    )
    return WetnessMap(
        card=card,
        wetness=raw.astype(np.float32),
        smooth=cv2.GaussianBlur(raw, (0, 0), 0.7 / CELL).astype(np.float32),
        # The rim is never judged.
        cell_flags=np.pad(
            np.zeros((rows - 6, cols - 6), np.uint8), 3, constant_values=CellFlag.EDGE
        ),
        noise=noise / 3,
        contrast=CONTRAST,
        threshold_u=0.05,
    )


def photo_of(wet: WetnessMap) -> Photo:
    """A picture of the card, dark where it is wet."""
    size = (math.ceil(SIZE[0] * 4), math.ceil(SIZE[1] * 4))
    light = cv2.resize(1 - 0.5 * np.clip(wet.wetness, 0, 1), size)
    grey = np.clip(light * 200, 0, 255).astype(np.uint8)
    rgb = np.repeat(grey[..., None], 3, axis=2)
    return Photo(rgb=rgb, width_px=size[0], height_px=size[1], sha256="0" * 64)
