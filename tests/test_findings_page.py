"""The catalogue as a page: every code on it, causes left open, a next step for each."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from pages import check_needs_no_network
from refusals import check_refused
from reportlab.platypus import Paragraph

from spraycheck.cli.main import main
from spraycheck.report.catalogue import NO_CAUSE, Entry, catalogue, catalogue_html
from spraycheck.report.catalogue.examples import EXAMPLES, example_text
from spraycheck.report.catalogue.pdf import catalogue_pdf
from spraycheck.report.catalogue.terminal import catalogue_text
from spraycheck.report.words import AID, CAUTION
from spraycheck.report.words.findings import KINDS, needed
from spraycheck.report.words.photos import PHOTO_ADVICE

ENTRIES = {entry.code: entry for group in catalogue() for entry in group.entries}


@pytest.mark.parametrize("code", KINDS)
def test_every_code_has_an_entry_with_open_causes_and_a_next_step(code: str) -> None:
    entry, kind = ENTRIES[code], KINDS[code]
    assert entry.title == kind.title
    if kind.causes:
        assert entry.causes == kind.causes
        assert entry.causes_line.startswith("Possible causes: ")
        assert entry.causes_line.count("; or ") == len(kind.causes) - 1
    else:
        assert entry.causes_line == NO_CAUSE
    # A cause that claims to be the one would be more than a card can tell.
    assert not re.search(r"\b(because|caused by|certainly|always|surely|must be)\b", str(entry))
    steps = [entry.next_step] if entry.next_step else [step for _, step in entry.cases]
    assert steps
    assert all(re.fullmatch(r"[A-Z].*\.", step) for step in steps)


@pytest.mark.parametrize("code", KINDS)
def test_an_example_reads_as_in_a_report_and_leaves_the_next_step_out(code: str) -> None:
    entry = ENTRIES[code]
    assert re.fullmatch(r"[A-Z0-9].*\.", entry.example)
    assert not re.search(r"[{}]|\bnan\b|unknown|  ", entry.example)
    assert not entry.next_step or entry.next_step not in entry.example
    assert "Photograph this card once more" not in entry.example


def test_examples_hold_exactly_the_numbers_their_findings_need() -> None:
    wanted = {code: set(needed(code)) for code in KINDS if needed(code)}
    assert {code: set(fields) for code, fields in EXAMPLES.items()} == wanted


def test_a_finding_without_an_example_is_told_with_blanks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delitem(EXAMPLES, "hole-weak")
    assert example_text("hole-weak") == "Hole … wets only … of what it should (± …, limit …)."


@pytest.mark.parametrize(
    "code",
    ["hole-weak", "hole-short", "hole-solid-stream", "central-not-filled", "central-not-round",
     "central-ragged"],
)  # fmt: skip
def test_an_example_lies_below_a_lower_limit_by_more_than_its_uncertainty(
    code: str,
) -> None:
    one = EXAMPLES[code]
    assert one["value"] + one["u"] < one["limit"]


@pytest.mark.parametrize(
    "code",
    [code for code, one in EXAMPLES.items() if {"u", "limit"} <= one.keys()
     and code not in ("hole-weak", "hole-short", "hole-solid-stream", "central-not-filled",
                      "central-not-round", "central-ragged", "central-unsure")],
)  # fmt: skip
def test_an_example_lies_above_an_upper_limit_by_more_than_its_uncertainty(code: str) -> None:
    one = EXAMPLES[code]
    value = one["value"] if "value" in one else one["angle_deg"] - one["nominal_deg"]
    assert abs(value) - one["u"] > one["limit"]


def test_what_can_ail_a_photo_is_told_case_by_case() -> None:
    assert [step for _, step in ENTRIES["photo-poor"].cases] == list(PHOTO_ADVICE.values())


def test_entries_stand_in_groups_by_what_they_are_about() -> None:
    groups = {group.title: group.entries for group in catalogue()}
    assert all(KINDS[e.code].about == "hole" for e in groups["One hole"])
    assert all(KINDS[e.code].about == "photo" for e in groups["The photo and the sheet"])
    assert sum(len(entries) for entries in groups.values()) == len(KINDS)


# -- the three ways it is told


def plain(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("width", [60, 100])
def test_the_terminal_tells_all_of_it(width: int) -> None:
    text = catalogue_text(catalogue(), colour=False, width=width)
    assert max(len(line) for line in text.splitlines()) <= width
    for entry in ENTRIES.values():
        for part in parts(entry):
            assert plain(part) in plain(text), entry.code
    assert plain(f"{CAUTION} {AID}") in plain(text)
    assert "\x1b" not in text
    assert "\x1b[1m" in catalogue_text(catalogue(), colour=True, width=width)
    assert catalogue_text(catalogue(), colour=False, width=width, ascii_only=True).isascii()


def parts(entry: Entry) -> list[str]:
    return [
        entry.code, entry.title, entry.example, *entry.causes, entry.next_step,
        *(text for case in entry.cases for text in case),
    ]  # fmt: skip


def test_the_page_tells_all_of_it_and_needs_no_other_file() -> None:
    html = catalogue_html(catalogue(), made_with="test")
    page = check_needs_no_network(html)
    text = plain(" ".join(page.texts))
    assert set(page.values("id")) >= set(KINDS)
    assert set(page.values("href", "src")) == {f"#{code}" for code in KINDS}
    assert page.count("script") == page.count("img") == 0
    for entry in ENTRIES.values():
        for part in parts(entry):
            assert plain(part) in text, entry.code
    assert CAUTION in text
    assert AID in text


def test_the_pdf_tells_all_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []
    draw = Paragraph.drawOn

    def note(self: Paragraph, *place: object, **more: object) -> None:
        drawn.append(self.getPlainText())
        draw(self, *place, **more)

    monkeypatch.setattr(Paragraph, "drawOn", note)
    data = catalogue_pdf(catalogue(), made_with="test")
    text = " ".join(drawn)
    pages = len(re.findall(rb"/Type /Page\b(?!s)", data))
    assert 3 <= pages <= 8
    for entry in ENTRIES.values():
        for part in parts(entry):
            assert part in text, entry.code
    assert text.count(AID) == pages
    assert data == catalogue_pdf(catalogue(), made_with="test")


# -- the command


def test_codes_or_their_beginnings_can_be_asked_for(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["findings", "Hole-Weak", "photo-late"]) == 0
    text = capsys.readouterr().out
    assert "hole-weak" in text
    assert "photo-late" in text
    assert "hole-heavy" not in text
    assert {e.code for g in catalogue(["central"]) for e in g.entries} == {
        code for code in KINDS if code.startswith("central-")
    }


@pytest.mark.parametrize("name", ["page.html", "page.PDF"])
def test_a_page_is_written(name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / name
    out.write_text("old", encoding="utf-8")
    assert main(["findings", "hole", "--out", str(out)]) == 0
    assert capsys.readouterr().out == f"{out}\n"
    assert out.read_bytes()[:9] in (b"<!doctype", b"%PDF-1.4\n", b"%PDF-1.3\n")


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["hole-week"], "did you mean hole-weak"),
        (["quux"], "spraycheck findings lists them all"),
        (["--out", "findings.txt"], "expected .html or .pdf"),
        (["--out", "nowhere/f.html"], "there is no folder"),
        (["nonsense", "--out", "f.html"], "there is no finding"),
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
    check_refused(["findings", *options], said, capsys)
    assert not list(tmp_path.iterdir())
