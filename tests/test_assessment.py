"""Stage 6: matching, states, verdicts and findings, on catalogues made by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from cards import Scene, draw, even
from hypothesis import given
from hypothesis import strategies as st
from judging import judge_rows, residuals_of, values_of

from spraycheck import flags as flag
from spraycheck.judge.illumination import fades_towards
from spraycheck.judge.layout import SPREAD_U, Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.matching import match_layout
from spraycheck.judge.result import Doubt, Result
from spraycheck.judge.standoff import Standoff
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import CellFlag, Mark, PlumeCatalogue, WetnessMap
from spraycheck.spray.plumes import locate_centre, segment_plumes
from spraycheck.spray.wetness import map_wetness

SCENE = Scene(plumes=even(5))
WET = map_wetness(draw(SCENE))
CENTRE = locate_centre(WET)
LABELS = segment_plumes(WET, CENTRE)
PHOTO = Photo(rgb=np.zeros((60, 80, 3), np.uint8), width_px=80, height_px=60)


def catalogue(
    directions: list[float],
    areas: list[float] | None = None,
    *,
    direction_u: float = 0.8,
    area_u: float = 0.03,
    width: list[float] | None = None,
    flags: tuple[tuple[str, ...], ...] | None = None,
) -> PlumeCatalogue:
    order = np.argsort(directions)
    d = np.array(directions, float)[order]
    n = len(d)
    a = np.array(areas or [300.0] * n, float)[order]
    t = np.radians(d)
    centroid = np.column_stack([np.sin(t), -np.cos(t)]) * 46 + [CENTRE.x_mm, CENTRE.y_mm]
    share = a / a.sum()
    return PlumeCatalogue(
        direction_deg=d,
        direction_u_deg=np.full(n, direction_u),
        width_deg=np.array(width, float)[order] if width else np.full(n, 15.0),
        inner_mm=np.full(n, 33.0),
        outer_mm=np.full(n, 59.0),
        area_mm2=a,
        area_u_mm2=a * area_u,
        area_frac=share,
        area_u_frac=share * area_u,
        centroid_mm=centroid,
        centroid_px=centroid * 3,
        axis_deg=d.copy(),
        raggedness=np.ones(n),
        drops_frac=np.zeros(n),
        peak=np.ones(n),
        label=np.arange(1, n + 1, dtype=np.int32),
        flags=flags or ((),) * n,
        rotation_u_deg=0.5,
    )


def judge(
    rows: PlumeCatalogue,
    layout: Layout | int,
    *,
    wet: WetnessMap = WET,
    marks: tuple[Mark, ...] = (),
    limits: Limits | None = None,
    standoff: Standoff | None = None,
) -> Result:
    wanted = layout if isinstance(layout, Layout) else Layout.evenly_spread(layout)
    return judge_rows(
        rows,
        wanted,
        limits or Limits(),
        photo=PHOTO,
        card=wet.card,
        wetness=wet,
        centre=CENTRE,
        segmentation=replace(LABELS, marks=marks),
        standoff=standoff,
    )


def states(result: Result) -> list[str]:
    return [hole.state for hole in result.holes]


def codes(result: Result) -> set[str]:
    return {finding.code for finding in result.findings}


FIVE = [10.0, 82.5, 153.4, 226.0, 298.2]


def test_healthy_pattern_passes() -> None:
    result = judge(catalogue(FIVE), 5)
    assert result.verdict == "pass"
    assert states(result) == ["clear"] * 5
    assert [h.hole for h in result.holes] == [1, 2, 3, 4, 5]
    assert sum(h.spacing_deg for h in result.holes) == pytest.approx(360)
    assert sum(h.area_frac for h in result.holes) == pytest.approx(1)


def test_missing_plume_is_blocked_and_its_neighbours_are_not_heavy() -> None:
    result = judge(catalogue(FIVE[:2] + FIVE[3:]), 5)
    assert states(result) == ["clear", "clear", "blocked", "clear", "clear"]
    assert result.verdict == "fail"
    gone = result.holes[2]
    assert gone.plume is None
    assert gone.area_frac == 0
    assert gone.expected_deg == pytest.approx(154, abs=1.5)
    assert math.isnan(gone.deviation_deg)
    assert "hole-blocked" in codes(result)


def test_two_weak_of_four_do_not_make_the_others_heavy() -> None:
    rows = catalogue([5.0, 95.0, 185.0, 275.0], [300, 140, 310, 120])
    assert states(judge(rows, 4)) == ["clear", "weak", "clear", "weak"]


def test_heavy_hole() -> None:
    rows = catalogue([5.0, 95.0, 185.0, 275.0], [300, 300, 480, 310])
    result = judge(rows, 4)
    assert states(result) == ["clear", "clear", "heavy", "clear"]
    assert result.verdict == "fail"


def test_one_off_line_plume_does_not_turn_the_layout() -> None:
    rows = catalogue([5.0, 95.0, 197.0, 275.0])
    result = judge(rows, 4)
    assert states(result) == ["clear", "clear", "off-line", "clear"]
    assert result.holes[2].deviation_deg == pytest.approx(12, abs=1.5)


def test_value_near_its_limit_is_unsure_and_asks_for_a_recheck() -> None:
    rows = catalogue([5.0, 95.0, 185.0, 275.0], [300, 232, 310, 305], area_u=0.08)
    result = judge(rows, 4)
    assert states(result)[1] == "unsure"
    assert result.verdict == "recheck"
    assert "hole-unsure" in codes(result)


def test_small_deviations_with_a_poor_centre_are_never_passed() -> None:
    rows = catalogue([5.0, 98.5, 185.0, 271.0], direction_u=7.0)
    assert judge(rows, 4).verdict == "recheck"


def test_what_lies_over_the_edge_is_no_proof_of_stray_spray() -> None:
    flags = ((), (flag.AT_SHEET_EDGE,), (), (), (), ())
    result = judge(catalogue([*FIVE, 45.0], flags=flags), 5)
    assert len(result.strays) == 1
    assert result.verdict == "recheck"
    assert "stray-spray" in codes(result)


def test_extra_plume_is_a_stray() -> None:
    result = judge(catalogue([*FIVE, 45.0]), 5)
    assert len(result.strays) == 1
    assert result.verdict == "fail"
    assert "stray-spray" in codes(result)


@pytest.mark.parametrize(("asked", "shown"), [(9, 4), (4, 8), (5, 4), (7, 6), (8, 4), (6, 3)])
def test_a_count_that_fits_badly_is_a_recheck(asked: int, shown: int) -> None:
    rows = catalogue([12.0 + 360 * k / shown for k in range(shown)])
    result = judge(rows, asked)
    assert result.verdict == "recheck"
    assert "count-does-not-fit" in codes(result)
    assert "blocked" not in states(result)
    assert len(result.holes) == asked


@pytest.mark.parametrize("holes", [4, 5, 6, 8, 12, 16])
def test_one_missing_of_an_even_count_is_blocked_whatever_the_count(holes: int) -> None:
    rows = catalogue([12.0 + 360 * k / holes for k in range(holes - 1)], width=[5.0] * (holes - 1))
    result = judge(rows, holes)
    assert states(result).count("blocked") == 1
    assert result.verdict == "fail"


UNEVEN = Layout(
    name="slanted, invented",
    azimuth_deg=(0.0, 55.0, 130.0, 200.0, 290.0),
    axis_angle_deg=(70.0, 64.0, 60.0, 62.0, 68.0),
)


def test_unequal_layout_fits_in_file_order() -> None:
    rows = catalogue([(a + 33) % 360 for a in UNEVEN.azimuth_deg])
    order = np.argsort([(a + 33) % 360 for a in UNEVEN.azimuth_deg])
    throw = np.tan(np.radians(UNEVEN.axis_angle_deg))[order]
    result = judge(replace(rows, outer_mm=28.0 * throw), UNEVEN)
    assert result.verdict == "pass"
    assert result.holes[4].expected_deg == pytest.approx(323, abs=0.5)


def test_mirrored_layout_is_told_and_not_used() -> None:
    rows = catalogue([(33 - a) % 360 for a in UNEVEN.azimuth_deg])
    result = judge(rows, UNEVEN)
    assert result.verdict == "recheck"
    assert "mirrored-layout" in codes(result)


def test_merged_plumes_are_one_entry_naming_both_holes() -> None:
    rows = catalogue([5.0, 77.0, 185.0, 257.0], [300, 310, 600, 290], width=[15, 15, 84, 15])
    result = judge(rows, 5)
    assert result.verdict == "recheck"
    assert "plumes-merged" in codes(result)
    assert "blocked" not in states(result)
    assert "heavy" not in states(result)


def test_drip_is_a_finding_and_does_not_decide() -> None:
    drip = Mark(kind="drip", x_mm=4.0, y_mm=-7.0, area_mm2=30.0)
    result = judge(catalogue(FIVE), 5, marks=(drip,))
    assert result.verdict == "pass"
    assert "centre-drip" in codes(result)


def test_a_hole_outside_the_photo_is_unsure_and_not_blocked() -> None:
    flags = np.array(WET.cell_flags)
    flags[:, flags.shape[1] // 2 + 30 :] = CellFlag.EDGE  # the right part is not in the photo
    wet = replace(WET, cell_flags=flags)
    result = judge(catalogue([d for d in FIVE if d != 82.5]), 5, wet=wet)
    assert states(result)[1] == "unsure"
    assert result.verdict == "recheck"


@given(turn=st.floats(0, 359.99), missing=st.integers(0, 5))
def test_matching_finds_the_turn(turn: float, missing: int) -> None:
    azimuth = np.array([0.0, 40.0, 110.0, 170.0, 250.0, 300.0])
    kept = [k for k in range(6) if k != missing]
    found = match_layout(np.sort((azimuth[kept] + turn) % 360), azimuth)
    assert abs((found.rotation_deg - turn + 180) % 360 - 180) < 1e-4
    assert sorted(found.hole_of) == kept
    assert np.abs(found.deviation_deg).max() < 1e-4


def test_matching_at_the_wrap() -> None:
    found = match_layout(np.array([0.1, 90.0, 180.0, 359.9 - 90]), np.array([0.0, 90, 180, 270]))
    assert np.abs(found.deviation_deg).max() < 0.3


def test_a_hole_under_a_large_stain_is_not_called_blocked() -> None:
    gone = math.radians(FIVE[2])
    x, y = CENTRE.x_mm + 46 * math.sin(gone), CENTRE.y_mm - 46 * math.cos(gone)
    rows = catalogue(FIVE[:2] + FIVE[3:])

    def stained(area: float) -> Result:
        return judge(rows, 5, marks=(Mark(kind="stain", x_mm=x, y_mm=y, area_mm2=area),))

    assert states(stained(400.0))[2] == "unsure"
    assert stained(400.0).verdict == "recheck"
    assert states(stained(40.0))[2] == "blocked"  # a splash hides nothing


def test_how_far_the_plumes_reach_tells_the_turn_of_a_nearly_even_layout() -> None:
    layout = Layout(
        name="slanted, invented",
        azimuth_deg=(0.0, 88.0, 180.0, 272.0),
        axis_angle_deg=(76.0, 66.0, 58.0, 66.0),
    )
    throw = np.exp(0.8 * layout.log_radial_factor())
    # Directions fit every quarter turn to 2 degrees and a half turn best; only reach knows.
    rows = catalogue([20.0, 110.0, 200.0, 290.0])
    rows = replace(
        rows, outer_mm=50.0 * throw, width_deg=15.0 * np.exp(-1.4 * layout.log_radial_factor())
    )
    result = judge(rows, layout)
    assert result.holes[0].expected_deg == pytest.approx(20, abs=2)
    assert result.verdict == "pass"
    turned = replace(rows, outer_mm=np.roll(rows.outer_mm, 1), width_deg=np.roll(rows.width_deg, 1))
    assert judge(turned, layout).holes[0].expected_deg == pytest.approx(110, abs=2)


def test_a_pale_stray_may_be_a_shadow_and_is_no_proof() -> None:
    rows = catalogue([11, 101, 191, 281, 330])
    peak = np.ones(5)
    assert "stray-spray" in {f.code for f in judge(rows, 4).findings}
    assert judge(rows, 4).verdict == "fail"
    peak[4] = 0.5
    assert judge(replace(rows, peak=peak), 4).verdict == "recheck"


def test_two_plumes_that_ran_together_are_no_two_blocked_holes() -> None:
    rows = catalogue([0, 60, 120, 180])
    middle = math.radians(270)
    pair = Mark(
        kind="stain",
        x_mm=CENTRE.x_mm + 46 * math.sin(middle),
        y_mm=CENTRE.y_mm - 46 * math.cos(middle),
        area_mm2=1800.0,
    )
    assert [h.state for h in judge(rows, 6).holes].count("blocked") == 2
    held = judge(rows, 6, marks=(pair,))
    assert [h.state for h in held.holes].count("unsure") == 2
    assert held.verdict == "recheck"


def test_where_a_dark_thing_was_left_out_a_missing_plume_is_not_called_blocked() -> None:
    rows = catalogue([11, 101, 191])
    assert judge(rows, 4).verdict == "fail"
    covered = replace(WET, flags=(flag.THING_ON_CARD,))
    told = judge(rows, 4, wet=covered)
    assert told.verdict == "recheck"
    assert "photo-poor" in {f.code for f in told.findings}


def test_an_included_angle_that_is_surely_not_the_layouts_fails() -> None:
    # Ends at 33 and 59 mm from a tip 20 mm up: the axis leans (atan 1.65 + atan 2.95) / 2 = 65.0.
    def seen(axis_deg: float, limits: Limits) -> Result:
        layout = Layout(
            name="invented", azimuth_deg=tuple(FIVE), axis_angle_deg=(axis_deg,) * len(FIVE)
        )
        rows, tip = catalogue(list(FIVE)), Standoff(height_mm=20.0)
        return judge(rows, layout, limits=limits, standoff=tip)

    assert WET.card.scale_known
    assert seen(65.0, Limits()).verdict == "pass"
    off = seen(57.0, Limits())
    assert off.verdict == "fail"
    told = next(f for f in off.findings if f.code == "spray-angle-off")
    assert told.check is not None
    assert told.check.value == pytest.approx(16.0, abs=0.3)
    assert told.check.probability < 0.01
    assert seen(57.0, Limits(spray_angle_deg=math.inf)).verdict == "pass"


def test_what_lacks_where_the_plumes_grow_paler_is_no_proof() -> None:
    directions = [0.0, 45.0, 90.0, 135.0, 225.0, 270.0, 315.0]
    areas = [300.0, 290.0, 180.0, 100.0, 110.0, 240.0, 300.0]
    rows = catalogue(directions, areas)
    even_light = judge(rows, 8)
    assert even_light.verdict == "fail"
    assert states(even_light)[4] == "blocked"
    veil = np.array([1.0, 1.0, 0.75, 0.5, 0.5, 0.8, 1.0])
    veiled = judge(replace(rows, peak=veil), 8)
    assert veiled.verdict == "recheck"
    assert not {"blocked", "weak"} & set(states(veiled))


def test_one_pale_plume_among_several_is_no_veil() -> None:
    rows = replace(
        catalogue(FIVE, [300.0, 120.0, 300.0, 300.0, 300.0]), peak=np.array([1, 0.5, 1, 1, 1.0])
    )
    assert states(judge(rows, 5))[1] == "weak"


def test_a_plume_over_the_edge_does_not_make_the_shares_uneven() -> None:
    areas = [300.0, 300.0, 900.0, 300.0, 300.0]
    assert "shares-uneven" in codes(judge(catalogue(FIVE, areas), 5))
    flags = ((), (), (flag.AT_SHEET_EDGE,), (), ())
    cut = judge(catalogue(FIVE, areas, flags=flags), 5)
    assert "shares-uneven" not in codes(cut)
    assert cut.verdict == "recheck"


def test_over_the_edge_no_direction_and_no_spacing_is_proof() -> None:
    """A tool that lies over the card's edge and touches a plume draws it aside."""
    directions = [*FIVE[:4], FIVE[4] + 14.0]
    flags = ((), (), (), (), (flag.AT_SHEET_EDGE,))
    assert judge(catalogue(directions), 5).verdict == "fail"
    cut = judge(catalogue(directions, flags=flags), 5)
    assert cut.verdict == "recheck"
    assert "spacing-uneven" not in codes(cut)


