"""Target cards as pictures, and photographs of them through a plain pinhole.

The camera here is a homography of its own, written without the package's geometry; curl and a real
lens come from the simulator where a test asks for them.
"""

from __future__ import annotations

import functools

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.card.target import CARDS, make_label
from spraycheck.judge.layout import Layout
from spraycheck.report.card_page import compose_card
from spraycheck.report.card_png import card_picture

DPI = 150
TABLE = (60, 90, 120)
SIZE = (1500, 1800)

Float = NDArray[np.float64]
Picture = NDArray[np.uint8]


@functools.cache
def flat_card(
    paper: str = "a4", job: str = "", injector: str = "", azimuths: tuple[float, ...] = ()
) -> Picture:
    layout = None
    if azimuths:
        layout = Layout(name="ticks", azimuth_deg=azimuths, counts_from="dowel")
    label = make_label(paper, job=job, injector=injector)
    grey = card_picture(compose_card(label, layout), DPI)
    return np.repeat(grey[..., None], 3, axis=2)


def view(
    paper: str, *, turn_deg: float = 0.0, tilt_deg: float = 0.0, px_per_mm: float = 4.5,
    at: tuple[float, float] | None = None, size: tuple[int, int] = SIZE,
) -> Float:  # fmt: skip
    """Homography from card mm to photo pixels: a pinhole with a phone's usual focal length.

    ``tilt_deg`` is about an axis 25 degrees off the card's level one; ``at`` is where the card's
    middle falls.
    """
    t, o, axis = np.radians([turn_deg, tilt_deg, 25.0])
    spin = np.array([[np.cos(t), -np.sin(t), 0], [np.sin(t), np.cos(t), 0], [0, 0, 1]])
    to_axis = np.array(
        [[np.cos(axis), -np.sin(axis), 0], [np.sin(axis), np.cos(axis), 0], [0, 0, 1]]
    )
    lean = np.array([[1, 0, 0], [0, np.cos(o), -np.sin(o)], [0, np.sin(o), np.cos(o)]])
    rotation = to_axis @ lean @ to_axis.T @ spin
    focal = 28 / 43.27 * np.hypot(*size)
    middle = (np.array(size) - 1) / 2
    ray = np.append((np.array(at if at is not None else middle) - middle) / focal, 1.0)
    shift = ray * focal / px_per_mm
    camera = np.array([[focal, 0, middle[0]], [0, focal, middle[1]], [0, 0, 1]])
    out = camera @ np.column_stack([rotation[:, :2], shift])
    return np.asarray(out / out[2, 2])


def mapped(homography: Float, points: Float) -> Float:
    p = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(p[:, :2] / p[:, 2:])


def paste(photo: Picture, flat: Picture, paper: str, homography: Float) -> Picture:
    """Lay a flat card into a photo."""
    card = CARDS[paper]
    rows, cols = flat.shape[:2]
    to_mm = np.array(
        [
            [card.width_mm / cols, 0, (0.5 / cols - 0.5) * card.width_mm],
            [0, card.height_mm / rows, (0.5 / rows - 0.5) * card.height_mm],
            [0, 0, 1],
        ]
    )
    # A photo's pixel sees an area: the picture is averaged to about its pitch first.
    size = (photo.shape[1], photo.shape[0])
    warp = homography @ to_mm
    seen = cv2.warpPerspective(flat, warp, size, flags=cv2.INTER_AREA)
    cover = cv2.warpPerspective(np.full(flat.shape[:2], 255, np.uint8), warp, size)
    part = (cover / 255.0)[..., None]
    return np.asarray(np.rint(photo * (1 - part) + seen * part), np.uint8)


def photograph(
    flat: Picture, paper: str, homography: Float, *, size: tuple[int, int] = SIZE,
    blur_px: float = 0.7, noise: float = 1.5, seed: int = 3,
) -> Picture:  # fmt: skip
    photo = np.full((size[1], size[0], 3), TABLE, np.uint8)
    photo = paste(photo, flat, paper, homography)
    rng = np.random.default_rng(seed)
    # A lens blurs light, not its sRGB code; 2.2 is near enough for a test of its own.
    light = (photo / 255.0) ** 2.2 * 0.7
    soft = 255 * cv2.GaussianBlur(light.astype(np.float32), (0, 0), blur_px) ** (1 / 2.2)
    return np.asarray(np.clip(soft + rng.normal(0, noise, photo.shape), 0, 255), np.uint8)
