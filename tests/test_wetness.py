"""Stage 2 on drawn cards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cards import Scene, draw, even, grid, wetness_of

from spraycheck import flags as flag
from spraycheck.errors import PhotoQualityError, SprayNotFoundError
from spraycheck.spray.containers import CellFlag
from spraycheck.spray.wetness import map_wetness

FOUR = Scene(plumes=even(4))


def test_wetness_follows_the_drawn_wetness() -> None:
    wet = map_wetness(draw(FOUR))
    truth = wetness_of(FOUR)
    inner = wet.valid
    error = wet.smooth[inner] - truth[inner]
    assert np.abs(np.median(error)) < 0.01
    assert np.sqrt(np.mean(error**2)) < 0.06
    plateau = wet.smooth[(truth > 0.99) & inner]
    assert np.median(plateau) == pytest.approx(1, abs=0.04)


@pytest.mark.parametrize("change", [{"falloff": 0.0}, {"falloff": 0.6}, {"brightness": 0.5}])
def test_light_does_not_change_the_wetness(change: dict[str, float]) -> None:
    base = map_wetness(draw(FOUR)).smooth
    other = map_wetness(draw(replace(FOUR, **change))).smooth
    assert np.percentile(np.abs(base - other), 99) < 0.06


def test_thin_ink_is_not_spray() -> None:
    card = draw(replace(FOUR, ink=True))
    wet = map_wetness(card)
    _x, y = grid(FOUR)
    line = (np.abs(y - 30) < 0.3) & (wetness_of(FOUR) < 0.01) & wet.valid
    assert np.percentile(wet.smooth[line], 95) < 0.15
    # Negative control: the same line does darken the card far beyond the threshold.
    row = card.linear_rgb[..., 0]
    assert np.median(row[line]) < 0.5 * np.median(row)


def test_blank_card_has_no_spray() -> None:
    with pytest.raises(SprayNotFoundError) as caught:
        map_wetness(draw(replace(FOUR, plumes=())))
    assert caught.value.stage == "wetness"
    assert caught.value.hint


def test_dark_card_is_refused() -> None:
    with pytest.raises(PhotoQualityError, match="too dark"):
        map_wetness(draw(replace(FOUR, brightness=0.02)))


def test_burnt_out_card_is_refused() -> None:
    card = draw(FOUR)
    white = np.ones_like(card.linear_rgb)
    with pytest.raises(PhotoQualityError, match="over-exposed"):
        map_wetness(replace(card, linear_rgb=white))


def test_faint_spray_is_flagged_by_its_noise() -> None:
    clean = map_wetness(draw(FOUR))
    noisy = map_wetness(draw(replace(FOUR, noise=0.1)))
    assert noisy.noise > 3 * clean.noise


def test_a_mirrored_lamp_is_told_and_left_out() -> None:
    card = draw(FOUR)
    light = np.array(card.linear_rgb)
    light[60:110, 300:370] = 1.0
    wet = map_wetness(replace(card, linear_rgb=light))
    assert flag.GLARE in wet.flags
    assert not wet.valid[80, 330]
    assert wet.cell_flags[80, 330] == CellFlag.GLARE
    assert flag.GLARE not in map_wetness(card).flags


def test_the_map_says_why_a_cell_is_not_judged() -> None:
    wet = map_wetness(draw(replace(FOUR, ink=True)))
    assert wet.cell_flags[0, 0] == CellFlag.EDGE
    _x, y = grid(FOUR)
    line = (np.abs(y - 30) < 0.3) & (wetness_of(FOUR) < 0.01) & wet.valid
    assert (wet.cell_flags[line] == CellFlag.INK).mean() > 0.95  # filled from beside, and judged
    plain = map_wetness(draw(FOUR))
    assert not (plain.cell_flags & np.uint8(CellFlag.INK)).any()
    for reason in CellFlag:
        flags = np.array(wet.cell_flags)
        flags[40, 40] = reason
        assert replace(wet, cell_flags=flags).valid[40, 40] == (reason is CellFlag.INK)
