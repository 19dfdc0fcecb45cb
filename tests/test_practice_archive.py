"""The invented archive of the lessons: what its manifest says is drawn, and a batch reads it."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from figures.practice_archive import DATES, SHEET, write_archive, write_repeats
from spraycheck import measure_photo
from spraycheck.batch.manifest import read_manifest
from spraycheck.errors import InputError


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_archive(tmp_path_factory.mktemp("archive") / "cards")


def test_every_card_of_the_manifest_is_there_and_the_batch_reads_it(archive: Path) -> None:
    read = read_manifest(str(archive))
    assert read.unused == ()
    assert len(read.rows) == 3 * len(DATES)
    assert all(Path(path).is_file() for path in read.rows)
    assert {row.labels.injector for row in read.rows.values()} == {"A-101", "A-102", "B-201"}
    assert {row.labels.date for row in read.rows.values()} == set(DATES)


def test_the_weak_hole_gets_weaker_and_the_turned_one_is_there_once(archive: Path) -> None:
    def measured(name: str, holes: int) -> list[float]:
        result = measure_photo(archive.parent / name, holes=holes, sheet=SHEET)
        ratio = min(hole.area_ratio for hole in result.holes)
        return [ratio, max(abs(hole.deviation_deg) for hole in result.holes)]

    weakest = [measured(f"{date}-A-102.jpg", 4)[0] for date in (DATES[0], DATES[-1])]
    assert weakest[0] > 0.85
    assert weakest[1] == pytest.approx(0.5, abs=0.08)
    assert measured(f"{DATES[2]}-B-201.jpg", 6)[1] == pytest.approx(11, abs=2)


def test_repeats_are_complete_and_differ(tmp_path: Path) -> None:
    manifest = write_repeats(tmp_path)
    with manifest.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    seen = {(row["part"], row["person"], row["repeat"]) for row in rows}
    assert len(seen) == len(rows) == 12
    assert len({(tmp_path / row["file"]).read_bytes() for row in rows}) == 12


def test_a_folder_that_cannot_be_made_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(InputError, match="cannot be made"):
        write_archive(tmp_path / "taken" / "cards")
