"""The command line, with the measurement itself replaced by assessments made by hand."""

from __future__ import annotations

import gc
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from photo_files import encode, exif, scene
from PIL import Image
from refusals import check_refused
from report_factory import make_result

import spraycheck
from spraycheck.cli import exits
from spraycheck.cli.main import build_parser, main
from spraycheck.cli.overlay_files import plan_overlays, write_overlay
from spraycheck.errors import InputError, SprayNotFoundError
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.photo.containers import Photo
from spraycheck.report.document.schema import schema_text

VALIDATOR = jsonschema.Draft202012Validator(json.loads(schema_text()))
STATES = {
    "pass": ("clear",) * 4,
    "fail": ("clear", "blocked", "clear", "clear"),
    "recheck": ("clear", "unsure", "clear", "clear"),
}

Asked = list[dict[str, Any]]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Asked:
    """What was asked of the measurement; the verdict is read off the file's name."""
    calls: Asked = []

    def measure(photo: Photo, **options: Any) -> Result:
        calls.append({"photo": photo, **options})
        name = Path(photo.file).stem
        if name.startswith("blank"):
            raise SprayNotFoundError(
                "found no spray, expected plumes", stage="centre", hint="spray"
            )
        if name.startswith("bug"):
            raise ZeroDivisionError("division by zero")
        verdict = next(v for v in STATES if name.startswith(v))
        return make_result(STATES[verdict], verdict=verdict, file=photo.file)

    monkeypatch.setattr("spraycheck.measuring.measure_photo", measure)
    return calls


@pytest.fixture
def card(tmp_path: Path) -> Callable[..., str]:
    """A photo file of a given name."""

    def make(name: str, kind: str = "jpeg") -> str:
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(encode(scene(), kind, exif(1, taken="2026:11:03 10:22:07")))
        return str(path)

    return make


def one_line(text: str) -> str:
    assert text.endswith("\n")
    assert text.count("\n") == 1, text
    assert "Traceback" not in text
    return text.strip()


# -- what is printed, and the exit code


@pytest.mark.parametrize(("verdict", "code"), [("pass", 0), ("fail", 1), ("recheck", 3)])
def test_one_photo(
    asked: Asked,
    card: Callable[..., str],
    capsys: pytest.CaptureFixture[str],
    verdict: str,
    code: int,
) -> None:
    path = card(f"{verdict}.jpg")
    assert main(["measure", path, "--holes", "4"]) == code
    shown = capsys.readouterr()
    assert verdict.upper() in shown.out
    assert "\x1b" not in shown.out  # no colour into a file or pipe
    assert shown.err == ""
    assert main(["measure", path, "--holes", "4", "--json"]) == code
    shown = capsys.readouterr()
    document = json.loads(shown.out)
    VALIDATOR.validate(document)
    assert document["verdict"] == verdict
    assert shown.err == ""


def test_options_reach_the_measurement(
    asked: Asked, card: Callable[..., str], tmp_path: Path
) -> None:
    layout = tmp_path / "nozzle.toml"
    layout.write_text("".join(f"[[hole]]\nazimuth_deg = {a}\n" for a in (0, 80, 190, 275)))
    path = card("pass.jpg")
    assert main(["measure", path, "--holes", "6"]) == 0
    assert main(["measure", path, "--layout", str(layout), "--sheet", "a5"]) == 0
    first, second = asked
    assert first["photo"].file == path
    assert first["nozzle"] == Layout.evenly_spread(6)
    assert not first["sheet"].size_known
    assert second["nozzle"].azimuth_deg == (0.0, 80.0, 190.0, 275.0)
    assert (second["sheet"].width_mm, second["sheet"].height_mm) == (148.0, 210.0)


@pytest.mark.parametrize(
    ("names", "code"),
    [
        (["pass", "pass2"], 0),
        (["pass", "fail"], 1),
        (["fail", "recheck", "pass"], 3),
        (["fail", "blank"], 3),
        (["fail", "bug", "pass"], 3),
        (["fail", "recheck", "missing"], 2),
        (["missing", "pass"], 2),
    ],
)
def test_exit_code_of_several_photos(
    asked: Asked,
    card: Callable[..., str],
    capsys: pytest.CaptureFixture[str],
    names: list[str],
    code: int,
) -> None:
    paths = [f"{n}.jpg" if n == "missing" else card(f"{n}.jpg") for n in names]
    assert main(["measure", *paths, "--holes", "4", "--json"]) == code
    documents = json.loads(capsys.readouterr().out)
    VALIDATOR.validate(documents)
    assert [d["photo"]["file"] for d in documents] == paths
    assert [d["verdict"] for d in documents] == [
        next((v for v in STATES if n.startswith(v)), None) for n in names
    ]
    assert len(asked) == sum(n != "missing" for n in names)  # the others still ran


