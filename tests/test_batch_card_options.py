"""Card options of a batch: those that hold for every photo reach the measurement, others do not."""

from __future__ import annotations

from pathlib import Path

import pytest
from batch_tools import photo, stand_in

from spraycheck.batch import scheduler
from spraycheck.batch.scoring import Scored, Task
from spraycheck.cli.main import main


@pytest.fixture
def tasks(monkeypatch: pytest.MonkeyPatch) -> list[Task]:
    seen: list[Task] = []

    def note(task: Task) -> Scored:
        seen.append(task)
        return stand_in(task)

    monkeypatch.setattr(scheduler, "score", note)
    monkeypatch.setenv("OMP_NUM_THREADS", "1")
    return seen


def batch(tmp_path: Path, *more: str) -> int:
    photo(tmp_path / "in" / "a.jpg", "pass")
    out = ["--out", str(tmp_path / "out"), "--jobs", "0", "--no-pictures"]
    return main(["batch", str(tmp_path / "in"), "--holes", "4", *out, *more])


def test_printed_length_and_standoff_reach_every_photo(tmp_path: Path, tasks: list[Task]) -> None:
    assert batch(tmp_path, "--printed-length", "98.7x99.1", "--standoff-mm", "20+-0.5") == 0
    asked = tasks[0].settings
    assert (asked.spec.printed_x_mm, asked.spec.printed_y_mm) == (98.7, 99.1)
    assert asked.standoff is not None
    assert (asked.standoff.height_mm, asked.standoff.u_mm) == (20.0, 0.5)


def test_another_length_or_height_is_another_result(tmp_path: Path, tasks: list[Task]) -> None:
    for more in ([], ["--standoff-mm", "20"], ["--standoff-mm", "21"], ["--printed-length", "99"]):
        assert batch(tmp_path, *more) == 0
        assert batch(tmp_path, *more) == 0  # the second time it is there already
    assert len(tasks) == 4


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--dry", "clean.jpg"], "use spraycheck measure PHOTO --dry"),
        (["--card-number", "2"], "use spraycheck measure PHOTO --card-number"),
        (["--printed-length", "soon"], "printed length 'soon' not understood"),
        (["--printed-length", "40"], "expected"),
        (["--standoff-mm", "0.2"], "expected 2 to 200 mm"),
    ],
)
def test_what_cannot_hold_for_all_is_refused_in_one_line(
    tmp_path: Path,
    tasks: list[Task],
    capsys: pytest.CaptureFixture[str],
    more: list[str],
    said: str,
) -> None:
    code = batch(tmp_path, *more)
    told = capsys.readouterr().err
    assert code == 2
    assert said in told
    assert told.count("\n") == 1
    assert tasks == []
