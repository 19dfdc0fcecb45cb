"""The values of options as people write them, right and wrong."""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from collections.abc import Callable
from datetime import time
from typing import Any

import pytest

from spraycheck.batch import ONE_THREAD
from spraycheck.cli import values
from spraycheck.cli.options import KINDS
from spraycheck.nozzles.model import KINDS as NOZZLE_KINDS

seeds = values.whole_number(1, 1_000_000, "for example 2")
angles = values.decimal_number("65")


@pytest.mark.parametrize(
    ("read", "text", "expected"),
    [
        (values.hole_count, " 4 ", 4),
        (seeds, "1000000", 1_000_000),
        (angles, "65,5", 65.5),
        (angles, "-1e2", -100.0),
        (values.printed_length, "98.7", (98.7, 98.7)),
        (values.printed_length, "98,7 x 99.1 mm", (98.7, 99.1)),
        (values.card_number, "0", 0),
        (values.card_number, "3", 3),
        (values.aim, " Centre ", "centre"),
        (values.aim, "-5, 12.5 mm", (-5.0, 12.5)),
        (values.photo_turn, "a:b.jpg:90", ("a:b.jpg", 90.0)),
    ],
)
def test_values_that_are_read(read: Callable[[str], Any], text: str, expected: object) -> None:
    assert read(text) == expected


def test_values_that_become_objects() -> None:
    sheet = values.sheet_size("A5")
    assert (sheet.width_mm, sheet.height_mm) == (148.0, 210.0)
    height = values.standoff("20+-0.5")
    assert (height.height_mm, height.u_mm) == (20.0, 0.5)
    assert values.spray_time("14:30").moment == time(14, 30)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (values.hole_count, "2"),
        (values.hole_count, "17"),
        (values.hole_count, "4.0"),
        (values.hole_count, ""),
        (values.hole_count, "9" * 5000),  # longer than Python reads
        (seeds, "0"),
        (seeds, "1e3"),
        (angles, "nan"),
        (angles, "inf"),
        (angles, "1,5,2"),
        (values.sheet_size, "a9"),
        (values.sheet_size, "5x5"),
        (values.printed_length, "soon"),
        (values.printed_length, "40"),
        (values.card_number, "-1"),
        (values.card_number, "first"),
        (values.standoff, "0.2"),
        (values.standoff, "high"),
        (values.spray_time, "noon"),
        (values.aim, "5 12"),
        (values.aim, "left"),
        (values.photo_turn, "90"),
        (values.photo_turn, "a.jpg:"),
        (values.photo_turn, "a.jpg:nan"),
    ],
)
def test_values_that_are_refused(read: Callable[[str], Any], text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError) as caught:
        read(text)
    message = str(caught.value)
    assert "expected" in message
    assert "\n" not in message


def test_kinds_of_nozzle_are_those_of_the_files() -> None:
    assert tuple(NOZZLE_KINDS) == KINDS


def test_linear_algebra_is_held_to_one_thread_before_numpy_is_imported() -> None:
    # A height is read while the options are parsed, and reading it imports NumPy.
    code = (
        "import os, sys\n"
        "from spraycheck.cli.main import main\n"
        "import importlib.abc\n"
        "class Watch(importlib.abc.MetaPathFinder):\n"
        "    def find_spec(self, name, path, target=None):\n"
        "        if name == 'numpy':\n"
        "            print(os.environ.get('OPENBLAS_NUM_THREADS'))\n"
        "sys.meta_path.insert(0, Watch())\n"
        "main(['batch', '--holes', '4', '--standoff-mm', '20'])\n"
    )
    environ = {name: value for name, value in os.environ.items() if name not in ONE_THREAD}
    found = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        env=environ,
    )
    assert found.stdout.split() == ["1"]