def test_widths_without_a_majority_prove_nothing() -> None:
    """Two of five plumes agree on a width; nobody knows what is usual."""
    layout = Layout.evenly_spread(5)
    widths = [6.0, 6.2, 12.0, 22.0, 40.0]
    result = judge(catalogue([17.0 + 72 * k for k in range(5)], width=widths), layout)
    assert "misshapen" not in states(result)
    assert result.verdict == "recheck"
    # Where four agree, the odd one is named.
    sure = judge(catalogue([17.0 + 72 * k for k in range(5)], width=[15.0] * 4 + [42.0]), layout)
    assert states(sure).count("misshapen") == 1


def test_a_plume_over_the_edge_sets_no_scale() -> None:
    """It is the widest by far and the only one with its area; the others are right."""
    edge = ((flag.AT_SHEET_EDGE,), (), ())
    rows = catalogue([17.0, 137.0, 257.0], [1800.0, 300.0, 300.0], flags=edge)
    assert "weak" not in states(judge(rows, 3))


def test_off_line_is_said_of_the_hole_that_the_others_cannot_explain() -> None:
    """Four plumes of five and a vague centre: a shift of it can clear one and accuse another."""
    vague = replace(CENTRE, covariance_mm2=np.eye(2) * 3.5**2)
    rows = catalogue([17.0, 89.0 + 14, 161.0, 233.0], direction_u=8.0)
    layout = Layout.evenly_spread(5)
    match = match_layout(rows.direction_deg, np.array(layout.azimuth_deg))
    found = residuals_of(rows, vague, layout, match, Limits())
    z = np.abs(found.value_deg) / found.sigma_deg
    named = int(np.nanargmax(np.abs(found.value_deg)))
    assert match.hole_of[1] == named
    assert np.nanmax(np.delete(np.abs(found.value_deg) - 5.0, named)) < 2.0 * found.sigma_deg.max()
    assert np.nanmax(z) > 1.0
    # With the centre known it is named outright and no other is.
    sure = judge(catalogue([17.0, 89.0 + 14, 161.0, 233.0], direction_u=0.8), 5)
    assert states(sure).count("off-line") == 1


