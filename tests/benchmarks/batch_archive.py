"""Makes archives of any size for the benchmarks of batches; shared by them, not run by itself."""

from __future__ import annotations

import os
import struct
import sys
from pathlib import Path

import cv2

SAMPLES = Path(__file__).resolve().parents[2] / "sample_images"
HOLES = {
    "blocked-one-of-four": 4,
    "drip-and-two-faults": 4,
    "good-eight-holes": 8,
    "good-slanted-view": 5,
    "good-squared-paper": 5,
    "off-line-one-of-four": 4,
    "two-faults-of-five": 5,
    "two-faults-of-four": 4,
    "weak-one-of-seven": 7,
}
"""Sample photo to its number of holes."""


def make_archive(folder: Path, count: int, *, side_px: int | None = None) -> Path:
    """Write ``count`` photos of different content, and a manifest of them.

    Each is a sample photo, shrunk to ``side_px`` on its longer side where given, with a number in
    a comment of the file: other bytes, so no duplicates, but the same work for every run.
    """
    pictures = []
    for name, holes in HOLES.items():
        data = (SAMPLES / f"{name}.jpg").read_bytes()
        if side_px is not None:
            image = cv2.imread(str(SAMPLES / f"{name}.jpg"))
            scale = side_px / max(image.shape)
            image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
            data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 90])[1].tobytes()
        pictures.append((data, holes))
    rows = ["file,holes"]
    for number in range(count):
        data, holes = pictures[number % len(pictures)]
        place = folder / f"{number // 1000:04d}" / f"{number:07d}.jpg"
        place.parent.mkdir(parents=True, exist_ok=True)
        remark = str(number).encode()
        # After the start-of-image marker, a comment segment (ITU-T T.81, B.2.4.5).
        place.write_bytes(
            data[:2] + b"\xff\xfe" + struct.pack(">H", len(remark) + 2) + remark + data[2:]
        )
        rows.append(f"{place.relative_to(folder)},{holes}")
    (folder / "manifest.csv").write_text("\n".join(rows) + "\n")
    return folder


def make_stand_ins(folder: Path, count: int) -> Path:
    """Write ``count`` files that the stand-in of the tests takes for photos of all kinds."""
    for number in range(count):
        place = folder / f"{number // 1000:04d}" / f"{number:07d}.jpg"
        place.parent.mkdir(parents=True, exist_ok=True)
        word = ("pass", "fail", "blank", "recheck")[number % 4]
        place.write_bytes(b"\xff\xd8\xff" + f"{word} {number}".encode())
    return folder


def program(*, quick: bool) -> list[str]:
    """Return how to start the command line; ``quick`` with the stand-in for the measurement."""
    child = Path(__file__).resolve().parents[1] / "batch_child.py"
    return [sys.executable, str(child)] if quick else [sys.executable, "-m", "spraycheck"]


def child_environment() -> dict[str, str]:
    """Return the environment of the measured processes: one thread each, this checkout."""
    root = str(SAMPLES.parent)
    return {
        **os.environ,
        "PYTHONPATH": root,
        **dict.fromkeys(("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"), "1"),
    }


def memory_mb(process: int) -> list[float]:
    """Return the resident memory of a process and of each below it, in MB (Linux)."""
    found = []
    stack = [process]
    while stack:
        number = stack.pop()
        try:
            status = Path(f"/proc/{number}/status").read_text()
            children = Path(f"/proc/{number}/task/{number}/children").read_text()
        except OSError:
            continue
        line = next((x for x in status.splitlines() if x.startswith("VmRSS")), "VmRSS: 0 kB")
        found.append(int(line.split()[1]) / 1024)
        stack += [int(child) for child in children.split()]
    return found
