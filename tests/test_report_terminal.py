import dataclasses
import re

import pytest
from judging import with_parts
from report_factory import ALL_STATES, make_result, printed_facts
from rich.cells import cell_len

from spraycheck import flags
from spraycheck.judge.result import Result
from spraycheck.report.model import build_report
from spraycheck.report.terminal import terminal_report
from spraycheck.report.words import AID
from spraycheck.report.words.findings import KINDS, describe
from spraycheck.report.words.labels import FLAGS
from spraycheck.spray.containers import Mark

ANSI = re.compile(r"\x1b\[[0-9;]*m")
NO_FIT = [describe("count-does-not-fit", expected=9, found=4)]


def rows(text: str) -> list[str]:
    """The lines of the table of holes."""
    return [line for line in text.splitlines() if re.match(r"\s*\d+\s+\(?\d+\.\d", line)]


def told(result: Result, **options) -> str:
    return terminal_report(build_report(result), **options)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", [60, 79, 84, 104, 120])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_line_is_wider_than_asked(width, ascii_only):
    for states in (ALL_STATES, ("off-line", "heavy", "weak", "blocked") * 4):
        text = told(make_result(states), colour=False, width=width, ascii_only=ascii_only)
        assert max(cell_len(line) for line in text.splitlines()) <= width
        assert len(rows(text)) == len(states)


@pytest.mark.parametrize("width", [1, 5000])
def test_a_width_out_of_range_is_held(width):
    text = told(make_result(), colour=False, width=width)
    assert 50 < max(cell_len(line) for line in text.splitlines()) <= 120


@pytest.mark.parametrize(
    ("states", "word"),
    [(("clear",) * 3, "PASS"), (("clear", "weak", "clear"), "FAIL"), (("unsure",) * 3, "RECHECK")],
)
def test_the_verdict_comes_first_with_its_reason(states, word):
    first = told(make_result(states), colour=False, width=100).splitlines()[0]
    assert first.startswith(f"{word}  ")
    assert " of 3 clear: " in first


def test_every_hole_has_a_row_with_its_state_in_words():
    text = told(make_result(ALL_STATES), colour=False, width=80)
    for number, (row, state) in enumerate(zip(rows(text), ALL_STATES, strict=True), start=1):
        assert row.split()[0] == str(number)
        assert row.endswith(state)


def test_values_of_a_row():
    a = make_result(("clear", "blocked", "weak", "off-line"))
    got = rows(told(a, colour=False, width=100))
    # Expected directions 17, 107, 197, 287; plumes 0.3 degrees on, the last one 11 degrees on.
    assert re.match(r"   1 +17\.3 +12:30 +\+0\.3 ±0\.9 +180\.0 +40% +100% ±6% +✓ clear$", got[0])
    assert re.match(r"   2 +\(107\.0\) +\(3:30\) +- +- +0% +0% +✗ blocked$", got[1])
    assert re.match(r"   3 +197\.3 +6:30 +\+0\.3 ±0\.9 +100\.7 +20% +50% ±6% +▼ weak$", got[2])
    assert re.match(r"   4 +298\.0 +10:00 +\+11\.0 ±0\.9 +79\.3 +40% +98% ±6% +↷ off-line$", got[3])


def test_colour_only_repeats_what_the_words_say():
    a = make_result(ALL_STATES, stray_deg=100.0)
    plain = told(a, colour=False, width=80)
    coloured = told(a, colour=True, width=80)
    assert "\x1b" not in plain
    assert "\x1b[" in coloured
    assert flat(ANSI.sub("", coloured)) == flat(plain)


@pytest.mark.parametrize("variable", ["NO_COLOR", "FORCE_COLOR"])
def test_the_surroundings_do_not_decide_about_colour(monkeypatch, variable):
    monkeypatch.setenv(variable, "1")
    assert "\x1b" not in told(make_result(), colour=False, width=80)
    assert "\x1b[" in told(make_result(), colour=True, width=80)


def test_ascii_only():
    a = make_result(ALL_STATES, file="Düse – №3.jpg", marks=(Mark(
        kind="splash", x_mm=1.0, y_mm=2.0, area_mm2=3.0),))  # fmt: skip
    text = told(a, colour=False, width=90, ascii_only=True)
    assert text.isascii()
    assert "11.0 deg clockwise" in flat(text)
    assert [row.split()[-1] for row in rows(text)] == list(ALL_STATES)


