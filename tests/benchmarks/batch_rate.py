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
    few = max(4, photos // 5)
    found: dict[tuple[str, int], list[tuple[float, float]]] = {}
    with tempfile.TemporaryDirectory() as place:
        archives = {n: make_archive(Path(place) / str(n), n) for n in (few, photos)}
        ways = {
            "bare loop": bare,
            "--jobs 1": lambda folder: batch(folder, 1),
            "--jobs 2": lambda folder: batch(folder, 2),
            "--jobs 1 --no-pictures": lambda folder: batch(folder, 1, "--no-pictures"),
        }
        for run in range(runs):
            for name, way in ways.items():
                for count, folder in archives.items():
                    wall, cpu = way(folder)
                    found.setdefault((name, count), []).append((wall, cpu))
                    print(
                        f"run {run + 1} {name:<24} {count:>4} photos {count / wall:6.2f} photos/s, "
                        f"{cpu:6.2f} s of processor, load {os.getloadavg()[0]:.1f}",
                        flush=True,
                    )
    print()
    for name in ways:
        many, less = found[name, photos], found[name, few]
        wall = statistics.median(w for w, _ in many)
        # What one more photo costs, free of starting up and of writing the outcome.
        each = statistics.median(
            (a[1] - b[1]) / (photos - few) for a, b in zip(many, less, strict=True)
        )
        once = statistics.median(b[1] for b in less) - few * each
        print(
            f"median {name:<24} {photos / wall:6.2f} photos/s; {each:.3f} s of processor a photo "
            f"and {once:.1f} s once"
        )
    one, two = (found[f"--jobs {jobs}", photos] for jobs in (1, 2))
    gain = statistics.median(a[0] / b[0] for a, b in zip(one, two, strict=True))
    print(f"two jobs over one, median of pairs: {gain:.2f} with starting and finishing", end="")
    less_one, less_two = (found[f"--jobs {jobs}", few] for jobs in (1, 2))
    runs_of = zip(one, less_one, two, less_two, strict=True)
    gain = statistics.median((a[0] - b[0]) / (c[0] - d[0]) for a, b, c, d in runs_of)
    print(f", {gain:.2f} for each further photo")


if __name__ == "__main__":
    main()
