"""Finding photos, and what is expected of each."""

from __future__ import annotations

import csv
import math
import os
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from batch_tools import batch, photo, records

from spraycheck.batch.expectations import Expectations, PhotoOptions
from spraycheck.batch.manifest import read_manifest
from spraycheck.batch.sources import find_photos, is_address
from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.nozzles.model import Nozzle
from spraycheck.nozzles.nozzle_library import Library, open_library

ODD_NAMES = (
    "two\nlines.jpg",
    "üml äut.JPG",
    "spray 🚿.jpeg",
    " leading.png",
    "-dash.jpg",
    "'q\".jpg",
)


def found(*places: Path, **options: str) -> list[str]:
    listing = find_photos([str(p) for p in places], **options)
    return [os.path.relpath(p, places[0]) for p in listing.paths]


def test_order_and_kinds(tmp_path: Path) -> None:
    for name in ("b/2.jpg", "b/1.HEIC", "a/deep/x.webp", "z.png", "c.tiff"):
        photo(tmp_path / name, "pass")
    photo(tmp_path / "IMG 0001", "pass")  # no ending: known by its first bytes
    (tmp_path / "README").write_text("no photo")
    (tmp_path / "notes.txt").write_text("no photo")
    photo(tmp_path / "._c.tiff", "pass")  # what some systems leave beside each file
    photo(tmp_path / ".thumbnails/1.jpg", "pass")
    listing = find_photos([str(tmp_path)])
    assert [os.path.relpath(p, tmp_path) for p in listing.paths] == [
        "IMG 0001", "c.tiff", "z.png", "a/deep/x.webp", "b/1.HEIC", "b/2.jpg",
    ]  # fmt: skip
    assert listing.others == 2


def test_links_in_circles_and_folders_given_twice(tmp_path: Path) -> None:
    photo(tmp_path / "a/1.jpg", "pass")
    photo(tmp_path / "b/2.jpg", "pass")
    (tmp_path / "a/up").symlink_to(tmp_path)
    (tmp_path / "b/a-again").symlink_to(tmp_path / "a")
    (tmp_path / "b/self.jpg").symlink_to("self.jpg")
    (tmp_path / "b/gone.jpg").symlink_to("nowhere.jpg")
    names = found(tmp_path, tmp_path / "a", tmp_path)
    assert sorted(os.path.basename(n) for n in names) == ["1.jpg", "2.jpg", "gone.jpg", "self.jpg"]


@pytest.fixture
def deep(tmp_path: Path) -> Iterator[str]:
    """Folders nested deeper than Python's stack; taken away again, which the stack forbids too."""
    depth = sys.getrecursionlimit() + 50
    before = os.getcwd()
    os.chdir(tmp_path)  # a path this long can only be made, and removed, in steps
    try:
        for _ in range(depth):
            os.mkdir("d")
            os.chdir("d")
        yield str(tmp_path) + "/d" * depth
        (tmp_path / "d/d/x.jpg").unlink()
        for _ in range(depth):
            os.chdir("..")
            os.rmdir("d")
    finally:
        os.chdir(before)


def test_nesting_deeper_than_the_stack(tmp_path: Path, deep: str) -> None:
    photo(tmp_path / "d/d/x.jpg", "pass")
    assert found(tmp_path) == ["d/d/x.jpg"]
    expected = Expectations(PhotoOptions(nozzle=Nozzle.evenly_spread(4)))
    assert expected.of(deep + "/y.jpg").settings.layout is not None


def test_unreadable_folder_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    photo(tmp_path / "good/1.jpg", "pass")
    photo(tmp_path / "shut/2.jpg", "pass")
    real = os.scandir

    def scandir(path: str) -> object:  # the tests may run as root, who may read everything
        if str(path).endswith("shut"):
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    listing = find_photos([str(tmp_path)])
    assert [Path(p).name for p in listing.paths] == ["1.jpg"]
    (problem,) = listing.problems
    assert "shut" in problem
    assert "Permission denied" in problem


def test_own_results_are_not_photos(tmp_path: Path) -> None:
    photo(tmp_path / "1.jpg", "pass")
    photo(tmp_path / "old/pictures/ab/x.jpg", "pass")
    (tmp_path / "old/journal.sqlite").write_text("")
    photo(tmp_path / "older/pictures/ab/x.jpg", "pass")
    (tmp_path / "older/journal.jsonl").write_text("")
    photo(tmp_path / "new/pictures/ab/x.jpg", "pass")
    assert found(tmp_path, leave_out=str(tmp_path / "new")) == ["1.jpg"]


