"""The bent-sheet model: derivatives, lengths that are kept, what the covariance says."""

import dataclasses
import math

import numpy as np
import pytest
from test_rectification import A4, Scene, photo_of

from spraycheck.card.find import rectify_card
from spraycheck.card.infill import fill_hidden
from spraycheck.card.surface import (
    ASPECT,
    COUNT,
    FOCAL,
    HEIGHTS,
    SHIFT,
    Surface,
    basis_of,
    position_of,
    view_of,
)


def bent(heights: dict[int, float]) -> Surface:
    values = np.zeros(COUNT)
    values[:SHIFT] = 0.2, -0.1, 0.4
    values[SHIFT:FOCAL] = 0.1, 0.2, 3.0
    values[FOCAL], values[ASPECT] = 0.2, 0.3
    for k, height in heights.items():
        values[HEIGHTS + k] = height
    return Surface(
        values=values, covariance=np.eye(COUNT), middle_px=np.array([800.0, 600.0]), unit_px=800.0
    )


def test_derivatives_are_those_of_the_positions() -> None:
    rng = np.random.default_rng(3)
    values = bent({}).values + np.append(np.zeros(6), rng.normal(0, 0.04, COUNT - 6))
    basis = dataclasses.replace(
        basis_of(rng.uniform(-1, 1, 9), rng.uniform(-1, 1, 9)),
        outward=np.sign(rng.normal(size=(9, 2))),
    )
    _, said = view_of(values, basis)
    step = 1e-6
    for k in range(COUNT):
        one = np.zeros(COUNT)
        one[k] = step
        rise = view_of(values + one, basis)[0] - view_of(values - one, basis)[0]
        np.testing.assert_allclose(said[..., k], rise / (2 * step), atol=1e-6)


def test_a_bend_keeps_lengths() -> None:
    """A sheet rolled about its diagonal, seen from far away: its plan shortens as an arc's does."""
    slope = 0.3  # at the corner along the bend
    far = bent({0: slope / 8, 1: slope / 4, 2: slope / 8})  # (x + y)^2 slope / 8
    values = far.values.copy()
    values[:SHIFT], values[ASPECT] = 0, 0
    values[SHIFT:FOCAL] = 0, 0, 1e6
    values[FOCAL] = math.log(1e6)
    plan = position_of(values, basis_of(np.array([0.0, 1.0, 1.0]), np.array([0.0, 1.0, -1.0])))
    along, across = plan[1] - plan[0], plan[2] - plan[0]
    # h = s^2 slope / 4 along the diagonal s; the arc of length root 2 spans
    # s - slope^2 s^3 / 24 to second order; across the bend nothing shortens.
    s = math.sqrt(2)
    assert np.linalg.norm(along) == pytest.approx(s - slope**2 * s**3 / 24, abs=1e-5)
    assert np.linalg.norm(across) == pytest.approx(s, abs=1e-5)
    assert np.linalg.norm(along) < s - 0.008  # the control: a height alone shortens nothing


def test_the_covariance_of_positions_holds_and_knows_what_was_told() -> None:
    scene = Scene(noise=2.0)
    at = np.array([[-60.0, -80.0], [60.0, 70.0]])
    spreads = []
    for focal in (math.nan, 26.0):
        card = rectify_card(photo_of(scene.draw(), focal), A4)
        spread = card.position_covariance_mm2(at)
        assert spread.shape == (4, 4)
        np.testing.assert_allclose(spread, spread.T, atol=1e-12)
        assert np.linalg.eigvalsh(spread).min() > -1e-9
        off = np.linalg.norm(card.to_photo(at) - scene.project(at), axis=1) / card.px_per_mm(at[0])
        u = np.sqrt(np.diag(spread).reshape(2, 2).sum(axis=1))
        assert (off < 3 * u + 0.1).all()
        spreads.append(float(np.trace(spread)))
    # A stated focal length leaves less in doubt.
    assert spreads[1] < 0.8 * spreads[0]


def test_what_lies_under_ink_is_carried_on_from_both_sides() -> None:
    y, x = np.mgrid[:60, :80].astype(np.float32)
    slope = np.stack([0.01 * x + 0.02 * y] * 3, axis=2)
    hidden = np.abs(x - 40) < 3
    dark = np.where(hidden[..., None], np.float32(-9), slope)
    filled = fill_hidden(dark, hidden)
    np.testing.assert_array_equal(filled[~hidden], slope[~hidden])
    assert np.abs(filled - slope)[hidden].max() < 0.05
