"""Circular statistics and circle fits against independent libraries on the same data.

scipy.stats and astropy.stats share no code with this package. Tolerance 1e-6 degrees or relative:
both sides work in double precision.
"""

import math

import numpy as np
import pytest

from spraycheck.stats import circular, geometry

SETS = [
    np.random.default_rng(seed).normal(centre, spread, n)
    for seed, (centre, spread, n) in enumerate(
        [(359.0, 4.0, 4), (90.0, 30.0, 8), (271.0, 70.0, 50), (10.0, 1.0, 3), (180.0, 15.0, 500)]
    )
]


@pytest.mark.parametrize("data", SETS)
def test_scipy(data: np.ndarray) -> None:
    from scipy import stats

    got = circular.resultant(data)
    mean = stats.circmean(data, high=360.0)
    assert circular.wrap_180(got.direction_deg - float(mean)) == pytest.approx(0.0, abs=1e-6)
    assert 1 - got.length == pytest.approx(stats.circvar(data, high=360.0), abs=1e-9)
    assert circular.circular_std(data) == pytest.approx(stats.circstd(data, high=360.0), abs=1e-6)


@pytest.mark.parametrize("data", SETS)
def test_astropy_with_weights(data: np.ndarray) -> None:
    from astropy import stats

    weights = 1.0 + np.arange(len(data)) % 3
    rad = np.radians(data)
    got = circular.resultant(data, weights)
    mean = math.degrees(float(stats.circmean(rad, weights=weights)))
    assert circular.wrap_180(got.direction_deg - mean) == pytest.approx(0.0, abs=1e-6)
    assert 1 - got.length == pytest.approx(float(stats.circvar(rad, weights=weights)), abs=1e-9)
    # Negative control: the unweighted answer is another one.
    assert abs(circular.wrap_180(circular.resultant(data).direction_deg - mean)) > 1e-3


@pytest.mark.parametrize("data", SETS)
def test_astropy_von_mises(data: np.ndarray) -> None:
    from astropy import stats

    mean, kappa = stats.vonmisesmle(np.radians(data))
    got = circular.resultant(data)
    assert circular.wrap_180(got.direction_deg - math.degrees(mean)) == pytest.approx(0, abs=1e-6)
    assert circular.concentration(got.length) == pytest.approx(float(kappa), rel=1e-6)


def test_scikit_image_regions_of_a_cast_footprint() -> None:
    # The ellipse drawn pixel by pixel from its equation, measured by scikit-image: area to 0.2 %,
    # half axes within 0.1 px of 40 and more (a pixel grid samples the rim).
    from skimage.measure import label, regionprops

    f = geometry.cone_footprint(60.0, 5.0, 15.0)
    scale = 20.0
    y, x = np.mgrid[-80:80, 380:700] / scale
    mask = ((x - f.centre) / f.semi_major) ** 2 + (y / f.semi_minor) ** 2 <= 1.0
    (region,) = regionprops(label(mask))
    assert region.area / scale**2 == pytest.approx(f.area, rel=2e-3)
    assert region.axis_major_length / 2 == pytest.approx(f.semi_major * scale, abs=0.1)
    assert region.axis_minor_length / 2 == pytest.approx(f.semi_minor * scale, abs=0.1)
    assert (region.centroid[1] + 380) / scale == pytest.approx(f.centre, abs=0.5 / scale)


def test_scikit_image_circle() -> None:
    from skimage.measure import CircleModel

    rng = np.random.default_rng(21)
    p = np.array([4.0, -9.0]) + 30.0 * geometry.unit_vectors(np.arange(0, 360, 30))
    p += rng.normal(0, 0.2, p.shape)
    other = CircleModel.from_estimate(p)
    mine = geometry.fit_circle_kasa(p)
    assert (mine.x, mine.y) == pytest.approx(tuple(other.center), abs=1e-6)
    assert mine.radius == pytest.approx(other.radius, abs=1e-6)