def test_missing_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="not found"):
        find_photos([str(tmp_path / "nowhere")])


@pytest.mark.parametrize(
    ("place", "address"),
    [("s3://b/x", True), ("memory://x", True), ("C:\\cards", False), ("a/b", False), ("", False)],
)
def test_addresses(place: str, address: bool) -> None:
    assert is_address(place) is address


def test_odd_names_reach_the_outcome(tmp_path: Path) -> None:
    names = [*ODD_NAMES, os.fsdecode(b"byte-\xe4.jpg")]
    for number, name in enumerate(names):
        photo(tmp_path / "in" / name, f"pass {number}")
    summary, _ = batch(tmp_path / "in", tmp_path / "out")
    assert summary.counts == {"pass": len(names)}
    got = {os.path.basename(r["file"]) for r in records(tmp_path / "out")}
    assert got == {*ODD_NAMES, "byte-\\xe4.jpg"}
    (tmp_path / "out/photos.csv").read_text("utf-8")  # no byte that is not UTF-8
    page = (tmp_path / "out/contact-sheet.html").read_text("utf-8")
    assert "byte-%E4.jpg" in page  # the link leads to the real file


# -- what is expected


def test_who_says_how_many_holes(tmp_path: Path) -> None:
    for name in ("named.jpg", "plain.jpg", "low/told.jpg", "low/lower/own.jpg"):
        photo(tmp_path / name, "pass")
    (tmp_path / "low/spraycheck.toml").write_text('holes = 5\nnozzle = "N5"\nsheet = "a5"\n')
    (tmp_path / "low/lower/spraycheck.toml").write_text('layout = "seven.toml"\ninjector = "I"\n')
    (tmp_path / "low/lower/seven.toml").write_text(
        'name = "seven"\n' + "".join(f"[[hole]]\nazimuth_deg = {50 * k}\n" for k in range(7))
    )
    table = tmp_path / "m.csv"
    table.write_text("file,holes,sheet\nnamed.jpg,8,a4\nlow/told.jpg,,\n")
    asking = Expectations(PhotoOptions(), manifest=read_manifest(str(table)))

    def of(name: str) -> tuple[int, str, str, str]:
        e = asking.of(str(tmp_path / name))
        asked = e.settings
        return len(asked.layout) if asked.layout else 0, e.source, asked.spec.name, e.labels.nozzle

    assert of("named.jpg") == (8, "manifest", "a4", "")
    assert of("plain.jpg") == (0, "", "unknown", "")
    assert of("low/told.jpg") == (5, "folder", "a5", "N5")
    assert of("low/lower/own.jpg") == (7, "folder", "unknown", "")
    assert asking.of(str(tmp_path / "low/lower/own.jpg")).labels.injector == "I"
    asking.options = PhotoOptions(nozzle=Nozzle.evenly_spread(3))
    assert of("named.jpg")[:2] == (8, "manifest")
    assert of("plain.jpg")[:2] == (3, "option")
    assert of("low/told.jpg")[:2] == (3, "option")


def test_photos_nobody_knows_and_bad_folder_files_are_records(tmp_path: Path) -> None:
    photo(tmp_path / "in/a.jpg", "pass")
    photo(tmp_path / "in/b/c.jpg", "pass 2")
    photo(tmp_path / "in/d/e.jpg", "pass 3")
    (tmp_path / "in/b/spraycheck.toml").write_text("holes = 'four'\n")
    (tmp_path / "in/d/spraycheck.toml").write_text("holes = 4\n")
    summary, _ = batch(tmp_path / "in", tmp_path / "out", nozzle=None)
    a, c, e = records(tmp_path / "out")
    assert summary.counts == {"failed": 2, "pass": 1}
    assert a["result"]["error"]["stage"] == "layout"
    assert "how many holes" in a["result"]["error"]["message"]
    assert "spraycheck.toml" in c["result"]["error"]["message"]
    assert e["result"]["verdict"] == "pass"
    assert e["expected_from"] == "folder"


# -- the manifest


