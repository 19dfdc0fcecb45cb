"""A central spray as document, report and picture, and on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from central_cards import disc, photo_of, wet_map
from judging import judge_patch
from PIL import Image

from spraycheck import measure_photo
from spraycheck.cli.main import main
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Result
from spraycheck.report.document import dumps, result_document
from spraycheck.report.document.schema import schema_text
from spraycheck.report.model import build_report
from spraycheck.report.model.axial import explain_verdict
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.terminal import terminal_report
from spraycheck.report.words import CAUTION
from spraycheck.simulate import Camera, Paper, SprayShot, SyntheticNozzle, draw_card, photograph
from spraycheck.spray.axial.containers import Aim
from spraycheck.spray.axial.measure import measure_axial

VALIDATOR = jsonschema.Draft202012Validator(json.loads(schema_text("central")))
AIM = Aim(x_mm=5.0, y_mm=-8.0, u_mm=0.3, source="given")
SOUND = disc(12, (5.0, -8.0))
FAULTY = disc(12, (15.0, -8.0)) + disc(5, (-30.0, 40.0))
RING = disc(14, (5.0, -8.0)) - disc(8, (5.0, -8.0))


def assess(
    wetness: np.ndarray, *, aim: Aim = AIM, fill: str = "filled", scale: bool = True
) -> Result:
    wet = wet_map(wetness, scale_known=scale)
    return judge_patch(
        measure_axial(wet, aim),
        AxialNozzle(name="n\x1b[31m", kind="pintle", fill=fill),
        AxialLimits(),
        photo=photo_of(wet),
        card=wet.card,
        wetness=wet,
        provenance={"stages": {}},
    )


CASES = {
    "sound": assess(SOUND),
    "faulty": assess(FAULTY),
    "hollow": assess(RING, fill="hollow"),
    "unsure": assess(disc(12, (8.2, -8.0))),
    "no aim, no scale": assess(RING, aim=Aim(), fill="either", scale=False),
}


@pytest.mark.parametrize("name", CASES)
def test_documents_keep_to_their_schema(name: str) -> None:
    document = json.loads(dumps(result_document(CASES[name])))
    VALIDATOR.validate(document)
    assert document["verdict"] == CASES[name].verdict
    assert len(document["judged"]) == 10


def test_the_schema_is_valid_and_describes_every_value() -> None:
    schema = json.loads(schema_text("central"))
    jsonschema.Draft202012Validator.check_schema(schema)
    patch = result_document(CASES["sound"])["patch"]
    assert set(patch) == set(schema["$defs"]["PatchEntry"]["properties"])


def test_without_a_scale_nothing_is_given_in_mm() -> None:
    document = result_document(CASES["no aim, no scale"])
    lengths = [v for k, v in document["patch"].items() if k.endswith(("_mm", "_mm2"))]
    assert lengths
    assert set(lengths) == {None}
    assert document["aim"] is None
    assert " mm" not in terminal_report(
        build_report(CASES["no aim, no scale"]), colour=False, width=100
    ).replace("given in mm", "").replace("For mm", "")


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("ascii_only", [False, True])
def test_reports_say_verdict_values_and_caution(name: str, ascii_only: bool) -> None:
    a = CASES[name]
    text = terminal_report(build_report(a), colour=False, width=80, ascii_only=ascii_only)
    assert text.startswith(a.verdict.upper())
    assert "axis ratio" in text
    assert " ".join(CAUTION.split()) in " ".join(text.split())
    assert "\x1b" not in text
    assert max(len(line) for line in text.splitlines()) <= 80
    if ascii_only:
        assert text.isascii()


def test_the_reason_names_what_decided() -> None:
    assert explain_verdict(CASES["faulty"]) == ["spray beside the patch", "off the aim"]
    assert explain_verdict(CASES["unsure"]) == ["too close to the limit: off the aim"]
    assert "axis ratio" in explain_verdict(CASES["sound"])[0]


@pytest.mark.parametrize("name", CASES)
def test_overlays_are_drawn(name: str) -> None:
    a = CASES[name]
    image = draw_overlay(a, max_side_px=600)
    assert image.dtype == np.uint8
    plain = draw_overlay(CASES["hollow" if name != "hollow" else "sound"], max_side_px=600)
    assert image.shape[1] == plain.shape[1]
    assert image.shape[0] > image.shape[1]
    assert not np.array_equal(image, plain)


# -- whole photographs ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    paper = Paper(width_mm=148, height_mm=210)
    nozzle = SyntheticNozzle.pintle(half_cone_deg=10.0)
    shot = SprayShot(volume_mm3=30, height_mm=70, mist_frac=0.1)
    card = draw_card(nozzle, shot, paper, seed=11, foot_mm=(6.0, -9.0))
    camera = Camera(width_px=900, height_px=1200, obliquity_deg=8, roll_deg=4)
    path = tmp_path_factory.mktemp("central") / "ring.png"
    Image.fromarray(photograph(card, camera, seed=12).rgb).save(path)
    return path


def test_a_photograph_from_the_library(photo: Path) -> None:
    nozzle = AxialNozzle(name="ring", kind="pintle", fill="hollow", full_angle_deg=20.0)
    a = measure_photo(photo, nozzle=nozzle, aim=(6.0, -9.0), sheet="a5", standoff="70")
    assert a.verdict == "pass"
    # The ring's crest lies at 70 tan(10) = 12.3 mm; its wall and soaking reach further.
    assert 24.7 < a.patch.diameter_mm < 34
    assert 20 < a.angles.spray_angle_deg < 28
    assert a.patch.hollow
    assert (a.patch.x_mm, a.patch.y_mm) == pytest.approx((6.0, -9.0), abs=1.0)


def test_the_command_line(photo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    seen = tmp_path / "seen.png"
    asked = ["measure", str(photo), "--pintle", "--sheet", "a5", "--aim=6,-9"]
    assert main([*asked, "--overlay", str(seen)]) == 0
    assert capsys.readouterr().out.startswith("PASS")
    assert seen.exists()
    assert main([*asked, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    VALIDATOR.validate(document)
    assert document["aim"]["source"] == "given"
    # A single hole gives a filled spray; this one is a ring.
    assert main(["measure", str(photo), "--single-hole"]) == 1
    assert "hollow, should be filled" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--pintle", "--single-hole"], "expected one of them"),
        (["--pintle", "--holes", "4"], "expected one of them"),
        (["--holes", "4", "--aim", "centre"], "has holes"),
        (["--pintle", "--aim", "left"], "not understood"),
        (["--pintle", "--combine"], "one central spray"),
        (["--pintle", "--aim=900,0", "--sheet", "a5"], "off the sheet"),
        (["--pintle", "--aim=1,0"], "size of the sheet is not known"),
    ],
)
def test_options_that_do_not_go_together(
    photo: Path, options: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["measure", str(photo), str(photo), *options]) == 2
    assert told in capsys.readouterr().err


def test_the_schema_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["schema", "central"]) == 0
    assert capsys.readouterr().out == schema_text("central")
