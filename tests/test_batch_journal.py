"""The journal: nothing finished is ever lost, whatever happens in the middle of a write."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from batch_tools import batch, photo, records, rows_of

from spraycheck.batch.journal import JOURNAL_NAME, OLD_NAME, Entry, Journal
from spraycheck.errors import ArchiveError, InputError


def key(number: int) -> bytes:
    return bytes([number]) * 16


def entry(number: int, code: str = "pass", *, lasting: bool = True) -> Entry:
    result = {"verdict": None if code == "failed" else code, "n": number, "more": "x" * 9000}
    return Entry(key=key(number), result=result, lasting=lasting)


def written(folder: Path, count: int) -> Path:
    """A closed journal of some results, all with the verdict pass."""
    folder.mkdir(exist_ok=True)
    with Journal(str(folder)) as journal:
        for number in range(1, count + 1):
            journal.append([entry(number)])
    return folder / JOURNAL_NAME


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    with Journal(str(tmp_path)) as journal:
        journal.append([entry(1), entry(2, "fail")])
        journal.append([])
        journal.append([entry(3, "failed", lasting=False)])
        assert journal.read(key(2)) == entry(2, "fail").result
    with Journal(str(tmp_path)) as journal:
        assert len(journal) == 3
        assert journal.notes == []
        assert journal.read(key(1))["n"] == 1
        assert journal.code_of(key(2), lasting=True) == "fail"
        assert journal.code_of(key(3)) == "failed"
        assert journal.code_of(key(3), lasting=True) == ""
        assert journal.code_of(key(4)) == ""
        journal.append([entry(3, "pass")])  # a later result goes before an earlier one
        assert journal.code_of(key(3), lasting=True) == "pass"
        assert len(journal) == 3


def test_a_commit_is_forced_to_the_disk_and_logged_ahead(tmp_path: Path) -> None:
    with Journal(str(tmp_path)) as journal:
        settings = {
            name: journal._database.execute(f"pragma {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "locking_mode")
        }
    # Levels of sqlite.org/pragma.html: 2 is FULL, which forces the log at every commit.
    assert settings == {"journal_mode": "wal", "synchronous": 2, "locking_mode": "exclusive"}


def test_a_log_torn_at_any_byte_keeps_what_was_whole(tmp_path: Path) -> None:
    # What a kill or a power cut leaves is the log up to some byte.
    whole = tmp_path / "whole"
    whole.mkdir()
    log = whole / f"{JOURNAL_NAME}-wal"
    with Journal(str(whole)) as journal:
        ends = []
        for number in range(1, 5):
            journal.append([entry(number)])
            ends.append(log.stat().st_size)
        data, logged = (whole / JOURNAL_NAME).read_bytes(), log.read_bytes()
    cuts = {*range(0, len(logged), 911), *ends, *(end - 1 for end in ends), *(e + 1 for e in ends)}
    assert len(cuts) > 50
    for cut in sorted(cuts):
        out = tmp_path / f"cut-{cut}"
        out.mkdir()
        (out / JOURNAL_NAME).write_bytes(data)
        (out / f"{JOURNAL_NAME}-wal").write_bytes(logged[:cut])
        with Journal(str(out)) as journal:
            assert len(journal) == sum(end <= cut for end in ends)
            assert journal.notes == []
            journal.append([entry(9)])
        with Journal(str(out)) as journal:
            assert journal.read(key(9))["n"] == 9


def test_damage_anywhere_is_found_and_said(tmp_path: Path) -> None:
    # Whatever byte a broken disk changes: what is still told is true, and nothing is lost unsaid.
    data = written(tmp_path / "whole", 6).read_bytes()
    outcomes = {"kept": 0, "noted": 0, "refused": 0}
    for offset in (*range(0, 100, 9), *range(100, len(data), 487)):
        out = tmp_path / f"at-{offset}"
        out.mkdir()
        changed = bytearray(data)
        changed[offset] ^= 0xFF
        (out / JOURNAL_NAME).write_bytes(changed)
        try:
            with Journal(str(out)) as journal:
                known = [n for n in range(1, 7) if journal.code_of(key(n))]
                assert all(journal.code_of(key(n)) == "pass" for n in known)
                assert all(journal.read(key(n)) == entry(n).result for n in known)
                assert len(known) == 6 or journal.notes, offset
                outcomes["noted" if journal.notes else "kept"] += 1
        except (ArchiveError, InputError):
            assert (out / JOURNAL_NAME).read_bytes() == changed
            outcomes["refused"] += 1
    assert outcomes["noted"] > 50
    assert outcomes["refused"] < 10  # the header only


def test_a_damaged_row_costs_its_photo_only(tmp_path: Path) -> None:
    path = written(tmp_path, 3)
    data = path.read_bytes()
    place = data.index(b'"n":2') + 4
    path.write_bytes(data[:place] + b"7" + data[place + 1 :])
    with Journal(str(tmp_path)) as journal:
        (note,) = journal.notes
        assert "1 damaged results in the journal left out" in note
        assert journal.code_of(key(2)) == ""
        assert journal.read(key(3))["n"] == 3


def test_a_damaged_page_costs_what_lay_on_it(tmp_path: Path) -> None:
    path = written(tmp_path, 12)
    data = bytearray(path.read_bytes())
    page = 4096 * (len(data) // 4096 // 2)
    data[page : page + 4096] = bytes(4096)  # a power cut can leave zeros
    path.write_bytes(data)
    with Journal(str(tmp_path)) as journal:
        assert 6 < len(journal) < 12  # one page holds the beginnings of a few rows
        assert len(journal.notes) == 1
        assert "damaged" in journal.notes[0]
    with Journal(str(tmp_path)) as journal:
        assert journal.notes == []


def test_a_damaged_file_is_mended_beside_itself_and_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Whatever ends the mending half-way, the next start finds the damaged file and says so again.
    path = written(tmp_path, 12)
    data = bytearray(path.read_bytes())
    page = 4096 * 3
    data[page : page + 4096] = bytes(4096)
    path.write_bytes(data)
    real = os.replace

    def full(source: str, target: str) -> None:
        if source.endswith(".rescued"):
            raise OSError(28, "No space left on device")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", full)
        with pytest.raises(InputError, match=r"damaged and cannot be mended \(No space left"):
            Journal(str(tmp_path))
    with Journal(str(tmp_path)) as journal:
        assert 6 < len(journal) < 12
        assert f"{len(journal)} results could be read and are kept" in journal.notes[0]
    assert (tmp_path / f"{JOURNAL_NAME}.damaged").read_bytes() == data
    assert not (tmp_path / f"{JOURNAL_NAME}.rescued").exists()


@pytest.mark.parametrize("name", [JOURNAL_NAME, OLD_NAME])
@pytest.mark.parametrize(
    "text", ["holiday notes", "a,b\n1,2\n", '{"schema":"spraycheck.assessment/1"}\n', "[]\n"]
)
def test_other_files_are_left_alone(tmp_path: Path, name: str, text: str) -> None:
    (tmp_path / name).write_text(text)
    for _ in range(2):
        with pytest.raises(ArchiveError, match="not a journal"):
            Journal(str(tmp_path))
    assert (tmp_path / name).read_text() == text


def test_another_database_is_left_alone(tmp_path: Path) -> None:
    with contextlib.closing(sqlite3.connect(tmp_path / JOURNAL_NAME)) as database:
        database.execute("create table recipes (soup text)")
        database.commit()
    with pytest.raises(ArchiveError, match="not a journal"):
        Journal(str(tmp_path))
    with contextlib.closing(sqlite3.connect(tmp_path / JOURNAL_NAME)) as database:
        assert database.execute("select name from sqlite_master").fetchall() == [("recipes",)]


def test_later_versions_are_refused(tmp_path: Path) -> None:
    path = written(tmp_path, 1)
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute("pragma user_version = 3")
    with pytest.raises(ArchiveError, match="update spraycheck"):
        Journal(str(tmp_path))


def test_two_batches_cannot_write_to_one(tmp_path: Path) -> None:
    code = (
        "import sys; from spraycheck.batch.journal import Journal\n"
        "try: Journal(sys.argv[1])\n"
        "except Exception as error: print(type(error).__name__, error)\n"
    )
    with Journal(str(tmp_path)) as journal:
        with pytest.raises(InputError, match="another batch"):
            Journal(str(tmp_path))
        other = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=True
        )
        assert other.stdout.startswith("InputError another batch is writing to")
        journal.append([entry(1)])
    with Journal(str(tmp_path)) as journal:
        assert len(journal) == 1


# -- journals of the first form, as this test remembers them


OLD_HEAD = '{"schema":"spraycheck.journal/1"}\n'


def old_line(number: int, code: str = "pass", *, lasting: bool = True) -> str:
    result = {"verdict": None if code == "failed" else code, "n": number}
    line = {"key": key(number).hex(), "code": code, "lasting": lasting, "result": result}
    return json.dumps(line, separators=(",", ":")) + "\n"


def test_an_old_journal_is_taken_over_once(tmp_path: Path) -> None:
    old = tmp_path / OLD_NAME
    lines = [old_line(1), old_line(2, "failed", lasting=False), old_line(3), old_line(2, "fail")]
    text = OLD_HEAD + "".join(lines) + "\0" * 9 + "\n" + old_line(4)[:-20]
    old.write_text(text)
    with Journal(str(tmp_path)) as journal:
        assert len(journal) == 3
        assert journal.code_of(key(2), lasting=True) == "fail"
        assert journal.read(key(3)) == {"verdict": "pass", "n": 3}
        (note,) = journal.notes
        assert "3 results of an earlier version taken over" in note
        assert "1 damaged lines left out" in note
        journal.append([entry(5)])
    assert old.read_text() == text
    with Journal(str(tmp_path)) as journal:
        assert len(journal) == 4
        assert journal.notes == []


@pytest.mark.parametrize("text", ["", OLD_HEAD[:9], OLD_HEAD])
def test_an_old_journal_without_results(tmp_path: Path, text: str) -> None:
    (tmp_path / OLD_NAME).write_text(text)
    with Journal(str(tmp_path)) as journal:
        assert len(journal) == 0


def test_a_batch_goes_on_from_an_old_journal(tmp_path: Path) -> None:
    for k, word in enumerate(("pass 1", "fail 2", "blank 3")):
        photo(tmp_path / f"in/{k}.jpg", word)
    out = tmp_path / "out"
    batch(tmp_path / "in", out)
    wanted = (out / "records.jsonl").read_bytes()
    text = OLD_HEAD
    rows = rows_of(out)
    with Journal(str(out)) as journal:
        for _, one, code in rows:
            told = {"key": one.hex(), "code": code, "lasting": True, "result": journal.read(one)}
            text += json.dumps(told) + "\n"
    (out / JOURNAL_NAME).unlink()
    (out / OLD_NAME).write_text(text)
    _, watcher = batch(tmp_path / "in", out)
    assert watcher.measured == 0
    assert any("taken over" in said for said in watcher.said)
    assert (out / "records.jsonl").read_bytes() == wanted


# -- kills and full disks


def test_kills_between_any_two_photos_then_a_rerun(tmp_path: Path) -> None:
    # What a kill leaves is the log up to some commit. Whatever it is, the rerun gives every photo
    # one record, the same as an undisturbed run.
    words = ["pass", "fail", "blank 1", "recheck", "pass", "bug"]
    for k, word in enumerate(words):
        photo(tmp_path / f"in/{k}.jpg", word if k != 4 else "pass")
    batch(tmp_path / "in", tmp_path / "whole")
    wanted = (tmp_path / "whole/records.jsonl").read_bytes()
    whole = rows_of(tmp_path / "whole")
    assert len(whole) == 5  # two of the photos have the same content
    for kept in range(len(whole) + 1):
        out = tmp_path / f"kept-{kept}"
        shutil.copytree(tmp_path / "whole", out, ignore=shutil.ignore_patterns("*.jsonl"))
        with contextlib.closing(sqlite3.connect(out / JOURNAL_NAME)) as database:
            database.execute("delete from result where rowid > ?", (kept,))
            database.commit()
        _, watcher = batch(tmp_path / "in", out, pictures=False)
        assert (out / "records.jsonl").read_bytes() == wanted
        again = 1 if kept == 5 else 0  # a mistake in the program is always tried again
        assert watcher.measured == 5 - kept + again


def test_a_killed_process_loses_nothing(tmp_path: Path) -> None:
    for k in range(30):
        photo(tmp_path / f"in/{k:02d}.jpg", f"slow {k}")
    out = tmp_path / "out"
    command = [sys.executable, str(Path(__file__).with_name("batch_child.py")), "batch",
               str(tmp_path / "in"), "--holes", "4", "--out", str(out), "--jobs", "0"]  # fmt: skip
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as child:
        seen: list[tuple[int, bytes, str]] = []
        while len(seen) < 4:
            seen = rows_of(out)
            assert child.poll() is None
        child.kill()
    kept = rows_of(out)
    assert seen == kept[: len(seen)]
    assert 0 < len(kept) < 30
    assert not (out / "records.jsonl").exists()
    summary, watcher = batch(tmp_path / "in", out)
    assert summary.counts == {"pass": 30}
    assert watcher.measured == 30 - len(kept)
    assert len({r["file"] for r in records(out)}) == len(records(out)) == 30


@pytest.mark.skipif(sys.platform == "win32", reason="limits of file size are those of POSIX")
def test_a_full_disk_keeps_what_was_finished(tmp_path: Path) -> None:
    # A limit on the size of files fails in the kernel as a full disk does, in mid-write.
    import resource

    for k in range(12):
        photo(tmp_path / f"in/{k:02d}.jpg", f"pass {k}")
    out = tmp_path / "out"
    command = [sys.executable, str(Path(__file__).with_name("batch_child.py")), "batch",
               str(tmp_path / "in"), "--holes", "4", "--out", str(out), "--jobs", "0"]  # fmt: skip

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (90_000, resource.RLIM_INFINITY))

    child = subprocess.run(
        command, capture_output=True, text=True, timeout=120, check=False, preexec_fn=limit
    )
    assert child.returncode == 2
    assert "Traceback" not in child.stderr
    finished = len(rows_of(out))
    assert 0 < finished < 12
    assert "journal.sqlite' cannot be written (disk I/O error)" in child.stderr.splitlines()[-1]
    assert f"the {finished} photos finished so far are kept" in child.stderr.splitlines()[-1]
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