def test_manifest_as_spreadsheets_write_it(tmp_path: Path) -> None:
    table = tmp_path / "m.csv"
    table.write_text(
        "\ufeffFile;Holes;Verdict;Date;Colour\r\nyear\\1.jpg;4;PASS;2020-02-29;red\r\n;;;;\r\n"
        '"a;b.jpg";;;;\r\n',
        "utf-8",
    )
    manifest = read_manifest(str(table))
    one, two = manifest.rows.values()
    assert one.file == str(tmp_path / "year/1.jpg")
    assert (one.holes, one.labels.person_verdict, one.labels.date) == (4, "pass", "2020-02-29")
    assert two.file == str(tmp_path / "a;b.jpg")
    assert two.holes is None
    assert manifest.unused == ("colour",)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "is empty"),
        ("files,holes\na,4\n", "rename the column 'files' to file"),
        ("file,holes\na.jpg,two\n", "line 2: holes is 'two'"),
        ("file,holes\na.jpg,17\n", "from 3 to 16"),
        ("file\na.jpg\n./a.jpg\n", "line 3: './a.jpg' stands on line 2 already"),
        ("file,verdict\na.jpg,good\n", "write pass, fail or recheck"),
        ("file,date\na.jpg,3.4.2020\n", "YYYY-MM-DD"),
        ("file,holes,layout\na.jpg,4,n.toml\n", "both holes and layout"),
        ("file,file\na,b\n", "2 columns named file"),
        ("file,holes\n,4\n", "no file is named"),
        ("file\na,b.jpg\n", "2 cells under 1 headings"),
        ('file\n"a\n', "expected a CSV table"),
    ],
)
def test_manifest_mistakes(tmp_path: Path, text: str, message: str) -> None:
    table = tmp_path / "m.csv"
    table.write_text(text)
    with pytest.raises(InputError, match=message.replace("(", r"\(")):
        read_manifest(str(table))


def test_manifest_that_is_no_text(tmp_path: Path) -> None:
    table = tmp_path / "m.csv"
    table.write_bytes("file\nü.jpg\n".encode("latin-1"))
    with pytest.raises(InputError, match="CSV UTF-8"):
        read_manifest(str(table))
    with pytest.raises(InputError, match="cannot be read"):
        read_manifest(str(tmp_path / "none.csv"))


def test_manifest_names_missing_and_outside_files(tmp_path: Path) -> None:
    photo(tmp_path / "in/1.jpg", "pass")
    photo(tmp_path / "other/2.jpg", "pass 2")
    odd = photo(tmp_path / "in/3.photo", "fail 3")  # named: scored whatever its ending
    table = tmp_path / "in/m.csv"
    table.write_text(f"file\n1.jpg\n../other/2.jpg\nnone.jpg\n{odd}\n")
    summary, _ = batch(tmp_path / "in", tmp_path / "out", manifest=str(table))
    by_name = {os.path.basename(r["file"]): r for r in records(tmp_path / "out")}
    assert summary.counts == {"pass": 1, "fail": 1, "failed": 2}
    outside = by_name["2.jpg"]["result"]["error"]
    assert outside["stage"] == "manifest"
    assert "line 3" in outside["message"]
    assert by_name["2.jpg"]["sha256"] is None  # not even read
    assert by_name["none.jpg"]["outcome"] == "failed"
    assert by_name["3.photo"]["result"]["verdict"] == "fail"


def test_manifest_alone_names_the_photos(tmp_path: Path) -> None:
    photo(tmp_path / "a.jpg", "pass")
    photo(tmp_path / "b.jpg", "fail")
    table = tmp_path / "m.csv"
    table.write_text("file,holes\nb.jpg,4\n")
    summary, _ = batch(tmp_path, tmp_path / "out", places=(), manifest=str(table))
    assert summary.counts == {"fail": 1}


# -- nozzles by name


LIMITS = '[limits]\nname = "ours"\n[limits.direction_deg]\nvalue = 3\nunit = "deg"\nsource = "x"\n'


def cabinet_of(folder: Path, **files: str) -> Library:
    folder.mkdir()
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text)
    return open_library(str(folder), {})