def test_unequal_angles_leave_a_tenth_of_the_exponent_open() -> None:
    """Slants of 55 and 72 degrees: what their areas should be to one another is not sure."""
    azimuth = tuple(np.arange(4) * 90.0)
    slanted = Layout(
        name="s",
        azimuth_deg=azimuth,
        axis_angle_deg=(55.0, 72.0, 55.0, 72.0),
        diameter_mm=(0.2,) * 4,
    )
    level = Layout(
        name="l", azimuth_deg=azimuth, axis_angle_deg=(64.0,) * 4, diameter_mm=(0.2,) * 4
    )
    rows = catalogue([0.0, 90.0, 180.0, 270.0])
    u = []
    for layout in (level, slanted):
        match = match_layout(rows.direction_deg, np.array(azimuth))
        u.append(values_of(rows, CENTRE, layout, match, Limits()).area.sigma)
    extra = np.sqrt(u[1] ** 2 - u[0] ** 2)
    half = math.log(math.tan(math.radians(72)) / math.tan(math.radians(55))) / 2
    assert extra == pytest.approx(np.full(4, SPREAD_U * half), rel=0.05)


def test_a_stray_says_nothing_about_the_light() -> None:
    """A pale shadow beside a missing plume does not hide that it is missing."""
    peaks = np.array([1.0, 1.0, 0.25, 1.0, 1.0])
    rows = catalogue([17.0, 89.0, 120.0, 233.0, 305.0])
    of_holes = np.array([True, True, False, True, True])
    pale = replace(rows, peak=peaks)
    assert not fades_towards(pale, 161.0, of_holes)
    assert fades_towards(
        replace(rows, peak=np.array([1.0, 0.6, 0.4, 0.6, 1.0])), 161.0, np.ones(5, bool)
    )


