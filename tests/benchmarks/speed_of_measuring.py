"""How long a 12-megapixel photo takes, as a ratio to decoding it with OpenCV.

    python tests/benchmarks/speed_of_measuring.py [PHOTO.jpg] [--holes N] [--sheet SIZE]

Times, in this process and in turn, ``cv2.imread`` of the JPEG and ``measure_photo`` of the same
file (reading and all stages; no overlay, no imports), with default threads on both sides, and
prints the ratio of the medians; then every stage alone. Target: a ratio within 4. Turns are taken
one by one, so that another program's load falls on both. Without a photo one is drawn: eight plumes
on an A4 sheet, seen from 8 degrees off square, 4000 x 3000 pixels, JPEG quality 92.

Not a test: times depend on the machine and on what else it does.
"""

from __future__ import annotations

import argparse
import functools
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

import cv2

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]


def draw_photo(path: Path | str) -> None:
    """Write the 12-megapixel photo."""
    from drawn_photos import Camera, Card, even, photograph  # found by the path set above

    card = Card(plumes=even(8, radius=62.0, length=17.0, width=7.5))
    camera = Camera(size=(3000, 4000), focal=3600.0, distance=390.0, tilt=8.0)
    rgb = photograph(card, camera, noise=0.02).rgb
    cv2.imwrite(str(path), rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])


def clock(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - start)


def compare(path: Path, holes: int, sheet: str, rounds: int) -> None:
    """Print the ratio and the stages."""
    from spraycheck import measure_photo
    from spraycheck.photo import read_photo
    from spraycheck.pipeline import Pipeline

    measure_photo(path, holes=holes, sheet=sheet)  # imports, caches
    decode: list[float] = []
    whole: list[float] = []
    for _ in range(rounds):
        decode.append(clock(lambda: cv2.imread(str(path))))
        whole.append(clock(lambda: measure_photo(path, holes=holes, sheet=sheet)))
    base = statistics.median(decode)
    print(f"cv2.imread      {base:8.1f} ms  (least {min(decode):.1f})")
    print(f"measure_photo   {statistics.median(whole):8.1f} ms  (least {min(whole):.1f})")
    ratio = statistics.median(whole) / base
    print(f"ratio           {ratio:8.2f}     (of the least {min(whole) / min(decode):.2f})")

    times: dict[str, list[float]] = {"read": []}

    def timed(name: str, stage: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(stage)
        def run(*args: object, **kwargs: object) -> object:
            start = time.perf_counter()
            done = stage(*args, **kwargs)
            times.setdefault(name, []).append(1000 * (time.perf_counter() - start))
            return done

        return run

    house = Pipeline()
    stages = {f.name: timed(f.name, getattr(house, f.name)) for f in fields(house)}
    clocked = Pipeline(**stages)
    for _ in range(max(3, rounds // 2)):
        times["read"].append(clock(lambda: read_photo(path)))
        measure_photo(path, holes=holes, sheet=sheet, pipeline=clocked)
    for name, values in times.items():
        middle = statistics.median(values)
        print(f"  {name:<13} {middle:8.1f} ms  {middle / base:5.2f}  (least {min(values):.1f})")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("photo", nargs="?", type=Path)
    parser.add_argument("--holes", type=int, default=8)
    parser.add_argument("--sheet", default="a4")
    parser.add_argument("--rounds", type=int, default=20)
    given = parser.parse_args()
    print(f"threads: {cv2.getNumThreads()}")
    if given.photo:
        compare(given.photo, given.holes, given.sheet, given.rounds)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "card.jpg"
        draw_photo(path)
        compare(path, given.holes, given.sheet, given.rounds)


if __name__ == "__main__":
    main()
