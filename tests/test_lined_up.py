"""A card lined up with a named feature: asked for, refused, told, and judged."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from test_combination import PRINTED, shot

from spraycheck.batch.expectations import Expectations, PhotoOptions
from spraycheck.batch.manifest import read_manifest
from spraycheck.batch.scoring import Task, score
from spraycheck.cli.main import main
from spraycheck.errors import LayoutError
from spraycheck.judge.layout import Layout
from spraycheck.judge.matching import match_layout
from spraycheck.judge.shots import combine_shots
from spraycheck.report.document.schema import schema_text
from spraycheck.simulate import Camera, SprayShot, SyntheticNozzle, draw_card, photograph

AZIMUTHS = (0.0, 55.0, 130.0, 200.0, 290.0)
DOWEL = Layout(name="invented", azimuth_deg=AZIMUTHS, counts_from="dowel")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A nozzle file and a photo of what it sprays, the card lying right."""
    where = tmp_path_factory.mktemp("lined-up")
    holes = "".join(f"\n[[hole]]\nazimuth_deg = {a}\n" for a in AZIMUTHS)
    (where / "n.toml").write_text(f'name = "invented"\ncounts_from = "dowel"\n{holes}')
    card = draw_card(
        SyntheticNozzle(azimuth_deg=AZIMUTHS), SprayShot(), seed=3, foot_mm=(4.0, -6.0), cell_mm=0.4
    )
    picture = photograph(card, Camera(width_px=700, height_px=930), seed=3)
    Image.fromarray(picture.rgb).save(where / "card.jpg", quality=93)
    return where


def test_document_report_and_provenance_tell_it(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["measure", str(folder / "card.jpg"), "--layout", str(folder / "n.toml")]
    main([*asked, "--json", "--lined-up", "Dowel"])
    told = json.loads(capsys.readouterr().out)
    jsonschema.validate(told, json.loads(schema_text()))
    assert told["lined_up_with"] == "Dowel"
    assert told["provenance"]["lined_up_with"] == "Dowel"
    assert told["layout"]["counts_from"] == "dowel"
    assert [hole["row"] for hole in told["layout"]["holes"]] == [1] * 5
    main([*asked, "--json"])
    plain = json.loads(capsys.readouterr().out)
    assert plain["lined_up_with"] is None
    main([*asked, "--lined-up", "dowel"])
    text = " ".join(capsys.readouterr().out.split())
    assert "lined up with the dowel: the whole pattern is turned by" in text
    main(asked)
    assert "lined up with" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--holes", "5"], "names no feature"),
        (["--layout", "n.toml"], "counts from 'dowel'"),
        (["--pintle"], "one central spray"),
    ],
)
def test_what_cannot_be_lined_up_is_refused_before_a_photo_is_read(
    folder: Path, options: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    options = [str(folder / word) if word.endswith(".toml") else word for word in options]
    assert main(["measure", "missing.jpg", *options, "--lined-up", "notch"]) == 2
    assert said in capsys.readouterr().err


def test_the_feature_must_be_the_one_the_layout_counts_from() -> None:
    DOWEL.check_lined_up("")
    DOWEL.check_lined_up(" DOWEL ")
    with pytest.raises(LayoutError, match="expected that feature"):
        DOWEL.check_lined_up("notch")


def test_a_nozzle_of_two_like_halves_is_turned_as_little_as_may_be() -> None:
    azimuth = np.array([0.0, 50.0, 90.0, 180.0, 230.0, 270.0])
    # A little to the left, which as a turn in [0, 360) lies beyond the half turn.
    seen = np.sort((azimuth - 2.0 + [0.3, -0.3, 0.0, 0.2, 0.0, -0.2]) % 360)
    assert match_layout(seen, azimuth, lined_up=True).rotation_deg == pytest.approx(358, abs=0.5)
    # Negative control: the halves are told apart by nothing else.
    assert match_layout(seen, azimuth).rotation_deg == pytest.approx(178, abs=0.5)
    # Beyond what the halves explain the turn is real.
    turned = np.sort((seen + 62.0) % 360)
    assert match_layout(turned, azimuth, lined_up=True).rotation_deg == pytest.approx(60, abs=0.5)


@pytest.mark.parametrize(("turn", "verdict"), [(1.0, "pass"), (12.0, "fail")])
def test_combined_shots_hold_the_turn_too(turn: float, verdict: str) -> None:
    photos = [
        replace(
            shot(turn=turn, seed=seed, layout=DOWEL, printed=PRINTED),
            provenance={"lined_up_with": "dowel"},
        )
        for seed in (1, 2, 3)
    ]
    together = combine_shots(photos)
    assert together.verdict == verdict
    turned = [f for f in together.findings if f.code == "pattern-turned"]
    assert bool(turned) == (verdict == "fail")
    for finding in turned:
        assert finding.check is not None
        assert math.isclose(finding.check.value, turn, abs_tol=1.0)
    never_said = combine_shots([replace(photo, provenance={}) for photo in photos])
    assert never_said.verdict == "pass"


def test_a_manifest_says_which_cards_were_lined_up(folder: Path) -> None:
    (folder / "m.csv").write_text(
        "file,layout,holes,lined_up\ncard.jpg,n.toml,,dowel\nnone.jpg,n.toml,,\n"
        "wrong.jpg,n.toml,,notch\neven.jpg,,5,dowel\n"
    )
    asking = Expectations(PhotoOptions(), manifest=read_manifest(str(folder / "m.csv")))
    told = {name: asking.of(str(folder / f"{name}.jpg")) for name in ("card", "none", "wrong")}
    assert [one.settings.lined_up for one in told.values()] == ["dowel", "", ""]
    assert "expected that feature" in str(told["wrong"].problem)
    assert "names no feature" in str(asking.of(str(folder / "even.jpg")).problem)
    asked = told["card"].settings
    assert asked.digest != told["none"].settings.digest
    scored = score(Task(file=str(folder / "card.jpg"), settings=asked, pictures=False))
    assert scored.result["lined_up_with"] == "dowel"
