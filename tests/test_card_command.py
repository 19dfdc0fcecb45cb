"""``spraycheck card`` and the card's options of ``spraycheck measure``."""

import numpy as np
import pytest
from PIL import Image
from refusals import check_refused

from spraycheck.cli.main import main


def test_it_writes_one_page_per_injector_and_copy(tmp_path, capsys):
    out = tmp_path / "cards.pdf"
    code = main(
        ["card", "--out", str(out), "--paper", "a5", "--job", "7", "--injector", "cyl 1",
         "--injector", "cyl 2", "--copies", "2", "--png", "100"]
    )  # fmt: skip
    assert code == 0
    assert out.read_bytes().count(b"/Type /Page\n") == 4
    names = capsys.readouterr().out.split()
    assert names == [str(out), str(tmp_path / "cards-1.png"), str(tmp_path / "cards-2.png")]
    pictures = []
    for name in names[1:]:
        with Image.open(name) as picture:
            pictures.append(np.array(picture))
    assert pictures[0].shape == (827, 583)  # 210 x 148 mm at 100 pixels per inch
    assert (pictures[0] != pictures[1]).any()


def test_a_layout_with_a_zero_draws_ticks(tmp_path):
    layout = tmp_path / "nozzle.toml"
    holes = "".join(f"[[hole]]\nazimuth_deg = {a}\n" for a in (10, 130, 250))
    files = []
    for number, head in enumerate(("", 'counts_from = "dowel"\n')):
        layout.write_text(head + holes, encoding="utf-8")
        out = tmp_path / f"card{number}.pdf"
        assert main(["card", "--out", str(out), "--layout", str(layout)]) == 0
        files.append(len(out.read_bytes()))
    assert files[1] > files[0]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--out", "card.png"], "expected .pdf"),
        (["--out", "nowhere/card.pdf"], "there is no folder"),
        (["--out", "c.pdf", "--paper", "a3"], "expected one of a4, letter, a5"),
        (["--out", "c.pdf", "--job", "x" * 41], "expected at most 40"),
        (["--out", "c.pdf", "--job", "a\x1b[2J"], "cannot be printed"),
        (["--out", "c.pdf", "--copies", "0"], "expected 1 to 200"),
        (["--out", "c.pdf", "--png", "5"], "expected 72 to 1200"),
        (["--out", "c.pdf", "--holes", "4", "--layout", "n.toml"], "both --holes and --layout"),
        (["--out", "c.pdf", "--holes", "2"], "expected a whole number from 3 to 16"),
    ],
)
def test_a_mistake_is_told_in_one_line_and_nothing_written(
    options, said, tmp_path, capsys, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    check_refused(["card", *options], said, capsys)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--printed-length", "9.87"], "expected 90 to 110"),
        (["--printed-length", "short"], "not understood"),
        (["--card-number", "-1"], "expected 1 for the leftmost"),
        (["--standoff-mm", "0.2"], "expected 2 to 200 mm"),
        (["--dry", "missing.jpg"], "missing.jpg"),
    ],
)
def test_card_options_of_measure_are_checked_before_any_photo(
    options, said, tmp_path, capsys, monkeypatch
):
    monkeypatch.chdir(tmp_path)
    check_refused(["measure", "photo.jpg", "--holes", "4", *options], said, capsys)
