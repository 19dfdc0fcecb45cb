"""What a camera tilted off square does to directions, with the correction on and off.

Seen from afar under a tilt t, lengths along the tilt shrink by cos t, and so do areas; the
direction d becomes atan(cos t tan d), wrong by at most asin((1 - cos t) / (1 + cos t)) (tan^2 d =
1 / cos t). Worked out for 2, 5, 10, 15, 20 degrees: 0.017, 0.109, 0.439, 0.993, 1.782 degrees and
area factors 0.9994, 0.9962, 0.9848, 0.9659, 0.9397; half a unit of the last digit.
"""

import math

import numpy as np
import pytest

from spraycheck.stats import geometry

CURVE = [
    (2.0, 0.017, 0.9994),
    (5.0, 0.109, 0.9962),
    (10.0, 0.439, 0.9848),
    (15.0, 0.993, 0.9659),
    (20.0, 1.782, 0.9397),
]
SHEET = np.array([(-105.0, -148.5), (105.0, -148.5), (105.0, 148.5), (-105.0, 148.5)])
CENTRE = np.array([(12.0, -7.0)])
DIRECTIONS = np.arange(0.0, 360.0, 0.1)
RING = CENTRE + 45.0 * np.column_stack(
    [np.sin(np.radians(DIRECTIONS)), -np.cos(np.radians(DIRECTIONS))]
)


def _photograph(points: np.ndarray, tilt_deg: float, distance: float = math.inf) -> np.ndarray:
    """Pinhole view of card points by a camera tilted about x; from afar without a distance."""
    t = math.radians(tilt_deg)
    x, y, z = points[:, 0], points[:, 1] * math.cos(t), points[:, 1] * math.sin(t)
    if math.isinf(distance):
        return np.column_stack([x, y])
    return np.column_stack([x, y]) * (distance / (distance + z))[:, None]


def _worst(ring: np.ndarray, centre: np.ndarray) -> float:
    off = geometry.direction_to(ring, centre[0]) - DIRECTIONS
    return float(np.abs((off + 180.0) % 360.0 - 180.0).max())


def _area(outline: np.ndarray) -> float:
    x, y = outline.T
    return 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))


@pytest.mark.parametrize(("tilt", "worst", "factor"), CURVE)
def test_uncorrected_tilt_follows_the_curve(tilt: float, worst: float, factor: float) -> None:
    ring, centre = _photograph(RING, tilt), _photograph(CENTRE, tilt)
    assert _worst(ring, centre) == pytest.approx(worst, abs=5.1e-4)
    c = math.cos(math.radians(tilt))
    assert _worst(ring, centre) == pytest.approx(
        math.degrees(math.asin((1 - c) / (1 + c))), abs=1e-5
    )
    assert _area(ring) / _area(RING) == pytest.approx(factor, abs=5.1e-5)


@pytest.mark.parametrize("distance", [math.inf, 600.0, 350.0])
@pytest.mark.parametrize(("tilt", "worst", "factor"), CURVE)
def test_corrected_tilt_leaves_nothing(
    tilt: float, worst: float, factor: float, distance: float
) -> None:
    # Four sheet corners undo the view: rounding only. Up close as well, where the curve is not it.
    h = geometry.fit_homography(_photograph(SHEET, tilt, distance), SHEET)
    ring = geometry.apply_homography(h, _photograph(RING, tilt, distance))
    centre = geometry.apply_homography(h, _photograph(CENTRE, tilt, distance))
    assert _worst(ring, centre) < 1e-8
    assert _area(ring) / _area(RING) == pytest.approx(1.0, abs=1e-10)
    assert worst > 1e6 * _worst(ring, centre)


@pytest.mark.parametrize(("tilt", "factor"), [(row[0], row[2]) for row in CURVE])
def test_local_area_factor_is_the_foreshortening(tilt: float, factor: float) -> None:
    h = geometry.fit_homography(SHEET, _photograph(SHEET, tilt))
    local = np.linalg.det(geometry.homography_jacobian(h, RING[::100]))
    np.testing.assert_allclose(local, factor, atol=5.1e-5)


def test_up_close_only_the_full_homography_will_do() -> None:
    # Negative control for the affine half: at 350 mm and 20 degrees, undoing the shrinking alone
    # still leaves directions wrong.
    ring, centre = _photograph(RING, 20.0, 350.0), _photograph(CENTRE, 20.0, 350.0)
    stretch = np.array([1.0, 1.0 / math.cos(math.radians(20.0))])
    assert _worst(ring * stretch, centre * stretch) > 0.5
