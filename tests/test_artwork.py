"""The card's design data and its label."""

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from spraycheck.card.spec import CardSpec, parse_printed_length
from spraycheck.card.target import (
    CARD_VERSION,
    CARDS,
    MAX_LABEL,
    artwork,
    inert,
    make_label,
    parse_label,
)
from spraycheck.errors import InputError

PAPERS = sorted(CARDS)


@pytest.mark.parametrize("paper", PAPERS)
def test_markers_stand_along_all_four_edges(paper):
    card = CARDS[paper]
    assert len(card.markers) >= 10
    x, y = card.width_mm / 2, card.height_mm / 2
    near = {
        "left": sum(-x + 20 > m.x_mm for m in card.markers),
        "right": sum(x - 20 < m.x_mm for m in card.markers),
        "top": sum(-y + 20 > m.y_mm for m in card.markers),
        "bottom": sum(y - 20 < m.y_mm for m in card.markers),
    }
    assert min(near.values()) >= 3
    for marker in card.markers:  # printers leave some 5 mm white (from memory)
        box = marker.box()
        assert max(abs(box.left), abs(box.right)) <= x - 5.5
        assert max(abs(box.top), abs(box.bottom)) <= y - 5.5


def test_no_id_is_used_twice_on_any_card():
    numbers = [m.number for card in CARDS.values() for m in card.markers]
    assert len(set(numbers)) == len(numbers)


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_solid_lies_in_the_free_circle(paper):
    card = CARDS[paper]
    solid = [m.box() for m in card.markers]
    solid += [card.qr, card.index, card.head, card.foot, card.caption, *card.numbers]
    for box in solid:
        x = max(box.left, -box.right, 0.0)
        y = max(box.top, -box.bottom, 0.0)
        assert math.hypot(x, y) >= card.free_mm - 2.5  # the arcs' numbers reach a little inside


@pytest.mark.parametrize("paper", PAPERS)
def test_check_lines_are_a_hundred_millimetres_along_both_axes(paper):
    ends = [s.points for s in CARDS[paper].strokes if s.grey == 0 and len(s.points) == 2]
    lengths = sorted((abs(b[0] - a[0]), abs(b[1] - a[1])) for a, b in ends)
    assert (100.0, 0.0) in lengths
    assert (0.0, 100.0) in lengths


def test_a_label_comes_back_from_its_payload():
    label = make_label("A4", job="J 20/41: a_~b%", injector="Zyl. 3 é")
    assert label.version == CARD_VERSION
    assert (label.job, label.injector) == ("J 20/41: A_~B%", "ZYL. 3 É")
    assert parse_label(label.payload()) == label
    assert label.payload().count(":") == 4  # as before nozzles had names
    named = make_label("a4", job="J", nozzle="Lorry  A é")
    assert named.nozzle == "LORRY A É"
    assert parse_label(named.payload()) == named


@given(st.text(max_size=MAX_LABEL), st.text(max_size=MAX_LABEL))
def test_any_label_that_is_accepted_survives(job, injector):
    try:
        label = make_label("a5", job=job, injector=injector)
    except InputError:
        return
    payload = label.payload()
    # The QR code's compact alphabet, ISO/IEC 18004 table 5.
    assert set(payload) <= set("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
    assert parse_label(payload) == label


@given(st.text())
@example("0" * (MAX_LABEL - 1) + " 0")  # cut right behind a space
def test_text_from_a_code_is_made_inert(text):
    clean = inert(text)
    assert len(clean) <= MAX_LABEL
    assert clean.isprintable()
    assert inert(clean) == clean


@pytest.mark.parametrize(
    ("payload", "job"),
    [
        ("SPRAYCHECK:1:A4:%1B[31MRED%07:", "[31MRED"),
        ("SPRAYCHECK:1:A4:<SCRIPT>ALERT(1)</SCRIPT>:", "<SCRIPT>ALERT(1)</SCRIPT>"),
        ("SPRAYCHECK:1:A4:A%E2%80%AEB%00:", "AB"),  # turns the writing direction; ends a C string
        ("SPRAYCHECK:1:A4:%FF%FE:", "??"),
        ("SPRAYCHECK:1:A4:" + "X" * 300 + ":", "X" * MAX_LABEL),
    ],
)
def test_a_hostile_code_shows_as_plain_text(payload, job):
    label = parse_label(payload)
    assert label is not None
    assert label.job == job


@pytest.mark.parametrize(
    "payload", ["", "HTTPS://EXAMPLE.ORG", "SPRAYCHECK:1:A4:JOB", "spraycheck:1:A4::", "S" * 10_000]
)
def test_a_foreign_code_is_none(payload):
    assert parse_label(payload) is None


def test_long_or_unprintable_labels_are_refused():
    with pytest.raises(InputError, match="41 characters, expected at most 40"):
        make_label("a4", job="x" * 41)
    with pytest.raises(InputError, match="cannot be printed"):
        make_label("a4", injector="a\x1b[2Jb")
    with pytest.raises(InputError, match="expected one of a4, letter, a5"):
        artwork("a3")


def test_printed_lengths_are_read_as_people_write_them():
    assert parse_printed_length("98.7") == (98.7, 98.7)
    assert parse_printed_length(" 98,7 x 99.1 mm") == (98.7, 99.1)
    for wrong in ("", "ninety", "-98", "98.7x", "1e2"):
        with pytest.raises(InputError, match="not understood"):
            parse_printed_length(wrong)


@pytest.mark.parametrize("length", [9.87, 89.9, 110.1, math.inf])
def test_a_printed_length_out_of_reason_is_refused(length):
    with pytest.raises(InputError, match="expected 90 to 110"):
        CardSpec(printed_x_mm=length, printed_y_mm=100.0)
