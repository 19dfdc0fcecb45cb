from __future__ import annotations

import math
from pathlib import Path

import pytest
from refusals import check_file_refused

from spraycheck.errors import InputError, LayoutError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.nozzles.model import Pressure
from spraycheck.nozzles.read import read_layout, read_nozzle

FOUR = "".join(f"\n[[hole]]\nazimuth_deg = {a}\n" for a in (0, 80, 190, 275.5))


def write(folder: Path, text: str | bytes, name: str = "nozzle.toml") -> Path:
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def test_a_full_layout(tmp_path: Path) -> None:
    text = 'name = "slanting, five holes"  # from the drawing\n'
    for azimuth, angle in ((-10, 60.5), (62, 66), (134.25, 70), (206, 72), (278, 64)):
        text += f"[[hole]]\nazimuth_deg = {azimuth}\naxis_angle_deg = {angle}\ndiameter_mm = 0.24\n"
    layout = read_layout(write(tmp_path, text))
    assert layout.name == "slanting, five holes"
    assert layout.azimuth_deg == (350.0, 62.0, 134.25, 206.0, 278.0)
    assert layout.axis_angle_deg == (60.5, 66.0, 70.0, 72.0, 64.0)
    assert layout.diameter_mm == (0.24,) * 5
    assert not layout.even


def test_a_layout_without_options(tmp_path: Path) -> None:
    layout = read_layout(str(write(tmp_path, FOUR, "four uneven.toml")))
    assert layout.name == "four uneven"
    assert layout.azimuth_deg == (0.0, 80.0, 190.0, 275.5)
    assert all(math.isnan(v) for v in (*layout.axis_angle_deg, *layout.diameter_mm))


def test_a_drawing_of_the_tip_is_mirrored(tmp_path: Path) -> None:
    plain = read_layout(write(tmp_path, 'seen_from = "injector"\n' + FOUR))
    tip = read_layout(write(tmp_path, 'seen_from = "tip"\n' + FOUR))
    assert plain.azimuth_deg == (0.0, 80.0, 190.0, 275.5)
    assert tip.azimuth_deg == (0.0, 280.0, 170.0, 84.5)


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_editors_of_all_kinds(tmp_path: Path, ending: str) -> None:
    text = "\ufeff" + ('name = "Nº 4 – größer"\n' + FOUR).replace("\n", ending)
    assert read_layout(write(tmp_path, text)).name == "Nº 4 – größer"


def test_inline_tables_are_toml_too(tmp_path: Path) -> None:
    text = "hole = [\n {azimuth_deg = 0},\n {azimuth_deg = 120},\n {azimuth_deg = 250}\n]\n"
    assert read_layout(write(tmp_path, text)).azimuth_deg == (0.0, 120.0, 250.0)


