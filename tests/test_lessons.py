"""Tables and pictures of the notebooks: what they say is so, and they show what they are given."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image
from report_factory import make_result

from figures import certainty, closed_forms, gallery, stages
from figures.tables import (
    Checked,
    Comparison,
    chosen_columns,
    markdown_table,
    tally,
)
from spraycheck.errors import InputError
from spraycheck.stats.conformity import Tolerance, conformity_probability
from spraycheck.train.atlas import AtlasPage, Jpeg
from spraycheck.train.lessons.agreement import CardAgreement, HoleAgreement, TrueState
from spraycheck.train.lessons.card_request import CardRequest
from spraycheck.train.lessons.lesson import Lesson, LessonKind


def _pixels(data: bytes) -> np.ndarray:
    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image.convert("RGB")).astype(int)


def _coloured(image: np.ndarray, rgb: tuple[int, int, int]) -> int:
    return int((np.abs(image - np.array(rgb)).sum(axis=2) < 40).sum())


# -- tables --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("printed", "ours", "agrees"),
    [
        ("0.0041", 0.00414, True),
        ("0.0041", 0.00416, False),
        ("-0.1712", -0.17123, True),
        ("32", 31.6, True),
        ("32", 32.6, False),
        ("0.40", 0.4, True),
        ("0.40", 0.406, False),
        ("1.2e-3", 0.00124, True),
        ("1.2e-3", 0.00126, False),
        ("5", math.nan, False),
    ],
)
def test_values_agree_to_the_last_printed_digit(printed: str, ours: float, agrees: bool) -> None:
    assert Checked(what="x", printed=printed, ours=ours).agrees is agrees


def test_a_wider_tolerance_needs_a_reason_and_shows_it() -> None:
    with pytest.raises(InputError, match="expected a reason"):
        Checked(what="x", printed="1.0", ours=1.2, within=0.3)
    told = Checked(what="x", printed="1.0", ours=1.2, within=0.3, why="few cells").cells()
    assert told == ("x", "1.0", "1.200", "yes (few cells)")


def test_a_comparison_says_what_differs_and_the_tally_counts_it() -> None:
    good = Comparison.of("a book", ("x", "1.0", 1.01), ("y", "2.0", 2.3, 0.5, "rough"))
    bad = Comparison.of("a paper", ("z", "3.0", 3.2))
    assert "| z | 3.0 | 3.200 | **no** |" in bad._repr_markdown_()
    assert bad._repr_markdown_().endswith("Source: a paper")
    assert repr(good) == "2 of 2 agree: a book"
    lines = tally([good, bad]).splitlines()
    assert lines[2:] == [
        "| a book | 2 of 2 |",
        "| a paper | 0 of 1 |",
        "| **all together** | **2 of 3** |",
    ]


def test_cells_cannot_break_a_table() -> None:
    assert markdown_table(("a",), [["x | y"]]).splitlines()[2] == "| x \\| y |"


def test_columns_are_chosen_shortened_and_missed() -> None:
    rows = [{"file": "/some/where/a.jpg", "n": "4", "u": "0.123456", "date": "2025-01-02"}]
    text = chosen_columns(rows, ("file", "date", "u", "n"))
    assert text.splitlines()[2] == "| a.jpg | 2025-01-02 | 0.123 | 4 |"
    with pytest.raises(InputError, match="no column 'verdict'"):
        chosen_columns(rows, ("verdict",))


# -- cards ---------------------------------------------------------------------------------------


def _jpeg(colour: tuple[int, int, int]) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (200, 200), colour).save(out, "JPEG", quality=95)
    return out.getvalue()


def _pair(hole: int, flow_frac: float, state: str, ratio: float, off_deg: float) -> HoleAgreement:
    true = TrueState(
        hole=hole, flow_frac=flow_frac, state=state, area_ratio=flow_frac, deviation_deg=0.2
    )
    return HoleAgreement(
        true=true, measured=state, area_ratio=ratio, area_ratio_u=0.04, deviation_deg=off_deg,
        deviation_u_deg=1.0,
    )  # fmt: skip


def _page() -> AtlasPage:
    pairs = (
        _pair(1, 1.0, "clear", 0.98, 0.4),
        _pair(2, 0.5, "weak", 0.51, 0.4),
        _pair(3, 1.0, "clear", 0.98, -0.9),
    )
    return AtlasPage(
        lesson=Lesson(
            group="Weak", title="Weak", kind=LessonKind.FAULT, request=CardRequest(),
            see="One streak is small.", causes=("deposit",),
            steps=("Release the pressure first.",),
        ),
        photo=Jpeg(data=_jpeg((200, 30, 30)), width_px=200, height_px=200),
        seen=Jpeg(data=_jpeg((30, 30, 200)), width_px=200, height_px=200),
        answer=CardAgreement(pairs=pairs, true_verdict="fail", verdict="fail"),
        others=("A drip of 1 mm³.",), reason="hole 2 weak",
    )  # fmt: skip


def test_the_text_of_a_card_lists_odd_holes_and_counts_the_rest() -> None:
    text = gallery.page_text(_page())
    assert text.count("\n| ") == 3  # heading, rule, the weak hole
    assert "| 2 | 50% |" in text
    assert "The other 2 holes are clear; the tool reads them at 98% to 98%" in text
    assert "0.9° off at most" in text
    assert "A drip of 1 mm³." in text
    assert "Release the pressure first." in text


def test_rows_of_cards_show_photo_or_finding_as_asked() -> None:
    red, blue = (200, 30, 30), (30, 30, 200)
    plain = _pixels(gallery.card_row([_page(), _page(), _page()]))
    assert _coloured(plain, red) > 0.7 * plain.shape[0] * plain.shape[1]
    assert _coloured(plain, blue) == 0
    both = _pixels(gallery.photo_and_seen(_page()))
    assert _coloured(both, red) == pytest.approx(_coloured(both, blue), rel=0.05)
    assert _coloured(_pixels(gallery.seen_row([_page()])), red) == 0


def test_letters_hide_the_names_of_cards() -> None:
    named, lettered = (_pixels(gallery.card_row([_page()] * 2, named=n)) for n in (True, False))
    assert (named[:30] < 128).sum() > (lettered[:30] < 128).sum() > 0


def test_a_wall_hangs_each_card_in_its_place() -> None:
    rows = [
        {"file": "a", "verdict": "pass", "injector": "one", "date": "2025"},
        {"file": "b", "verdict": "fail", "injector": "two", "date": "2026"},
    ]
    pictures = {"a": _jpeg((200, 30, 30)), "b": _jpeg((30, 30, 200))}
    wall = _pixels(gallery.card_wall(rows, pictures, line="injector", column="date"))
    height, width = wall.shape[0] // 2, wall.shape[1] // 2
    assert _coloured(wall[:height, :width], (200, 30, 30)) > 0.5 * height * width
    assert _coloured(wall[height:, width:], (30, 30, 200)) > 0.5 * height * width
    # Names on the left shift the columns by some pixels.
    assert _coloured(wall[:height, width:], (200, 30, 30)) < 0.05 * height * width


# -- stages --------------------------------------------------------------------------------------

STATES = ("clear", "weak", "blocked", "off-line", "unsure", "clear")


def test_every_stage_is_drawn_at_the_size_of_a_page() -> None:
    a = make_result(STATES)
    for picture in (
        stages.draw_sheet(a.photo, a.card),
        stages.draw_wetness(a.wetness, 10.0),
        stages.draw_centre(a.wetness, a.centre, a.catalogue),
        stages.draw_plumes(a.wetness, a.segmentation, a.centre, a.catalogue),
        stages.draw_holes(a),
        stages.draw_bells(a),
        gallery.overlay_picture(a),
    ):
        image = _pixels(picture)
        assert 500 <= image.shape[1] <= 1000
        assert image.std() > 10  # something is on it
        assert len(picture) < 200_000


def test_a_bell_is_hatched_only_beyond_the_limits() -> None:
    good, bad = make_result(("clear",) * 4), make_result(("clear", "weak", *("clear",) * 2))
    faded = (225, 173, 166)  # the red of what lies beyond, at three tenths
    few, many = (_coloured(_pixels(stages.draw_bells(a)), faded) for a in (good, bad))
    assert many > few + 100


# -- certainty -----------------------------------------------------------------------------------


def test_the_smallest_fault_is_failed_in_ninety_five_of_a_hundred_readings() -> None:
    # Counted: readings about that value, each judged by the probability that it keeps the limit.
    limit, u = 5.0, 0.6
    true = certainty.smallest_shown(limit, u)
    readings = np.random.default_rng(3).normal(true, u, 4000)
    failed = [conformity_probability(float(y), u, Tolerance(upper=limit)) <= 0.05 for y in readings]
    assert np.mean(failed) == pytest.approx(0.95, abs=4 * math.sqrt(0.05 * 0.95 / 4000))
    assert true == pytest.approx(limit + 2 * 1.6449 * u, abs=1e-3)


COVERAGE = {
    what: {"bench": {"n": 200, "inside_frac": 0.95}, "all": {"n": 400, "inside_frac": inside}}
    for what, inside in (("direction", 0.94), ("centre", 0.88))
}
BINS = [
    {"from": 0.1, "to": 0.3, "n": 10, "pass": 6, "recheck": 4, "fail": 0},
    {"from": 0.3, "to": 0.5, "n": 0, "pass": 0, "recheck": 0, "fail": 0},
    {"from": 0.5, "to": 0.9, "n": 20, "pass": 0, "recheck": 1, "fail": 19},
]
LINE = {
    "factor": "blur_px", "level": 1.0, "photos": 3, "measured": 3, "direction_rms_deg": 0.4,
    "direction_ratio": 0.7, "share_ratio": 0.6, "centre_ratio": 0.5,
}  # fmt: skip
UNREAD = {**LINE, "level": 9.0, "measured": 0, **dict.fromkeys(
    ("direction_rms_deg", "direction_ratio", "share_ratio", "centre_ratio"))}  # fmt: skip


def _verdict(truth: str, verdict: str, count: int) -> dict[str, object]:
    return {
        "type": "even", "family": "bench", "fault": "weak", "truth": truth, "verdict": verdict,
        "count": count,
    }  # fmt: skip


def test_studies_are_drawn_with_gaps_in_them() -> None:
    verdicts = [_verdict("faulty", "fail", 7), _verdict("good", "pass", 5)]
    for picture in (
        certainty.draw_coverage(COVERAGE),
        certainty.draw_verdicts(verdicts),
        certainty.draw_detection(verdicts),
        certainty.draw_severity({"weak": BINS, "off-line": BINS}, {"weak": {}, "off-line": {}}),
        certainty.draw_severity(
            {"weak": BINS, "off-line": BINS},
            {"weak": {"value": 0.5, "low": 0.4, "high": None}, "off-line": {}},
        ),
        certainty.draw_blocked([{"from": 0.0, "to": 0.02, "n": 9, "detected": 8},
                                {"from": 0.09, "to": 1.0, "n": 3, "detected": 0}]),
        certainty.draw_factors([LINE, UNREAD]),
        certainty.draw_smallest([LINE, UNREAD]),
    ):  # fmt: skip
        assert 700 <= _pixels(picture).shape[1] <= 900


def test_verdicts_take_up_their_share_of_the_bar() -> None:
    mostly = [_verdict("good", "pass", 9), _verdict("good", "recheck", 1)]
    half = [_verdict("good", "pass", 5), _verdict("good", "recheck", 5)]
    green = [_coloured(_pixels(certainty.draw_verdicts(v)), (0, 112, 93)) for v in (mostly, half)]
    assert green[0] / green[1] == pytest.approx(9 / 5, rel=0.1)


def test_photos_that_were_not_read_are_marked() -> None:
    red = (178, 48, 28)
    lost, read = (
        _coloured(_pixels(certainty.draw_factors(lines)), red)
        for lines in ([LINE, UNREAD], [LINE, {**LINE, "level": 9.0}])
    )
    assert lost > read + 10


def test_a_healthy_card_that_fails_stands_out() -> None:
    lines = [
        {"factor": "gloss", "level": 0.3, "verdicts": ["pass", "pass"]},
        {"factor": "gloss", "level": 0.7, "verdicts": ["fail, 3 of 4", "SprayNotFoundError"]},
        {"factor": "megapixels", "level": 0.1, "verdicts": ["recheck"]},
        {"factor": "megapixels", "level": 1.5, "verdicts": ["pass"]},
    ]
    table = certainty.answers_table(lines)
    assert "0.3: pass · 0.7: 1 **fail**, 1 not read |" in table
    assert "1.5: pass · 0.1: recheck |" in table  # from best to worst, here as everywhere


# -- closed forms --------------------------------------------------------------------------------


def test_a_fed_front_is_drawn_beside_the_law_it_keeps() -> None:
    seconds = [10, 40]
    fronts = closed_forms.fed_front(seconds)
    # Washburn 1921: the front goes with the root of time; 1 mm per root second was asked for.
    assert closed_forms.growth_exponent(seconds, fronts) == pytest.approx(0.5, abs=0.05)
    assert fronts == pytest.approx(np.sqrt(seconds), rel=0.1)
    assert _pixels(closed_forms.draw_growth(seconds, fronts)).shape[1] > 700


def test_a_cone_and_a_decision_are_drawn() -> None:
    assert _pixels(closed_forms.draw_cone(60, 8, 15)).shape[1] == 828
    narrow, wide = (
        _pixels(closed_forms.draw_decision(Tolerance(lower=0, upper=10), u)) for u in (0.2, 2.0)
    )
    sure = (209, 230, 225)  # the tint of a pass
    # A reading of which less is known passes in a narrower band.
    assert _coloured(narrow, sure) > 1.5 * _coloured(wide, sure)
