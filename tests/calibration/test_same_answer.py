"""The same card photographed otherwise gives the same answer; a turned scene turns the directions.

No number from outside is needed: the photo is one and the same, so what differs between the two
answers is error. Each must stay within the uncertainty stated for it (95 %, one per photo; relative
directions are compared, the common turn against its own), and drawn truth within the same.
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_photos import Blot, Camera, Card, photograph

from spraycheck import measure_photo
from spraycheck.judge.result import Result

# Nothing symmetric: unequal spacing within limits, unequal size, off the middle.
DIRECTIONS = np.array([21.0, 92.5, 166.0, 237.0, 309.5])
AREAS = np.array([1.0, 0.94, 1.06, 0.98, 1.02])
CARD = Card(
    plumes=tuple(
        Blot(direction=float(d), length=17 * math.sqrt(a), width=7.5 * math.sqrt(a), radius=53.0)
        for d, a in zip(DIRECTIONS, AREAS, strict=True)
    )
)
CAMERA = Camera(tilt=12.0, towards=70.0, distance=400.0)


@functools.cache
def _photo() -> np.ndarray:
    return photograph(CARD, CAMERA).rgb


def _measure(rgb: np.ndarray) -> Result:
    return measure_photo(np.ascontiguousarray(rgb), holes=5, sheet="a4")


@functools.cache
def _base() -> Result:
    return _measure(_photo())


def _gap(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.asarray((a - b + 180) % 360 - 180)


def _same(got: Result, turn: float = 0.0) -> None:
    """Compare with the untouched photo, every direction turned by ``turn``."""
    base = _base()
    assert len(got.catalogue) == len(base.catalogue)
    want = (base.catalogue.direction_deg + turn) % 360
    order = np.argsort(want)
    moved = _gap(got.catalogue.direction_deg, want[order])
    common = float(np.median(moved))
    assert abs(common) < base.catalogue.rotation_u_deg
    assert (np.abs(moved - common) < base.catalogue.direction_u_deg[order]).all()
    # The stated uncertainty covers paper, spray and curl, which are the same in both photos; what a
    # photo can change is less: 0.3 degrees, a quarter of a millimetre at 53 mm.
    assert np.abs(moved).max() < 0.3
    share = got.catalogue.area_frac - base.catalogue.area_frac[order]
    assert (np.abs(share) < base.catalogue.area_u_frac[order]).all()
    np.testing.assert_allclose(got.catalogue.area_mm2, base.catalogue.area_mm2[order], rtol=0.03)
    assert got.verdict == base.verdict


def test_the_untouched_photo_is_right() -> None:
    base = _base()
    off = _gap(base.catalogue.direction_deg, DIRECTIONS)
    assert (np.abs(off) < base.catalogue.direction_u_deg).all()
    assert base.verdict == "pass"
    np.testing.assert_allclose(
        base.catalogue.area_frac, AREAS / AREAS.sum(), atol=base.catalogue.area_u_frac.max()
    )


@pytest.mark.parametrize(("quarter", "turn"), [(1, 90.0), (2, 180.0), (3, 270.0)])
def test_a_turned_photo_turns_the_directions(quarter: int, turn: float) -> None:
    # np.rot90 turns anticlockwise; -quarter turns clockwise. 12 o'clock is the sheet edge nearest
    # the top of the photo, so directions follow.
    got = _measure(np.rot90(_photo(), -quarter))
    _same(got, turn)
    # The centre is the same place of the photo.
    height, width = _photo().shape[:2]
    x, y = _base().card.to_photo(np.array([[_base().centre.x_mm, _base().centre.y_mm]]))[0]
    for _ in range(quarter):
        x, y, width, height = height - 1 - y, x, height, width
    px = got.card.to_photo(np.array([[got.centre.x_mm, got.centre.y_mm]]))[0]
    assert math.hypot(px[0] - x, px[1] - y) < _base().card.px_per_mm(np.zeros(2))  # 1 mm


def test_a_mirrored_photo_mirrors_the_directions() -> None:
    base = _base()
    got = _measure(_photo()[:, ::-1])
    want = np.sort(-base.catalogue.direction_deg % 360)
    assert (np.abs(_gap(got.catalogue.direction_deg, want)) < 0.5).all()
    # Negative control: the directions as they were would not do.
    assert np.abs(_gap(got.catalogue.direction_deg, base.catalogue.direction_deg)).max() > 5


@pytest.mark.parametrize("scale", [0.75, 1.5])
def test_scaled(scale: float) -> None:
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    _same(_measure(cv2.resize(_photo(), None, fx=scale, fy=scale, interpolation=how)))


@pytest.mark.parametrize("gain", [0.55, 1.15])
def test_brightened(gain: float) -> None:
    # Exposure multiplies light, not codes: an independent pass through the sRGB curve.
    code = np.arange(256) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4) * gain
    light = np.minimum(light, 1)
    table = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    _same(_measure(np.round(255 * table).astype(np.uint8)[_photo()]))


@pytest.mark.parametrize("quality", [92, 75])
def test_recompressed(quality: int) -> None:
    done, data = cv2.imencode(".jpg", _photo()[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    _same(_measure(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1]))


@pytest.mark.parametrize("turn", [17.0, 133.0])
def test_a_scene_turned_on_the_card(turn: float) -> None:
    card = replace(
        CARD, plumes=tuple(replace(p, direction=p.direction + turn) for p in CARD.plumes)
    )
    _same(_measure(photograph(card, CAMERA).rgb), turn)


def test_a_scene_moved_on_the_card() -> None:
    card = replace(CARD, centre=(-4.0, 9.0))
    got = _measure(photograph(card, CAMERA).rgb)
    _same(got)
    moved = np.array([got.centre.x_mm - _base().centre.x_mm, got.centre.y_mm - _base().centre.y_mm])
    np.testing.assert_allclose(moved, [-11.0, 21.0], atol=0.5)


def test_the_same_photo_again_is_the_same_to_the_last_bit() -> None:
    again = _measure(_photo())
    assert (again.catalogue.direction_deg == _base().catalogue.direction_deg).all()
    assert (again.catalogue.area_mm2 == _base().catalogue.area_mm2).all()
    assert again.centre.covariance_mm2.tolist() == _base().centre.covariance_mm2.tolist()