HOLE = "[[hole]]\nazimuth_deg = "


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        # a key or value that does not belong
        ("name = 3\n" + FOUR, 1, "name is 3, expected what the nozzle is called"),
        ("nome = 'x'\n" + FOUR, 1, "did you mean name?"),
        ('\nseen_from = "top"\n' + FOUR, 2, 'the text \'top\', expected "injector" or "tip"'),
        (FOUR + "azimut_deg = 3\n", 13, "did you mean azimuth_deg?"),
        ("azimuth_deg = 10\n" + FOUR, 1, "put azimuth_deg under a line [[hole]]"),
        (FOUR + "\n[[hole]]\ndiameter_mm = 0.2\n", 14, "no azimuth_deg of hole 5"),
        (FOUR.replace("190", '"190"'), 9, "hole 3 is the text '190'"),
        (FOUR.replace("190", "true"), 9, "true"),
        (FOUR.replace("190", "2026-01-02"), 9, "2026-01-02"),
        # values out of range
        (FOUR.replace("190", "nan"), 9, "nan, expected degrees"),
        (FOUR.replace("190", "inf"), 9, "inf, expected degrees"),
        (FOUR.replace("190", "361"), 9, "361, expected degrees"),
        (FOUR + "axis_angle_deg = 150\n", 13, "half of the angle"),
        (FOUR + "axis_angle_deg = 0\n", 13, "above 0 and below 90"),
        (FOUR + "diameter_mm = 240\n", 13, "in mm, for example 0.24"),
        (FOUR + "diameter_mm = nan\n", 13, "is nan"),
        (FOUR + "diameter_mm = -0.2\n", 13, "is -0.2"),
        # holes that do not fit together
        (FOUR + HOLE + "360\n", 14, "the same as that of hole 1"),
        (FOUR + HOLE + "-279.8\n", 14, "the same as that of hole 2"),
        (FOUR + "axis_angle_deg = 70\n", 2, "hole 1 has no axis_angle_deg, but 1 of 4"),
        (HOLE + "0\n" + HOLE + "180\n", 3, "2 holes, expected 3 to 16"),
        ("".join(HOLE + f"{20 * k}\n" for k in range(17)), 33, "17 holes, expected 3 to 16"),
        # no TOML
        ('name = "x"\n' + HOLE + "1,5\n", 3, "decimal point, not a comma"),
        ('name = "x\n' + FOUR, 1, "expected TOML"),
        ("name = “x”\n" + FOUR, 1, "plain quotes"),
        ("[hole]\nazimuth_deg = 1\n[hole]\nazimuth_deg = 2\n", 3, "double brackets"),
        (HOLE + "1\nazimuth_deg = 2\n", 3, "double brackets"),
        ("<html>\n", 1, "expected TOML"),
        # holes that are no holes
        ("[hole]\nazimuth_deg = 1\n", 1, "a single section"),
        ("\nhole = 3\n", 2, "hole is 3"),
    ],
)
def test_a_mistake_is_told_with_its_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    path = write(tmp_path, text)
    check_file_refused(read_layout, path, "layout", line, said)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"", "is empty"),
        (b"  \n\n", "is empty"),
        (b"# nothing but a remark\n", "no hole, expected one [[hole]] section for each hole"),
        (b"hole = [1, 2, 3]\n", "hole number 1 is 1"),
        (b'name = "\xff\xfe"\n', "line 1: not UTF-8"),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "not UTF-8"),
        (b"#" * 200_000, "larger than 100 kB"),
        (b"x = " + b"[" * 5000, "expected TOML"),
    ],
)
def test_a_file_that_is_no_layout(tmp_path: Path, text: bytes, said: str) -> None:
    with pytest.raises(LayoutError) as caught:
        read_layout(write(tmp_path, text))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_no_file(tmp_path: Path) -> None:
    for path, said in (
        (tmp_path / "none.toml", "not found"),
        (tmp_path, "is a folder"),
        ("a\0b", "cannot be read"),
    ):
        with pytest.raises(InputError, match=said):
            read_layout(path)


def test_an_error_survives_a_process_border() -> None:
    import pickle

    error = LayoutError("found this, expected that", "try this")
    again = pickle.loads(pickle.dumps(error))
    assert (again.message, again.hint, str(again)) == (error.message, error.hint, str(error))
    assert str(LayoutError("alone")) == "alone"
    several = pickle.loads(pickle.dumps(LayoutError("first", "try this", ("one", "two"))))
    assert (str(several), several.lines) == ("first; try this", ("one", "two"))


# -- nozzle files


