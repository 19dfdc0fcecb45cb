"""What a printed card's QR code says is shown as inert text, wherever it is shown."""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pytest
from hostile_cards import ANSI, BELL, BIDI, hostile_photo
from PIL import Image

from spraycheck.card.find import find_card
from spraycheck.card.target import MAX_LABEL, make_label
from spraycheck.cli.main import main
from spraycheck.photo import read_photo
from spraycheck.report.card_page import compose_card
from spraycheck.report.card_pdf import card_pdf

JOB = f"=CMD|'/C CALC'!A0{BIDI}{ANSI}{BELL}\r\n"
INJECTOR = "</SCRIPT><IMG SRC=X ONERROR=ALERT(1)>"


@pytest.fixture(scope="module")
def photo(tmp_path_factory: pytest.TempPathFactory) -> str:
    return hostile_photo(
        tmp_path_factory.mktemp("hostile") / "card.jpg",
        job=JOB,
        injector=INJECTOR,
        nozzle=f"../../ETC/{BIDI}X",
    )


def is_inert(text: str) -> bool:
    """Nothing but printing characters and line ends."""
    return all(c == "\n" or unicodedata.category(c)[0] != "C" for c in text)


def test_the_code_is_read_and_nothing_but_text_is_left_of_it(photo: str) -> None:
    facts = find_card(read_photo(photo), cell_mm=1.0).printed
    assert facts is not None
    assert facts.label_read
    assert facts.job == "=CMD|'/C CALC'!A0[2J[31M"
    assert facts.injector == INJECTOR


def test_terminal_and_document_and_picture(
    photo: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    picture = tmp_path / "overlay.png"
    assert main(["measure", photo, "--holes", "4", "--overlay", str(picture)]) == 0
    shown = capsys.readouterr().out
    assert "=CMD|'/C CALC'!A0[2J[31M" in " ".join(shown.split())
    assert is_inert(shown)
    with Image.open(picture) as image:
        # PNG text chunks would carry names along; there are none.
        assert not {str(v) for v in image.info.values()} & {INJECTOR, "=CMD|'/C CALC'!A0[2J[31M"}
    assert main(["measure", photo, "--holes", "4", "--json"]) == 0
    text = capsys.readouterr().out
    assert is_inert(text)
    printed = json.loads(text)["card"]["printed"]
    assert printed["injector"] == INJECTOR
    assert len(printed["job"]) <= MAX_LABEL


def test_tables_and_contact_sheet(photo: str, tmp_path: Path) -> None:
    out = tmp_path / "out"
    folder = str(Path(photo).parent)
    # The nozzle's name is hostile too: one photo with --holes, once without any word on it.
    assert main(["batch", folder, "--holes", "4", "--out", str(out), "--jobs", "0"]) == 0
    main(["batch", folder, "--out", str(tmp_path / "unsaid"), "--jobs", "0"])
    for one in (out, tmp_path / "unsaid"):
        page = (one / "contact-sheet.html").read_text(encoding="utf-8")
        assert "<IMG" not in page
        assert "</SCRIPT>" not in page
        for name in ("photos.csv", "holes.csv"):
            text = (one / name).read_text(encoding="utf-8")
            assert is_inert(text)
            cells = [cell for row in csv.reader(text.splitlines()) for cell in row]
            assert not [c for c in cells if c[:1] in "=@\t" and c]
        for line in (one / "records.jsonl").read_text(encoding="utf-8").splitlines():
            assert is_inert(json.dumps(json.loads(line), ensure_ascii=False))
    failed = (tmp_path / "unsaid" / "photos.csv").read_text(encoding="utf-8")
    assert "is no name" in failed


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler's pdftotext, pdfinfo")
def test_the_printed_page_holds_names_as_text(tmp_path: Path) -> None:
    name = r"(A) \) TJ ET <</JS(APP.ALERT(1))>>"
    path = tmp_path / "card.pdf"
    path.write_bytes(card_pdf([compose_card(make_label("a5", job=name))]))

    def said(*command: str) -> str:
        return subprocess.run(command, capture_output=True, text=True, check=True).stdout

    # Read back as written: nothing of it closed the string it stands in.
    about = said("pdfinfo", str(path))
    assert name in about
    assert re.search(r"JavaScript:\s+no", about)
    assert name in said("pdftotext", "-layout", str(path), "-")
