from __future__ import annotations

import math
from pathlib import Path

import pytest
from refusals import check_file_refused

from spraycheck.cli.main import main
from spraycheck.errors import LayoutError
from spraycheck.judge.limits import AxialLimits, Limits, LimitSet, limit_fields
from spraycheck.nozzles.model import KINDS
from spraycheck.nozzles.read import read_limits, read_nozzle
from spraycheck.nozzles.write import limits_text
from spraycheck.report.document.shared import limits_entry
from spraycheck.report.model.shared import limits_in_words


def write(folder: Path, text: str) -> Path:
    path = folder / "agreed.toml"
    path.write_text(text)
    return path


def section(name: str, value: object, unit: str, source: str = "agreed") -> str:
    return f'[{name}]\nvalue = {value}\nunit = "{unit}"\nsource = "{source}"\n'


@pytest.mark.parametrize("kind", KINDS)
def test_the_printed_defaults_read_back_as_the_defaults(tmp_path: Path, kind: str) -> None:
    limits = read_limits(write(tmp_path, limits_text(kind)))
    default = KINDS[kind]()
    assert type(limits) is type(default)
    for one in limit_fields(type(default)):
        assert getattr(limits, one.name) == getattr(default, one.name)
        assert limits.source(one.name) == default.source(one.name)
        assert limits.unit(one.name) in limits_text(kind)
        assert one.metadata["about"][1:] in limits_text(kind)
    assert "not a standard" in limits_text(kind)


def test_a_file_changes_what_it_names(tmp_path: Path) -> None:
    text = section("direction_deg", 3, "deg", "page 4\\nof the book")
    text += (
        '[area_low_ratio]\noff = true\nsource = "weak is cleaned anyway"\n[drip_frac]\noff = true\n'
    )
    limits = read_limits(write(tmp_path, text))
    assert isinstance(limits, Limits)
    assert limits.name == "agreed"
    assert (limits.direction_deg, limits.area_low_ratio) == (3.0, 0.0)
    assert not limits.held("area_low_ratio")
    assert limits.source("direction_deg") == "page 4 of the book"
    assert limits.source("area_low_ratio") == "weak is cleaned anyway"
    assert limits.source("drip_frac") == "switched off, no reason given"
    assert limits.area_high_ratio == Limits().area_high_ratio


def test_limits_of_central_nozzles(tmp_path: Path) -> None:
    text = 'kind = "single-hole"\n' + section("streak_frac", 0.3, "share")
    limits = read_limits(write(tmp_path, text))
    assert isinstance(limits, AxialLimits)
    assert limits.streak_frac == 0.3


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("[direction]\nvalue = 3\n", 1, "did you mean direction_deg?"),
        ("direction_deg = 3\n", 1, "write it as a section: a line [direction_deg]"),
        ('[direction_deg]\nvalue = "3"\n', 2, "without quotes"),
        ("[direction_deg]\nvalu = 3\n", 2, "did you mean value?"),
        ("\n[direction_deg]\n", 2, "no value of direction_deg, expected a number from 0.5 to 60"),
        ("[direction_deg]\nvalue = 3\nsource = 'x'\n", 1, 'no unit of direction_deg, expected "d'),
        (section("direction_deg", 3, "mm"), 3, "the text 'mm', expected \"deg\""),
        (section("direction_deg", 3, "Deg"), 3, 'write unit = "deg"'),
        (section("direction_deg", 3, "deg", " "), 4, 'write source = "common practice, no source"'),
        (section("direction_deg", 0.1, "deg"), 2, "0.1, expected a number from 0.5 to 60 (deg)"),
        (section("direction_deg", -5, "deg"), 2, "is -5"),
        (section("direction_deg", "inf", "deg"), 2, "or write off = true"),
        (section("direction_deg", "nan", "deg"), 2, "is nan"),
        (section("stray_frac", 4, "share"), 2, "4 % is 0.04"),
        (section("area_low_ratio", 75, "ratio"), 2, "75 % is 0.75"),
        ("[risk]\noff = true\n", 2, "there is no verdict without risk"),
        (section("risk", 0.05, "probability") + "off = true\n", 5, "no verdict without risk"),
        (section("tilt_deg", 3, "deg") + "off = true\n", 5, "both value and off of tilt_deg"),
        ("[tilt_deg]\noff = 'yes'\n", 2, "the text 'yes', expected true, or nothing"),
        ("[tilt_deg]\noff = false\n", 1, "no value of tilt_deg"),
        ('kind = "pintel"\n', 1, "the text 'pintel', expected \"holes\""),
        ("kind = 3\n", 1, "kind is 3"),
        ('kind = "pintle"\n' + section("spacing_deg", 9, "deg"), 2, "unknown key 'spacing_deg'"),
        ("name = 3\n", 1, "name is 3"),
        ("[tilt_deg]\noff = true\n[tilt_deg]\n", 3, "each section once"),
        ("tilt_deg = {value = 3,\n", 1, "expected TOML"),
    ],
)
def test_a_mistake_is_told_with_its_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    path = write(tmp_path, text)
    check_file_refused(read_limits, path, "limits file", line, said)


