"""What the exit code says."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

PASS: Final = 0
FAIL: Final = 1
INPUT: Final = 2
"""A usage or input error: an option, a layout or a photo that cannot be used."""
RECHECK: Final = 3
"""The photo was read but does not decide: recheck, or not measurable."""
INTERRUPTED: Final = 130
BROKEN_PIPE: Final = 141
"""These two as shells count them: 128 and the number of the signal."""

OF_VERDICT: Final = {"pass": PASS, "fail": FAIL, "recheck": RECHECK}


def worst(codes: Iterable[int]) -> int:
    """Return the code for several photos: the first that applies of 2, 3, 1, 0."""
    found = set(codes)
    return next(code for code in (INPUT, RECHECK, FAIL, PASS) if code in found)
