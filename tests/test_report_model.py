from report_factory import make_result

from spraycheck.errors import PhotoError
from spraycheck.judge.result import HoleState
from spraycheck.report.model import build_report, build_report_of_error
from spraycheck.report.model.holes import (
    count_in_words,
    count_states,
    explain_verdict,
    pattern_fits,
    shared_plumes,
)
from spraycheck.report.words import AID, CAUTION
from spraycheck.report.words.findings import describe
from spraycheck.report.words.labels import STATES
from spraycheck.report.words.numbers import signed

NO_FIT = [describe("count-does-not-fit", expected=5, found=4)]


def test_states_are_counted_in_a_fixed_order():
    a = make_result(("weak", "clear", "blocked", "weak", "clear"))
    assert list(count_states(a.holes).items()) == [("clear", 2), ("weak", 2), ("blocked", 1)]
    assert count_in_words(a) == "2 of 5 clear"


def test_one_or_two_faults_are_named_with_their_number():
    a = make_result(("clear", "weak", "clear", "off-line"))
    assert explain_verdict(a) == ["hole 2 weak (50%)", "hole 4 off-line (11°)"]


def test_many_faults_are_gathered_by_state_worst_first():
    a = make_result(("weak", "blocked", "weak", "off-line", "blocked", "clear"))
    assert explain_verdict(a) == ["holes 2, 5 blocked", "4 off-line", "1, 3 weak"]


def test_a_stray_is_part_of_the_reason():
    a = make_result(("clear", "clear", "clear"), stray_deg=80.0, verdict="fail")
    assert explain_verdict(a) == ["spray outside the pattern"]


def test_a_pass_gives_its_margins():
    a = make_result(("clear",) * 4)
    assert explain_verdict(a) == ["off by 0.3° at most", "holes wet 100% to 100%"]


def test_a_pass_still_mentions_a_drip():
    drip = [describe("centre-drip", area_frac=0.05)]
    a = make_result(("clear",) * 4, findings=drip)
    assert explain_verdict(a)[0] == "wet spot at the centre"


def test_recheck_names_the_unsure_holes():
    a = make_result(("clear", "unsure", "clear", "unsure"))
    assert explain_verdict(a)[0] == "holes 2, 4 unsure"


def test_recheck_without_a_reason_on_the_card_still_says_something():
    a = make_result(("clear",) * 3, verdict="recheck", scale_known=False)
    assert explain_verdict(a) == ["too close to a limit to tell"]


def test_a_pattern_that_does_not_fit_has_no_holes_to_speak_of():
    a = make_result(("unsure",) * 4, findings=NO_FIT)
    assert not pattern_fits(a)
    assert explain_verdict(a) == ["number of holes does not fit"]
    assert count_in_words(a) == "4 plumes, not 4"


def test_a_plume_of_two_holes_is_shared():
    assert shared_plumes(make_result(("unsure",) * 2 + ("clear",), merge_first_two=True)) == {1}
    assert shared_plumes(make_result(("clear",) * 3)) == frozenset()


def test_signed_angles():
    values = (1.24, -1.26, 0.04, -0.04, 0.0, float("nan"))
    assert [signed(v) for v in values] == ["+1.2", "-1.3", "0.0", "0.0", "0.0", "-"]


def test_no_faulty_state_falls_out_of_the_headline():
    faulty = [state for state in HoleState if state.faulty]
    a = make_result((*faulty, *faulty))
    told = "; ".join(explain_verdict(a))
    for state in faulty:
        assert STATES[state] in told


def test_several_media_read_one_headline():
    a = make_result(("weak", "blocked", "clear"))
    headline = build_report(a).headline
    assert headline.title == "FAIL"
    assert headline.reason == "1 of 3 clear: hole 1 weak (50%); hole 2 blocked"
    assert headline.about == "card.jpg against 3 holes, evenly spread"


def test_a_photo_that_was_not_measured_has_a_report_too():
    report = build_report_of_error("a.jpg", PhotoError("is empty, expected a photo", "copy it"))
    assert report.headline.verdict is None
    assert report.headline.reasons == ("is empty, expected a photo",)
    assert report.certainty == ("copy it",)
    assert report.cautions == (CAUTION, AID)