def test_a_limit_of_an_old_name_is_read_with_a_notice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("spraycheck.nozzles.read.RENAMED_LIMITS", {"old_deg": "tilt_deg"})
    told: list[str] = []
    path = write(tmp_path, "# ours\n" + section("old_deg", 2, "deg"))
    limits = read_limits(path, tell=told.append)
    assert isinstance(limits, Limits)
    assert (limits.tilt_deg, limits.source("tilt_deg")) == (2.0, "agreed")
    assert told == [
        f"limits file '{path}', line 2: old_deg is called tilt_deg now; the old name is still read"
    ]
    # On the command line, and within a nozzle file; the result keeps stdout to itself.
    assert main(["nozzle", "check", str(path)]) == 0
    shown = capsys.readouterr()
    assert shown.out == "1 file checked, none with mistakes\n"
    assert shown.err == f"spraycheck: {told[0]}\n"
    nozzle = tmp_path / "nozzle.toml"
    nozzle.write_text("holes = 4\n[limits.old_deg]\noff = true\n")
    assert read_nozzle(nozzle, tell=told.append).limits == Limits(
        tilt_deg=math.inf,
        name="limits of nozzle",
        sources=(("tilt_deg", "switched off, no reason given"),),
    )
    assert "line 2: old_deg is called tilt_deg now" in told[1]
    # A mistake in it stands where the old name stands; both names at once are one too many.
    for wrong, line, said in (
        (section("old_deg", 200, "deg"), 2, "value of tilt_deg is 200"),
        (section("tilt_deg", 2, "deg") + section("old_deg", 2, "deg"), 5, "unknown key 'old_deg'"),
    ):
        check_file_refused(read_limits, write(tmp_path, wrong), "limits file", line, said)


@pytest.mark.parametrize("kind", [Limits, AxialLimits])
def test_every_limit_is_held_to_its_own_range_and_unit(
    tmp_path: Path, kind: type[LimitSet]
) -> None:
    head = "" if kind is Limits else 'kind = "pintle"\n'
    for one in limit_fields(kind):
        about = one.metadata
        for end in (about["least"], about["most"]):
            text = head + section(one.name, end, about["unit"])
            assert getattr(read_limits(write(tmp_path, text)), one.name) == end
        for beyond in (about["least"] * 0.99, about["most"] * 1.01):
            with pytest.raises(LayoutError) as caught:
                read_limits(write(tmp_path, head + section(one.name, beyond, "inch")))
            assert len(caught.value.lines) == 2  # value and unit, both told


def test_the_document_tells_value_unit_source_and_what_is_off() -> None:
    limits = Limits(direction_deg=3.0, name="ours", sources=(("direction_deg", "agreed"),))
    entry = limits_entry(limits)
    assert entry["name"] == "ours"
    assert entry["direction_deg"] == {
        "value": 3.0, "unit": "deg", "source": "agreed", "off": False,
    }  # fmt: skip
    assert entry["drip_frac"]["value"] is None
    assert entry["drip_frac"]["off"] is True
    assert set(entry) == {"name", *(one.name for one in limit_fields())}
    assert limits_entry(Limits(area_low_ratio=0.0))["area_low_ratio"]["value"] is None


def test_limits_in_words() -> None:
    said = limits_in_words(Limits(name="ours", area_high_ratio=math.inf, width_low_ratio=0.0))
    assert said.startswith("direction 5°, rotation 5°, spacing 10°, area at least 75%, ")
    assert ", width at most 200%, reach 60% to 167%, " in said
    assert said.endswith("; not held: largest area, smallest width, centre offset, drip")
    assert "stray 4%" in said


@pytest.mark.parametrize("kind", KINDS)
def test_the_command_prints_the_file(capsys: pytest.CaptureFixture[str], kind: str) -> None:
    assert main(["limits", "--kind", kind]) == 0
    assert capsys.readouterr().out == limits_text(kind)
