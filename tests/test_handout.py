"""The handout: one page of true size, every caution on it, sketches that show what they say."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from refusals import check_refused
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from spraycheck.cli.main import main
from spraycheck.judge.limits import Limits
from spraycheck.report.handout import PAPERS, Handout, compose_handout
from spraycheck.report.handout.pdf import handout_pdf
from spraycheck.report.handout.sketches import PATTERNS, Pattern
from spraycheck.report.shapes import Polygon, Polyline
from spraycheck.report.words import AID

CAUTIONS = {
    "pressure that breaks skin": r"100 psi.*skin",
    "an emergency without pain": r"surgical emergency even when it does not hurt",
    "hospital": r"hospital at once",
    "eyes": r"eye protection on",
    "cover": r"cover closed and hands out",
    "pressure first": r"pressure released and zero on the gauge before",
    "mist": r"oil mist burns",
    "waste": r"wet cards are combustible waste",
    "never by hand": r"no hand",
    "who decides": r"maker's manual, local rules and licensed practice decide",
    "no certificate": r"an aid, not a certificate",
}


def words(handout: Handout) -> list[str]:
    """Every text of the handout."""
    texts = [handout.title, *handout.cautions, handout.look, *handout.make, *handout.photograph]
    texts += [text for row in handout.verdicts for text in row[1:]]
    texts += [pattern.see for pattern in handout.patterns]
    return [*texts, handout.agreed, handout.aid]


@pytest.mark.parametrize("caution", CAUTIONS)
def test_every_caution_stands_on_it(caution: str) -> None:
    text = " ".join(words(compose_handout()))
    assert re.search(CAUTIONS[caution], text, re.IGNORECASE), caution


def test_the_verdicts_and_the_limits_are_told() -> None:
    handout = compose_handout()
    assert [row[0] for row in handout.verdicts] == ["pass", "fail", "recheck"]
    assert f"{Limits().direction_deg:g}°" in handout.agreed
    assert f"{Limits().area_low_ratio:.0%}" in handout.agreed
    assert "not a standard" in handout.agreed
    assert handout.aid == AID


@pytest.mark.parametrize("paper", PAPERS)
def test_it_is_one_page_of_true_size_with_every_word_drawn_on_it(
    paper: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[tuple[str, float]] = []
    draw = Paragraph.drawOn

    def note(self: Paragraph, canvas: Canvas, x: float, y: float, **more: object) -> None:
        drawn.append((self.getPlainText(), canvas.absolutePosition(x, y)[1]))
        draw(self, canvas, x, y, **more)

    monkeypatch.setattr(Paragraph, "drawOn", note)
    handout = compose_handout(paper.upper())
    data = handout_pdf(handout)
    assert len(re.findall(rb"/Type /Page\b(?!s)", data)) == 1
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", data)
    assert box is not None
    size_mm = [float(side) / 72 * 25.4 for side in box.groups()]
    assert size_mm == pytest.approx(PAPERS[paper], abs=0.1)
    on_page = [text for text, y in drawn if y > 10 / 25.4 * 72]  # above the printer's margin
    assert set(words(handout)) <= set(on_page)
    assert data == handout_pdf(handout)


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext")
def test_its_words_can_be_read_back(tmp_path: Path) -> None:
    out = tmp_path / "handout.pdf"
    assert main(["handout", "--out", str(out)]) == 0
    told = subprocess.run(["pdftotext", out, "-"], capture_output=True, text=True, check=True)
    text = " ".join(told.stdout.split())
    for caution in compose_handout().cautions:
        assert caution in text


# -- sketches


def area(outline: tuple[tuple[float, float], ...]) -> float:
    x, y = np.array(outline).T
    return float(abs(x @ np.roll(y, 1) - y @ np.roll(x, 1)) / 2)


def streaks(pattern: Pattern) -> list[Polygon]:
    stains = [shape for shape in pattern.shapes() if isinstance(shape, Polygon)]
    return [stain for stain in stains if area(stain.points) > 0.01]


def by_title(title: str) -> Pattern:
    return next(pattern for pattern in PATTERNS if pattern.title == title)


@pytest.mark.parametrize(
    ("title", "count"),
    [("Good", 6), ("Blocked", 5), ("Weak", 6), ("Stray", 7), ("Dribble", 7), ("Askew", 6)],
)
def test_a_sketch_shows_as_many_stains_as_it_says(title: str, count: int) -> None:
    assert len(streaks(by_title(title))) == count


def test_a_weak_and_a_heavy_streak_have_their_share_of_area() -> None:
    good = {round(area(s.points), 6) for s in streaks(by_title("Good"))}
    assert len(good) == 1
    (healthy,) = good
    for title, pick in (("Weak", min), ("Heavy", max)):
        pattern = by_title(title)
        odd = pick(area(s.points) for s in streaks(pattern))
        assert odd / healthy == pytest.approx(*pattern.flows.values(), rel=1e-5)


def test_a_leaning_streak_is_turned_out_of_its_dashes() -> None:
    pattern = by_title("Off-line")
    (dashes,) = (shape for shape in pattern.shapes() if isinstance(shape, Polyline))

    def direction(points: tuple[tuple[float, float], ...]) -> float:
        x, y = np.mean(points, axis=0)
        return math.degrees(math.atan2(x, -y))

    away = [direction(s.points) - direction(dashes.points[:-1]) for s in streaks(pattern)]
    assert min(away, key=abs) == pytest.approx(17.0, abs=1e-6)


def test_no_sketch_leaves_its_square() -> None:
    for pattern in PATTERNS:
        for shape in pattern.shapes():
            assert np.abs(np.array(shape.points)).max() < 1.55, pattern.title


# -- mistakes


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--out", "handout.png"], "expected .pdf"),
        (["--out", "nowhere/handout.pdf"], "there is no folder 'nowhere'"),
        (["--out", "h.pdf", "--paper", "a3"], "expected one of a4, letter"),
        (["--out", "folder.pdf"], "cannot be written"),
        ([], "--out"),
    ],
)
def test_a_mistake_is_told_in_one_line_and_nothing_written(
    options: list[str],
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder.pdf").mkdir()
    check_refused(["handout", *options], said, capsys)
    assert [path.name for path in tmp_path.iterdir()] == ["folder.pdf"]


def test_a_file_of_the_same_name_is_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "wall.PDF"
    out.write_text("old", encoding="utf-8")
    assert main(["handout", "--out", str(out), "--paper", "Letter"]) == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert capsys.readouterr().out == f"{out}\n"
