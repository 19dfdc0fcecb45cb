"""What the exit code says: the only place where one is chosen."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from spraycheck.errors import MeasurementError

PASS: Final = 0
"""The verdict is pass; of commands without a verdict: done."""
FAIL: Final = 1
INPUT: Final = 2
"""A usage or input error: an option, a layout or a photo that cannot be used."""
RECHECK: Final = 3
"""The photo was read but does not decide: recheck, or not measurable."""
INTERRUPTED: Final = 130
BROKEN_PIPE: Final = 141
"""These two as shells count them: 128 and the number of the signal."""

OF_VERDICT: Final = {"pass": PASS, "fail": FAIL, "recheck": RECHECK}


def of_error(error: Exception) -> int:
    """Return the code for what was raised on purpose."""
    return RECHECK if isinstance(error, MeasurementError) else INPUT


def worst(codes: Iterable[int]) -> int:
    """Return the code for several photos: the first that applies of 2, 3, 1, 0."""
    found = set(codes)
    return next(code for code in (INPUT, RECHECK, FAIL, PASS) if code in found)
