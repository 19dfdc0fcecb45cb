"""Wetness is read in linear light, on any paper, as drawn.

Sources: IEC 61966-2-1 (sRGB); Yule and Nielsen 1951 with n = 2 for how wet and dry mix (from
memory); Kubelka and Munk 1931 for how reflectance falls when oil makes paper scatter less:
R = 1 + k - sqrt(k^2 + 2 k) with k = K/S. Drawn here with formulas of the test's own.
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest
from drawn_photos import Blot, Card, even, flat, linear_light, srgb, wetness

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.sheet.light import sample_linear
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

STEPS = (1.0, 1.0, 0.75, 0.5, 0.35, 1.0)
DYED = Card(
    plumes=tuple(
        Blot(direction=15 + 60 * k, radius=52.0, length=18.0, width=9.0, wetness=w)
        for k, w in enumerate(STEPS)
    ),
    centre=(3.0, -6.0),
    size=(180.0, 200.0),
    saturated=(0.30, 0.22, 0.16),  # dyed test oil: strong enough for the curve to matter
)


def _middles(card: RectifiedCard, scene: Card, values: np.ndarray) -> np.ndarray:
    """Median of a map in the flat middle of every plume."""
    out = []
    for plume in scene.plumes:
        assert isinstance(plume, Blot)
        t = np.radians(plume.direction)
        middle = np.array(scene.centre) + plume.radius * np.array([np.sin(t), -np.cos(t)])
        col, row = np.round(card.to_cells(middle[None])[0]).astype(int)
        out.append(np.median(values[row - 8 : row + 9, col - 8 : col + 9]))
    return np.array(out)


@functools.cache
def _encoded() -> tuple[RectifiedCard, np.ndarray]:
    """The dyed card, and its light as 8-bit sRGB codes."""
    card = flat(DYED, cell=0.4)
    return card, np.round(255 * srgb(card.linear_rgb.astype(float))).astype(np.uint8)


def test_an_encoded_card_gives_the_drawn_wetness() -> None:
    card, codes = _encoded()
    rows, cols = codes.shape[:2]
    x, y = np.meshgrid(np.arange(cols, dtype=np.float32), np.arange(rows, dtype=np.float32))
    light = sample_linear(codes, x, y, 1)
    # Half an 8-bit step in the mid-tones is 0.002 of light.
    np.testing.assert_allclose(light, card.linear_rgb, atol=0.005)
    wet = map_wetness(replace(card, linear_rgb=light))
    # 0.03: the plateau that counts as saturated is itself estimated.
    np.testing.assert_allclose(_middles(card, DYED, wet.smooth), STEPS, atol=0.03)


def test_without_linear_light_it_fails() -> None:
    # Negative control: codes taken for light.
    card, codes = _encoded()
    wet = map_wetness(replace(card, linear_rgb=(codes / 255).astype(np.float32)))
    off = _middles(card, DYED, wet.smooth) - np.array(STEPS)
    assert np.abs(off).max() > 0.045


def _kubelka_munk(scene: Card, paper: float, gain: float, cell: float = 0.4) -> RectifiedCard:
    """A card whose K/S grows with wetness, ``gain`` times when saturated; grey, unevenly lit."""
    card = flat(replace(scene, plumes=()), cell=cell)
    cols = card.x0_mm + cell * np.arange(card.inside.shape[1])
    rows = card.y0_mm + cell * np.arange(card.inside.shape[0])
    x, y = np.meshgrid(cols, rows)
    k = (1 - paper) ** 2 / (2 * paper) * (1 + (gain - 1) * wetness(scene, x, y))
    reflectance = 1 + k - np.sqrt(k**2 + 2 * k)
    lit = linear_light(replace(scene, plumes=(), paper=(1.0, 1.0, 1.0)), x, y, 1e-3)
    return replace(card, linear_rgb=(reflectance[..., None] * lit).astype(np.float32))


@pytest.mark.parametrize("paper", [0.85, 0.7, 0.5])
def test_kubelka_munk_ladder_is_read_in_order(paper: float) -> None:
    # Another law than the one the map inverts. What the map must then read is worked out here:
    # reflectance by Kubelka and Munk, wetness by Yule and Nielsen; 0.03 as above.
    card = _kubelka_munk(DYED, paper, 6.0)
    read = _middles(card, DYED, map_wetness(card).smooth)
    drawn = np.array(STEPS)
    k = (1 - paper) ** 2 / (2 * paper) * (1 + 5 * drawn)
    root = np.sqrt((1 + k - np.sqrt(k**2 + 2 * k)) / paper)
    np.testing.assert_allclose(read, (1 - root) / (1 - root[0]), atol=0.03)
    assert (np.diff(read[[4, 3, 2, 0]]) > 0.1).all()  # drawn 0.35, 0.5, 0.75, 1
    # The two laws differ by this much at most: what a wetness near the threshold is worth.
    np.testing.assert_allclose(read, drawn, atol=0.2)


def test_areas_do_not_depend_on_the_paper() -> None:
    # White, grey and dark paper, the same oil, soft edges: 4 %, what is published for spray areas
    # (Neural Comput. Appl. 2022, 10.1007/s00521-022-08184-3, abstract: 4.05 %). A fixed grey level
    # would see the dark sheet all wet and the white one all dry.
    scene = Card(plumes=even(5), centre=(3.0, -6.0), size=(180.0, 200.0), softness=2.0)
    areas, greys = [], []
    for paper in (0.85, 0.7, 0.5):
        card = _kubelka_munk(scene, paper, 5.0)
        wet = map_wetness(card)
        centre = locate_centre(wet)
        rows = measure_plumes(wet, segment_plumes(wet, centre), centre)
        assert len(rows) == 5
        areas.append(rows.area_mm2)
        greys.append(np.percentile(card.linear_rgb, [5, 95]))
    np.testing.assert_allclose(areas[1], areas[0], rtol=0.04)
    np.testing.assert_allclose(areas[2], areas[0], rtol=0.04)
    # Negative control: the dark sheet's dry paper is darker than the white sheet's wet paper.
    assert greys[2][1] < greys[0][0] * 1.35
