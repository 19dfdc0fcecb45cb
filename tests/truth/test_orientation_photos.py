"""The same picture stored in four turns must read as one upright picture.

Photographs of known truth (MIT, exif-orientation-examples): `Landscape_N.jpg` and `Portrait_N.jpg`
hold one picture each, stored with EXIF orientation N = 1, 3, 6, 8, with the number N printed in its
middle. The folder is named by the environment variable SPRAYCHECK_REAL.
"""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from spraycheck.photo import read_photo

FOLDER = Path(os.environ.get("SPRAYCHECK_REAL", "/nonexistent")) / "orientation"

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="SPRAYCHECK_REAL is not set")

SIZES = {"Landscape": (1800, 1200), "Portrait": (1200, 1800)}

LARGEST_MEAN = 5.0
# Grey levels. The four files were compressed apart, which alone moves pixels by about 1 level;
# the same picture turned the wrong way differs by more than 20.


def grey(name: str, number: int) -> np.ndarray:
    photo = read_photo(FOLDER / f"{name}_{number}.jpg")
    assert (photo.width_px, photo.height_px) == SIZES[name]
    return np.asarray(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY), float)


def outside_the_digit(size: tuple[int, int]) -> np.ndarray:
    width, height = size
    keep = np.ones((height, width), bool)
    side = round(0.25 * min(size))
    keep[height // 2 - side : height // 2 + side, width // 2 - side : width // 2 + side] = False
    return keep


@pytest.mark.parametrize("name", SIZES)
@pytest.mark.parametrize("number", [3, 6, 8])
def test_all_turns_read_as_one_picture(name: str, number: int) -> None:
    upright, other = grey(name, 1), grey(name, number)
    assert upright.shape == other.shape
    keep = outside_the_digit(SIZES[name])
    assert np.abs(upright - other)[keep].mean() < LARGEST_MEAN
    # Negative control: turned by half, as a forgotten or doubled orientation would leave it.
    assert np.abs(upright - other[::-1, ::-1])[keep].mean() > 4 * LARGEST_MEAN
