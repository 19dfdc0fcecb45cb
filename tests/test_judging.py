"""Whole-nozzle risk, joint probability, and what belongs to no single hole."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from judging import judge_rows, residuals_of
from report_factory import printed_facts
from test_assessment import CENTRE, FIVE, LABELS, PHOTO, WET, catalogue, codes, judge, states

from spraycheck.errors import InputError
from spraycheck.judge.checks import Group, check_limit, shared_risk
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import OFF, Limits, limit_fields
from spraycheck.judge.matching import match_layout
from spraycheck.judge.result import Result
from spraycheck.report.words.findings import text_of
from spraycheck.spray.containers import Mark
from spraycheck.stats.conformity import conformity_probability

FOUR = [5.0, 95.0, 185.0, 275.0]


def with_limits(rows, layout: Layout, limits: Limits, *, lined_up=False, printed=None, **more):
    card = replace(WET.card, printed=printed)
    return judge_rows(
        rows,
        layout,
        limits,
        photo=PHOTO,
        card=card,
        wetness=replace(WET, card=card),
        centre=more.get("centre", CENTRE),
        segmentation=replace(LABELS, marks=more.get("marks", ())),
        lined_up=lined_up,
    )


EVEN4, EVEN5 = Layout.evenly_spread(4), Layout.evenly_spread(5)


def of(result: Result, code: str):
    return next(f for f in result.findings if f.code == code)


# -- one value against one limit


def test_a_ratio_is_held_in_logarithms_and_an_angle_either_side_of_zero() -> None:
    limits = Limits()
    low = check_limit("area_low_ratio", 0.75, 0.1, limits)
    assert low.probability == pytest.approx(0.5)
    assert check_limit("direction_deg", -5.0, 1.0, limits).probability == pytest.approx(
        0.5, abs=1e-6
    )
    assert check_limit("direction_deg", -9.0, 1.0, limits).probability < 1e-4
    assert low.u == pytest.approx(1.96 * 0.1 * 0.75, rel=1e-3)


def test_a_limit_that_is_off_is_always_kept_and_an_unknown_value_never_decides() -> None:
    limits = Limits(direction_deg=OFF, area_low_ratio=0.0)
    assert check_limit("direction_deg", 80.0, 1.0, limits).probability == 1
    assert check_limit("area_low_ratio", 0.01, 0.1, limits).probability == 1
    assert math.isnan(check_limit("area_high_ratio", math.nan, 0.1, limits).probability)


def test_risk_of_each_value_leaves_the_whole_nozzle_at_its_risk() -> None:
    # Independent values: 1 - (1 - alpha)^n = risk (Sidak 1967).
    alone = shared_risk(Limits(risk=0.05), 9)
    assert 1 - (1 - alone) ** 9 == pytest.approx(0.05)


def test_joint_probability_is_the_product_when_independent_and_the_least_when_tied() -> None:
    limits = Limits()
    values = np.array([4.0, 3.5, math.nan])
    independent = np.diag([1.0, 1.0, 1.0])
    tied = np.ones((3, 3))
    each = [check_limit("direction_deg", v, 1.0, limits).probability for v in (4.0, 3.5)]
    together = Group.alike(values, independent, limits, ("direction_deg",)).probability()
    assert together == pytest.approx(each[0] * each[1], abs=2e-3)
    alike = Group.alike(values, tied, limits, ("direction_deg",)).probability()
    assert alike == pytest.approx(min(each), abs=2e-3)


# -- the whole nozzle


def test_healthy_nozzle_is_passed_with_a_probability_and_every_hole_has_one() -> None:
    result = judge(catalogue(FIVE), 5)
    assert result.probability > 0.999
    assert all(hole.probability > 0.999 for hole in result.holes)


def test_blocked_hole_has_no_chance_and_makes_the_nozzle_have_none() -> None:
    result = judge(catalogue(FIVE[:2] + FIVE[3:]), 5)
    assert result.probability == 0
    assert [h.probability == 0 for h in result.holes] == [False, False, True, False, False]


def test_a_fault_is_called_only_when_proven_for_the_whole_nozzle() -> None:
    # 2 standard deviations below: proof enough for one value alone (95 %), not for one of nine.
    area = 0.75 * math.exp(-2.0 * 0.06)
    rows = catalogue(FOUR, [300, 300 * area, 300, 300], area_u=1.96 * 0.045)
    result = judge(rows, 4)
    weak = result.holes[1]
    alone = conformity_probability(
        math.log(weak.area_ratio),
        weak.area_ratio_u / weak.area_ratio / 1.96,
        _at_least(0.75),
    )
    assert alone < 0.05
    assert weak.state == "unsure"
    assert result.verdict == "recheck"
    surer = judge(catalogue(FOUR, [300, 300 * area, 300, 300], area_u=0.02), 4)
    assert surer.holes[1].state == "weak"


def _at_least(ratio: float):
    from spraycheck.stats.conformity import Tolerance

    return Tolerance(lower=math.log(ratio))


def test_several_holes_near_the_limit_do_not_pass_together() -> None:
    # Three of eight at 0.80 with 3 % each: about 97 % each alone, below 95 % together.
    rows = catalogue([8.0 + 45 * k for k in range(8)], [300] * 5 + [241] * 3, area_u=0.055)
    result = judge(rows, 8)
    assert result.verdict == "recheck"
    assert states(result).count("unsure") >= 1
    assert result.probability < 0.95


def test_a_greater_risk_makes_up_its_mind_sooner() -> None:
    rows = catalogue(FOUR, [300, 190, 300, 300], area_u=0.12)
    careful = with_limits(rows, EVEN4, Limits(risk=0.001))
    bold = with_limits(rows, EVEN4, Limits(risk=0.2))
    assert careful.verdict == "recheck"
    assert bold.verdict == "fail"


def test_findings_carry_value_limit_uncertainty_and_probability() -> None:
    result = judge(catalogue([5.0, 95.0, 197.0, 275.0], [300, 300, 300, 120]), 4)
    off, weak = of(result, "hole-off-line"), of(result, "hole-weak")
    assert (off.hole, off.check.limit, off.check.unit) == (3, "direction_deg", "deg")
    assert off.check.value == pytest.approx(12, abs=1.5)
    assert off.check.allowed == 5
    assert off.check.probability < 0.01
    assert weak.check.value == pytest.approx(0.4, abs=0.02)
    assert weak.check.u > 0


def test_a_recheck_names_the_reason_and_what_settles_it() -> None:
    rows = catalogue(FOUR, [300, 232, 310, 305], area_u=0.08)
    text = text_of(of(judge(rows, 4), "hole-unsure"))
    assert "wetted area lies too close to the limit" in text
    assert "--combine" in text or "Photograph" in text


# -- correlation


def test_leans_share_the_centre_and_a_common_turn_leans_nothing() -> None:
    rows = catalogue(FIVE)
    match = match_layout(rows.direction_deg, np.arange(5) * 72.0)
    found = residuals_of(rows, CENTRE, EVEN5, match, Limits())
    off_diagonal = found.covariance_deg2 - np.diag(np.diag(found.covariance_deg2))
    assert np.abs(off_diagonal).max() > 0.01
    assert np.linalg.eigvalsh(found.covariance_deg2).min() > -1e-9
    turned = replace_directions(rows, [(d + 40) % 360 for d in FIVE])
    again = residuals_of(
        turned, CENTRE, EVEN5, match_layout(turned.direction_deg, np.arange(5) * 72.0), Limits()
    )
    assert np.sort(again.value_deg) == pytest.approx(np.sort(found.value_deg), abs=2e-3)


def replace_directions(rows, directions):
    return catalogue(directions)


def test_stated_uncertainty_of_a_lean_is_that_of_repeated_readings() -> None:
    """Directions drawn at random many times scatter as the covariance says."""
    rng = np.random.default_rng(5)
    rows = catalogue(FIVE, direction_u=1.0)
    found = residuals_of(
        rows, CENTRE, EVEN5, match_layout(rows.direction_deg, np.arange(5) * 72.0), Limits()
    )
    drawn = []
    for _ in range(400):
        moved = [d + rng.normal(0, 0.51) for d in FIVE]
        again = catalogue(moved, direction_u=1.0)
        match = match_layout(again.direction_deg, np.arange(5) * 72.0)
        drawn.append(
            residuals_of(again, CENTRE, EVEN5, match, Limits()).value_deg - found.value_deg
        )
    scatter = np.std(drawn, axis=0)
    # The stated value also holds what the centre and the healthy scatter of the others add.
    assert (scatter < 1.1 * found.sigma_deg).all()
    assert (scatter > 0.3 * found.sigma_deg).all()


# -- other limits


def test_bushy_and_solid_streams_are_misshapen() -> None:
    bushy = judge(catalogue(FOUR, width=[15, 15, 45, 15]), 4)
    stream = judge(catalogue(FOUR, width=[15, 15, 4, 15]), 4)
    for result, code in ((bushy, "hole-bushy"), (stream, "hole-solid-stream")):
        assert states(result) == ["clear", "clear", "misshapen", "clear"]
        assert code in codes(result)
        assert result.verdict == "fail"


def test_shape_limits_switched_off_let_it_pass() -> None:
    rows = catalogue(FOUR, width=[15, 15, 4, 15])
    loose = Limits(width_low_ratio=0.0, width_high_ratio=OFF)
    assert with_limits(rows, EVEN4, loose).verdict == "pass"


def test_spacing_and_spread_are_held_where_stricter_limits_are_set() -> None:
    rows = catalogue([5.0, 97.0, 183.0, 275.0], [300, 300, 370, 300], direction_u=0.3)
    assert with_limits(rows, EVEN4, Limits()).verdict == "pass"
    spacing = with_limits(rows, EVEN4, Limits(spacing_deg=2.0))
    assert spacing.verdict == "fail"
    assert of(spacing, "spacing-uneven").check.value == pytest.approx(-4, abs=0.7)
    spread = with_limits(rows, EVEN4, Limits(area_spread_ratio=1.05))
    assert spread.verdict == "fail"
    assert of(spread, "shares-uneven").check.value == pytest.approx(370 / 300, rel=0.02)


def test_drip_decides_only_where_a_limit_is_set() -> None:
    drip = Mark(kind="drip", x_mm=4.0, y_mm=-7.0, area_mm2=300.0)
    rows = catalogue(FOUR)
    assert with_limits(rows, EVEN4, Limits(), marks=(drip,)).verdict == "pass"
    strict = with_limits(rows, EVEN4, Limits(drip_frac=0.05), marks=(drip,))
    assert strict.verdict == "fail"
    assert "drip-over-limit" in codes(strict)


FACTS = printed_facts()
DOWEL = Layout(
    name="invented",
    azimuth_deg=(0.0, 55.0, 130.0, 200.0, 290.0),
    axis_angle_deg=(65.0,) * 5,
    counts_from="dowel",
)


def test_turn_is_judged_only_when_the_card_was_lined_up_with_a_named_feature() -> None:
    rows = catalogue([(a + 20) % 360 for a in DOWEL.azimuth_deg])
    assert with_limits(rows, DOWEL, Limits(), printed=FACTS).verdict == "pass"
    lined_up = with_limits(rows, DOWEL, Limits(), printed=FACTS, lined_up=True)
    assert lined_up.verdict == "fail"
    assert of(lined_up, "pattern-turned").check.value == pytest.approx(20, abs=1)
    nowhere = replace(DOWEL, counts_from="")
    assert with_limits(rows, nowhere, Limits(), printed=FACTS, lined_up=True).verdict == "pass"


def test_distance_from_the_aim_is_judged_where_a_limit_is_set_on_a_printed_card() -> None:
    rows = catalogue(FOUR)
    strict = Limits(centre_offset_mm=0.5)
    assert with_limits(rows, EVEN4, strict).verdict == "pass"
    off = replace(CENTRE, x_mm=CENTRE.x_mm, covariance_mm2=np.eye(2) * 0.01)
    result = with_limits(rows, EVEN4, strict, printed=FACTS, centre=off)
    assert "centre-off-aim" in codes(result)


# -- two rows


def test_two_rows_are_compared_within_themselves() -> None:
    layout = Layout(
        name="two rows, invented",
        azimuth_deg=tuple(45.0 * k for k in range(8)),
        row=(1, 2) * 4,
    )
    even = [300.0, 200.0] * 4
    directions = [10.0 + 45 * k for k in range(8)]
    assert judge(catalogue(directions, even), layout).verdict == "pass"
    mixed = replace(layout, row=(1,) * 8)
    assert judge(catalogue(directions, even), mixed).verdict != "pass"
    weak = even.copy()
    weak[3] = 100.0
    assert states(judge(catalogue(directions, weak), layout)).count("weak") == 1


# -- the settings themselves


def test_every_limit_says_what_it_is_its_unit_and_its_source() -> None:
    names = [one.name for one in limit_fields()]
    assert "direction_deg" in names
    assert "name" not in names
    for one in limit_fields():
        assert len(one.metadata["about"]) > 10
        assert one.metadata["unit"] in ("deg", "ratio", "share", "mm", "probability")
        assert one.metadata["source"]


@pytest.mark.parametrize("wrong", [-1.0, 0.0, math.nan, 400.0])
def test_impossible_limits_are_refused(wrong: float) -> None:
    with pytest.raises(InputError, match=r"limit direction_deg is .* expected 0\.5 to 60"):
        Limits(direction_deg=wrong)
