"""Stages 4 and 5 on drawn cards: what is a plume, and its numbers."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cards import Plume, Scene, draw, even, wetness_of

from spraycheck.errors import SprayNotFoundError
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation
from spraycheck.spray.measure import measure_plumes
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.settings import PlumeSettings
from spraycheck.spray.wetness import map_wetness


def measure(scene: Scene) -> tuple[PlumeSegmentation, PlumeCatalogue]:
    wet = map_wetness(draw(scene))
    centre = locate_centre(wet)
    labels = segment_plumes(wet, centre)
    return labels, measure_plumes(wet, labels, centre)


def test_centre_and_plumes_are_one_estimate() -> None:
    wet = map_wetness(draw(Scene(plumes=even(5))))
    found = segment_plumes(wet)
    alone = locate_centre(wet)
    assert (found.centre.x_mm, found.centre.y_mm) == (alone.x_mm, alone.y_mm)
    np.testing.assert_array_equal(segment_plumes(wet, alone).labels, found.labels)
    # A centre from elsewhere is kept, and turns the rows that are told from it.
    moved = replace(alone, x_mm=alone.x_mm + 3.0)
    assert segment_plumes(wet, moved).centre is moved
    shift = measure_plumes(wet, segment_plumes(wet, moved)).direction_deg
    assert np.abs(shift - measure_plumes(wet, found).direction_deg).max() > 2.0


def test_a_stage_with_other_settings_answers_otherwise() -> None:
    scene = Scene(plumes=(*even(4), Plume(direction=62, radius=46, length=3.0, width=2.0)))
    wet = map_wetness(draw(scene))
    assert segment_plumes(wet).count == 5
    assert segment_plumes(wet, settings=PlumeSettings(min_area_mm2=60.0)).count == 4


@pytest.mark.parametrize("holes", [3, 5, 8, 10, 12])
def test_every_plume_is_found_once(holes: int) -> None:
    _labels, rows = measure(Scene(plumes=even(holes, width=4.5)))
    assert len(rows) == holes
    truth = np.sort([(17 + 360 * k / holes) % 360 for k in range(holes)])
    assert rows.direction_deg == pytest.approx(truth, abs=0.5)


def test_numbers_of_a_plume_follow_the_drawing() -> None:
    scene = Scene(plumes=even(4))
    _labels, rows = measure(scene)
    truth = (wetness_of(scene) >= 0.30).sum() * scene.cell**2 / 4
    # The detection blur moves a soft edge at wetness 0.3 outwards by about a tenth of a mm.
    assert rows.area_mm2 == pytest.approx([truth] * 4, rel=0.04)
    assert rows.area_frac.sum() == pytest.approx(1)
    assert rows.inner_mm == pytest.approx([46 - 13] * 4, abs=1.5)
    assert rows.outer_mm == pytest.approx([46 + 13] * 4, abs=1.5)
    seen = 2 * math.degrees(math.asin(6 / 46))
    assert rows.width_deg == pytest.approx([seen] * 4, rel=0.12)
    assert rows.centroid_px[0] == pytest.approx((rows.centroid_mm[0] + [95, 115]) * 3 + [40, 25])


def test_touching_plumes_are_parted() -> None:
    pair = (Plume(0), Plume(17, radius=52), *even(4, start=110.0)[:3])
    labels, rows = measure(Scene(plumes=pair))
    assert len(rows) == 5
    assert len(labels.cut) == 2
    assert rows.area_frac == pytest.approx([0.2] * 5, abs=0.03)


def test_a_weak_plume_is_a_plume_and_a_drop_is_not() -> None:
    weak = replace(even(4)[1], length=5.5, width=2.2)
    plumes = (even(4)[0], weak, *even(4)[2:])
    labels, rows = measure(Scene(plumes=plumes, blots=((-40.0, 60.0, 1.4),)))
    assert len(rows) == 4
    assert rows.area_frac.min() < 0.1
    assert [m.kind for m in labels.marks] == ["drop"]


def test_a_drip_at_the_centre_is_a_mark() -> None:
    labels, rows = measure(Scene(plumes=even(5), drip=4.0))
    assert len(rows) == 5
    assert [m.kind for m in labels.marks] == ["drip"]
    only = Scene(plumes=(), drip=4.0)
    truth = (wetness_of(only) >= 0.30).sum() * only.cell**2
    assert labels.marks[0].area_mm2 == pytest.approx(truth, rel=0.10)


def test_a_round_thumb_print_off_the_ring_is_no_plume() -> None:
    labels, rows = measure(Scene(plumes=even(4), blots=((-70.0, 90.0, 8.0),)))
    assert len(rows) == 4
    assert len(labels.marks) == 1


def test_blots_alone_are_no_pattern() -> None:
    scene = Scene(plumes=even(3))
    wet = map_wetness(draw(replace(scene, plumes=(), blots=((30.0, 20.0, 9.0),))))
    centre = NozzleCentre(
        x_mm=30.0,
        y_mm=20.0,
        covariance_mm2=np.eye(2),
        ring_radius_mm=math.nan,
        ring_offset_mm=(math.nan, math.nan),
        found_by="axes",
    )
    with pytest.raises(SprayNotFoundError):
        segment_plumes(wet, centre)


def test_turning_the_scene_turns_every_direction() -> None:
    _a, base = measure(Scene(plumes=even(5)))
    _b, turned = measure(Scene(plumes=even(5, start=17.0 + 23.0)))
    step = (turned.direction_deg - base.direction_deg) % 72
    assert step == pytest.approx([23.0] * 5, abs=0.3)


def test_a_vaguer_centre_widens_the_directions() -> None:
    wet = map_wetness(draw(Scene(plumes=even(4))))
    centre = locate_centre(wet)
    labels = segment_plumes(wet, centre)
    sure = measure_plumes(wet, labels, centre)
    vague = measure_plumes(
        wet, labels, replace(centre, covariance_mm2=np.array(centre.covariance_mm2 * 100))
    )
    assert (vague.direction_u_deg > 3 * sure.direction_u_deg).all()
    # The law: a centre off by e leans a plume at radius r by asin(e / r) at most.
    sigma = math.sqrt(float(np.linalg.eigvalsh(centre.covariance_mm2)[-1]) * 100)
    assert vague.direction_u_deg.max() <= math.degrees(math.asin(1.96 * sigma / 46)) * 1.1
