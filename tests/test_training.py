"""Demo pictures and the atlas: what they say is on a card is on it, and pages keep to the paper."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import cv2
import pytest
from pages import check_needs_no_network
from refusals import check_refused

from spraycheck import measure_photo
from spraycheck.cli.main import main
from spraycheck.report.words import CAUTION
from spraycheck.train.atlas import Atlas, AtlasPage, Jpeg, building
from spraycheck.train.atlas.pdf import atlas_pdf
from spraycheck.train.lessons.agreement import CardAgreement
from spraycheck.train.lessons.lesson import lessons

FAULTY = ["--holes", "6", "--blocked", "3", "--weak", "5:0.4", "--seed", "7", "--megapixels", "1"]


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "card.jpg"
    assert main(["demo", *FAULTY, "--out", str(path)]) == 0
    return path


def test_a_demo_picture_shows_the_faults_that_were_asked_for(picture: Path) -> None:
    result = measure_photo(picture, holes=6, sheet="a4")
    states = sorted(hole.state for hole in result.holes)
    assert states == ["blocked", "clear", "clear", "clear", "clear", "weak"]
    assert result.verdict == "fail"


def test_the_same_seed_gives_the_same_picture(picture: Path, tmp_path: Path) -> None:
    again, other = tmp_path / "again.jpg", tmp_path / "other.jpg"
    assert main(["demo", *FAULTY, "--out", str(again)]) == 0
    assert main(["demo", *FAULTY, "--seed", "8", "--out", str(other)]) == 0
    assert again.read_bytes() == picture.read_bytes()
    assert (cv2.imread(str(other)) != cv2.imread(str(picture))).any()


def test_the_truth_is_told_as_one_document(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["demo", *FAULTY, "--out", str(tmp_path / "a.jpg"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [hole["state"] for hole in told["truth"]["holes"]].count("blocked") == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--holes", "40"], "40 holes: expected 3 to 16"),
        (["--seed", "x"], "--seed 'x': expected a whole number"),
        (["--holes", "4", "--blocked", "9"], "9"),
        (["--holes", "4", "--blocked", "2", "--weak", "2:0.5"], "2"),
        (["--holes", "4", "--weak", "2:nothing"], "nothing"),
    ],
)
def test_impossible_wishes_are_refused_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], more: list[str], said: str
) -> None:
    out = tmp_path / "card.jpg"
    check_refused(["demo", *more, "--out", str(out)], said, capsys)
    assert not out.exists()


def test_lessons_hold_good_ones_faults_and_look_alikes() -> None:
    found = lessons(1)
    assert {lesson.kind for lesson in found} == {"good", "fault", "look-alike"}
    assert len(found) >= 30
    assert len({lesson.title for lesson in found}) == len(found)


def test_an_atlas_of_three_lessons(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    chosen = [s for s in lessons(1) if s.title in ("Six good holes", "Weak and heavy", "Dribbling")]
    monkeypatch.setattr(building, "lessons", lambda _: tuple(chosen))
    assert main(["atlas", "--out", str(tmp_path), "--quick"]) == 0
    assert "Of 3 cards" in capsys.readouterr().out
    page = (tmp_path / "atlas.html").read_text("utf-8")
    assert CAUTION.split(".")[0] in page
    check_needs_no_network(page)
    data = (tmp_path / "atlas.pdf").read_bytes()
    assert data.startswith(b"%PDF")
    assert len(re.findall(rb"/Type\s*/Page\b", data)) == 4


def test_a_pattern_keeps_to_one_page_however_much_there_is_to_tell(picture: Path) -> None:
    shown = Jpeg(data=picture.read_bytes(), width_px=866, height_px=1155)
    (lesson,) = (one for one in lessons(1) if one.title == "Weak and heavy")
    page = AtlasPage(
        lesson=lesson,
        photo=shown,
        seen=shown,
        answer=CardAgreement(pairs=(), true_verdict="fail", verdict="fail"),
        others=("A drop of 3 mm³.",) * 30,
        reason="hole 1 weak",
    )
    chatty = replace(page, lesson=replace(lesson, steps=lesson.steps * 5))
    for pages in ((page, page), (page, chatty)):
        data = atlas_pdf(Atlas(pages=pages, made_with="test"))
        assert len(re.findall(rb"/Type\s*/Page\b", data)) == 3


def test_an_atlas_needs_a_folder_and_a_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "file"
    taken.write_text("x")
    assert main(["atlas", "--out", str(taken)]) == 2
    assert "cannot be made" in capsys.readouterr().err
    assert main(["atlas", "--out", str(tmp_path / "a"), "--seed", "soon"]) == 2
    assert "soon" in capsys.readouterr().err