def test_worst_of_the_codes() -> None:
    assert exits.worst([0, 1, 3, 2]) == 2
    assert exits.worst([0, 1, 3]) == 3
    assert exits.worst([1, 0]) == 1
    assert exits.worst([0, 0]) == 0


def test_several_reports_follow_each_other(
    asked: Asked, card: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    paths = [card("pass.jpg"), card("blank.jpg"), card("fail.jpg")]
    assert main(["measure", *paths, "--holes", "4"]) == 3
    shown = capsys.readouterr()
    assert shown.out.index("PASS") < shown.out.index("FAIL")
    assert paths[1] not in shown.out
    message = one_line(shown.err)
    assert paths[1] in message
    assert "found no spray, expected plumes; spray" in message


def test_photo_that_cannot_be_measured(
    asked: Asked, card: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = card("blank.jpg")
    assert main(["measure", path, "--holes", "4", "--json"]) == 3
    shown = capsys.readouterr()
    document = json.loads(shown.out)
    VALIDATOR.validate(document)
    assert document["verdict"] is None
    assert document["error"]["stage"] == "centre"
    assert document["photo"]["taken_at"] == "2026-11-03T10:22:07"
    one_line(shown.err)


def test_photo_that_cannot_be_read(
    asked: Asked, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {
        "missing.jpg": None,
        "empty.jpg": b"",
        "ten.jpg": b"0123456789",
        "report.jpg": b"%PDF-1.7\n" + bytes(200),
        "cut.jpg": encode(scene(), "jpeg")[:2500],
        "tiny.png": encode(scene()[:8, :8], "png"),
    }
    for name, data in files.items():
        path = tmp_path / name
        if data is not None:
            path.write_bytes(data)
        assert main(["measure", str(path), "--holes", "4", "--json"]) == 2
        shown = capsys.readouterr()
        document = json.loads(shown.out)
        VALIDATOR.validate(document)
        assert document["error"]["stage"] == "reading"
        assert document["error"]["hint"]
        assert document["photo"]["file"] == str(path)
        message = one_line(shown.err)
        assert name in message
        assert "expected" in message
    assert main(["measure", str(tmp_path), "--holes", "4"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "is a folder" in one_line(shown.err)
    assert asked == []


def test_a_mistake_in_the_program_is_told_in_one_line(
    asked: Asked,
    card: Callable[..., str],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    path = card("bug.jpg")
    assert main(["measure", path, "--holes", "4", "--json"]) == 3
    shown = capsys.readouterr()
    VALIDATOR.validate(json.loads(shown.out))
    assert "ZeroDivisionError: division by zero (test_cli.py line " in one_line(shown.err)
    assert json.loads(shown.out)["error"]["stage"] == "internal"
    monkeypatch.setenv("SPRAYCHECK_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main(["measure", path, "--holes", "4"])


def test_no_command_ends_in_a_traceback(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> str:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("spraycheck.nozzles.write.limits_text", fail)
    assert main(["limits"]) == 3
    shown = capsys.readouterr()
    assert shown.out == ""
    message = one_line(shown.err)
    assert "internal error: ZeroDivisionError: division by zero (test_cli.py line " in message
    assert "please report this" in message
    monkeypatch.setenv("SPRAYCHECK_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        main(["limits"])


# -- usage errors


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--holes", "0"], "found '0', expected a whole number from 3 to 16"),
        (["--holes", "-3"], "found '-3', expected"),
        (["--holes", "40"], "found '40', expected"),
        (["--holes", "2"], "found '2', expected"),
        (["--holes", "four"], "found 'four', expected"),
        (["--holes", "4.5"], "found '4.5', expected"),
        (["--holes"], "expected one argument"),
        ([], "neither --holes nor --layout nor --nozzle given, expected one"),
        (["--holes", "4", "--layout", "x.toml"], "both --holes and --layout given, expected one"),
        (["--layout", "none.toml"], "layout 'none.toml' not found, expected"),
        (["--holes", "4", "--sheet", "a9"], "sheet 'a9' not understood: expected"),
        (["--holes", "4", "--sheet", "5x5"], "expected 20 to 2000 mm"),
        (["--holes", "4", "--overlay", "x.bmp"], "ends in '.bmp', expected .png"),
        (["--holes", "4", "--overlay", "no/such/x.png"], "there is no folder 'no/such'"),
        (["--holes", "4", "--hole", "5"], "unrecognized arguments: --hole 5"),
    ],
)
def test_usage_errors_are_one_line(
    asked: Asked,
    card: Callable[..., str],
    capsys: pytest.CaptureFixture[str],
    options: list[str],
    said: str,
) -> None:
    check_refused(["measure", card("pass.jpg"), *options], said, capsys)
    assert asked == []  # nothing was measured first


def test_a_malformed_layout_names_line_and_key(
    asked: Asked,
    card: Callable[..., str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    layout = tmp_path / "nozzle.toml"
    layout.write_text('name = "x"\n\n[[hole]]\nazimuth = 3\n')
    assert main(["measure", card("pass.jpg"), "--layout", str(layout), "--json"]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    told = shown.err.splitlines()
    assert len(told) == 3  # this key, the missing one, and that one hole is too few
    for line in told:
        assert line.startswith(f"spraycheck: layout '{layout}', line ")
        assert ", expected " in line
    (slip,) = [line for line in told if "'azimuth'" in line]
    assert "line 4: unknown key" in slip
    assert "did you mean azimuth_deg?" in slip


@pytest.mark.parametrize(
    ("arguments", "command"),
    [
        (["measure", "x.jpg", "--holes", "2"], "measure"),
        (["measure", "x.jpg", "--holes", "4", "--nozzle", "x"], "measure"),
        (["compare", "a.jpg", "b.jpg", "--nozzle", "pintle"], "compare"),
        (["batch", "cards", "--holes", "4", "--aim", "centre"], "batch"),
        (["nozzle", "new", "x"], "nozzle new"),
    ],
)
def test_a_usage_error_names_the_help_of_its_command(
    arguments: list[str], command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    told = check_refused(arguments, ", expected ", capsys)
    assert told.startswith(f"spraycheck {command}: ")
    assert told.endswith(f"; see spraycheck {command} --help\n")


@pytest.mark.parametrize("arguments", [[], ["frob"], ["measure"], ["--frob"]])
def test_no_or_unknown_command(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "--help" in one_line(shown.err)


# -- other commands


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"spraycheck {spraycheck.__version__}\n"


def test_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema"]) == 0
    assert capsys.readouterr().out == schema_text()


def test_help_tells_exit_codes_and_safety(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", "--help"]) == 0
    text = capsys.readouterr().out
    assert "PHOTO... (--holes N | --layout FILE | --nozzle NAME" in text
    assert "0 pass, 1 fail, 2 usage or input error, 3 recheck" in text
    assert "surgical emergency" in text
    assert max(map(len, build_parser().format_help().splitlines())) <= 100


# -- overlays


def test_overlay_of_one_photo(asked: Asked, card: Callable[..., str], tmp_path: Path) -> None:
    path = card("fail.jpg")
    for name, kind in (("seen.png", "PNG"), ("seen.jpg", "JPEG")):
        target = tmp_path / name
        assert main(["measure", path, "--holes", "4", "--overlay", str(target)]) == 1
        with Image.open(target) as image:
            assert image.format == kind
            assert image.mode == "RGB"
            assert min(image.size) > 400


def test_overlays_of_several_photos(asked: Asked, card: Callable[..., str], tmp_path: Path) -> None:
    paths = [card("pass.jpg"), card("pass.png", "png"), card("sub/pass.jpg"), card("blank.jpg")]
    before = [Path(p).read_bytes() for p in paths]
    target = tmp_path / "seen"
    assert main(["measure", *paths, "--holes", "4", "--overlay", str(target)]) == 3
    assert sorted(p.name for p in target.iterdir()) == [
        "pass-2-overlay.jpg",
        "pass-3-overlay.jpg",
        "pass-overlay.jpg",
    ]
    assert [Path(p).read_bytes() for p in paths] == before


def test_overlay_never_replaces_a_photo(
    asked: Asked, card: Callable[..., str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    photo, other = card("pass.jpg"), card("pass-overlay.jpg")
    before = Path(photo).read_bytes()
    assert main(["measure", photo, "--holes", "4", "--overlay", photo]) == 2
    assert "is the photo itself" in one_line(capsys.readouterr().err)
    assert asked == []
    link = tmp_path / "link.jpg"
    link.symlink_to(photo)
    assert main(["measure", photo, "--holes", "4", "--overlay", str(link)]) == 2
    # In the photos' own folder, where one of them already has the name an overlay would get.
    assert main(["measure", photo, other, "--holes", "4", "--overlay", str(tmp_path)]) == 0
    assert Path(photo).read_bytes() == Path(other).read_bytes() == before
    assert (tmp_path / "pass-2-overlay.jpg").is_file()
    assert (tmp_path / "pass-overlay-overlay.jpg").is_file()


def test_overlay_file_for_several_photos_is_refused(
    asked: Asked, card: Callable[..., str], capsys: pytest.CaptureFixture[str]
) -> None:
    paths = [card("pass.jpg"), card("fail.jpg")]
    assert main(["measure", *paths, "--holes", "4", "--overlay", "seen.png"]) == 2
    message = one_line(capsys.readouterr().err)
    assert "there are 2 photos, expected a folder" in message
    assert "--overlay 'seen'" in message


def test_overlay_names(tmp_path: Path) -> None:
    assert plan_overlays(["a.jpg"], str(tmp_path / "x.PNG")) == [tmp_path / "x.PNG"]
    assert plan_overlays(["a.jpg"], str(tmp_path)) == [tmp_path / "a-overlay.jpg"]
    folder = tmp_path / "cards 3.11"  # a dot in a folder's name is no ending
    names = [
        p.name for p in plan_overlays(["x/Card.jpg", "y/card.jpg", "card-2.jpg"], f"{folder}/")
    ]
    assert names == ["Card-overlay.jpg", "card-2-overlay.jpg", "card-2-2-overlay.jpg"]
    assert folder.is_dir()
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be made"):
        plan_overlays(["a.jpg", "b.jpg"], str(tmp_path / "file"))


def test_overlay_that_cannot_be_written_keeps_the_result(
    asked: Asked,
    card: Callable[..., str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    path = card("pass.jpg")
    monkeypatch.setattr("PIL.Image.Image.save", full)
    with pytest.raises(InputError, match="No space left"):
        write_overlay(np.zeros((9, 9, 3), np.uint8), tmp_path / "x.png")
    target = str(tmp_path / "x.png")
    assert main(["measure", path, "--holes", "4", "--json", "--overlay", target]) == 2
    shown = capsys.readouterr()
    assert json.loads(shown.out)["verdict"] == "pass"
    assert "No space left" in one_line(shown.err)


# -- the process itself


@pytest.mark.parametrize("photo", ["sample_images/good-eight-holes.jpg", "missing.jpg"])
def test_the_garbage_collector_rests_only_while_modules_are_loaded(photo: str) -> None:
    code = (
        "import gc, sys\n"
        "from spraycheck.cli.main import main\n"
        f"arguments = ['measure', {photo!r}, '--holes', '8', '--json']\n"
        "main(arguments)\n"
        "print(gc.isenabled(), gc.get_freeze_count() > 10_000, file=sys.stderr)\n"
        "before = gc.get_freeze_count()\n"
        "main(arguments)\n"
        "print(gc.get_freeze_count() <= before, file=sys.stderr)\n"
    )
    command = [sys.executable, "-c", code]
    root = Path(__file__).parents[1]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=root, check=True)
    told = [line for line in done.stderr.splitlines() if not line.startswith("spraycheck: ")]
    assert told == ["True True", "True"]


def test_the_garbage_collector_is_back_after_a_usage_error(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["measure", "x.jpg", "--layout", "missing.toml"]) == 2
    assert gc.isenabled()
    capsys.readouterr()


def test_ctrl_c_is_no_traceback(
    card: Callable[..., str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("spraycheck.photo.read_photo", stop)
    assert main(["measure", card("pass.jpg"), "--holes", "4"]) == 130
    assert one_line(capsys.readouterr().err) == "spraycheck: stopped"


def test_module_runs_and_a_closed_pipe_is_no_error() -> None:
    command = [sys.executable, "-m", "spraycheck", "schema"]
    whole = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    assert whole.stdout == schema_text()
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        errors = process.stderr.read()
        code = process.wait(timeout=60)
    assert errors == b""
    assert code == 141
