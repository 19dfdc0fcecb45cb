"""Kill a batch at random instants, then let it finish: every photo exactly one record.

Each round starts the command on the same outcome folder and kills it at a random instant: every
other time the main process alone, whose workers must then end by themselves, else the whole group.
When a round finishes before its kill, the outcome is checked and begun anew. With ``quick`` a
stand-in takes the place of the measurement, so that more of the kills fall on reading, writing and
handing over.

Run: python tests/benchmarks/batch_kills.py [KILLS] [PHOTOS] [quick]
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch_archive import child_environment, make_archive, make_stand_ins, program


def main() -> None:
    """Kill, rerun, check, print."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    photos = int(sys.argv[2]) if len(sys.argv) > 2 else 60
    quick = sys.argv[3:] == ["quick"]
    rng = random.Random(8)
    done = rounds = unmerged = 0
    with tempfile.TemporaryDirectory() as place:
        folder, out = Path(place) / "cards", Path(place) / "out"
        if quick:
            make_stand_ins(folder, photos)
        else:
            make_archive(folder, photos, side_px=320)
        command = [*program(quick=quick), "batch", str(folder), "--holes", "4", "--out", str(out),
                   "--jobs", "2"]  # fmt: skip
        began = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True, env=child_environment())
        longest = time.perf_counter() - began
        wanted = (out / "records.jsonl").read_bytes()
        shutil.rmtree(out)
        before: set[bytes] = set()
        while done < kills:
            process = subprocess.Popen(
                command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=child_environment(),
                start_new_session=True,
            )  # fmt: skip
            try:
                # Every third kill begins to count when the work does, the others from the start.
                while done % 3 == 0 and process.poll() is None and not (out / "pictures").exists():
                    time.sleep(0.01)
                span = 1.2 if done % 3 else 0.6
                _, errors = process.communicate(timeout=rng.uniform(0, span * longest))
                assert process.returncode == 0, errors.decode()
                check(out, wanted, photos)
                rounds += 1
                shutil.rmtree(out)
                before = set()
                continue
            except subprocess.TimeoutExpired:
                if done % 2:
                    os.kill(process.pid, signal.SIGKILL)
                else:
                    os.killpg(process.pid, signal.SIGKILL)
                process.communicate()
                done += 1
            if done % 20 == 0:
                print(f"{done} kills so far, {rounds} outcomes complete and right", flush=True)
            unmerged += any(out.glob("journal.sqlite-*"))
            keys = finished(out, Path(place) / "look")
            assert before <= keys, "a finished photo was lost"
            before = keys
        subprocess.run(command, capture_output=True, check=True, env=child_environment())
        check(out, wanted, photos)
    print(f"{done} kills, {rounds + 1} outcomes complete, {unmerged} logs left behind: every photo "
          "had exactly one record, the same as undisturbed")  # fmt: skip


def finished(out: Path, look: Path) -> set[bytes]:
    """Return the keys in the journal; a copy is read, so that nothing is mended for the batch."""
    shutil.rmtree(look, ignore_errors=True)
    look.mkdir()
    for file in out.glob("journal.sqlite*"):
        shutil.copy(file, look)
    with contextlib.closing(sqlite3.connect(look / "journal.sqlite")) as database:
        assert database.execute("pragma integrity_check").fetchone() == ("ok",)
        if not database.execute("select 1 from sqlite_master").fetchone():
            return set()
        return {key for (key,) in database.execute("select key from result")}


def check(out: Path, wanted: bytes, photos: int) -> None:
    """Compare the outcome with that of an undisturbed run."""
    got = (out / "records.jsonl").read_bytes()
    files = [json.loads(line)["file"] for line in got.splitlines()]
    assert len(files) == len(set(files)) == photos
    assert got == wanted


if __name__ == "__main__":
    main()
