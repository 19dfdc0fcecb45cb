"""A real phone photograph of a sheet with four square markers, through the card's own functions.

The markers (dictionary DICT_4X4, ids 0 to 3, side 16 mm) have their centres on a rectangle of
150 x 230 mm. Four centres fit any perspective, so each centre is predicted from the twelve corners
of the other three. Skipped unless the environment variable SPRAYCHECK_REAL names the folder of
photographs (``markers/raspi.jpg`` in it).
"""

import math
import os
from pathlib import Path

import cv2
import numpy as np
import pytest

from spraycheck.card.printed.bending import fit_card
from spraycheck.card.markers import place_corners, read_markers
from spraycheck.photo import read_photo
from spraycheck.stats.geometry import fit_homography

FOLDER = os.environ.get("SPRAYCHECK_REAL", "")
PICTURE = Path(FOLDER) / "markers" / "raspi.jpg"
pytestmark = pytest.mark.skipif(not FOLDER or not PICTURE.is_file(), reason="needs SPRAYCHECK_REAL")

SIDE_MM = 16.0
CENTRES = np.array([[-75.0, 115.0], [75.0, 115.0], [75.0, -115.0], [-75.0, -115.0]])
# As the ids lie in the photograph, in the frame in which the codes stand upright.
WAYS = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * SIDE_MM / 2


@pytest.fixture(scope="module")
def seen():
    photo = read_photo(PICTURE)
    markers = read_markers(photo.rgb, range(4), dictionary=cv2.aruco.DICT_4X4_50)
    assert sorted(m.number for m in markers) == [0, 1, 2, 3]
    placed = {m.number: place_corners(photo.rgb, m) for m in markers}
    return photo, placed


def predicted_off_mm(photo, placed, hidden, centres):
    kept = [k for k in range(4) if k != hidden]
    points = np.concatenate([centres[k] + WAYS for k in kept])
    pixels = photo.to_full(np.concatenate([placed[k].corners for k in kept]))
    size = (photo.width_px, photo.height_px)
    card = fit_card(
        points,
        np.sign(np.concatenate([WAYS] * 3)),
        pixels,
        homography=fit_homography(points, pixels),
        half_mm=(83.0, 123.0),
        focal_px=photo.focal_35mm / math.hypot(36, 24) * math.hypot(*size),
        focal_u_log=0.04,
        size_px=size,
        noise_px=0.1,
        curl=0.0,  # the sheet is a stiff frame
    )
    here = centres[hidden : hidden + 1]
    step = np.array([[1.0, 0.0]])
    px_per_mm = np.linalg.norm(card.project(here + step) - card.project(here))
    found = photo.to_full(placed[hidden].middle[None])
    return float(np.linalg.norm(card.project(here) - found) / px_per_mm)


@pytest.mark.parametrize("hidden", range(4))
def test_each_centre_is_predicted_from_the_other_three(seen, hidden):
    assert predicted_off_mm(*seen, hidden, CENTRES) < 1.0


def test_a_wrong_rectangle_would_not_pass(seen):
    wrong = CENTRES * [1.03, 1.0]
    assert max(predicted_off_mm(*seen, hidden, wrong) for hidden in range(4)) > 2.0
