"""Areas, centroids, axes and labels against scikit-image and scipy on the same masks.

Both share no code with the package. The wetted cells of the segmentation are handed to them as a
mask; the package works in card mm, they work in cells.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from drawn_photos import Blot, Card, flat
from scipy import ndimage
from skimage import measure

from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.patches import find_patches
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

CARD = Card(
    plumes=tuple(
        Blot(direction=d, radius=r, length=a, width=b, skew=s)
        for d, r, a, b, s in [
            (19.0, 50.0, 17.0, 7.0, 3.0),
            (88.0, 56.0, 15.0, 6.0, -4.0),
            (161.0, 46.0, 18.0, 8.0, 0.0),
            (229.0, 52.0, 14.0, 7.0, 5.0),
            (302.0, 49.0, 16.0, 5.5, -2.0),
        ]
    ),
    centre=(6.0, -8.0),
    size=(180.0, 200.0),
)


@functools.cache
def _stages() -> tuple[WetnessMap, NozzleCentre, PlumeSegmentation, PlumeCatalogue]:
    wet = map_wetness(flat(CARD, cell=0.3, noise=0.01))
    centre = locate_centre(wet)
    plumes = segment_plumes(wet, centre)
    return wet, centre, plumes, measure_plumes(wet, plumes, centre)


def test_areas_are_counts_of_cells() -> None:
    # Exact: both count the same cells.
    wet, _, plumes, rows = _stages()
    masks = np.where(plumes.core, plumes.labels, 0)
    cell = wet.card.cell_mm
    assert plumes.count == 5
    for k, region in enumerate(measure.regionprops(masks)):
        assert region.label == rows.label[k]
        assert rows.area_mm2[k] == pytest.approx(region.area * cell**2, rel=1e-9)
    counted = ndimage.sum_labels(plumes.core, plumes.labels, rows.label)
    np.testing.assert_allclose(rows.area_mm2, counted * cell**2, rtol=1e-9)


def test_centroids() -> None:
    # scikit-image and scipy weigh with the same map; the package holds wetness at 1.2 and leaves
    # out what is below 0.15 on the filtered map, done here by hand. 1e-3 mm: float32 maps.
    wet, _, plumes, rows = _stages()
    value = np.where(wet.smooth > 0.15, np.minimum(wet.wetness, 1.2), 0).astype(float)
    card = wet.card
    places = ndimage.center_of_mass(value, plumes.labels, rows.label)
    mm = np.array(
        [[x * card.cell_mm + card.x0_mm, y * card.cell_mm + card.y0_mm] for y, x in places]
    )
    np.testing.assert_allclose(rows.centroid_mm, mm, atol=1e-3)
    for k, region in enumerate(measure.regionprops(plumes.labels, intensity_image=value)):
        y, x = region.centroid_weighted
        assert rows.centroid_mm[k, 0] == pytest.approx(x * card.cell_mm + card.x0_mm, abs=1e-3)
        assert rows.centroid_mm[k, 1] == pytest.approx(y * card.cell_mm + card.y0_mm, abs=1e-3)
    # The plain centroid of the wetted cells is another estimate of the same: half a photo pixel of
    # 0.25 mm, and as good a check of the map's own offsets.
    plain = np.array(
        [r.centroid for r in measure.regionprops(np.where(plumes.core, plumes.labels, 0))]
    )
    there = plain[:, ::-1] * card.cell_mm + [card.x0_mm, card.y0_mm]
    np.testing.assert_allclose(rows.centroid_mm, there, atol=0.12)
    # Negative control: rows and columns swapped would be centimetres off.
    assert np.abs(there[:, ::-1] - rows.centroid_mm).max() > 10


def test_axes() -> None:
    # 0.7 degrees: one weighs with wetness, the other counts cells.
    _, _, plumes, rows = _stages()
    for k, region in enumerate(measure.regionprops(np.where(plumes.core, plumes.labels, 0))):
        # regionprops: from straight down, counter-clockwise as seen, so minus the card's direction.
        other = -math.degrees(region.orientation)
        assert abs((rows.axis_deg[k] - other + 90) % 180 - 90) < 0.7
        # Negative control: the other sense of turning is wrong by twice the direction.
        assert abs((rows.axis_deg[k] + other + 90) % 180 - 90) > 10 or k == 1  # near 90: alike
        drawn = CARD.plumes[k]
        assert isinstance(drawn, Blot)
        assert rows.axis_deg[k] == pytest.approx(drawn.direction + drawn.skew, abs=0.7)


def test_patches_are_what_scipy_labels() -> None:
    # The joining map is the package's; which cells hang together is not its own say. Every patch is
    # one region of scipy's labelling of all patch cells, touching at corners included.
    wet, _, _, _ = _stages()
    patches = find_patches(wet, threshold=0.3)
    mask = np.zeros(wet.smooth.shape, bool)
    for patch in patches:
        mask[patch.rows, patch.cols] = True
    labels, count = ndimage.label(mask, np.ones((3, 3)))
    assert count == len(patches) == 5
    for patch in patches:
        assert len(np.unique(labels[patch.rows, patch.cols])) == 1
    sizes = sorted(ndimage.sum_labels(mask, labels, range(1, count + 1)))
    assert sizes == sorted(len(p.rows) for p in patches)


def test_spread_is_the_moment_ellipse_of_scikit_image() -> None:
    # Half the long axis of the ellipse of equal second moments is two standard deviations;
    # scikit-image adds a pixel's own 1/12. 0.02 mm covers it and the rounding.
    wet, _, _, _ = _stages()
    cell = wet.card.cell_mm
    for patch in find_patches(wet, threshold=0.3):
        value = np.zeros(wet.smooth.shape)
        value[patch.rows, patch.cols] = patch.weight
        (region,) = measure.regionprops((value > 0).astype(int), intensity_image=value)
        mu = region.moments_weighted_central
        covariance = np.array([[mu[2, 0], mu[1, 1]], [mu[1, 1], mu[0, 2]]]) / mu[0, 0]
        low, high = np.sqrt(np.linalg.eigvalsh(covariance)) * cell
        along, across = patch.moments.along, patch.moments.across
        assert along == pytest.approx(high, abs=1e-6)
        assert across == pytest.approx(low, abs=1e-6)
