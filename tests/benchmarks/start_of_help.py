"""Wall time of ``spraycheck --help`` in a fresh process.

    python tests/benchmarks/start_of_help.py [--rounds N]

Prints the median and the least of several starts, and the same for an empty Python program.
Target: within 0.25 s. The command line is started by ``python -m spraycheck``, which does what the
installed script does.

Not a test: times depend on the machine and on what else it does.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]


def start_s(*arguments: str) -> float:
    """Seconds from start to end of a fresh Python process."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    begin = time.perf_counter()
    subprocess.run(
        [sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True, env=environment
    )
    return time.perf_counter() - begin


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--rounds", type=int, default=10)
    rounds = parser.parse_args().rounds
    for name, arguments in {
        "empty program": ("-c", "pass"),
        "--help": ("-m", "spraycheck", "--help"),
        "measure --help": ("-m", "spraycheck", "measure", "--help"),
    }.items():
        start_s(*arguments)  # compiled files
        times = [start_s(*arguments) for _ in range(rounds)]
        print(f"{name:<16} {statistics.median(times):6.3f} s  (least {min(times):.3f})")


if __name__ == "__main__":
    main()