def test_hostile_names_are_inert():
    a = make_result(file="a\x1b[2J\nPASS\r\u202e.jpg", name="[red]x[/red]\x07")
    text = told(a, colour=False, width=80)
    assert not set("\x1b\r\x07\u202e") & set(text)
    assert "[red]x[/red]?" in text
    assert not any(line.startswith("PASS") for line in text.splitlines())


def test_millimetres_only_with_a_known_scale():
    known = told(make_result(), colour=False, width=120)
    unknown = told(make_result(scale_known=False), colour=False, width=120)
    assert "reach mm" in known
    assert re.search(r"Centre known to ± \d\.\d mm", known)
    assert "reach mm" not in unknown
    assert not re.search(r"\d\s*mm", unknown)
    assert re.search(r"Centre known to ± \d+ photo pixels", unknown)


def test_findings_say_what_to_do_and_why_once():
    a = make_result(("blocked", "clear", "clear", "blocked", "clear"))
    text = flat(told(a, colour=False, width=100))
    assert text.count(KINDS["hole-blocked"].next_step) == 1
    assert "2. Hole 4: blocked Hole 4 left no spray" in text
    assert "Do as under 1." in text
    assert text.count("May come from: deposit or dirt in the hole") == 1


def test_no_findings_no_heading():
    text = told(make_result(("clear",) * 3), colour=False, width=80)
    assert "What was found" not in text


def test_flags_are_told_in_plain_words_and_not_twice():
    a = make_result(("clear", "clear", "weak"), scale_known=False)
    card = dataclasses.replace(a.card, flags=(flags.NO_SCALE, flags.OBLIQUE))
    catalogue = dataclasses.replace(
        a.catalogue, flags=((), (flags.UNDER_PRINT,), (flags.AT_SHEET_EDGE,))
    )
    a = with_parts(a, card=card, catalogue=catalogue)
    text = flat(told(a, colour=False, width=100))
    assert "The camera looked at the card from the side." in text
    assert "Hole 2: print or handwriting crosses the plume." in text
    assert FLAGS[flags.NO_SCALE] not in text
    assert text.count("The size of the sheet is not known") == 1


def test_a_sheet_asked_for_beside_the_cards_print_is_told():
    for asked, noted in (("a5\x1b", (flags.SHEET_AS_PRINTED,)), ("", ())):
        card = make_result().card
        card = dataclasses.replace(card, printed=printed_facts(sheet_asked=asked), flags=noted)
        a = with_parts(make_result(), card=card)
        text = flat(told(a, colour=False, width=100))
        assert ("Target card A4, not a5? as asked for: 12 of 12 markers" in text) == bool(asked)
        assert ("Target card A4: 12 of 12 markers" in text) == (not asked)
        assert ("what the print says was taken." in text) == bool(asked)


def test_merged_plumes_give_no_value_of_a_single_hole():
    a = make_result(("unsure", "unsure", "clear", "clear"), merge_first_two=True)
    got = rows(told(a, colour=False, width=100))
    assert got[0].endswith("? merged")
    assert "200%" not in got[0]
    assert got[2].endswith("clear")


def test_a_pattern_that_does_not_fit_lists_plumes_not_holes():
    a = make_result(("unsure",) * 4, findings=NO_FIT)
    text = told(a, colour=False, width=80)
    assert re.search(r"^plume +direction", text, re.MULTILINE)
    assert "unsure" not in text
    assert "Count the holes in the nozzle tip" in flat(text)


def test_no_plumes_at_all():
    text = told(make_result(("blocked",) * 3), colour=False, width=80)
    assert text.startswith("FAIL  0 of 3 clear")
    assert "Directions ±" not in text


def test_marks_are_counted_in_words():
    marks = tuple(Mark(kind=k, x_mm=0.0, y_mm=0.0, area_mm2=4.0) for k in ("drop", "drop", "drip"))
    text = flat(told(make_result(marks=marks), colour=False, width=80))
    assert "not counted as spray: 2 drops, 1 drip." in text


def test_caution_and_aid_close_every_report():
    for states in (("clear",) * 3, ("unsure",) * 3):
        text = flat(told(make_result(states), colour=False, width=70))
        assert "surgical emergency" in text
        assert text.endswith(AID)
