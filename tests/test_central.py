"""The central patch against shapes whose numbers follow from a formula."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from central_cards import disc, grid, photo_of, wet_map
from judging import judge_patch

from spraycheck import flags
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError, LayoutError, SprayNotFoundError
from spraycheck.judge.limits import OFF, AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Result
from spraycheck.judge.standoff import Standoff
from spraycheck.pipeline import aim_on
from spraycheck.report.words.findings import text_of
from spraycheck.spray.axial.containers import Aim, AxialPatch
from spraycheck.spray.axial.measure import measure_axial
from spraycheck.spray.containers import WetnessMap

MIDDLE = (7.0, -12.0)
HERE = Aim(x_mm=MIDDLE[0], y_mm=MIDDLE[1], u_mm=0.3, source="given")
RING = disc(15, MIDDLE) - disc(9, MIDDLE)


def measured(wetness: np.ndarray, aim: Aim = HERE) -> AxialPatch:
    return measure_axial(wet_map(wetness), aim)


def judged(
    wetness: np.ndarray,
    *,
    fill: str = "filled",
    aim: Aim = HERE,
    limits: AxialLimits | None = None,
    wet: WetnessMap | None = None,
    **more: object,
) -> Result:
    wet = wet or wet_map(wetness)
    nozzle = AxialNozzle(name="test", kind="pintle", fill=fill, full_angle_deg=20.0)
    return judge_patch(
        measure_axial(wet, aim),
        nozzle,
        limits or AxialLimits(),
        photo=photo_of(wet),
        card=wet.card,
        wetness=wet,
        **more,  # type: ignore[arg-type]
    )


def state(a: Result, limit: str) -> str:
    return next(j.outcome for j in a.checks if j.limit == limit)


def codes(a: Result) -> list[str]:
    return [f.code for f in a.findings]


# -- numbers against closed forms -----------------------------------------------------------------


def test_disc_has_its_area_diameter_and_place() -> None:
    p = measured(disc(12, MIDDLE))
    # A sharp edge blurred by 0.7 mm is half wet where it was; at 0.3 it lies 0.37 mm further out.
    radius = 12 + 0.7 * 0.5244
    assert p.diameter_mm == pytest.approx(2 * radius, abs=0.3)
    assert p.area_mm2 == pytest.approx(math.pi * radius**2, rel=0.03)
    assert (p.x_mm, p.y_mm) == pytest.approx(MIDDLE, abs=0.1)
    assert p.ellipse_ratio == pytest.approx(1, abs=0.01)
    assert p.form_factor == pytest.approx(1, abs=0.02)
    assert p.heavy_side_frac == pytest.approx(0.5, abs=0.01)
    assert p.streak_frac < 0.02
    assert p.core_ratio == pytest.approx(1, abs=0.03)
    assert not p.hollow
    assert p.side_frac == 0
    assert p.sides == ()


def test_ellipse_is_as_round_as_its_axes_say() -> None:
    p = measured(disc(12, MIDDLE, long=1.4))
    edge = 0.7 * 0.5244
    assert p.ellipse_ratio == pytest.approx((12 + edge) / (16.8 + edge), abs=0.01)
    # Ramanujan's circumference, from memory: 4 pi A / P^2 of an ellipse of axes 1.4 to 1 is 0.946.
    assert p.form_factor == pytest.approx(0.946, abs=0.02)


def test_offset_from_the_aim_and_its_direction() -> None:
    aim = Aim(x_mm=MIDDLE[0] - 4, y_mm=MIDDLE[1] + 3, u_mm=0.3, source="given")
    p = measured(disc(12, MIDDLE), aim)
    assert p.offset_mm == pytest.approx(5, abs=0.2)
    assert p.offset_ratio == pytest.approx(5 / 24.7, abs=0.01)
    assert p.offset_deg == pytest.approx(math.degrees(math.atan2(4, 3)), abs=2)
    # The aim's own uncertainty is in it, and so never below that of one coordinate.
    assert p.u("offset_ratio") >= COVERAGE_FACTOR_95 * 0.3 / p.diameter_mm


def test_without_an_aim_the_offset_is_unknown() -> None:
    p = measured(disc(12, MIDDLE), Aim())
    assert math.isnan(p.offset_ratio)
    assert math.isnan(p.u("offset_ratio"))
    assert np.isfinite([p.u(q) for q in ("ellipse_ratio", "heavy_side_frac", "side_frac")]).all()


def test_heavy_side_is_the_share_of_the_half_disc() -> None:
    _, turn = grid(MIDDLE)
    p = measured(disc(15, MIDDLE) * 0.7 * (1 + 0.4 * np.cos(np.radians(turn - 130))))
    # Half of the integral of 1 + 0.4 cos over the heavy half circle: 1/2 + 0.4 / pi.
    assert p.heavy_side_frac == pytest.approx(0.5 + 0.4 / math.pi, abs=0.015)
    assert p.heavy_side_deg == pytest.approx(130, abs=2)


@pytest.mark.parametrize("count", [3, 5, 8])
def test_streaks_are_the_harmonics_from_three_on(count: int) -> None:
    _, turn = grid(MIDDLE)
    p = measured(disc(15, MIDDLE) * 0.7 * (1 + 0.4 * np.cos(np.radians(count * turn))))
    assert p.streak_frac == pytest.approx(0.4 / math.sqrt(2), abs=0.02)
    # Half a circle holds one crest more than the other when their number is odd.
    assert p.heavy_side_frac < 0.51 + (0.4 / (count * math.pi) if count % 2 else 0)


def test_an_oval_is_no_streak() -> None:
    assert measured(disc(12, MIDDLE, long=1.4)).streak_frac < 0.1


def test_ring_is_hollow_and_its_hollow_in_the_middle() -> None:
    p = measured(RING)
    assert p.hollow
    assert p.core_ratio < 0.05
    assert p.hollow_offset_ratio < 0.01
    assert len(p.hollow_px) > 20


def test_hollow_off_the_middle() -> None:
    p = measured(disc(15, MIDDLE) - disc(8, (MIDDLE[0] + 3, MIDDLE[1])))
    assert p.hollow_offset_ratio == pytest.approx(3 / 30.7, abs=0.01)
    # Less of the ring lies where the hollow is.
    assert p.heavy_side_deg == pytest.approx(270, abs=3)


def test_side_spray_is_counted_and_placed() -> None:
    p = measured(disc(12, MIDDLE) + disc(4, (MIDDLE[0] + 30, MIDDLE[1])))
    edge = 0.7 * 0.5244
    share = (4 + edge) ** 2 / ((4 + edge) ** 2 + (12 + edge) ** 2)
    assert p.side_frac == pytest.approx(share, abs=0.01)
    assert len(p.sides) == 1
    assert p.sides[0].direction_deg == pytest.approx(90, abs=1)


def test_a_spot_against_the_border_may_be_its_shadow() -> None:
    wetness = disc(12, MIDDLE) + disc(5, (-73, 60))
    p = measured(wetness)
    assert p.side_frac == 0
    assert 0.06 < p.doubtful_frac < 0.14
    assert len(p.sides) == 1
    a = judged(wetness)
    assert a.verdict == "recheck"
    assert codes(a) == ["central-doubtful-spot"]


def test_a_faint_spot_beside_the_patch_is_not_passed_over() -> None:
    a = judged(disc(12, MIDDLE) + 0.5 * disc(5, (MIDDLE[0], 45)))
    assert a.verdict == "recheck"
    assert codes(a) == ["central-doubtful-spot"]


def test_a_spot_against_the_border_does_not_save_a_faulty_spray() -> None:
    wetness = disc(12, MIDDLE) + disc(5, (-73, 60)) + disc(5, (MIDDLE[0], 45))
    a = judged(wetness)
    assert a.verdict == "fail"
    assert "central-side-spray" in codes(a)


def test_what_a_faint_bridge_joins_lies_beside() -> None:
    r, turn = grid(MIDDLE)
    bridge = np.where((abs(turn - 90) < 6) & (r < 32), 0.2, 0.0)
    p = measured(np.maximum(disc(12, MIDDLE) + disc(4, (MIDDLE[0] + 30, MIDDLE[1])), bridge))
    assert p.diameter_mm == pytest.approx(24.7, abs=0.6)
    assert len(p.sides) == 1
    assert p.side_frac > 0.08


def test_thrown_drops_are_no_side_spray() -> None:
    wetness = disc(12, MIDDLE) + disc(0.6, (MIDDLE[0] + 25, MIDDLE[1]))
    assert measured(wetness).side_frac == 0


def test_a_turned_card_turns_the_directions_only() -> None:
    _, turn = grid(MIDDLE)
    wetness = disc(15, MIDDLE) * 0.7 * (1 + 0.3 * np.cos(np.radians(turn - 40)))
    square = wetness[50:425, :]
    upright, turned = measured(square, Aim()), measured(np.rot90(square, -1).copy(), Aim())
    assert turned.heavy_side_deg == pytest.approx((upright.heavy_side_deg + 90) % 360, abs=1.5)
    assert turned.heavy_side_frac == pytest.approx(upright.heavy_side_frac, abs=0.005)
    assert turned.ellipse_ratio == pytest.approx(upright.ellipse_ratio, abs=0.005)


def test_a_broken_ring_is_one_patch() -> None:
    _, turn = grid(MIDDLE)
    wetness = RING * np.where(np.cos(np.radians(4 * turn)) > 0, 1.0, 0.2)
    p = measured(wetness)
    assert p.sides == ()
    assert p.diameter_mm == pytest.approx(31, abs=1.5)
    assert p.streak_frac > 0.4


def test_an_aim_cross_under_the_patch_changes_little() -> None:
    r, turn = grid(MIDDLE)
    a = np.radians(turn)
    cross = (r < 7) & (np.minimum(abs(r * np.sin(a)), abs(r * np.cos(a))) < 0.4)
    plain = measured(disc(12, MIDDLE))
    crossed = measured(np.where(cross, 2.5, disc(12, MIDDLE)))
    assert crossed.core_ratio == pytest.approx(plain.core_ratio, abs=0.1)
    assert crossed.streak_frac < 0.05


def test_nothing_large_enough_is_no_spray() -> None:
    with pytest.raises(SprayNotFoundError, match="expected at least 12"):
        measured(disc(1.2, MIDDLE))


def test_errors_scatter_as_stated() -> None:
    _, turn = grid(MIDDLE)
    wetness = disc(15, MIDDLE) * 0.7 * (1 + 0.2 * np.cos(np.radians(turn - 30)))
    seen = [measure_axial(wet_map(wetness, noise=0.1, seed=s), HERE) for s in range(8)]
    for name in ("ellipse_ratio", "heavy_side_frac", "streak_frac", "offset_ratio"):
        values = [p.value(name) for p in seen]
        assert np.std(values) <= seen[0].u(name) / COVERAGE_FACTOR_95


# -- the judgement --------------------------------------------------------------------------------


def test_a_sound_spray_passes_with_its_probability() -> None:
    a = judged(disc(12, MIDDLE))
    assert a.verdict == "pass"
    assert a.probability > 0.95
    assert codes(a) == []
    assert state(a, "core_hollow_ratio") == "not judged"
    assert state(a, "spray_angle_deg") == "not judged"


@pytest.mark.parametrize(
    ("wetness", "fill", "code"),
    [
        (disc(12, MIDDLE, long=1.6), "filled", "central-not-round"),
        (RING, "filled", "central-not-filled"),
        (disc(12, MIDDLE) * 0.8, "hollow", "central-not-hollow"),
        (disc(12, (MIDDLE[0] + 6, MIDDLE[1])), "filled", "central-off-centre"),
        (disc(12, MIDDLE) + disc(5, (MIDDLE[0], 40)), "filled", "central-side-spray"),
        (disc(15, MIDDLE) - disc(7, (MIDDLE[0] + 6, MIDDLE[1])), "hollow",
         "central-hollow-off-centre"),
        (disc(15, MIDDLE) * 0.75 * (1 + 0.55 * np.cos(np.radians(grid(MIDDLE)[1]))), "filled",
         "central-lopsided"),
        (disc(15, MIDDLE) * 0.6 * (1 + 0.5 * np.cos(np.radians(4 * grid(MIDDLE)[1]))), "filled",
         "central-streaky"),
    ],
)  # fmt: skip
def test_each_fault_fails_under_its_own_name(wetness: np.ndarray, fill: str, code: str) -> None:
    a = judged(wetness, fill=fill)
    assert a.verdict == "fail"
    assert code in codes(a)
    told = next(f for f in a.findings if f.code == code)
    assert told.check is not None
    assert told.check.probability < 0.05


def test_close_to_a_limit_is_a_recheck_that_names_it() -> None:
    a = judged(disc(12, (MIDDLE[0] + 3.2, MIDDLE[1])))
    assert a.verdict == "recheck"
    assert state(a, "offset_ratio") == "unsure"
    told = next(f for f in a.findings if f.code == "central-unsure")
    assert "the distance from the aim is 13%" in text_of(told)


def test_without_an_aim_concentricity_is_not_judged_and_that_is_said() -> None:
    a = judged(disc(12, (MIDDLE[0] + 20, MIDDLE[1])), aim=Aim())
    assert a.verdict == "pass"
    assert state(a, "offset_ratio") == "not judged"
    assert codes(a) == ["central-no-aim"]


def test_an_unknown_fill_is_shown_and_not_judged() -> None:
    a = judged(RING, fill="either")
    assert a.verdict == "pass"
    assert "looks hollow" in next(
        text_of(f) for f in a.findings if f.code == "central-fill-unknown"
    )


def test_a_flooded_patch_says_nothing_about_a_hollow() -> None:
    a = judged(disc(15, MIDDLE), fill="hollow")
    assert a.patch.soaked_frac > 0.65
    assert a.verdict == "recheck"
    assert "central-soaked" in codes(a)
    assert math.isnan(a.probability)


def test_a_patch_over_the_edge_or_without_a_sheet_is_not_judged() -> None:
    over = judged(disc(30, (75, 0)), aim=Aim(x_mm=70.0, y_mm=0.0, u_mm=0.3, source="given"))
    assert over.verdict == "recheck"
    assert codes(over) == ["central-at-edge"]
    wet = wet_map(disc(12, MIDDLE, long=2))
    lost = judged(np.empty(0), wet=replace(wet, card=replace(wet.card, flags=(flags.NO_SHEET,))))
    assert lost.verdict == "recheck"
    assert "sheet-not-found" in codes(lost)


def test_a_card_with_plumes_all_round_is_another_nozzles_and_nothing_is_judged() -> None:
    places = ((7, -50), (45, -10), (7, 30), (-35, -14))
    plumes = np.sum([disc(7, place) for place in places], axis=0)
    a = judged(plumes, aim=Aim())
    assert a.patch.plumes == 4
    assert a.verdict == "recheck"
    assert codes(a)[0] == "central-several"
    assert "shows 4 plumes" in text_of(a.findings[0])
    assert {one.outcome for one in a.checks} == {"unsure", "not judged"}
    # One jet to the side, however large, is a fault of this nozzle.
    two = judged(disc(9, MIDDLE) + disc(7, (50, 40)))
    assert two.patch.plumes == 2
    assert two.verdict == "fail"
    assert "central-side-spray" in codes(two)


def test_a_ring_broken_into_drops_is_one_streaky_spray() -> None:
    _, turn = grid(MIDDLE)
    drops = RING * (np.abs((turn - 20) % 120 - 60) < 22)
    a = judged(drops, fill="hollow")
    assert a.patch.plumes == 1
    assert a.patch.sides == ()
    assert a.verdict == "fail"
    assert "central-streaky" in codes(a)
    # Its middle, and so its place against the aim, is the ring's.
    assert math.dist((a.patch.x_mm, a.patch.y_mm), MIDDLE) < 1.5


def test_a_shadow_at_the_border_is_no_plume() -> None:
    corners = 0.7 * (disc(18, (-75, 95)) + disc(18, (75, -95)))
    a = judged(disc(9, MIDDLE) + corners)
    assert len(a.patch.sides) == 2
    assert a.patch.plumes == 1
    assert "central-several" not in codes(a)


def test_a_limit_that_is_off_is_not_held() -> None:
    wide = AxialLimits(ellipse_low_ratio=0.0)
    assert judged(disc(12, MIDDLE, long=1.6), limits=wide).verdict == "pass"


def test_the_spray_angle_follows_from_height_and_width() -> None:
    limits = AxialLimits(spray_angle_deg=3.0)
    a = judged(disc(12, MIDDLE), standoff=Standoff(height_mm=35.0, u_mm=0.5), limits=limits)
    assert a.angles.spray_angle_deg == pytest.approx(
        2 * math.degrees(math.atan(12.37 / 35)), abs=0.5
    )
    assert state(a, "spray_angle_deg") == "broken"
    assert "central-angle" in codes(a)


# -- options --------------------------------------------------------------------------------------


def test_aims() -> None:
    card = wet_map(disc(12)).card
    assert not aim_on(card, None).known
    assert aim_on(card, "centre").source == "centre"
    assert (aim_on(card, (3.0, -5.0)).x_mm, aim_on(card, (3.0, -5.0)).y_mm) == (3.0, -5.0)
    with pytest.raises(InputError, match="off the sheet"):
        aim_on(card, (200.0, 0.0))
    with pytest.raises(InputError, match="size of the sheet is not known"):
        aim_on(replace(card, scale_known=False), (3.0, -5.0))
    with pytest.raises(InputError, match="'corner'"):
        aim_on(card, "corner")
    with pytest.raises(InputError, match="aim from 'guess'"):
        Aim(source="guess")


def test_nozzles() -> None:
    assert AxialNozzle.pintle().fill == "either"
    assert AxialNozzle.single_hole().fill == "filled"
    with pytest.raises(LayoutError, match="'slit'"):
        AxialNozzle(name="x", kind="slit")
    with pytest.raises(LayoutError, match="fill 'half'"):
        AxialNozzle(name="x", kind="pintle", fill="half")
    with pytest.raises(LayoutError, match="full_angle_deg"):
        AxialNozzle(name="x", kind="pintle", full_angle_deg=0.2)


def test_limits_keep_their_range() -> None:
    with pytest.raises(InputError, match="limit side_frac"):
        AxialLimits(side_frac=2.0)
    assert not AxialLimits().held("spray_angle_deg")
    assert AxialLimits().spray_angle_deg == OFF
