"""Batches of nozzles with one central spray, by themselves and mixed with others."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from shutil import copyfile
from typing import Any

import pytest
from batch_tools import rows_of
from PIL import Image

from spraycheck.batch.columns import photo_row
from spraycheck.batch.scoring import Settings
from spraycheck.cli.main import main
from spraycheck.judge.limits import AxialLimits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.simulate import Camera, Paper, SprayShot, SyntheticNozzle, draw_card, photograph

SAMPLES = Path(__file__).parents[1] / "sample_images"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A filled spray, one that goes aside, and a card of a nozzle with holes."""
    folder = tmp_path_factory.mktemp("archive")
    nozzle = SyntheticNozzle.pintle(kind="solid", half_cone_deg=9)
    paper = Paper.stock("office", width_mm=148.0, height_mm=210.0)
    for name, foot in (("sound", (0.0, 0.0)), ("aside", (14.0, -6.0))):
        shot = SprayShot(volume_mm3=40.0, height_mm=70.0)
        card = draw_card(nozzle, shot, paper, seed=4, foot_mm=foot, cell_mm=0.4)
        picture = photograph(card, Camera(width_px=700, height_px=930), seed=4)
        Image.fromarray(picture.rgb).save(folder / f"{name}.jpg", quality=93)
    copyfile(SAMPLES / "blocked-one-of-four.jpg", folder / "holes.jpg")
    (folder / "table.csv").write_text("file,holes\nholes.jpg,4\n")
    return folder


def run(archive: Path, out: Path, *more: str) -> tuple[list[dict[str, Any]], str]:
    """Run a batch; give its records and the table of photos."""
    asked = ["--single-hole", "--aim", "centre", "--manifest", str(archive / "table.csv")]
    assert main(["batch", str(archive), *asked, "--out", str(out), *more]) == 0
    lines = (out / "records.jsonl").read_text().splitlines()
    return [json.loads(line) for line in lines], (out / "photos.csv").read_text()


@pytest.fixture(scope="module")
def serial(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The outcome of one process."""
    out = tmp_path_factory.mktemp("serial") / "out"
    run(archive, out, "--jobs", "0")
    return out


def test_central_sprays_and_holes_share_an_archive(archive: Path, serial: Path) -> None:
    found, table = run(archive, serial, "--jobs", "0")
    results = {Path(r["file"]).stem: r["result"] for r in found}
    verdicts = {name: result["verdict"] for name, result in results.items()}
    assert verdicts == {"holes": "fail", "aside": "fail", "sound": "pass"}
    assert results["sound"]["schema"] == "spraycheck.central/1"
    assert results["holes"]["schema"] == "spraycheck.assessment/1"
    rows = {Path(row["file"]).stem: row for row in csv.DictReader(table.splitlines())}
    assert [rows[name]["kind"] for name in ("sound", "holes")] == ["single-hole", "holes"]
    assert float(rows["sound"]["ellipse_ratio"]) > 0.9
    assert float(rows["sound"]["offset_ratio_u"]) > 0
    assert float(rows["aside"]["offset_ratio"]) > 0.3 > float(rows["sound"]["offset_ratio"])
    assert "central-off-centre" in rows["aside"]["findings"]
    assert rows["sound"]["holes_expected"] == rows["holes"]["ellipse_ratio"] == ""
    holes = (serial / "holes.csv").read_text().splitlines()
    assert len(holes) == 5  # four holes of the one nozzle that has any
    page = (serial / "contact-sheet.html").read_text()
    assert "all limits kept" in page
    assert page.count("data:image/jpeg") == 3


def test_the_middle_of_either_kind_has_its_uncertainty_in_one_column(serial: Path) -> None:
    lines = (serial / "records.jsonl").read_text().splitlines()
    for record in map(json.loads, lines):
        middle = record["result"].get("centre") or record["result"]["patch"]
        middle["centre_u_mm" if "patch" in record["result"] else "u_mm"] = 0.625
        assert photo_row(record)["centre_u_mm"] == 0.625
    assert len(lines) == 3


def test_nothing_is_measured_twice_unless_the_aim_is_another(archive: Path, serial: Path) -> None:
    kept = rows_of(serial)
    run(archive, serial, "--jobs", "0")
    assert rows_of(serial) == kept
    assert len(kept) == 3
    moved = digest("centre"), digest((3.0, 0.0)), digest(None)
    assert len(set(moved)) == 3


def digest(aim: str | tuple[float, float] | None) -> bytes:
    nozzle = AxialNozzle.single_hole()
    return Settings(layout=nozzle, limits=AxialLimits(), aim=aim).digest


def test_workers_give_what_one_process_gives(archive: Path, serial: Path, tmp_path: Path) -> None:
    assert run(archive, tmp_path / "out", "--jobs", "1") == run(archive, serial, "--jobs", "0")


def test_an_aim_for_holes_is_refused(
    tmp_path: Path, archive: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["batch", str(archive), "--holes", "4", "--aim", "centre"]
    assert main([*asked, "--out", str(tmp_path / "out")]) == 2
    assert "has holes, expected a pintle or single-hole nozzle" in capsys.readouterr().err
