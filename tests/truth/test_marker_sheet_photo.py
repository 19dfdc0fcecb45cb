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

from spraycheck.card.fit import FittedSheet
from spraycheck.card.markers import place_corners, read_markers
from spraycheck.card.surface import place_flat
from spraycheck.card.surface_fit import (
    PrintedPoints,
    Prior,
    SurfaceSettings,
    fit_bent,
    fit_flat,
)
from spraycheck.photo import read_photo
from spraycheck.stats.geometry import apply_homography, fit_homography

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
    half = np.array([83.0, 123.0])
    settings = SurfaceSettings()
    prior = Prior.of(photo, settings, curl=0.0)  # the sheet is a stiff frame
    prior = prior.shaped(math.log(half[1] / half[0]), settings.print_u_log)
    seen = PrintedPoints(
        at=points / half, outward=np.sign(np.concatenate([WAYS] * 3)), points_px=pixels
    )
    corners = apply_homography(
        fit_homography(points, pixels), np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    )
    start = place_flat(corners, prior.focal_log, (photo.width_px, photo.height_px))
    start = fit_flat(start.shaped(prior.aspect_log), seen, prior, settings, noise_px=0.1)
    surface = fit_bent(start, seen, prior, settings, noise_px=0.1)
    card = FittedSheet(surface=surface, size_mm=tuple(2 * half), scale_known=True)
    here = centres[hidden : hidden + 1]
    found = photo.to_full(placed[hidden].middle[None])
    return float(np.linalg.norm(card.project(here) - found) / card.px_per_mm(here)[0])


@pytest.mark.parametrize("hidden", range(4))
def test_each_centre_is_predicted_from_the_other_three(seen, hidden):
    assert predicted_off_mm(*seen, hidden, CENTRES) < 1.0


def test_a_wrong_rectangle_would_not_pass(seen):
    wrong = CENTRES * [1.03, 1.0]
    assert max(predicted_off_mm(*seen, hidden, wrong) for hidden in range(4)) > 2.0
