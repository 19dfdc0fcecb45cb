"""Kubelka-Munk's table and the sRGB curve.

Sources
-------
K/S = (1 - R)^2 / (2 R) (Kubelka and Munk 1931), worked out for seven reflectances; half a unit of
the last digit. sRGB: IEC 61966-2-1; mid-grey code 128 is 0.2158605 and 0.18 encodes to 0.4613561
(worked out by hand from the formula), 1e-6.
"""

import numpy as np
import pytest

from spraycheck import optics

TABLE = [(0.9, 0.00556), (0.85, 0.01324), (0.8, 0.025), (0.7, 0.06429), (0.6, 0.13333),
         (0.5, 0.25), (0.4, 0.45)]  # fmt: skip


@pytest.mark.parametrize(("reflectance", "ratio"), TABLE)
def test_table(reflectance: float, ratio: float) -> None:
    assert float(optics.kubelka_munk_ratio(reflectance)) == pytest.approx(ratio, abs=5.1e-6)
    assert float(optics.kubelka_munk_reflectance(ratio)) == pytest.approx(reflectance, abs=5e-4)


@pytest.mark.parametrize(("reflectance", "ratio"), TABLE)
def test_a_photo_must_be_made_linear_first(reflectance: float, ratio: float) -> None:
    code = optics.srgb_encode(reflectance)
    assert float(optics.kubelka_munk_ratio(optics.srgb_decode(code))) == pytest.approx(
        ratio, abs=5.1e-6
    )
    # Negative control: encoded values taken for light are off by more than half.
    assert float(optics.kubelka_munk_ratio(code)) < 0.5 * ratio


def test_ratio_does_not_depend_on_a_grey_level_threshold() -> None:
    # Ink or oil that doubles absorption doubles K/S on white, grey and brown paper alike; the drop
    # in grey level differs between them by half and more.
    paper = np.array([0.9, 0.7, 0.5])
    wet = optics.kubelka_munk_reflectance(2.0 * optics.kubelka_munk_ratio(paper))
    ratios = optics.kubelka_munk_ratio(wet) / optics.kubelka_munk_ratio(paper)
    np.testing.assert_allclose(ratios, 2.0, rtol=1e-9)
    assert np.ptp(paper - wet) > 0.5 * (paper - wet).min()


def test_srgb_curve() -> None:
    assert float(optics.srgb_decode(128 / 255)) == pytest.approx(0.2158605, abs=1e-6)
    assert float(optics.srgb_encode(0.18)) == pytest.approx(0.4613561, abs=1e-6)
    assert float(optics.srgb_decode(0.04)) == pytest.approx(0.04 / 12.92, abs=1e-15)
    assert optics.srgb_decode(np.array([0.0, 1.0])) == pytest.approx([0.0, 1.0], abs=1e-12)


def test_srgb_agrees_with_an_independent_implementation() -> None:
    from skimage.color import rgb2xyz  # its own decoding, read off the luminance of greys

    codes = np.linspace(0, 1, 64)
    grey = np.repeat(codes[:, None], 3, axis=1)[None]
    assert rgb2xyz(grey)[0, :, 1] == pytest.approx(optics.srgb_decode(codes), abs=1e-6)
