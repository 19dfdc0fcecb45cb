"""Homographies: there and back, noise averaged, and what is refused."""

import cv2
import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.stats import geometry

SHEET = [(0.0, 0.0), (210.0, 0.0), (210.0, 297.0), (0.0, 297.0)]
SEEN = [(1203.0, 480.0), (2710.0, 655.0), (2440.0, 2811.0), (870.0, 2390.0)]


def test_homography_maps_corners_and_back() -> None:
    h = geometry.fit_homography(SHEET, SEEN)
    np.testing.assert_allclose(geometry.apply_homography(h, SHEET), SEEN, atol=1e-8)
    back = geometry.fit_homography(SEEN, SHEET)
    np.testing.assert_allclose(back @ h / (back @ h)[2, 2], np.eye(3), atol=1e-9)


def test_homography_keeps_lines_straight_and_averages_noise() -> None:
    h = geometry.fit_homography(SHEET, SEEN)
    line = geometry.apply_homography(h, [(10.0, 10.0), (60.0, 90.0), (110.0, 170.0)])
    (ax, ay), (bx, by) = line[1] - line[0], line[2] - line[0]
    assert ax * by - ay * bx == pytest.approx(0.0, abs=1e-6)
    rng = np.random.default_rng(3)
    grid = np.stack(np.meshgrid(np.linspace(0, 210, 8), np.linspace(0, 297, 8)), -1).reshape(-1, 2)
    noisy = geometry.apply_homography(h, grid) + rng.normal(0, 1.0, grid.shape)
    fitted = geometry.apply_homography(geometry.fit_homography(grid, noisy), grid)
    error = fitted - geometry.apply_homography(h, grid)
    assert (
        np.sqrt((error**2).mean()) < 0.5
    )  # 8 parameters from 128 numbers: about 0.25 of the noise


def test_horizon_is_infinite_and_unfixed_homographies_are_refused() -> None:
    h = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, -0.01, 1.0]])
    assert np.isinf(geometry.apply_homography(h, [(5.0, 100.0)])).all()
    line = [(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (0.0, 5.0)]
    with pytest.raises(InputError, match="one line"):
        geometry.fit_homography(line, SEEN)
    with pytest.raises(InputError, match="N >= 4"):
        geometry.fit_homography(SHEET[:3], SEEN[:3])
    with pytest.raises(InputError, match="4 source but 5"):
        geometry.fit_homography(SHEET, [*SEEN, (1.0, 2.0)])


def test_homography_agrees_with_opencv() -> None:
    # The same four corners through an independent solver; relative 1e-8.
    source, target = np.array(SHEET), np.array(SEEN)
    other = cv2.getPerspectiveTransform(source.astype(np.float32), target.astype(np.float32))
    mine = geometry.fit_homography(source, target)
    np.testing.assert_allclose(mine, other, rtol=1e-8, atol=1e-10)