def test_a_row_that_ran_together_over_a_drip_is_not_blocked() -> None:
    """Wet there, but of no plume: the mark's middle is at the centre, where no plume lies."""
    t = np.radians(161.0)
    rows, cols = np.mgrid[: WET.smooth.shape[0], : WET.smooth.shape[1]]
    x = WET.card.x0_mm + cols * WET.card.cell_mm - CENTRE.x_mm
    y = WET.card.y0_mm + rows * WET.card.cell_mm - CENTRE.y_mm
    along, across = x * np.sin(t) - y * np.cos(t), x * np.cos(t) + y * np.sin(t)
    smooth = np.where((along > -5) & (along < 55) & (np.abs(across) < 5), 1.0, WET.smooth)
    # The plumes are the catalogue's; the map's own labels are of no hole here.
    pattern = catalogue([17.0, 89.0, 233.0, 305.0])
    wet = replace(WET, smooth=smooth.astype(np.float32))
    labels = replace(LABELS, labels=np.where(np.abs(across) < 12, 0, LABELS.labels))
    assert states(judge(pattern, 5)).count("blocked") == 1
    result = judge_rows(
        pattern,
        Layout.evenly_spread(5),
        Limits(),
        photo=PHOTO,
        card=wet.card,
        wetness=wet,
        centre=CENTRE,
        segmentation=labels,
    )
    assert "blocked" not in states(result)
    assert [h.doubts for h in result.holes if h.state == "unsure"] == [(Doubt.UNDER_STAIN,)]


def test_of_more_plumes_than_holes_the_drop_is_left_over() -> None:
    """A drop in line with a plume, nearer to its hole's direction than the plume is."""
    directions = np.array([10.0, 86.0, 90.0, 190.0, 270.0])
    areas = np.log([300.0, 300.0, 20.0, 310.0, 290.0])
    azimuth = np.array([10.0, 90.0, 190.0, 270.0])
    assert match_layout(directions, azimuth).hole_of == (0, -1, 1, 2, 3)
    assert match_layout(directions, azimuth, log_area=areas).hole_of == (0, 1, -1, 2, 3)
