"""Peak memory of a fresh process that measures one 12-megapixel photo, libraries included.

    python tests/benchmarks/memory_of_measuring.py [PHOTO.jpg] [--holes N] [--sheet SIZE]

Starts ``python -m spraycheck measure PHOTO --json`` and prints the largest resident set the system
saw for it. Target: below 450 MB. Also prints what the imports alone take. Without a photo one is
drawn, as for the speed.

Not a test: it depends on the system's libraries. Needs a system with ``resource`` (not Windows).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

HERE, ROOT = Path(__file__).parent, Path(__file__).parents[2]


def peak_mb(*arguments: str) -> tuple[float, int]:
    """Run Python in a fresh process; return its peak resident memory in MB and its exit code."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        [sys.executable, *arguments], stdout=subprocess.DEVNULL, env=environment
    ) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    unit = 1 if sys.platform == "darwin" else 1024  # bytes there, KiB on Linux
    return usage.ru_maxrss * unit / 1e6, process.returncode


def report(path: Path, holes: int, sheet: str) -> None:
    imports = "import spraycheck.cli.main, spraycheck.pipeline, spraycheck.photo"
    print(f"imports alone   {peak_mb('-c', imports)[0]:7.0f} MB")
    command = ["-m", "spraycheck", "measure", str(path), "--holes", str(holes)]
    peak, code = peak_mb(*command, "--sheet", sheet, "--json")
    print(f"one photo       {peak:7.0f} MB  (exit code {code}; target below 450)")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("photo", nargs="?", type=Path)
    parser.add_argument("--holes", type=int, default=8)
    parser.add_argument("--sheet", default="a4")
    given = parser.parse_args()
    if given.photo:
        report(given.photo.resolve(), given.holes, given.sheet)
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "card.jpg"
        # In a process of its own: the system counts what this one takes up against its children.
        draw = "import sys; from speed_of_measuring import draw_photo; draw_photo(sys.argv[1])"
        subprocess.run([sys.executable, "-c", draw, str(path)], check=True, cwd=HERE)
        report(path, given.holes, given.sheet)


if __name__ == "__main__":
    main()