def test_a_whole_nozzle(tmp_path: Path) -> None:
    rows = (1, 2, 1, 2)
    holes = "".join(
        f"[[hole]]\nazimuth_deg = {a}\nrow = {r}\n"
        for a, r in zip((0, 80, 190, 275), rows, strict=True)
    )
    text = (
        'name = "a"\nremarks = "two\\nlines"\n'
        + holes
        + '[opening_pressure]\nvalue = 2800\nunit = "psi"\nsource = "the book"\n'
        + '[seat_hold_pressure]\nvalue = 172\nunit = "bar"\n'
        + '[limits]\nname = "mine"\n'
        + '[limits.direction_deg]\nvalue = 3\nunit = "deg"\nsource = "agreed"\n'
        + "[limits.spacing_deg]\noff = true\n"
    )
    nozzle = read_nozzle(write(tmp_path, text))
    assert nozzle.layout.row == rows
    assert nozzle.kind == "holes"
    assert (nozzle.opening, nozzle.remarks) == (
        Pressure(value=2800.0, unit="psi", source="the book"),
        "two\nlines",
    )
    assert nozzle.opening is not None
    assert nozzle.opening.bar == pytest.approx(193.05, abs=0.01)
    limits = nozzle.limits_under()
    assert isinstance(limits, Limits)
    assert (limits.name, limits.direction_deg, limits.spacing_deg) == ("mine", 3.0, math.inf)
    assert limits.source("direction_deg") == "agreed"
    assert limits.area_low_ratio == Limits().area_low_ratio
    agreed = Limits(name="agreed", direction_deg=2.0)
    assert nozzle.limits_under(agreed) is agreed


def test_a_hole_count_alone(tmp_path: Path) -> None:
    nozzle = read_nozzle(write(tmp_path, "holes = 6\n"))
    assert nozzle.expected == Layout.evenly_spread(6)
    assert nozzle.limits_under() == Limits()
    named = read_nozzle(write(tmp_path, 'name = "six"\nholes = 6\n'))
    assert named.layout.even
    assert named.name == "six"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('kind = "pintle"\n', AxialNozzle.pintle("nozzle")),
        ('kind = "single-hole"\n', AxialNozzle.single_hole("nozzle")),
        (
            'name = "p"\nkind = "pintle"\nfill = "hollow"\nfull_angle_deg = 12\n',
            AxialNozzle(name="p", kind="pintle", fill="hollow", full_angle_deg=12.0),
        ),
    ],
)
def test_a_central_nozzle(tmp_path: Path, text: str, expected: AxialNozzle) -> None:
    path = write(tmp_path, text)
    nozzle = read_nozzle(path)
    # Equal but for the angle that is not known, which is equal to nothing.
    assert repr(nozzle.expected) == repr(expected)
    assert nozzle.kind == expected.kind
    assert nozzle.limits_under() == AxialLimits()
    with pytest.raises(InputError, match="one central spray, expected a nozzle with holes"):
        read_layout(path)
    with pytest.raises(InputError, match=f'expected limits for kind = "{expected.kind}"'):
        nozzle.limits_under(Limits())


def test_central_limits_in_a_nozzle_file(tmp_path: Path) -> None:
    text = 'kind = "pintle"\n[limits.streak_frac]\nvalue = 0.3\nunit = "share"\nsource = "x"\n'
    limits = read_nozzle(write(tmp_path, text)).limits_under()
    assert isinstance(limits, AxialLimits)
    assert limits.streak_frac == 0.3


