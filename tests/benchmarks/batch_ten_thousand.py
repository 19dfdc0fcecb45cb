"""Ten thousand small photos from end to end: time, rate, memory, size of the outcome.

Also runs a hundred first: memory must be as flat for the many as for the few. With ``quick`` a
stand-in takes the place of the measurement: the figures are those of everything around it.

Run: python tests/benchmarks/batch_ten_thousand.py [PHOTOS] [JOBS] [quick]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch_archive import child_environment, make_archive, make_stand_ins, memory_mb, program


def run(folder: Path, out: Path, jobs: int, *, quick: bool) -> tuple[float, float, float]:
    """Return seconds, and the peak memory in MB of the main and of the largest worker process."""
    began = time.perf_counter()
    process = subprocess.Popen(
        [*program(quick=quick), "batch", str(folder), "--holes", "4", "--out", str(out), "--jobs",
         str(jobs)],
        env=child_environment(),
    )  # fmt: skip
    own = workers = 0.0
    while process.poll() is None:
        used = memory_mb(process.pid)
        if used:
            own, workers = max(own, used[0]), max(workers, *used[1:], 0.0)
        time.sleep(0.2)
    assert process.returncode == 0
    return time.perf_counter() - began, own, workers


def main() -> None:
    """Measure and print."""
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    jobs = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    quick = sys.argv[3:] == ["quick"]
    for count in (100, photos):
        with tempfile.TemporaryDirectory() as place:
            folder, out = Path(place) / "cards", Path(place) / "out"
            if quick:
                make_stand_ins(folder, count)
            else:
                make_archive(folder, count, side_px=320)
            seconds, own, workers = run(folder, out, jobs, quick=quick)
            again, *_ = run(folder, out, jobs, quick=quick)
            size = sum(f.stat().st_size for f in out.rglob("*") if f.is_file())
            lines = (out / "records.jsonl").read_bytes().count(b"\n")
            assert lines == count
            journal = (out / "journal.sqlite").stat().st_size
        print(f"{count} photos: {seconds:.0f} s, {count / seconds:.2f} photos/s; again with "
              f"nothing changed {again:.0f} s; peak memory {own:.0f} MB in the main process, "
              f"{workers:.0f} MB in the largest worker; outcome {size / count / 1000:.1f} kB a "
              f"photo, of it journal {journal / count / 1000:.1f} kB", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
