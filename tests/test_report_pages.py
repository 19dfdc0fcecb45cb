"""The report as HTML and as PDF: the same model, laid out and nothing added."""

from __future__ import annotations

import html
import re
import shutil
import subprocess

import cv2
import pytest
from pages import check_needs_no_network
from report_factory import ALL_STATES, make_result

from spraycheck.errors import PhotoError, SprayNotFoundError
from spraycheck.judge.result import Result, Verdict
from spraycheck.report.html import html_report
from spraycheck.report.looks import LOOKS
from spraycheck.report.model import ReportModel, build_report, build_report_of_error
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.pdf import pdf_report
from spraycheck.report.words import AID, CAUTION
from spraycheck.report.words.labels import STATES


def picture_of(result: Result) -> bytes:
    _, data = cv2.imencode(".png", draw_overlay(result, max_side_px=400)[..., ::-1])
    return bytes(data.tobytes())


def page(report: ReportModel, *pictures: bytes) -> str:
    """The words of the HTML page, in their order."""
    text = re.sub(r"<style>.*?</style>", "", html_report(report, pictures), flags=re.DOTALL)
    return html.unescape(" ".join(re.sub(r"<[^>]+>", " ", text).split()))


def sheet(report: ReportModel, *pictures: bytes) -> str:
    """The words of the PDF, in their order."""
    return " ".join(pages_of(pdf_report(report, pictures, made_with="spraycheck")))


def pages_of(made: bytes) -> list[str]:
    done = subprocess.run(["pdftotext", "-", "-"], input=made, capture_output=True, check=True)
    return [" ".join(one.split()) for one in done.stdout.decode("utf-8").split("\f")[:-1]]


NEEDS_PDFTOTEXT = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs pdftotext")
MEDIA = pytest.mark.parametrize("words_of", [page, pytest.param(sheet, marks=NEEDS_PDFTOTEXT)])


@MEDIA
@pytest.mark.parametrize("verdict", Verdict)
def test_the_verdict_stands_first_and_the_cautions_are_there(words_of, verdict) -> None:
    text = words_of(build_report(make_result(("clear",) * 3, verdict=verdict)))
    assert text.index(verdict.upper()) < text.index("3 of 3 clear")
    assert " ".join(CAUTION.split()) in text
    assert " ".join(AID.split()) in text


@MEDIA
def test_everything_of_the_model_is_told(words_of) -> None:
    report = build_report(make_result(ALL_STATES, stray_deg=100.0))
    text = words_of(report)
    squeezed = text.replace(" ", "")
    for finding in report.findings:
        assert finding.text.replace(" ", "") in squeezed
    for line in report.certainty:
        assert line.replace(" ", "") in squeezed
    for state in ALL_STATES:
        assert f"{LOOKS[state].mark.strip()}{STATES[state]}" in squeezed
    for row in report.tables[0].rows:
        assert row.cells[1].text in text


@MEDIA
def test_a_photo_that_was_not_measured_says_what_to_try(words_of) -> None:
    error = SprayNotFoundError("too-little-card", stage="wetness")
    text = words_of(build_report_of_error("card.jpg", error))
    assert text.index("NOT MEASURED") < text.index("too little of the card can be judged")
    assert "photograph the whole card without glare" in text
    assert "goes through skin" in text
    assert "copy it" in words_of(build_report_of_error("a.jpg", PhotoError("is empty", "copy it")))


def test_a_page_holds_its_pictures_and_fetches_nothing() -> None:
    result = make_result()
    made = html_report(build_report(result), [picture_of(result)])
    assert made.count('<img src="data:image/png;base64,') == 1
    check_needs_no_network(made)
    assert "<img" not in html_report(build_report(result))


def test_names_from_outside_are_no_mark_up() -> None:
    hostile = make_result(file="<b>x</b>.jpg", name='a"><script>alert(1)</script>')
    made = html_report(build_report(hostile))
    assert "<script" not in made
    assert "<b>x</b>" not in made
    assert "&lt;script&gt;" in made


def test_a_sheet_of_paper_is_the_same_for_the_same_report() -> None:
    result = make_result(("off-line", "heavy", "weak", "blocked") * 4)
    picture = picture_of(result)
    first, again = (
        pdf_report(build_report(result), [picture], made_with="spraycheck") for _ in range(2)
    )
    assert first == again
    assert len(re.findall(rb"/Subtype */Image", first)) == 1


@NEEDS_PDFTOTEXT
def test_every_sheet_of_paper_says_the_caution() -> None:
    report = build_report(make_result(("off-line", "heavy", "weak", "blocked") * 4, name="<b>x"))
    pages = pages_of(pdf_report(report, made_with="spraycheck"))
    assert len(pages) >= 2
    assert all("goes through skin" in one for one in pages)
    assert "<b>x" in pages[0]
