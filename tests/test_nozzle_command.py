from __future__ import annotations

import json
import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image

from spraycheck.cli.main import main
from spraycheck.judge.layout import Layout
from spraycheck.nozzles.nozzle_library import EXAMPLES
from spraycheck.nozzles.read import read_nozzle
from spraycheck.report.nozzle_dial import text_dial

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command with settings of its own; gives exit code, stdout and stderr."""
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("APPDATA", str(tmp_path))
    monkeypatch.delenv("XDG_CONFIG_HOME", raising=False)
    monkeypatch.delenv("SPRAYCHECK_NOZZLES", raising=False)
    monkeypatch.setenv("COLUMNS", "100")

    def run(*arguments: object) -> tuple[int, str, str]:
        code = main([str(argument) for argument in arguments])
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return run


def test_list_names_every_nozzle_and_where_it_is_from(tmp_path: Path, run: Run) -> None:
    own = tmp_path / "own"
    own.mkdir()
    (own / "even-4.toml").write_text('name = "mine"\nholes = 4\n[limits.tilt_deg]\noff = true\n')
    (own / "broken.toml").write_text("holes = 99\n")
    code, out, _ = run("nozzle", "list", "--nozzles", own)
    lines = out.splitlines()
    assert code == 0
    assert [line.split()[0] for line in lines[1:4]] == ["broken", "even-4", "even-3"]
    assert "cannot be used: spraycheck nozzle check" in lines[1]
    assert lines[2].split() == ["even-4", "holes", "4", "own", "--nozzles", "mine"]
    assert any(line.split()[:4] == ["pintle", "pintle", "-", "default"] for line in lines)
    assert lines[-1] == f"--nozzles: {own}"


def test_show_tells_holes_limits_and_notes(tmp_path: Path, run: Run) -> None:
    code, out, _ = run("nozzle", "show", "slanted-5", "--png", tmp_path / "s.png")
    assert code == 0
    for said in (
        "five holes at a slant (invented example)", "axis angle", "0° is the dowel", "70.0",
        "direction_deg *", "closer on direction", "settings to be agreed", "104%",
    ):  # fmt: skip
        assert said in out
    with Image.open(tmp_path / "s.png") as image:
        assert image.format == "PNG"
        assert min(image.size) > 500
    even = run("nozzle", "show", "even-4")[1]
    assert "Opens at 2800 psi, 193 bar (common practice, no source)." in even
    assert "Seat held at 2500 psi, 172 bar" in even
    assert "direction_deg " in even
    assert "*" not in even
    code, out, _ = run("nozzle", "show", EXAMPLES / "pintle.toml")
    assert code == 0
    assert "one central spray: hollow, full angle 12°" in out
    assert "ellipse_low_ratio" in out


def test_show_refuses_what_it_cannot_draw(tmp_path: Path, run: Run) -> None:
    for arguments, said in (
        (("pintle", "--png", tmp_path / "p.png"), "one central spray"),
        (("even-4", "--png", tmp_path / "p.pdf"), "expected .png"),
        (("even-4", "--png", tmp_path / "no/p.png"), "there is no folder"),
        (("even-44",), "did you mean even-4"),
        (("../even-4",), "is no name"),
    ):
        code, out, err = run("nozzle", "show", *arguments)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1


def test_the_dial_shows_where_holes_point() -> None:
    layout = Layout(name="x", azimuth_deg=(0.0, 90.0, 225.0))
    lines = text_dial(layout, ascii_only=True).splitlines()
    rows = {mark: n for n, line in enumerate(lines) for mark in "123+" if mark in line and n}
    cols = {mark: lines[row].index(mark) for mark, row in rows.items()}
    assert rows["1"] < rows["2"] == rows["+"] < rows["3"]
    assert cols["3"] < cols["1"] == cols["+"] < cols["2"]
    steep = Layout(name="x", azimuth_deg=(0.0, 90.0, 225.0), axis_angle_deg=(75.0, 60.0, 75.0))
    (line,) = [line for line in text_dial(steep).splitlines() if "2" in line and "⊕" in line]
    assert line.index("2") < cols["2"]
    assert text_dial(steep, ascii_only=True).isascii()


@pytest.mark.parametrize(
    ("options", "kind", "holes"),
    [
        (["--holes", 6], "holes", 6),
        (["--holes", 7, "--slanted"], "holes", 7),
        (["--kind", "pintle"], "pintle", 0),
        (["--kind", "single-hole"], "single-hole", 0),
    ],
)
def test_new_writes_a_file_that_is_read_and_checked(
    tmp_path: Path, run: Run, options: list[object], kind: str, holes: int
) -> None:
    code, out, err = run("nozzle", "new", 'Lorry "A" ü', *options)
    assert (code, err) == (0, "")
    path = Path(out.strip())
    assert path.is_relative_to(tmp_path)
    assert path.name == 'Lorry "A" ü.toml'
    nozzle = read_nozzle(path)
    assert (nozzle.name, nozzle.kind) == ('Lorry "A" ü', kind)
    if holes:
        assert nozzle.layout.azimuth_deg == pytest.approx(
            Layout.evenly_spread(holes).azimuth_deg, abs=0.05
        )
    assert max(map(len, path.read_text().splitlines())) <= 100
    assert run("nozzle", "check")[0] == 0
    before = path.read_text()
    code, _, err = run("nozzle", "new", 'Lorry "A" ü', *options)
    assert code == 2
    assert "is there already" in err
    assert path.read_text() == before


def test_what_new_suggests_in_remarks_is_right_when_uncommented(tmp_path: Path, run: Run) -> None:
    for options in (["--holes", 4, "--slanted"], ["--kind", "pintle"]):
        path = Path(run("nozzle", "new", "x", *options, "--nozzles", tmp_path)[1].strip())
        text = path.read_text()
        lines = [
            line[2:] if re.match(r"# (\[[\w.]+\]|\w+ = )", line) else line
            for line in text.splitlines()
        ]
        uncommented = "\n".join(lines)
        assert uncommented.count("\nvalue = ") == 3
        path.write_text(uncommented)
        nozzle = read_nozzle(path)
        assert nozzle.opening is not None
        assert nozzle.limits is not None
        path.unlink()


def test_new_refuses_impossible_wishes(tmp_path: Path, run: Run) -> None:
    for arguments, said in (
        (("x",), "neither --holes nor --kind given"),
        (("x", "--holes", 2), "from 3 to 16"),
        (("x", "--kind", "pintle", "--holes", 4), "expected one of them"),
        (("x", "--kind", "pintle", "--slanted"), "expected one of them"),
        (("../x", "--holes", 4), "is no name"),
        (("x", "--holes", 4, "--nozzles", tmp_path / "gone"), "is no folder"),
        (("x" * 300, "--holes", 4), "cannot be written"),
    ):
        code, out, err = run("nozzle", "new", *arguments)
        assert (code, out) == (2, "")
        assert said in err
        assert err.count("\n") == 1


def test_check_tells_everything_in_a_folder(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "n"
    folder.mkdir()
    (folder / "good.toml").write_text("holes = 4\n")
    (folder / "bad.toml").write_text("holes = 44\nnome = 'x'\n")
    (folder / "worse.toml").write_text("holes = \n")
    (folder / "limits.toml").write_text("[tilt_deg]\nvalue = 300\n")
    os.symlink("/etc/hostname", folder / "leak.toml")
    (folder / "remark.txt").write_text("not a nozzle")
    code, out, err = run("nozzle", "check", folder)
    assert (code, err) == (2, "")
    lines = out.splitlines()
    assert f"nozzle file '{folder}/bad.toml', line 1: holes is 44" in out
    assert f"nozzle file '{folder}/bad.toml', line 2: unknown key 'nome'" in out
    assert f"nozzle file '{folder}/worse.toml', line 1: 'holes =' is not understood" in out
    assert out.count(f"limits file '{folder}/limits.toml', line ") == 3
    assert "leads out of its folder" in out
    assert "good.toml" not in out
    assert lines[-1] == "5 files checked, 4 with mistakes"
    assert len(lines) == 8
    assert run("nozzle", "check", folder / "good.toml")[:2] == (
        0, "1 file checked, none with mistakes\n",
    )  # fmt: skip
    assert run("nozzle", "check", tmp_path / "gone.toml")[0] == 2
    assert run("nozzle", "check", "--nozzles", folder)[0] == 2
    assert run("nozzle", "check")[:2] == (0, "12 files checked, none with mistakes\n")


def test_check_of_a_layout_file_as_before(tmp_path: Path, run: Run) -> None:
    layout = Path(__file__).parents[1] / "sample_images" / "unequal-layout.toml"
    assert run("nozzle", "check", layout)[0] == 0


def test_show_makes_outside_text_inert(tmp_path: Path, run: Run) -> None:
    (tmp_path / "x.toml").write_text(
        'name = "a\\u001b[31mb"\nholes = 4\nremarks = "c\\u0007\\u202ed"\n'
    )
    code, out, _ = run("nozzle", "show", "x", "--nozzles", tmp_path)
    assert code == 0
    assert "\x1b" not in out
    assert "\x07" not in out
    assert "\u202e" not in out


@pytest.mark.parametrize("arguments", [["nozzle"], ["nozzle", "frob"], ["nozzle", "show"]])
def test_usage_errors_are_one_line(run: Run, arguments: list[str]) -> None:
    code, out, err = run(*arguments)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1


def test_measure_by_name_with_limits_of_the_nozzle_or_the_option(tmp_path: Path, run: Run) -> None:
    photo = Path(__file__).parents[1] / "sample_images" / "blocked-one-of-four.jpg"
    (tmp_path / "mine.toml").write_text(
        'holes = 4\n[limits]\nname = "ours"\n'
        '[limits.tilt_deg]\nvalue = 2\nunit = "deg"\nsource = "agreed"\n'
    )
    limits = tmp_path / "limits"
    limits.write_text('name = "given"\n[stray_frac]\noff = true\n')
    code, out, _ = run("measure", photo, "--nozzle", "mine", "--nozzles", tmp_path, "--json")
    told = json.loads(out)["limits"]
    assert code == 1
    assert told["name"] == "ours"
    assert told["tilt_deg"] == {"value": 2.0, "unit": "deg", "source": "agreed", "off": False}
    code, out, _ = run(
        "measure", photo, "--nozzle", "mine", "--nozzles", tmp_path, "--limits", limits
    )
    assert code == 1
    assert "Limits, given: direction 5°" in " ".join(out.split())
    assert (
        "not held: stray, centre offset, drip. They are settings to be agreed, not a"
        in " ".join(out.split())
    )
    wrong = tmp_path / "central"
    wrong.write_text('kind = "pintle"\n')
    code, out, err = run("measure", photo, "--nozzle", "even-4", "--limits", wrong)
    assert (code, out) == (2, "")
    assert 'expected limits for kind = "holes"' in err
