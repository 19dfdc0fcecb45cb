import ast
import html
import math
import re
from pathlib import Path

import pytest
from report_factory import make_result

import spraycheck
from spraycheck import flags
from spraycheck.errors import InputError
from spraycheck.judge.result import (
    Doubt,
    Finding,
    HoleState,
    Kind,
    LimitCheck,
    Remedy,
    most_important_first,
)
from spraycheck.report.document import result_document
from spraycheck.report.html import html_report
from spraycheck.report.model import build_report
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.terminal import terminal_report
from spraycheck.report.words import AID, CAUTION, numbers
from spraycheck.report.words.findings import KINDS, describe, needed, text_of
from spraycheck.report.words.kinds import FindingKind
from spraycheck.report.words.labels import FLAGS
from spraycheck.report.words.numbers import clock_position, fields_of, fill
from spraycheck.report.words.photos import PHOTO_ADVICE
from spraycheck.report.words.sentences import SENTENCES

EXAMPLE = {
    "expected": 9,
    "found": 4,
    "as_given_deg": 7.0,
    "mirrored_deg": 0.4,
    "expected_deg": 137.0,
    "u_deg": 0.8,
    "u": 0.08,
    "limit": 0.75,
    "doubt": Doubt.NEAR_LIMIT,
    "remedy": Remedy.ANOTHER_PHOTO,
    "of": "area_low_ratio",
    "shots": 1,
    "doubts": (Doubt.NO_FEATURE,),
    "faulty": (("second.jpg", HoleState.WEAK, 0.55),),
    "sound": (("first.jpg", HoleState.CLEAR, 0.98),),
    "followed": True,
    "direction_deg": 200.0,
    "area_frac": 0.08,
    "holes": "2 and 3",
    "tilt_deg": 2.3,
    "flag": flags.GLARE,
    "share": 0.3,
    "seen": "hollow",
    "angle_deg": 14.0,
    "nominal_deg": 12.0,
    "value": 6.2,
    "state": HoleState.WEAK,
    "edge_frac": 0.31,
    "other_frac": 0.06,
    "limit_frac": 0.2,
    "noise_frac": 0.09,
    "width_px": 7.4,
    "limit_px": 11.0,
    "clipped_frac": 0.42,
    "glare_frac": 0.12,
    "quality": 14.0,
    "view_deg": 27.0,
    "minutes": 42.0,
}


CHECK = LimitCheck(
    limit="ellipse_low_ratio", value=0.79, u=0.05, allowed=0.8, unit="ratio", probability=0.4
)


def example(code: str) -> Finding:
    kind = KINDS[code]
    hole = 2 if kind.about == "hole" else 0
    if code == Kind.AXIAL_UNSURE:
        return describe(code, check=CHECK)
    return describe(code, hole, **{name: EXAMPLE[name] for name in needed(code)})


@pytest.mark.parametrize("code", KINDS)
def test_every_finding_reads_as_whole_sentences(code):
    text = text_of(example(code))
    assert re.match(r"[A-Z0-9]", text)
    assert text.endswith(".")
    assert not re.search(r"[{}]|nan|None|  |\.\.", text)
    assert len(text) < 400


@pytest.mark.parametrize("code", KINDS)
def test_opening_or_handling_comes_after_the_pressure_is_released(code):
    text = text_of(example(code))
    handles = re.search(r"fresh card|fresh one|Clean the|Dry the tip|Set the injector", text)
    if handles:
        assert re.search(r"[Pp]ressure (and read zero|released)|Release the pressure", text)


@pytest.mark.parametrize("code", KINDS)
def test_a_hole_is_named_by_its_number(code):
    finding = example(code)
    assert finding.code == code
    assert ("Hole 2" in text_of(finding)) == (KINDS[code].about == "hole")


def test_faults_of_a_hole_name_possible_causes_and_a_repeat():
    for code in ("hole-blocked", "hole-weak", "hole-heavy", "hole-off-line"):
        assert len(KINDS[code].causes) >= 2
        assert "fresh card" in KINDS[code].next_step


def test_codes_the_judgement_and_the_reports_rely_on():
    needed = (
        "hole-blocked hole-weak hole-heavy hole-off-line hole-unsure stray-spray plumes-merged "
        "count-does-not-fit centre-drip mirrored-layout centre-uncertain photo-poor "
        "sheet-not-found sheet-cropped no-scale nozzle-tilted too-wet weak-stroke"
    )
    assert set(needed.split()) <= set(KINDS)
    assert all(code == kind.code for code, kind in KINDS.items())


def test_numbers_are_filled_in_with_sign_as_a_word():
    off = text_of(describe("hole-off-line", 3, value=-7.24, u=0.8, limit=5.0))
    assert "Hole 3 sprays 7.2° anticlockwise" in off
    assert "± 0.8°" in off
    weak = text_of(describe("hole-weak", 1, value=0.612, u=0.08, limit=0.75))
    assert "only 61% of what it should (± 8%, limit 75%)" in weak


def test_unknown_values_are_said_to_be_unknown():
    weak = text_of(describe("hole-weak", 1, value=0.6, u=math.nan, limit=0.75))
    assert "± unknown" in weak


def test_drip_sends_to_the_seat_hold_test_and_leaves_the_verdict_alone():
    text = text_of(describe("centre-drip", area_frac=0.04))
    assert "seat hold test" in text
    assert "does not decide" in text


@pytest.mark.parametrize(
    ("direction", "clock"),
    [
        (0.0, "12:00"),
        (3.7, "12:00"),
        (3.8, "12:15"),
        (15.0, "12:30"),
        (90.0, "3:00"),
        (137.0, "4:30"),
        (352.5, "11:45"),
        (356.3, "12:00"),
        (-1e-20 % 360, "12:00"),
        (math.nan, "unknown"),
    ],
)
def test_clock_position(direction, clock):
    assert clock_position(direction) == clock


