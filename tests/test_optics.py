"""The sRGB curve: there and back, and where its branches meet."""

import numpy as np
import pytest

from spraycheck import optics


def test_srgb_goes_there_and_back() -> None:
    codes = np.arange(256) / 255.0
    np.testing.assert_allclose(optics.srgb_encode(optics.srgb_decode(codes)), codes, atol=1e-7)
    assert np.all(np.diff(optics.srgb_decode(codes)) > 0)


def test_srgb_branches_meet() -> None:
    # The rounded constants of the standard leave a step; it must stay far below an 8-bit code.
    for f, knee in ((optics.srgb_decode, 0.04045), (optics.srgb_encode, 0.0031308)):
        assert float(f(knee + 1e-12) - f(knee)) == pytest.approx(0.0, abs=1e-6)
