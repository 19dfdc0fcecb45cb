"""The sRGB curve that turns pixel codes into light.

Source: IEC 61966-2-1; mid-grey code 128 is 0.2158605 and 0.18 encodes to 0.4613561 (worked out by
hand from the formula), 1e-6.
"""

import numpy as np
import pytest

from spraycheck import optics


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
    # Negative control: codes taken for light as they are.
    assert np.abs(codes - optics.srgb_decode(codes)).max() > 0.25