def test_a_nozzle_is_named_in_manifest_option_or_folder(tmp_path: Path) -> None:
    shelf = cabinet_of(
        tmp_path / "nozzles",
        lorry="holes = 5\n" + LIMITS,
        tractor="holes = 6\n",
        needle="kind = 'pintle'\n",
    )
    cards = tmp_path / "cards"
    (cards / "own").mkdir(parents=True)
    (cards / "own/spraycheck.toml").write_text('nozzle = "Tractor"\n')
    table = cards / "m.csv"
    table.write_text(
        "file,holes,nozzle\n1.jpg,,lorry\n2.jpg,4,lorry\n3.jpg,,lory\n4.jpg,,needle\n5.jpg,,../x\n"
        "own/7.jpg,,LORRY\n"
    )
    asking = Expectations(PhotoOptions(cabinet=shelf), manifest=read_manifest(str(table)))

    def of(name: str) -> tuple[int, str, str, float]:
        e = asking.of(str(cards / name))
        limits, layout = e.settings.limits, e.settings.layout
        assert isinstance(limits, Limits)
        holes = len(layout) if isinstance(layout, Layout) else 0
        return holes, e.source, limits.name, limits.direction_deg

    default = Limits().name
    assert of("1.jpg") == (5, "manifest", "ours", 3.0)
    assert of("2.jpg") == (4, "manifest", default, 5.0)  # a label only: the holes are given
    assert of("own/6.jpg") == (6, "folder", default, 5.0)
    assert of("own/7.jpg") == (5, "manifest", "ours", 3.0)
    for name, said in (
        ("3.jpg", "there is no nozzle 'lory'"),
        ("5.jpg", "there is no nozzle '../x'"),
    ):
        expected = asking.of(str(cards / name))
        assert expected.settings.layout is None
        assert said in str(expected.problem)
    needle = asking.of(str(cards / "4.jpg")).settings
    assert isinstance(needle.layout, AxialNozzle)
    assert isinstance(needle.limits, AxialLimits)
    assert "did you mean lorry" in str(asking.of(str(cards / "3.jpg")).problem)
    asking.options = replace(asking.options, nozzle=shelf.read("tractor"))
    assert of("1.jpg") == (5, "manifest", "ours", 3.0)
    assert of("3.jpg") == (6, "option", default, 5.0)
    assert of("own/6.jpg") == (6, "option", default, 5.0)
    assert asking.doubts() == [
        "the nozzle 'lory' was taken for a label only: no nozzle file has this name, but there is "
        "lorry"
    ]
    given = Limits(name="given", direction_deg=2.0)
    asking.options = replace(asking.options, limits=given)
    assert of("1.jpg") == (5, "manifest", "given", 2.0)
    assert of("3.jpg") == (6, "option", "given", 2.0)


def test_every_nozzle_file_is_read_once(tmp_path: Path) -> None:
    shelf = cabinet_of(tmp_path / "nozzles", lorry="holes = 5\n")
    table = tmp_path / "m.csv"
    table.write_text("file,nozzle\n" + "".join(f"{k}.jpg,lorry\n" for k in range(50)))
    asking = Expectations(PhotoOptions(cabinet=shelf), manifest=read_manifest(str(table)))
    first = asking.of(str(tmp_path / "0.jpg"))
    (tmp_path / "nozzles/lorry.toml").write_text("broken")
    assert all(asking.of(str(tmp_path / f"{k}.jpg")) is first for k in range(50))


def test_a_changed_limit_or_source_measures_again(tmp_path: Path) -> None:
    photo(tmp_path / "in/1.jpg", "pass")
    (tmp_path / "in/spraycheck.toml").write_text('nozzle = "lorry"\n')
    text = "holes = 5\n" + LIMITS
    shelf = cabinet_of(tmp_path / "nozzles", lorry=text)
    for change, measured in (
        (text, 1),
        (text, 0),
        (text.replace("value = 3", "value = 3.5"), 1),
        (text.replace('"x"', '"the other shift agreed"'), 1),
        (text.replace("[limits]", 'remarks = "new"\n[limits]'), 0),
        (text.replace("holes = 5", "holes = 6"), 1),
    ):
        (tmp_path / "nozzles/lorry.toml").write_text(change)
        _, watcher = batch(tmp_path / "in", tmp_path / "out", nozzle=None, cabinet=shelf)
        assert watcher.measured == measured, change


def test_limits_stand_in_records_and_tables(tmp_path: Path) -> None:
    photo(tmp_path / "in/1.jpg", "blank 3")
    limits = Limits(name="given", direction_deg=2.0, stray_frac=math.inf)
    batch(tmp_path / "in", tmp_path / "out", limits=limits)
    (record,) = records(tmp_path / "out")
    assert record["limits"]["name"] == "given"
    assert record["limits"]["direction_deg"]["value"] == 2.0
    with open(tmp_path / "out/photos.csv", encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert row["limit_direction_deg"] == "2.0"
    assert row["limit_stray_frac"] == ""
    assert row["limit_risk"] == "0.05"
