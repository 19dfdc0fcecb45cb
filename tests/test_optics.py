"""Optics: inverses, monotony, and the edges."""

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


def test_kubelka_munk_goes_there_and_back() -> None:
    r = np.linspace(1e-4, 1.0, 500)
    np.testing.assert_allclose(
        optics.kubelka_munk_reflectance(optics.kubelka_munk_ratio(r)), r, rtol=1e-7
    )
    assert np.all(np.diff(optics.kubelka_munk_ratio(r)) < 0)


def test_glare_black_and_nonsense_are_values() -> None:
    got = optics.kubelka_munk_ratio(np.array([0.0, 1.0, 1.2, -0.1, np.nan]))
    np.testing.assert_array_equal(got, [np.inf, 0.0, np.nan, np.nan, np.nan])
    assert np.isnan(optics.kubelka_munk_reflectance(-1.0))
    assert float(optics.kubelka_munk_reflectance(1e12)) == pytest.approx(0.5e-12, rel=1e-6)
