"""The journal: nothing finished is ever lost, whatever happens in the middle of a line."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from batch_tools import batch, photo, records

from spraycheck.batch.journal import Entry, Journal
from spraycheck.errors import ArchiveError, InputError


def entry(number: int, code: str = "pass", *, lasting: bool = True) -> Entry:
    return Entry(
        key=bytes([number]) * 16, code=code, lasting=lasting, result={"verdict": code, "n": number}
    )


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    path = str(tmp_path / "journal.jsonl")
    with Journal(path) as journal:
        journal.append([entry(1), entry(2, "fail")])
        journal.append([])
        journal.append([entry(3, "failed", lasting=False)])
        assert journal.read(bytes([2]) * 16) == {"verdict": "fail", "n": 2}
    with Journal(path) as journal:
        assert len(journal) == 3
        assert journal.read(bytes([1]) * 16)["n"] == 1
        assert journal.code_of(bytes([2]) * 16, lasting=True) == "fail"
        assert journal.code_of(bytes([3]) * 16) == "failed"
        assert journal.code_of(bytes([3]) * 16, lasting=True) == ""
        assert journal.code_of(bytes([4]) * 16) == ""
        journal.append([entry(3, "pass")])  # a later line goes before an earlier one
        assert journal.code_of(bytes([3]) * 16, lasting=True) == "pass"


def test_torn_at_every_byte(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with Journal(str(path)) as journal:
        journal.append([entry(1)])
        journal.append([entry(2)])
    whole = path.read_bytes()
    ends = [k + 1 for k, byte in enumerate(whole) if byte == ord("\n")]
    assert len(ends) == 3
    for cut in range(len(whole) + 1):
        path.write_bytes(whole[:cut])
        with Journal(str(path)) as journal:
            assert len(journal) == max(0, sum(end <= cut for end in ends) - 1)
            assert journal.damaged == 0
            journal.append([entry(9)])
            assert journal.read(bytes([9]) * 16)["n"] == 9
        with Journal(str(path)) as journal:
            assert journal.code_of(bytes([9]) * 16) == "pass"


def test_damage_in_the_middle_costs_its_line_only(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    with Journal(str(path)) as journal:
        journal.append([entry(1), entry(2), entry(3)])
    lines = path.read_bytes().splitlines(keepends=True)
    lines[2] = b"\0" * (len(lines[2]) - 1) + b"\n"  # a power cut can leave zeros
    path.write_bytes(b"".join(lines))
    with Journal(str(path)) as journal:
        assert journal.damaged == 1
        assert journal.code_of(bytes([2]) * 16) == ""
        assert journal.read(bytes([3]) * 16)["n"] == 3


@pytest.mark.parametrize(
    "text", ["holiday notes", "a,b\n1,2\n", '{"schema":"spraycheck.assessment/1"}\n', "[]\n"]
)
def test_other_files_are_left_alone(tmp_path: Path, text: str) -> None:
    path = tmp_path / "journal.jsonl"
    path.write_text(text)
    with pytest.raises(ArchiveError, match="not a journal"):
        Journal(str(path))
    assert path.read_text() == text


def test_later_versions_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    path.write_text('{"schema":"spraycheck.journal/2"}\n')
    with pytest.raises(ArchiveError, match="update spraycheck"):
        Journal(str(path))


def test_two_batches_cannot_write_to_one(tmp_path: Path) -> None:
    path = str(tmp_path / "journal.jsonl")
    with Journal(path), pytest.raises(InputError, match="another batch"):
        Journal(path)
    with Journal(path) as journal:
        assert len(journal) == 0


def test_kills_at_any_byte_then_a_rerun(tmp_path: Path) -> None:
    # What a kill leaves is the journal up to some byte. Whatever it is, the rerun gives every
    # photo one record, the same as an undisturbed run.
    words = ["pass", "fail", "blank 1", "recheck", "pass", "bug"]
    for k, word in enumerate(words):
        photo(tmp_path / f"in/{k}.jpg", word if k != 4 else "pass")
    batch(tmp_path / "in", tmp_path / "whole")
    wanted = (tmp_path / "whole/records.jsonl").read_bytes()
    whole = (tmp_path / "whole/journal.jsonl").read_bytes()
    ends = [k + 1 for k, byte in enumerate(whole) if byte == ord("\n")]
    cuts = sorted({0, 7, *ends, *(e + 40 for e in ends[:-1]), len(whole) - 1})
    for cut in cuts:
        out = tmp_path / f"cut-{cut}"
        out.mkdir()
        (out / "journal.jsonl").write_bytes(whole[:cut])
        _, watcher = batch(tmp_path / "in", out, pictures=False)
        assert (out / "records.jsonl").read_bytes() == wanted
        kept = sum(end <= cut for end in ends[1:])
        again = 1 if kept == 5 else 0  # a mistake in the program is always tried again
        assert watcher.measured == 5 - kept + again


def test_a_killed_process_loses_nothing(tmp_path: Path) -> None:
    for k in range(30):
        photo(tmp_path / f"in/{k:02d}.jpg", f"slow {k}")
    out = tmp_path / "out"
    command = [sys.executable, str(Path(__file__).with_name("batch_child.py")), "batch",
               str(tmp_path / "in"), "--holes", "4", "--out", str(out), "--jobs", "0"]  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
        journal = out / "journal.jsonl"
        while not (journal.exists() and journal.read_bytes().count(b"\n") > 4):
            assert child.poll() is None
        child.kill()
    finished = journal.read_bytes().count(b"\n") - 1
    assert 0 < finished < 30
    assert not (out / "records.jsonl").exists()
    summary, watcher = batch(tmp_path / "in", out)
    assert summary.counts == {"pass": 30}
    assert watcher.measured == 30 - finished
    assert len({r["file"] for r in records(out)}) == len(records(out)) == 30


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are those of POSIX")
def test_a_full_disk_keeps_what_was_finished(tmp_path: Path) -> None:
    # A limit on the size of files fails in the kernel as a full disk does, in mid-line.
    import resource

    for k in range(12):
        photo(tmp_path / f"in/{k:02d}.jpg", f"pass {k}")
    out = tmp_path / "out"
    command = [sys.executable, str(Path(__file__).with_name("batch_child.py")), "batch",
               str(tmp_path / "in"), "--holes", "4", "--out", str(out), "--jobs", "0"]  # fmt: skip

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, resource.RLIM_INFINITY))

    child = subprocess.run(
        command, capture_output=True, text=True, timeout=120, check=False, preexec_fn=limit
    )
    assert child.returncode == 2
    assert "Traceback" not in child.stderr
    assert "cannot be written (File too large)" in child.stderr.splitlines()[-1]
    assert "finished so far are kept" in child.stderr.splitlines()[-1]
    kept = (out / "journal.jsonl").read_bytes()
    assert kept.endswith(b"\n")
    assert 15_000 < len(kept) <= 20_000
    finished = kept.count(b"\n") - 1
    assert finished > 0
    summary, watcher = batch(tmp_path / "in", out)
    assert summary.counts == {"pass": 12}
    assert watcher.measured == 12 - finished


def test_tables_that_cannot_be_written_keep_the_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo(tmp_path / "in/1.jpg", "pass")
    real = os.replace

    def full(source: str, target: str) -> None:
        if str(target).endswith("holes.csv"):
            raise OSError(28, "No space left on device")
        real(source, target)

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match=r"No space left.*journal keeps"):
        batch(tmp_path / "in", tmp_path / "out")
    monkeypatch.setattr(os, "replace", real)
    assert not list((tmp_path / "out").glob(".*.part"))
    _, watcher = batch(tmp_path / "in", tmp_path / "out")
    assert watcher.measured == 0
    assert len(records(tmp_path / "out")) == 1