PRESSURE = "[opening_pressure]\n"


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("holes = 2\n", 1, "holes is 2, expected the number of equal"),
        ("holes = 6.5\n", 1, "holes is 6.5"),
        ('\nholes = "six"\n', 2, "without quotes"),
        ("holes = 4\n" + FOUR, 3, "both holes and hole given"),
        ('holes = 4\ncounts_from = "pin"\n', 2, "both holes and counts_from given"),
        ('kind = "pintel"\n', 1, 'expected "holes", "pintle" or "single-hole"'),
        ('kind = "pintle"\nholes = 4\n', 2, "expected it only for nozzles with holes"),
        ('kind = "pintle"\n' + FOUR, 3, "expected it only for nozzles with holes"),
        ("holes = 4\nfill = 'hollow'\n", 2, "expected it only for pintle or single-hole"),
        ('kind = "pintle"\nfull_angle_deg = 0.2\n', 2, "0.2, expected the full angle"),
        ('kind = "pintle"\nfill = "full"\n', 2, "the text 'full', expected \"hollow\""),
        # rows
        (FOUR + "row = 1\n", 2, "hole 1 has no row, but 1 of 4 holes have"),
        (FOUR.replace("\n[[", "\nrow = 1\n[[")[8:] + "row = 3\n", 16, "no hole is in row 2"),
        (FOUR.replace("\n[[", "\nrow = 1\n[[")[8:] + "row = 0\n", 16, "row of hole 4 is 0"),
        (FOUR.replace("\n[[", "\nrow = 1\n[[")[8:] + "row = 1.5\n", 16, "row of hole 4 is 1.5"),
        # pressures
        ("holes = 4\n" + PRESSURE + "value = 2800\n", 2, "no unit of opening_pressure"),
        ("holes = 4\n" + PRESSURE + 'unit = "psi"\n', 2, "no value of opening_pressure"),
        ("holes = 4\n" + PRESSURE + 'value = 9\nunit = "MPa"\n', 4, 'expected "psi" or "bar"'),
        ("holes = 4\n" + PRESSURE + 'value = 2\nunit = "bar"\n', 3, "from 10 to 2000 bar"),
        ("holes = 4\n" + PRESSURE + 'value = "2800 psi"\nunit = "psi"\n', 3, "without quotes"),
        ("holes = 4\nopening_pressure = 2800\n", 2, "a line [opening_pressure]"),
        (
            "holes = 4\n"
            + PRESSURE
            + 'value = 190\nunit = "bar"\n[seat_hold_pressure]\nvalue = 2800\nunit = "psi"\n',
            6,
            "expected the seat to be held below the opening pressure",
        ),
        # limits
        ("holes = 4\n[limits.direction]\nvalue = 3\n", 2, "did you mean direction_deg?"),
        ("holes = 4\n[limits.direction_deg]\nvalue = 3\n", 2, 'expected "deg"'),
        ("holes = 4\n[limits]\ndirection_deg = 3\n", 3, "a line [limits.direction_deg]"),
        ('kind = "pintle"\n[limits.spacing_deg]\noff = true\n', 2, "unknown key 'spacing_deg'"),
        ("holes = 4\n[[limits]]\nname = 'x'\n", 2, "limits is a list"),
    ],
)
def test_a_mistake_in_a_nozzle_is_told_with_its_line(
    tmp_path: Path, text: str, line: int, said: str
) -> None:
    path = write(tmp_path, text)
    check_file_refused(read_nozzle, path, "nozzle file", line, said)


def test_every_mistake_is_told_once(tmp_path: Path) -> None:
    text = (
        'nome = "x"\n'
        "seen_from = 3\n"
        "[[hole]]\nazimuth_deg = 'ten'\ndiameter_mm = 240\n"
        "[[hole]]\ndiameter_mm = 0.24\nazimut_deg = 90\n"
        "[[hole]]\nazimuth_deg = 180\ndiameter_mm = 0.24\n"
        "[[hole]]\nazimuth_deg = 180.2\ndiameter_mm = 0.24\n"
        '[limits.risk]\nvalue = 5\nunit = "%"\n'
    )
    path = write(tmp_path, text)
    with pytest.raises(LayoutError, match="and 9 more: spraycheck nozzle check") as caught:
        read_nozzle(path)
    lines, told = [1, 2, 4, 5, 6, 8, 13, 15, 16, 17], caught.value.lines
    for line, said in zip(lines, told, strict=True):
        assert said.startswith(f"nozzle file '{path}', line {line}: ")
        assert ", expected " in said
        assert "; " in said  # what to try
    assert "azimuth_deg of hole 1 is the text 'ten'" in told[2]
    assert "no azimuth_deg of hole 2" in told[4]
    assert "same as that of hole 3" in told[6]
    assert "no source of risk" in told[7]
