"""Drawn central sprays: their faults show in their truth, and the truth keeps to closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.simulate import CentralSpray, random_scene
from spraycheck.simulate.central_scene import CENTRAL_FAULTS
from spraycheck.simulate.central_truth import TrueCentral, measure_central

X, Y = np.arange(-40, 40.1, 0.25), np.arange(-50, 50.1, 0.25)
DX, DY = np.meshgrid(X - 3.0, Y + 5.0)
R, TURN = np.hypot(DX, DY), np.arctan2(DX, -DY)


def truth(wetness: np.ndarray) -> TrueCentral:
    return measure_central(wetness, X, Y, faults=(), hollow=False)


def test_a_disc_is_measured_as_its_formulas_say() -> None:
    t = truth(np.where(R < 12, 0.8 * (1 + 0.3 * np.cos(TURN - math.radians(70))), 0))
    # The wetter side's blurred edge lies a little further out.
    assert (t.x_mm, t.y_mm) == pytest.approx((3.0, -5.0), abs=0.3)
    assert t.roundness == pytest.approx(1, abs=0.01)
    assert t.circularity == pytest.approx(1, abs=0.02)
    # A middle moved by 0.2 mm takes 2 x 0.2 / (12 pi) off the share.
    assert t.heavy_side_frac == pytest.approx(0.5 + 0.3 / math.pi - 0.0106, abs=0.004)
    assert t.heavy_side_deg == pytest.approx(70, abs=2)


def test_a_ring_and_a_jet_beside_it() -> None:
    jet = np.hypot(DX - 28, DY) < 4
    t = truth(np.where(((R < 12) & (R > 6)) | jet, 1.0, 0.0))
    assert t.core_ratio < 0.05
    assert t.hollow_offset_ratio < 0.01
    assert t.side_frac == pytest.approx(16 / (16 + 144 - 36), abs=0.03)


def test_streaks() -> None:
    t = truth(np.where(R < 14, 0.7 * (1 + 0.4 * np.cos(4 * TURN)), 0))
    assert t.streak_frac == pytest.approx(0.4 / math.sqrt(2), abs=0.02)


def test_a_dry_card_has_no_patch() -> None:
    t = truth(np.zeros(R.shape))
    assert t.area_mm2 == 0
    assert math.isnan(t.roundness)


@pytest.mark.parametrize("fault", CENTRAL_FAULTS)
def test_scenes_have_the_fault_asked_for_and_it_shows(fault: str) -> None:
    found = random_scene(77, family="central", fault=fault, megapixels=0.25).draw().truth.central
    assert found is not None
    assert found.faults == (() if fault == "none" else (fault,))
    off = math.hypot(found.x_mm, found.y_mm) / found.diameter_mm
    shows = {
        "none": found.streak_frac < 0.15 and found.side_frac < 0.02 and off < 0.13,
        "lopsided": found.heavy_side_frac > 0.62 or off > 0.13 or found.roundness < 0.8,
        "streaky": found.streak_frac > 0.2,
        "not-hollow": found.core_ratio > 0.6,
        "side-spray": found.side_frac > 0.04,
        "off-centre": off > 0.2,
    }
    assert shows[fault]


def test_impossible_sprays_are_refused() -> None:
    with pytest.raises(InputError, match="share of the streaks"):
        CentralSpray(streak_frac=0.5)  # without any streak
    with pytest.raises(InputError, match="filled share"):
        CentralSpray(kind="hollow", fill_frac=1.5)
    with pytest.raises(InputError, match="fault"):
        random_scene(1, family="bench", fault="streaky")
