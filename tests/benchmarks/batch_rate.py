"""Rate of a batch: a bare loop, ``--jobs 1`` and ``--jobs 2``, in turns.

Prints, per run and as medians, photos per second of wall time and of processor time. On a machine
that others use too, only the processor time says what a photo costs; the wall times say what two
processes gained while sharing.

Run: python tests/benchmarks/batch_rate.py [PHOTOS] [RUNS]
"""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch_archive import child_environment, make_archive

BARE = """
import csv, sys, time
from pathlib import Path
import cv2
cv2.setNumThreads(1)
import warnings
warnings.simplefilter("ignore")
from spraycheck import measure_photo
folder = Path(sys.argv[1])
rows = list(csv.DictReader(open(folder / "manifest.csv")))
measure_photo(str(folder / rows[0]["file"]), holes=int(rows[0]["holes"]))
wall, cpu = time.perf_counter(), time.process_time()
for row in rows:
    measure_photo(str(folder / row["file"]), holes=int(row["holes"]))
print(time.perf_counter() - wall, time.process_time() - cpu)
"""


def bare(folder: Path) -> tuple[float, float]:
    """Return wall and processor seconds of the loop, without imports."""
    done = subprocess.run(
        [sys.executable, "-c", BARE, str(folder)],
        capture_output=True, text=True, check=True, env=child_environment(),
    )  # fmt: skip
    wall, cpu = map(float, done.stdout.split())
    return wall, cpu


def batch(folder: Path, jobs: int, *more: str) -> tuple[float, float]:
    """Return wall and processor seconds of the command, imports and outcome included."""
    out = tempfile.mkdtemp(prefix="spraycheck-out-")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.perf_counter()
    subprocess.run(
        [sys.executable, "-m", "spraycheck", "batch", str(folder), "--manifest",
         str(folder / "manifest.csv"), "--out", out, "--jobs", str(jobs), *more],
        capture_output=True, check=True, env=child_environment(),
    )  # fmt: skip
    wall = time.perf_counter() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    shutil.rmtree(out)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return wall, cpu


def main() -> None:
    """Measure and print."""
    photos = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    runs = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    found: dict[str, list[tuple[float, float]]] = {}
    with tempfile.TemporaryDirectory() as folder:
        make_archive(Path(folder), photos)
        ways = {
            "bare loop": lambda: bare(Path(folder)),
            "--jobs 1": lambda: batch(Path(folder), 1),
            "--jobs 2": lambda: batch(Path(folder), 2),
            "--jobs 1 --no-pictures": lambda: batch(Path(folder), 1, "--no-pictures"),
        }
        for run in range(runs):
            for name, way in ways.items():
                wall, cpu = way()
                found.setdefault(name, []).append((wall, cpu))
                print(
                    f"run {run + 1} {name:<24} {photos / wall:6.2f} photos/s, {cpu / photos:6.3f} "
                    f"s of processor each, load {os.getloadavg()[0]:.1f}",
                    flush=True,
                )
    print()
    for name, times in found.items():
        wall = statistics.median(w for w, _ in times)
        cpu = statistics.median(c for _, c in times)
        print(f"median {name:<24} {photos / wall:6.2f} photos/s, {cpu / photos:6.3f} s each")
    gains = [a[0] / b[0] for a, b in zip(found["--jobs 1"], found["--jobs 2"], strict=True)]
    print(f"two jobs over one, median of pairs: {statistics.median(gains):.2f}")


if __name__ == "__main__":
    main()
