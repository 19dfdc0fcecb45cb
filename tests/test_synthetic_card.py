"""Drawing a card: nozzles, truth, seeds, bad input."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Hole, HoleState
from spraycheck.simulate import (
    Artwork,
    Camera,
    CardTruth,
    CentralSpray,
    Curl,
    Fluid,
    Paper,
    SprayShot,
    StrayJet,
    SyntheticNozzle,
    Table,
    TrueHole,
    TrueMark,
    draw_card,
    photograph,
    random_scene,
)
from spraycheck.spray.containers import Mark, NozzleCentre, PlumeCatalogue

SMALL = Paper(width_mm=150, height_mm=130)
SHOT = SprayShot(volume_mm3=60, height_mm=16, half_cone_deg=5)
SIX = SyntheticNozzle.evenly(6, axis_angle_deg=63, first_deg=20)


def draw(nozzle: SyntheticNozzle = SIX, shot: SprayShot | None = SHOT, **more: object):
    options: dict[str, object] = {"seed": 4, "foot_mm": (6.0, -3.0), "cell_mm": 0.4} | more
    return draw_card(nozzle, shot, SMALL, Fluid(), **options)  # type: ignore[arg-type]


# -- truth ------------------------------------------------------------------------------------


def test_truth_names_match_measured_ones() -> None:
    def names(*kinds: type) -> set[str]:
        return {f.name for kind in kinds for f in fields(kind)}

    # A record of the truth has the keys of a result document, which says near and reach.
    measured = names(PlumeCatalogue, Hole, Layout) | {"near_mm", "reach_mm"}
    # What only a simulator can know: flow, volume, and the aim of the axis.
    hidden = {"flow_frac", "volume_mm3", "impact_mm", "area_mm2_at"}
    assert names(TrueHole) - measured == hidden
    assert names(TrueMark) - names(Mark) == {"volume_mm3", "direction_deg"}
    assert {"x_mm", "y_mm"} <= names(CardTruth) & names(NozzleCentre)


def test_true_states_are_the_states_of_a_verdict() -> None:
    nozzle = SIX.with_flow(1, 0.0).with_flow(2, 0.4).with_flow(3, 1.6).with_deflection(4, -9.0)
    states = [nozzle.state(k) for k in range(1, 7)]
    assert states == ["blocked", "weak", "heavy", "off-line", "clear", "clear"]
    assert set(states) <= set(HoleState)


def test_truth_of_every_hole() -> None:
    nozzle = SIX.with_flow(2, 0.0).with_flow(5, 0.4).with_deflection(4, 11.0)
    truth = draw(nozzle).truth
    assert [h.state for h in truth.holes] == [
        *("clear", "blocked", "clear", "off-line", "weak", "clear")
    ]
    assert truth.faulty == (2, 4, 5)
    assert (truth.x_mm, truth.y_mm, truth.height_mm) == (6.0, -3.0, 16)
    clear = [h for h in truth.holes if h.state == "clear"]
    for hole in truth.flowing:
        drawn = (20 + 60 * (hole.hole - 1)) % 360
        assert hole.expected_deg == pytest.approx(drawn)
        assert hole.direction_deg == pytest.approx(drawn + hole.deviation_deg, abs=0.6)
        assert hole.near_mm < math.hypot(hole.impact_mm[0] - 6, hole.impact_mm[1] + 3)
        assert hole.reach_mm > math.hypot(hole.impact_mm[0] - 6, hole.impact_mm[1] + 3)
        assert hole.area_mm2_at[0] > hole.area_mm2_at[1] == hole.area_mm2 > hole.area_mm2_at[2]
    assert sum(h.area_frac for h in truth.holes) == pytest.approx(1)
    blocked = truth.holes[1]
    assert (blocked.area_mm2, blocked.area_frac, blocked.volume_mm3) == (0, 0, 0)
    assert math.isnan(blocked.direction_deg)
    assert math.isnan(blocked.centroid_mm[0])
    areas = [h.area_mm2 for h in clear]
    assert max(areas) / min(areas) < 1.15
    assert truth.holes[4].area_mm2 < 0.75 * min(areas)
    # The plume that is off line lies where it was turned to.
    off = truth.holes[3]
    seen = math.degrees(math.atan2(off.centroid_mm[0] - 6, -(off.centroid_mm[1] + 3))) % 360
    assert seen == pytest.approx(200 + 11, abs=1.0)


def test_a_turned_nozzle_turns_every_direction() -> None:
    shot = replace(SHOT, mottle_frac=0.0, satellites=0.0)
    first = draw(SIX, shot)
    turned = draw(SyntheticNozzle.evenly(6, axis_angle_deg=63, first_deg=53), shot)
    for a, b in zip(first.truth.holes, turned.truth.holes, strict=True):
        assert (b.direction_deg - a.direction_deg - 33 + 180) % 360 - 180 == pytest.approx(0)
        assert b.area_mm2 == pytest.approx(a.area_mm2, rel=0.06)


def test_tilt_shifts_the_ring_but_not_the_foot() -> None:
    shot = replace(SHOT, tilt_x_deg=4.0, tilt_y_deg=-1.5)
    truth = draw(SIX, shot).truth
    middle = np.mean([h.impact_mm for h in truth.holes], axis=0)
    assert middle[0] > 6 + 1.0
    assert middle[1] < -3 - 0.4
    assert (truth.x_mm, truth.y_mm) == (6.0, -3.0)
    # A nozzle without holes at an angle shows the lean directly: tan of it times the height.
    lean = draw(
        SyntheticNozzle(azimuth_deg=(0.0,), axis_angle_deg=0.0, hole_radius_mm=0.0), shot
    ).truth.holes[0]
    assert lean.impact_mm[0] - 6 == pytest.approx(16 * math.tan(math.radians(4.0)), abs=1e-6)
    assert lean.impact_mm[1] + 3 == pytest.approx(-16 * math.tan(math.radians(1.5)), abs=1e-6)


def test_drip_splash_and_stray_are_marks_of_no_hole() -> None:
    plain = draw()
    stray = StrayJet(direction_deg=50.0, axis_angle_deg=60, share=0.5)
    card = draw(SIX, replace(SHOT, drip_mm3=3.0, splashes=3, strays=(stray,)))
    kinds = [m.kind for m in card.truth.marks]
    assert kinds == ["stray", "drip", "splash", "splash", "splash"]
    assert card.truth.marks[0].direction_deg == pytest.approx(50.0)
    drip = card.truth.marks[1]
    assert (drip.x_mm, drip.y_mm) == (6.0, -3.0)
    assert 25 < drip.area_mm2 < 130  # 3 mm3 in paper of 0.055 mm3/mm2 is 55 mm2 when full
    assert drip.volume_mm3 == pytest.approx(3.0, rel=1e-3)
    assert not plain.truth.marks
    for before, after in zip(plain.truth.holes, card.truth.holes, strict=True):
        assert after.area_mm2 == pytest.approx(before.area_mm2, rel=0.12)


@pytest.mark.parametrize("kind", ["solid", "hollow"])
def test_central_sprays(kind: str) -> None:
    nozzle = SyntheticNozzle.pintle(kind=kind, half_cone_deg=12.0)
    card = draw(nozzle, SprayShot(volume_mm3=20, height_mm=60, mist_frac=0.02))
    assert card.truth.holes == ()
    assert [m.kind for m in card.truth.marks] == ["central"]
    y, x = np.nonzero(card.wetness > 0.3)
    r = np.hypot(card.grid.x_mm[x] - 6, card.grid.y_mm[y] + 3)
    ring = 60 * math.tan(math.radians(12.0))
    if kind == "hollow":
        assert np.median(r) == pytest.approx(ring, abs=2.5)
        assert np.percentile(r, 3) > 5
    else:
        assert r.min() < 1
        assert np.percentile(r, 90) < ring
    lopsided = replace(nozzle, central=CentralSpray(lopsided_frac=0.8, lopsided_deg=90.0))
    shot = SprayShot(volume_mm3=6, height_mm=80, mist_frac=0.0, coarse_frac=0.0)
    heavy = draw(lopsided, shot)
    assert float(heavy.volume_mm3.sum(axis=0) @ heavy.grid.x_mm) / 6.0 > 6.0 + 0.5


def test_other_ways_to_make_a_nozzle() -> None:
    slanted = SyntheticNozzle.slanted(4, slant_deg=10, slant_to_deg=90, axis_angle_deg=60)
    # Holes at 0, 90, 180, 270 on a cone that leans right: the right one rises, the left one falls.
    assert slanted.axis_angles[1] == pytest.approx(70)
    assert slanted.axis_angles[3] == pytest.approx(50)
    assert slanted.azimuth_deg[0] < 90
    rows = SyntheticNozzle.two_row(6, lower_flow=1.1)
    low, high = rows.volume_shares[1], rows.volume_shares[0]
    assert low / high == pytest.approx(1.1)
    assert rows.state(2) == "clear"


def test_a_blank_card_is_dry() -> None:
    card = draw(SIX, None)
    assert not card.wetness.any()
    assert card.truth.wet_mm2 == 0
    assert {h.state for h in card.truth.holes} == {"blocked"}


def test_truth_as_plain_values_has_no_nan() -> None:
    plain = draw(SIX.with_flow(2, 0.0)).truth.as_dict()
    assert plain["holes"][1]["direction_deg"] is None
    assert plain["holes"][0]["state"] == "clear"


# -- paper ------------------------------------------------------------------------------------


def test_wet_paper_is_darker_in_the_fluid_s_colour() -> None:
    card = draw()
    rgb = card.linear_rgb(backing=(0.1, 0.1, 0.1))
    wet, dry = card.wetness > 0.95, card.wetness < 0.01
    loss = np.array([rgb[wet][:, k].mean() / rgb[dry][:, k].mean() for k in range(3)])
    assert loss[0] < 0.75  # scattering alone
    assert loss[2] < 0.75 * loss[0]  # straw takes blue
    flat = card.flat_rgb(pitch_mm=1.0)
    assert flat.shape == (130, 150, 3)
    assert flat.dtype == np.uint8


def test_more_fluid_wets_more_and_longer_soaking_too() -> None:
    areas = [draw(SIX, replace(SHOT, volume_mm3=v)).truth.wet_mm2 for v in (30, 60, 120)]
    assert areas[0] < areas[1] < areas[2]
    soaked = [draw(soak_s=t).truth.wet_mm2 for t in (0.0, 300.0)]
    assert soaked[0] < soaked[1]


def test_a_flooded_sheet_stays_flooded() -> None:
    card = draw(SIX, replace(SHOT, volume_mm3=2000))
    assert card.truth.landed_mm3 > 0.9 * 2000
    assert (card.wetness > 0.9).mean() > 0.9


def test_artwork_is_printed_where_it_says() -> None:
    art = np.full((60, 40, 3), 255, np.uint8)
    art[:6, :4] = 0  # top left corner of the print
    paper = replace(SMALL, artwork=(Artwork(rgb=art, width_mm=40, height_mm=60, x_mm=10, y_mm=5),))
    card = draw_card(SIX, None, paper, seed=1)
    luma = card.linear_rgb(pitch_mm=1.0).mean(axis=2)
    rows, cols = np.nonzero(luma < 0.2)
    # 4 x 6 mm of ink whose outer corner is at x = 10 - 20, y = 5 - 30.
    assert len(rows) == pytest.approx(24, abs=4)
    assert cols.mean() - (150 - 1) / 2 == pytest.approx(-8.0, abs=0.6)
    assert rows.mean() - (130 - 1) / 2 == pytest.approx(-22.0, abs=0.6)


# -- seeds ------------------------------------------------------------------------------------


def test_same_seed_same_card() -> None:
    assert np.array_equal(draw().wetness, draw().wetness)
    assert not np.array_equal(draw().wetness, draw(seed=5).wetness)
    again = draw(seed=np.random.default_rng(4))
    assert np.array_equal(draw().wetness, again.wetness)


def test_healthy_holes_do_not_depend_on_the_seed_much() -> None:
    areas = [draw(seed=s).truth.wet_mm2 for s in range(4)]
    assert np.std(areas) / np.mean(areas) < 0.03


# -- bad input --------------------------------------------------------------------------------

BAD = {
    "40 holes": lambda: SyntheticNozzle.evenly(40),
    "no hole": lambda: SyntheticNozzle(azimuth_deg=()),
    "half a hole": lambda: SyntheticNozzle.evenly(2.5),  # type: ignore[arg-type]
    "row too short": lambda: replace(SIX, flow=(1.0, 1.0)),
    "no number": lambda: replace(SIX, flow=("much",) * 6),
    "nan": lambda: replace(SIX, axis_angle_deg=math.nan),
    "upwards": lambda: replace(SIX, axis_angle_deg=95.0),
    "bent upwards": lambda: SIX.with_deflection(2, 0.0, 40.0),
    "outside the tip": lambda: replace(SIX, hole_radius_mm=2.5),
    "negative flow": lambda: SIX.with_flow(1, -0.1),
    "no such hole": lambda: SIX.with_flow(7, 0.5),
    "odd rows": lambda: SyntheticNozzle.two_row(5),
    "central kind": lambda: CentralSpray(kind="square"),
    "zero volume": lambda: SprayShot(volume_mm3=0),
    "negative volume": lambda: SprayShot(volume_mm3=-3),
    "no height": lambda: SprayShot(height_mm=0),
    "profile": lambda: SprayShot(profile="flat"),
    "all mist": lambda: SprayShot(mist_frac=0.6, coarse_frac=0.6),
    "plume misses": lambda: draw(replace(SIX, axis_angle_deg=80), replace(SHOT, height_mm=90)),
    "foot off the sheet": lambda: draw(foot_mm=(200.0, 0.0)),
    "seed word": lambda: draw(seed="seven"),
    "seed fraction": lambda: draw(seed=1.5),
    "seed negative": lambda: draw(seed=-1),
    "seed none": lambda: random_scene(None),  # type: ignore[arg-type]
    "paper size": lambda: Paper(width_mm=3),
    "paper colour": lambda: Paper(colour=(0.5, 0.5)),  # type: ignore[arg-type]
    "paper name": lambda: Paper.stock("papyrus"),
    "fluid name": lambda: Fluid.kind("water"),
    "artwork": lambda: Artwork(rgb=np.zeros((3, 3)), width_mm=9, height_mm=9),  # type: ignore[arg-type]
    "photo size": lambda: Camera(width_px=20),
    "light": lambda: Camera(light="moon"),
    "jpeg": lambda: Camera(jpeg_quality=0),
    "surface": lambda: Table(surface="lava"),
    "curl": lambda: Curl(lift_mm=90),
    "family": lambda: random_scene(1, family="circus"),
    "fault": lambda: random_scene(1, fault="rust"),
    "difficulty": lambda: random_scene(1, difficulty=2),
    "photo seed": lambda: photograph(draw(), Camera(width_px=64, height_px=64), seed="x"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_gets_one_clear_line(case: str) -> None:
    with pytest.raises(InputError) as caught:
        BAD[case]()
    text = str(caught.value)
    assert "expected" in text or "misses the card" in text
    assert "\n" not in text
    assert len(text) < 160
