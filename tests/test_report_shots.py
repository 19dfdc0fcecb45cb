"""``measure --combine``, ``--same-card`` and ``compare`` as their users meet them."""

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from PIL import Image

from spraycheck.cli.main import main
from spraycheck.judge.shots import combine_shots, compare_cards
from spraycheck.report.document.schema import schema_text
from spraycheck.report.model import build_report
from spraycheck.report.overlay.changes import AFTER, BEFORE, draw_comparison
from spraycheck.report.terminal import terminal_report
from spraycheck.simulate.camera import Camera
from spraycheck.simulate.card import draw_card
from spraycheck.simulate.nozzle import SyntheticNozzle
from spraycheck.simulate.photo import photograph
from spraycheck.simulate.shot import SprayShot
from tests.test_combination import PRINTED, SOUND, WEAK, shot

CAMERA = Camera(width_px=700, height_px=930)


@pytest.fixture(scope="module")
def photos(tmp_path_factory):
    """Files: two shots of a nozzle with a weak hole (one twice), one of it cleaned."""
    folder = tmp_path_factory.mktemp("shots")
    sound = SyntheticNozzle.evenly(5, first_deg=20.0)
    weak = sound.with_flow(2, 0.55)
    wanted = {
        "one": (weak, 1, 0),
        "again": (weak, 1, 9),
        "two": (weak, 2, 0),
        "clean": (sound, 3, 0),
    }
    found = {}
    for name, (nozzle, seed, roll) in wanted.items():
        card = draw_card(nozzle, SprayShot(), seed=seed, foot_mm=(4.0, -6.0), cell_mm=0.4)
        picture = photograph(card, replace(CAMERA, roll_deg=float(roll)), seed=seed + roll)
        found[name] = str(folder / f"{name}.jpg")
        Image.fromarray(picture.rgb).save(found[name], quality=93)
    return found


def document(capsys, kind):
    found = json.loads(capsys.readouterr().out)
    jsonschema.validate(found, json.loads(schema_text(kind)))
    return found


def test_shots_are_combined_into_one_document(photos, capsys):
    names = [photos["one"], photos["two"]]
    assert main(["measure", *names, "--holes", "5", "--combine", "--json"]) == 1
    found = document(capsys, "combination")
    assert found["verdict"] == "fail"
    assert found["shots"] == 2
    assert found["matching"]["by"] == "pattern"
    assert [hole["state"] for hole in found["holes"]].count("weak") == 1
    assert len(found["photos"]) == 2
    single = [h["area_ratio_u"] for h in found["photos"][0]["holes"] if h["state"] == "weak"]
    both = [h["area_ratio_u"] for h in found["holes"] if h["state"] == "weak"]
    assert both[0] < single[0]


def test_one_card_photographed_twice(photos, capsys):
    names = [photos["one"], photos["again"]]
    assert main(["measure", *names, "--holes", "5", "--same-card"]) == 1
    text = capsys.readouterr().out
    assert "1 shot, 2 photos" in text
    assert "Holes matched by the shape of the wet patches" in " ".join(text.split())


def test_a_photo_of_another_nozzle_is_refused_in_one_document(photos, capsys):
    names = [photos["one"], photos["one"]]
    assert main(["measure", *names, "--holes", "5", "--combine", "--json"]) == 2
    output = capsys.readouterr()
    assert "same photo" in json.loads(output.out)["error"]["message"]
    assert output.err.startswith("spraycheck: ")


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["a.jpg", "--combine"], "1 photo to combine, expected 2 to"),
        (["a.jpg", "b.jpg", "--combine", "--same-card"], "both --combine and --same-card"),
        (["a.jpg", "b.jpg", "--turn", "b.jpg:90"], "need --combine"),
        (["a.jpg", "b.jpg", "--combine", "--turn", "c.jpg:90"], "expected one of the photos"),
        (["a.jpg", "b.jpg", "--combine", "--turn", "b.jpg:nan"], "expected one of the photos"),
        (["a.jpg", "b.jpg", "c.jpg", "--combine", "--photos-per-card", "2"], "whole number"),
    ],
)
def test_options_that_do_not_go_together(options, told, capsys):
    assert main(["measure", *options, "--holes", "5"]) == 2
    assert told in capsys.readouterr().err


def test_a_photo_that_cannot_be_read_ends_it(photos, tmp_path, capsys):
    missing = str(tmp_path / "missing.jpg")
    assert main(["measure", photos["one"], missing, "--holes", "5", "--combine"]) == 2
    output = capsys.readouterr()
    assert output.out == ""
    assert "missing.jpg" in output.err


def test_before_and_after(photos, tmp_path, capsys):
    picture = tmp_path / "both.png"
    options = ["--holes", "5", "--turn", "0", "--overlay", str(picture), "--json"]
    assert main(["compare", photos["one"], photos["clean"], *options]) == 0
    found = document(capsys, "comparison")
    assert [h["change"] for h in found["holes"]].count("better") == 1
    assert found["least_area_ratio"]["sure"]
    with Image.open(picture) as drawn:
        assert drawn.size[0] == 1200


def test_holes_that_cannot_be_matched_are_told(photos, capsys):
    assert main(["compare", photos["one"], photos["clean"], "--holes", "5"]) == 3
    text = " ".join(capsys.readouterr().out.split())
    assert "holes cannot be matched surely; the driest hole wets" in text
    assert "surely better" in text
    assert "goes through skin" in text


def test_the_picture_never_replaces_a_photo(photos, capsys):
    for name in ("one", "clean"):
        options = ["--holes", "5", "--overlay", photos[name]]
        assert main(["compare", photos["one"], photos["clean"], *options]) == 2
        assert "photo itself" in capsys.readouterr().err


# -- reports ---------------------------------------------------------------------------------------


def text_of(result, **options):
    look = {"colour": False, "width": 100, **options}
    return terminal_report(build_report(result), **look)


def test_the_report_names_what_decides():
    intermittent = [shot(f, seed=k, printed=PRINTED) for k, f in enumerate((SOUND, WEAK, SOUND), 1)]
    text = text_of(combine_shots(intermittent))
    assert text.startswith("RECHECK  4 of 5 clear over 3 shots: hole 2 intermittent")
    assert "by the cards' index arrows" in text
    unmatched = text_of(combine_shots([shot((1.0,) * 5, seed=k) for k in (1, 2)]))
    assert unmatched.startswith("PASS  2 shots: furthest off by")
    assert "Holes not matched" in unmatched
    assert "at least over" not in unmatched


def test_the_report_is_plain_where_it_has_to_be():
    result = combine_shots([shot(WEAK, seed=k, file="\x1b[31mred.jpg") for k in (1, 2)])
    text = text_of(result, ascii_only=True, width=60)
    assert text.isascii()
    assert "\x1b" not in text
    compared = terminal_report(
        build_report(compare_cards(*result.together.photos)),
        colour=False,
        width=60,
        ascii_only=True,
    )
    assert compared.isascii()
    assert "\x1b" not in compared


def test_both_patterns_are_in_the_picture(photos):
    from spraycheck import measure_photo

    pair = [measure_photo(photos[name], holes=5, sheet="a4") for name in ("one", "clean")]
    comparison = compare_cards(*pair, turn_deg=0.0)
    picture = draw_comparison(comparison, width_px=800)
    assert picture.shape[1] == 800
    scene = picture[140:760]
    for colour in (BEFORE, AFTER):
        assert (np.abs(scene.astype(int) - colour).max(axis=2) < 12).sum() > 300
    assert build_report(comparison).headline.reason == "hole 2 better; 4 without sure change"