def test_clock_is_spoken_as_a_person_would():
    assert "near 3 o'clock (90°)" in text_of(describe("hole-blocked", 1, expected_deg=90.0))
    assert "near 4:30 on the clock (137°)" in text_of(
        describe("hole-blocked", 1, expected_deg=137.0)
    )


@pytest.mark.parametrize("flag", PHOTO_ADVICE)
def test_every_poor_photo_says_what_to_change(flag):
    text = text_of(describe("photo-poor", flag=flag))
    assert FLAGS[flag] in text
    assert text.endswith(PHOTO_ADVICE[flag])


@pytest.mark.parametrize(
    ("code", "hole", "fields", "message"),
    [
        ("hole-bent", 1, {}, "expected one of count-does-not-fit"),
        ("hole-blocked", 1, {}, "expected the fields expected_deg, got none"),
        ("too-wet", 0, {"u": 1}, "expected the fields none, got u"),
        ("hole-blocked", 0, {"expected_deg": 1.0}, "expected a hole number from 1, got 0"),
        ("too-wet", 3, {}, "expected hole 0, got 3"),
        ("too-wet", -1, {}, "expected hole 0, got -1"),
        ("photo-poor", 0, {"flag": "purple"}, "flag 'purple': expected one of"),
    ],
)
def test_wrong_use_is_refused(code, hole, fields, message):
    with pytest.raises(InputError, match=re.escape(message)):
        describe(code, hole, **fields)


def test_a_kind_is_about_something_known():
    with pytest.raises(InputError, match="about 'moon'"):
        FindingKind(code="x", title="X", about="moon", text="", causes=(), next_step="")


def test_order_is_by_weight_then_hole() -> None:
    drip = describe("centre-drip", area_frac=0.1)
    second = describe("hole-blocked", 2, expected_deg=10.0)
    first = describe("hole-blocked", 1, expected_deg=10.0)
    assert most_important_first([drip, second, first]) == (first, second, drip)


def test_caution_names_what_can_hurt():
    for word in ("skin", "eye", "cover", "pressure released", "zero", "surgical", "mist", "waste"):
        assert word in CAUTION.lower()
    assert "not a certificate" in AID


# -- the other sentences -----------------------------------------------------------------------


def _said() -> list[tuple[str, str, set[str | None]]]:
    """Every call of `say` with a key that can be read: place, key, and fields given."""
    found = []
    for path in (Path(spraycheck.__file__).parent / "report").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            name = node.func.id if isinstance(node, ast.Call) and _is_name(node.func) else ""
            if name in ("say", "say_count"):
                given = {k.arg for k in node.keywords}
                given |= {"count"} if name == "say_count" else set()
                for key in _keys(node.args[0]):
                    ends = (".one", ".many") if name == "say_count" else ("",)
                    found += [(f"{path.name}:{node.lineno}", key + end, given) for end in ends]
    return found


def _is_name(node: ast.expr) -> bool:
    return isinstance(node, ast.Name)


def _keys(node: ast.expr) -> list[str]:
    if isinstance(node, ast.IfExp):
        return [*_keys(node.body), *_keys(node.orelse)]
    return [node.value] if isinstance(node, ast.Constant) else []


def test_every_sentence_that_is_said_is_there_and_gets_its_fields():
    said = _said()
    assert len(said) > 100
    for place, key, given in said:
        assert key in SENTENCES, (place, key)
        assert None in given or fields_of(SENTENCES[key]) <= given, (place, key)


@pytest.mark.parametrize(
    ("template", "value", "text"),
    [
        ("{x:.1f}", 1.25, "1.2"),
        ("{x:.0%}", 0.614, "61%"),
        ("{x:signed}", -0.04, "0.0"),
        ("{x:signed}", math.nan, "-"),
        ("{x:.1f}", math.nan, "unknown"),
        ("{x:chance}", 0.99999, "over 99.9 %"),
        ("{x:chance}", 1e-9, "below 0.1 %"),
        ("{x:turn}", -7.24, "7.2° anticlockwise"),
        ("{x:clock}", 90.0, "3 o'clock"),
        ("{x}", 3, "3"),
        ("{x:d}", 3, "3"),
        ("{x}", "a", "a"),
        ("no field", 1, "no field"),
    ],
)
def test_values_are_written_by_their_formats(template, value, text):
    assert fill(template, x=value) == text


def test_another_decimal_sign_is_one_constant(monkeypatch):
    monkeypatch.setattr(numbers, "DECIMAL", ",")
    assert fill("{x:.1f}°, {y:.1%}", x=1.5, y=0.0312) == "1,5°, 3,1%"
    assert numbers.signed(-2.0) == "-2,0"
    assert numbers.probability(1.0) == "over 99,9 %"
    off = describe("hole-off-line", 3, check=CHECK)
    assert "0,8° clockwise" in text_of(off)


@pytest.mark.parametrize("code", KINDS)
def test_every_finding_is_told_in_every_medium(code):
    finding = example(code)
    result = make_result(("clear", "weak", "clear"), verdict="recheck", findings=[finding])
    report = build_report(result)
    squeezed = text_of(finding).replace(" ", "")
    told = terminal_report(report, colour=False, width=100)
    assert squeezed in "".join(told.split())
    assert squeezed in "".join(html.unescape(html_report(report)).split())
    (entry,) = result_document(result)["findings"]
    assert (entry["code"], entry["text"]) == (code, text_of(finding))
    assert draw_overlay(result, report=report, max_side_px=200).ndim == 3
