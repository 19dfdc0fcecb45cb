"""Several shots of one nozzle: matched, averaged, judged, refused; plumes made by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from judging import judge_rows

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Doubt
from spraycheck.judge.shots import combine_shots, compare_cards
from spraycheck.judge.shots.matching import match_shots
from spraycheck.judge.shots.means import mean_pattern, scatter
from spraycheck.judge.shots.same_card import SAME_CARD, likeness
from spraycheck.judge.shots.shot import lay_out, turned
from spraycheck.photo.containers import Photo
from spraycheck.report.words.findings import text_of
from spraycheck.spray.containers import NozzleCentre, PlumeSegmentation
from spraycheck.stats.circular import wrap_180
from tests.report_factory import CENTRE_MM, make_card, make_catalogue, make_wetness, printed_facts

SOUND = (1.0, 1.03, 0.98, 1.0, 1.01)
WEAK = (1.0, 0.58, 0.98, 1.0, 1.01)
SLANTED = Layout(name="slanted", azimuth_deg=(0.0, 60.0, 150.0, 220.0, 300.0))
PRINTED = printed_facts(
    paper="a5", markers_seen=8, markers_total=8, residual_mm=0.1, scale_u_frac=0.01, index_u_deg=0.3
)


def shot(
    flows=SOUND,
    *,
    turn=20.0,
    seed=0,
    leans=None,
    layout=None,
    printed=None,
    noise_ratio=0.02,
    noise_deg=0.25,
    wet=None,
    file="",
):
    """One photo of a nozzle with these relative areas; 0 is blocked."""
    rng = np.random.default_rng(seed)
    layout = layout or Layout.evenly_spread(len(flows))
    leans = leans or (0.0,) * len(flows)
    plumes = sorted(
        (
            (azimuth + turn + lean + rng.normal(0, noise_deg)) % 360.0,
            flow * math.exp(rng.normal(0, noise_ratio)),
        )
        for azimuth, lean, flow in zip(layout.azimuth_deg, leans, flows, strict=False)
        if flow > 0
    )
    card = replace(make_card(), printed=printed)
    catalogue = make_catalogue(card, [p[0] for p in plumes], [p[1] for p in plumes])
    catalogue = replace(
        catalogue,
        area_u_mm2=0.02 * catalogue.area_mm2,
        width_deg=np.full(len(plumes), 16.0),
        outer_mm=np.full(len(plumes), 52.0),
    )
    centre = NozzleCentre(
        x_mm=float(CENTRE_MM[0]),
        y_mm=float(CENTRE_MM[1]),
        covariance_mm2=np.array([[0.01, 0.002], [0.002, 0.008]]),
        ring_radius_mm=math.nan,
        ring_offset_mm=(math.nan, math.nan),
        found_by="axes",
    )
    return judge_rows(
        catalogue,
        layout,
        Limits(),
        photo=Photo(
            rgb=np.full((40, 30, 3), 190, np.uint8),
            width_px=900,
            height_px=1200,
            file=file or f"shot{seed}.jpg",
            sha256=f"{seed:064d}",
        ),
        card=card,
        wetness=make_wetness(card) if wet is None else replace(make_wetness(card), smooth=wet),
        centre=centre,
        segmentation=PlumeSegmentation(
            labels=np.zeros(card.inside.shape, np.int32),
            mask=np.zeros(card.inside.shape, bool),
            count=len(plumes),
            centre=centre,
        ),
    )


def codes(result):
    return [finding.code for finding in result.findings]


def test_a_weak_hole_is_followed_round_turned_cards():
    shots = [shot(WEAK, seed=1), shot(WEAK, seed=2, turn=20.0 + 100.0), shot(WEAK, seed=3, turn=3)]
    result = combine_shots(shots)
    assert result.together.matching.by == "pattern"
    assert result.together.matching.probability > 0.999
    assert np.allclose(
        wrap_180(np.array(result.together.matching.turn_deg) - [0, 100, -17]), 0, atol=1
    )
    assert [h.state for h in result.holes] == ["clear", "weak", "clear", "clear", "clear"]
    assert result.holes[1].area_ratio == pytest.approx(0.58, abs=0.03)
    assert result.verdict == "fail"
    assert "hole-weak" in codes(result)
    assert not any(h.intermittent for h in result.together.holes)
    assert all(h.shots == 3 for h in result.together.holes)


def test_three_shots_shrink_the_uncertainty_of_a_weak_hole_as_theory_says():
    # Independent from shot to shot: the mean of three scatters by 1 / sqrt(3) of one. The scatter
    # is that of the errors themselves, not only what is stated.
    single, triple, stated = [], [], []
    for k in range(70):
        shots = [shot(WEAK, seed=1000 + 3 * k + i, turn=20.0 + 7 * i) for i in range(3)]
        result = combine_shots(shots)
        found = result.holes[1]
        single += [math.log(s.holes[1].area_ratio) for s in shots]
        triple.append(math.log(found.area_ratio))
        one = np.mean([s.holes[1].area_ratio_u / s.holes[1].area_ratio for s in shots])
        stated.append(found.area_ratio_u / found.area_ratio / one)
    assert np.mean(stated) == pytest.approx(1 / math.sqrt(3), rel=0.15)
    assert np.std(triple) / np.std(single) == pytest.approx(1 / math.sqrt(3), rel=0.15)


def test_directions_keep_what_belongs_to_the_nozzle():
    # Only what changes from shot to shot shrinks; the healthy scatter of drilled holes does not.
    shots = [shot(WEAK, seed=k) for k in range(1, 9)]
    result = combine_shots(shots)
    each = [lay_out(one).values.sigma_deg[2] for one in shots]
    laid, _ = match_shots([lay_out(one) for one in shots])
    means = mean_pattern(laid, list(range(8)), np.ones(5, bool))
    assert means.turn.widened == 1.0
    ratio = means.values.sigma_deg[2] / np.mean(each)
    assert ratio == pytest.approx(1 / math.sqrt(8), rel=0.2)
    judged = result.holes[2].deviation_u_deg / shots[0].holes[2].deviation_u_deg
    assert ratio < judged < 1


def test_a_sound_even_nozzle_is_not_averaged_hole_by_hole():
    result = combine_shots([shot((1.0,) * 5, seed=k, turn=31.0 * k) for k in (1, 2, 3)])
    assert result.together.matching.by == "none"
    assert result.holes == ()
    assert result.verdict == "pass"
    assert "shots-unmatched" in codes(result)
    least = next(e for e in result.checks if e.limit == "area_low_ratio")
    assert 0.9 < least.value < 1.0
    assert result.together.matching.doubts == (Doubt.NO_FEATURE,)


def test_a_hole_near_its_limit_that_no_shot_proves_is_not_passed_unmatched():
    # Two like holes at 77 %: no shot can prove anything, and no turn is the right one.
    flows = (1.0, 0.77, 1.0, 0.77)
    result = combine_shots([shot(flows, seed=k, turn=40.0 * k) for k in (1, 2)])
    assert result.together.matching.by == "none"
    assert result.verdict == "recheck"


def test_arrows_match_a_sound_nozzle():
    result = combine_shots([shot(seed=k, turn=20.0 + k, printed=PRINTED) for k in (1, 2, 3)])
    assert result.together.matching.by == "arrow"
    assert len(result.holes) == 5
    assert result.verdict == "pass"


def test_a_known_turn_goes_before_patterns_and_an_impossible_one_is_doubted():
    shots = [shot(seed=1), shot(seed=2, turn=20.0 + 90.0)]
    result = combine_shots(shots, turns_deg=[0.0, 90.0])
    assert result.together.matching.by == "turn"
    weak = [shot(WEAK, seed=1), shot(WEAK, seed=2, turn=20.0 + 72.0)]
    doubted = combine_shots(weak, turns_deg=[0.0, 0.0])
    assert doubted.together.matching.by == "none"
    assert doubted.together.matching.doubts == (Doubt.TURNS_DISAGREE,)


def test_an_uneven_layout_tells_its_holes_itself():
    result = combine_shots([shot(layout=SLANTED, seed=k, turn=50.0 * k) for k in (1, 2)])
    assert result.together.matching.by == "layout"
    assert [h.hole for h in result.holes] == [1, 2, 3, 4, 5]


@pytest.mark.parametrize("by", ["arrow", "pattern"])
def test_a_hole_weak_in_one_shot_only_is_intermittent(by):
    printed = PRINTED if by == "arrow" else None
    shots = [shot(f, seed=k, printed=printed) for k, f in enumerate((SOUND, WEAK, SOUND), 1)]
    result = combine_shots(shots)
    assert result.verdict == "recheck"
    finding = next(f for f in result.findings if f.code == "hole-intermittent")
    assert finding.hole == 2
    assert "shot2.jpg" in text_of(finding)
    if by == "arrow":
        assert [h.intermittent for h in result.together.holes] == [False, True, False, False, False]
        assert math.isnan(result.holes[1].area_ratio_u)
        assert result.together.holes[1].shot_sd_ratio > 0.2
        assert result.together.holes[0].shot_sd_ratio < 0.05


def test_blocked_once_is_intermittent_and_blocked_always_is_blocked():
    gone = (1.0, 0.0, 0.98, 1.0, 1.01)
    once = combine_shots(
        [shot(f, seed=k, printed=PRINTED) for k, f in enumerate((SOUND, gone, SOUND), 1)]
    )
    assert once.together.holes[1].intermittent
    always = combine_shots([shot(gone, seed=k) for k in (1, 2)])
    assert [h.state for h in always.holes].count("blocked") == 1
    assert always.verdict == "fail"


def test_a_value_that_chance_moves_over_its_limit_is_not_intermittent():
    flows = (1.0, 0.70, 0.98, 1.0, 1.01)
    shots = [shot(flows, seed=k, printed=PRINTED, noise_ratio=0.03) for k in range(4)]
    result = combine_shots(shots)
    assert not result.together.holes[1].intermittent


def test_a_hole_proven_weak_once_and_near_its_limit_else_does_not_come_and_go():
    flows = [(1.0, flow, 0.98, 1.0, 1.01) for flow in (0.66, 0.76, 0.76)]
    shots = [
        shot(f, seed=k, printed=PRINTED, noise_ratio=1e-3) for k, f in enumerate(flows, start=1)
    ]
    assert [s.holes[1].state for s in shots] == ["weak", "unsure", "unsure"]
    result = combine_shots(shots)
    assert not result.together.holes[1].intermittent
    assert result.verdict == "recheck"


def test_shots_that_scatter_more_than_stated_widen_the_uncertainty():
    calm = combine_shots([shot(WEAK, seed=k) for k in range(4)])
    wild = combine_shots([shot(WEAK, seed=k, noise_ratio=0.08) for k in range(4)])
    assert max(calm.together.widened) < 1.3
    assert wild.together.widened[1] > 1.5
    assert wild.holes[0].area_ratio_u > 1.5 * calm.holes[0].area_ratio_u


# -- what does not belong together -----------------------------------------------------------------


def test_other_nozzles_are_refused_with_the_evidence():
    leans = (9.0, 0.0, -8.0, 0.0, 0.0)
    with pytest.raises(InputError, match=r"different nozzles: .*hole 1 points .*hole 3 points"):
        combine_shots([shot(WEAK, seed=1), shot(WEAK, seed=2, leans=leans)])


def test_another_number_of_holes_is_refused():
    five = Layout.evenly_spread(5)
    seven = shot((1.0,) * 7, seed=2)
    wrong = judge_rows(
        seven.catalogue,
        five,
        Limits(),
        photo=seven.photo,
        card=seven.card,
        wetness=seven.wetness,
        centre=seven.centre,
        segmentation=seven.segmentation,
    )
    with pytest.raises(InputError, match=r"shot2\.jpg does not fit .*7 plumes"):
        combine_shots([shot(seed=1), wrong])


@pytest.mark.parametrize("what", ["injector", "job"])
def test_labels_of_other_injectors_or_jobs_are_refused(what):
    one, other = (replace(PRINTED, **{what: text}) for text in ("A-17", "B-04"))
    with pytest.raises(InputError, match=rf"different {what}s: .*A-17.*B-04"):
        combine_shots([shot(seed=1, printed=one), shot(seed=2, printed=other)])


def test_before_and_after_may_be_two_jobs():
    one, other = (replace(PRINTED, job=text) for text in ("A-17", "B-04"))
    result = compare_cards(shot(WEAK, seed=1, printed=one), shot(seed=2, printed=other))
    assert result.matching.sure


def test_one_photo_twice_is_refused():
    with pytest.raises(InputError, match="the same photo"):
        combine_shots([shot(seed=1), shot(seed=1)])
    with pytest.raises(InputError, match="two or more"):
        combine_shots([shot(seed=1)])


# -- one card photographed several times -----------------------------------------------------------


def drops(seed, turn_deg=0.0):
    """A wetness map of drops about the centre, turned."""
    rng = np.random.default_rng(seed)
    card = make_card()
    rows, cols = card.inside.shape
    y, x = np.mgrid[0:rows, 0:cols]
    x, y = x * card.cell_mm + card.x0_mm, y * card.cell_mm + card.y0_mm
    out = np.zeros((rows, cols))
    for radius, angle in zip(rng.uniform(15, 50, 60), rng.uniform(0, 360, 60), strict=True):
        a = math.radians(angle + turn_deg)
        at = CENTRE_MM + radius * np.array([math.sin(a), -math.cos(a)])
        out += np.exp(-((x - at[0]) ** 2 + (y - at[1]) ** 2) / (2 * 1.5**2))
    return np.clip(out, 0, 1).astype(np.float32)


def test_pictures_of_one_card_are_alike_and_tell_the_turn():
    one, same = shot(seed=1, wet=drops(1)), shot(seed=2, turn=54.0, wet=drops(1, 34.0))
    correlation, turn = likeness(one, same)
    assert correlation > SAME_CARD
    assert turn == pytest.approx(34.0, abs=1.0)
    assert likeness(one, shot(seed=3, wet=drops(2)))[0] < SAME_CARD


def test_photos_of_one_card_shrink_only_what_repeats_show():
    def photo(seed, noise, turn=0.0):
        return shot(
            seed=seed, turn=20 + turn, wet=drops(1, turn), noise_ratio=noise, noise_deg=noise
        )

    # The photos agree to a hair: all of the uncertainty is the shot's and stays.
    alike = combine_shots([photo(1, 1e-4), photo(2, 1e-4, 34.0)], cards=[1, 1])
    alone = photo(1, 1e-4).holes[0].area_ratio_u
    assert alike.together.matching.by == "picture"
    assert alike.together.count == 1
    assert alike.holes[0].area_ratio_u == pytest.approx(alone, rel=0.02)
    assert math.isnan(alike.together.holes[0].shot_sd_ratio)
    # They scatter as stated: half of the variance goes, and would not without the second photo.
    noisy = combine_shots([photo(3, 0.02), photo(4, 0.02)], cards=[1, 1])
    assert noisy.holes[0].area_ratio_u < 0.95 * alone


def test_photos_of_different_cards_are_no_repeats():
    with pytest.raises(InputError, match="different cards"):
        combine_shots([shot(seed=1, wet=drops(1)), shot(seed=2, wet=drops(2))], cards=[1, 1])
    with pytest.raises(InputError, match=r"different cards: hole 2 wets"):
        combine_shots([shot(seed=1, wet=drops(1)), shot(WEAK, seed=2, wet=drops(1))], cards=[1, 1])


def test_scatter_between_and_within_cards():
    # Cards with values {1, 3} and {5, 7}: within sqrt(2); GUM H.5.2 by hand, between cards
    # s_a^2 = 2 * var(2, 6) = 16, so sigma^2 = (16 - 2) / 2 = 7.
    shots = [lay_out(shot(seed=k)) for k in range(4)]
    made = [
        replace(s, values=replace(s.values, deviation_deg=np.full(5, value)))
        for s, value in zip(shots, (1.0, 3.0, 5.0, 7.0), strict=True)
    ]
    found = scatter(made, [1, 1, 2, 2], 0)
    assert found[1] == pytest.approx(math.sqrt(2))
    assert found[0] == pytest.approx(math.sqrt(7))


def test_turning_all_the_way_round_changes_nothing():
    laid = lay_out(shot(WEAK, seed=1))
    back = turned(turned(laid, 2), 3)
    assert back.rows == laid.rows
    assert np.allclose(back.values.area.log, laid.values.area.log)
    assert np.allclose(back.values.deviation_deg, laid.values.deviation_deg, atol=0.5)


# -- before and after ------------------------------------------------------------------------------


def test_cleaning_that_helped_is_told_of_the_hole():
    result = compare_cards(shot(WEAK, seed=1), shot(seed=2, turn=25.0), turn_deg=5.0)
    assert [h.change for h in result.holes] == ["no sure change", "better", *["no sure change"] * 3]
    change = result.holes[1].area
    assert change.sure
    assert change.difference == pytest.approx(0.45, abs=0.06)
    assert abs(change.difference - 0.45) < 2 * change.difference_u


def test_a_plume_bent_back_and_one_bent_away():
    off = (0.0, 9.0, 0.0, 0.0, 0.0)
    back = compare_cards(shot(WEAK, seed=1, leans=off), shot(WEAK, seed=2))
    assert back.matching.by == "pattern"
    assert back.holes[1].change == "better"
    assert back.holes[1].deviation.difference == pytest.approx(-9.0, abs=1.2)
    away = compare_cards(shot(WEAK, seed=1), shot(WEAK, seed=2, leans=off))
    assert away.holes[1].change == "worse"


def test_a_hole_that_opened_is_better():
    gone = (1.0, 0.0, 0.98, 1.0, 1.01)
    result = compare_cards(shot(gone, seed=1, printed=PRINTED), shot(seed=2, printed=PRINTED))
    opened = result.holes[1]
    assert (opened.state_before, opened.state_after) == ("blocked", "clear")
    assert opened.change == "better"
    assert opened.area.before == 0.0


def test_nothing_done_seldom_looks_like_a_change():
    # Each comparison may be wrong with 5 %: of 80, more than 10 would be a chance of 0.3 %.
    wrong = 0
    for k in range(80):
        one, other = shot(WEAK, seed=2 * k), shot(WEAK, seed=2 * k + 1, turn=40.0)
        result = compare_cards(one, other)
        assert result.matching.sure
        wrong += any(h.change != "no sure change" for h in result.holes)
    assert wrong <= 10


def test_holes_that_cannot_be_matched_are_compared_by_the_driest():
    result = compare_cards(shot(WEAK, seed=1), shot((1.0,) * 5, seed=2, turn=61.0))
    assert result.holes == ()
    assert not result.matching.sure
    assert result.least.sure
    assert result.least.before == pytest.approx(0.58, abs=0.04)
