"""Tools over the sheet's edge: told from spray because they go on beyond it."""

from __future__ import annotations

import cv2
import numpy as np
from drawn_photos import Camera, Card, even, photograph
from numpy.typing import NDArray

from spraycheck import (
    CardSpec,
    WetnessSettings,
    flags,
    map_wetness,
    measure_photo,
    photo_from_array,
)
from spraycheck.card.find import rectify_card
from spraycheck.report.model import build_report
from spraycheck.report.terminal import terminal_report
from spraycheck.report.words.findings import hole_reason
from spraycheck.report.words.labels import FLAGS
from spraycheck.spray.containers import CellFlag

CARD = Card(plumes=even(5), size=(190.0, 214.0), centre=(3.0, -4.0))
PHOTO = photograph(CARD, Camera(size=(900, 1100), focal=1050.0))
ROD = np.array([[64.0, 82.0], [84.0, 120.0]])
"""From inside the sheet to 13 mm beyond its lower edge, pointing at the centre, mm."""


def with_rod(
    rgb: NDArray[np.uint8], end: NDArray[np.float64], start: NDArray[np.float64] = ROD[0]
) -> NDArray[np.uint8]:
    out = rgb.copy()
    a, b = (tuple(int(v) for v in p) for p in PHOTO.camera.project(np.array([start, end])))
    cv2.line(out, a, b, (96, 84, 88), 26, cv2.LINE_8)
    return out


def measure(rgb: NDArray[np.uint8]):
    return measure_photo(np.ascontiguousarray(rgb), holes=5, sheet="190x214")


def test_a_rod_over_the_edge_is_a_thing_and_no_spray() -> None:
    result = measure(with_rod(PHOTO.rgb, ROD[1]))
    assert result.verdict == "pass"
    assert result.strays == ()
    assert flags.THING_OVER_EDGE in result.wetness.flags
    report = terminal_report(build_report(result), colour=False, width=100)
    assert FLAGS[flags.THING_OVER_EDGE][1:] in " ".join(report.split())
    assert [m.kind for m in result.segmentation.marks if m.area_mm2 > 50] == ["thing"]


def test_what_ends_at_the_edge_may_be_spray() -> None:
    """The same stain, but what lies beyond the sheet looks like the rest of the bench."""
    rgb = with_rod(PHOTO.rgb, ROD[1])
    sheet = np.zeros(rgb.shape[:2], np.uint8)
    corners = np.array([[-95, -107], [95, -107], [95, 107], [-95, 107]], float)
    cv2.fillConvexPoly(sheet, PHOTO.camera.project(corners).round().astype(np.int32), 1)
    result = measure(np.where(sheet[..., None] == 1, rgb, PHOTO.rgb))
    assert result.verdict != "pass"
    assert not any(m.kind == "thing" for m in result.segmentation.marks)


def test_a_hole_whose_plume_runs_into_the_rod_is_unsure_and_not_blocked() -> None:
    result = measure(with_rod(PHOTO.rgb, np.array([60.0, 120.0]), start=np.array([28.0, 58.0])))
    assert [m.kind for m in result.segmentation.marks if m.area_mm2 > 50] == ["thing"]
    lost = [hole for hole in result.holes if hole.plume is None]
    assert [hole.state for hole in lost] == ["unsure"]
    assert "under something on the card" in hole_reason(lost[0])
    assert result.verdict == "recheck"


def test_the_map_says_why_nothing_is_judged_under_the_rod() -> None:
    result = measure(with_rod(PHOTO.rgb, ROD[1]))
    hidden = (result.wetness.cell_flags & np.uint8(CellFlag.FOREIGN_OBJECT)) > 0
    assert hidden.sum() * result.card.cell_mm**2 > 100
    assert not result.wetness.valid[hidden].any()
    assert not result.wetness.smooth[hidden].any()
    assert (result.segmentation.labels[hidden] == 0).all()


def test_nothing_is_left_out_that_is_most_of_what_is_wet() -> None:
    """Half of all that is wet goes on beyond the edge, then a fifth."""
    card = rectify_card(
        photo_from_array(with_rod(PHOTO.rgb, ROD[1])), CardSpec(width_mm=190.0, height_mm=214.0)
    )
    photo = photo_from_array(with_rod(PHOTO.rgb, ROD[1]))
    usual = map_wetness(card, photo=photo)
    assert flags.THING_OVER_EDGE in usual.flags
    strict = map_wetness(card, photo=photo, settings=WetnessSettings(object_most_frac=0.02))
    assert flags.THING_OVER_EDGE not in strict.flags
    assert (strict.valid & ~usual.valid).sum() > 100
