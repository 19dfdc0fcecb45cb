from __future__ import annotations

import math
from pathlib import Path

import pytest

from spraycheck.app.nozzles.files import read_layout
from spraycheck.errors import InputError, LayoutError

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
    with pytest.raises(LayoutError) as caught:
        read_layout(path)
    message = str(caught.value)
    assert f"'{path}', line {line}: " in message
    assert said in message
    assert ", expected " in message
    assert caught.value.hint
    assert "\n" not in message


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
