"""Photos from the side through the whole chain, with the correction on and, as control, off.

Source: projective geometry, worked out independently. A camera tilted by t off square, far away,
shrinks lengths along the tilt by c = cos t: directions are wrong by up to asin((1 - c) / (1 + c))
to either side, areas by the factor c. For 10 and 20 degrees: 0.439 and 1.782 degrees,
0.9848 and 0.9397. Here the camera stands 4 m away, so that perspective adds little to the curve.
"""

from __future__ import annotations

import functools
import math

import cv2
import numpy as np
import pytest
from drawn_photos import Camera, Card, Shot, even, photograph

from spraycheck import measure_photo
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.spec import CardSpec
from spraycheck.judge.result import Result
from spraycheck.photo.containers import Photo
from spraycheck.pipeline import Pipeline

COUNT = 8
START = 0.5  # plumes near 45, 135, 225 and 315 from the tilt are turned most
CARD = Card(plumes=even(COUNT, start=START, radius=60.0))
PX_PER_MM = 3.4
CURVE = [(5.0, 0.109, 0.9962), (10.0, 0.439, 0.9848), (15.0, 0.993, 0.9659), (20.0, 1.782, 0.9397)]


@functools.cache
def _far(tilt: float) -> Shot:
    distance = 4000.0
    camera = Camera(
        distance=distance,
        focal=PX_PER_MM * distance,
        tilt=tilt,
        towards=0.0,
        roll=0.0,
        aim=CARD.centre,
    )
    return photograph(CARD, camera)


def crop(photo: Photo, spec: CardSpec) -> RectifiedCard:
    """Take the photo as a square-on view of known scale: the correction switched off."""
    height, width = photo.rgb.shape[:2]
    x, y = np.meshgrid(np.arange(width), np.arange(height))
    # Only what surely shows the sheet: 90 x 90 mm round the photo's middle.
    half = round(90 * PX_PER_MM)
    box = np.s_[height // 2 - half : height // 2 + half, width // 2 - half : width // 2 + half]
    code = photo.rgb[box] / 255.0
    linear = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    corners = np.array([[0.0, 0.0], [width, 0], [width, height], [0, height]])
    return RectifiedCard(
        linear_rgb=linear.astype(np.float32),
        inside=np.ones(linear.shape[:2], bool),
        map_x_px=np.ascontiguousarray(x[box], np.float32),
        map_y_px=np.ascontiguousarray(y[box], np.float32),
        cell_mm=1 / PX_PER_MM,
        x0_mm=(0.5 - half) / PX_PER_MM,
        y0_mm=(0.5 - half) / PX_PER_MM,
        size_mm=(180.0, 180.0),
        scale_known=True,
        found_by="sheet",
        corners_px=corners,
        outline_px=corners.copy(),
        geometry_u_mm=0.1,
        aspect_u_frac=0.002,
    )


def _directions(got: Result) -> np.ndarray:
    """Deviation of every plume from where it was drawn."""
    assert len(got.catalogue) == COUNT
    drawn = START + 360 / COUNT * np.arange(COUNT)
    off = got.catalogue.direction_deg - drawn
    return np.asarray((off + 180) % 360 - 180)


@functools.cache
def _area(tilt: float, corrected: bool) -> tuple[np.ndarray, float]:
    pipeline = None if corrected else Pipeline(rectify=crop)
    got = measure_photo(_far(tilt).rgb, holes=COUNT, sheet="a4", pipeline=pipeline)
    return _directions(got), float(got.catalogue.area_mm2.mean())


@pytest.mark.parametrize(("tilt", "worst", "factor"), CURVE)
def test_correction_on_leaves_nothing(tilt: float, worst: float, factor: float) -> None:
    # 0.1 degrees: centroids and centre on a photo of 3.4 px per mm. Areas 0.3 %: the resampled rim.
    # Both are well under what an uncorrected view shows from 10 degrees on.
    off, area = _area(tilt, True)
    assert np.abs(off - np.median(off)).max() < 0.1
    assert area / _area(0.0, True)[1] == pytest.approx(1.0, abs=0.003)
    assert worst < 0.11 or np.abs(off).max() < 0.5 * worst


@pytest.mark.parametrize(("tilt", "worst", "factor"), CURVE)
def test_correction_off_follows_the_curve(tilt: float, worst: float, factor: float) -> None:
    off, area = _area(tilt, False)
    c = math.cos(math.radians(tilt))
    drawn = np.radians(START + 360 / COUNT * np.arange(COUNT))
    # Lengths up and down the photo are the ones that shrink.
    seen = np.degrees(np.arctan2(np.sin(drawn), c * np.cos(drawn)) - drawn)
    seen = (seen + 180) % 360 - 180
    assert np.abs(seen).max() == pytest.approx(worst, abs=0.03)  # eight plumes nearly reach it
    # 0.15 degrees as above, with a little perspective left at 4 m; areas 0.3 %.
    np.testing.assert_allclose(off, seen, atol=0.15)
    assert area / _area(0.0, False)[1] == pytest.approx(factor, abs=0.003)


@pytest.mark.parametrize("tilt", [10.0, 20.0, 35.0])
@pytest.mark.parametrize("towards", [35.0, 250.0])
def test_close_photos_from_the_side(tilt: float, towards: float) -> None:
    """A ruler-and-compass card: six marks on a circle, photographed as by hand."""
    card = Card(plumes=even(6, start=14.0))
    shot = photograph(card, Camera(tilt=tilt, towards=towards, distance=420.0))
    got = measure_photo(shot.rgb, holes=6, sheet="a4")
    assert got.verdict in ("pass", "recheck")
    assert math.hypot(got.centre.x_mm - card.centre[0], got.centre.y_mm - card.centre[1]) < 1.0
    off = got.catalogue.direction_deg - (14.0 + 60 * np.arange(6))
    # 0.7 degrees: what is asked of square-on photos; inside the stated uncertainty besides.
    assert np.sqrt(np.mean((off - off.mean()) ** 2)) < 0.7
    assert (np.abs(off - off.mean()) < got.catalogue.direction_u_deg).all()
    np.testing.assert_allclose(got.catalogue.area_frac, 1 / 6, atol=0.03 / 6)
    px = got.card.to_photo(np.array([[got.centre.x_mm, got.centre.y_mm]]))[0]
    assert np.hypot(*(px - shot.centre_px)) < 3.5
    # The same with OpenCV's own perspective from the drawn corners: the sheet was found.
    half = np.array(card.size) / 2
    corners = shot.camera.project(np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * half)
    back = cv2.getPerspectiveTransform(
        got.card.corners_px.astype(np.float32),
        (np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * half).astype(np.float32),
    )
    there = cv2.perspectiveTransform(corners[None].astype(np.float32), back)[0]
    assert np.hypot(*(there - np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half).T).max() < 1.0
