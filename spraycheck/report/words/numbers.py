"""How numbers are written, everywhere a person reads them; and the filling in of sentences.

Every number goes through `number`, so that another language's decimal sign is one constant.
"""

from __future__ import annotations

import functools
import math
import string
from typing import Final

DECIMAL: Final = "."
"""The decimal sign."""

UNKNOWN: Final = "-"
"""Stands in a table for a value that is not known."""

CERTAIN: Final = 0.9995
"""From here on a probability is not written out: its digits would round to certainty."""

ANY_NUMBER: Final = "g"


def number(value: float, spec: str = ANY_NUMBER) -> str:
    """Write a number.

    Parameters
    ----------
    value : float
        What is written; infinite and missing values are the caller's to catch.
    spec : str
        As of `format`.
    """
    return format(value, spec).replace(".", DECIMAL)


def percent(value: float, digits: int = 0) -> str:
    """Write a ratio as a percentage; ``-`` for NaN."""
    return number(value, f".{digits}%") if math.isfinite(value) else UNKNOWN


def signed(value: float) -> str:
    """Write an angle with its sign and one decimal; ``-`` for NaN, no sign on zero."""
    if not math.isfinite(value):
        return UNKNOWN
    text = number(value, "+.1f")
    return text[1:] if text in (number(-0.0, "+.1f"), number(0.0, "+.1f")) else text


def probability(value: float) -> str:
    """Say a probability without ever rounding it to certainty."""
    if value > CERTAIN:
        return f"over {number(99.9)} %"
    if value < 1 - CERTAIN:
        return f"below {number(0.1)} %"
    return f"{number(100 * value, '.1f')} %"


def printable(text: str) -> str:
    """Return a text from outside (a file's or a layout's name) with control characters made inert.

    A file name may hold escape sequences that would recolour or rewrite the terminal.
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else "?" for c in text)


def clock_position(direction_deg: float) -> str:
    """Say a direction as a clock position, to the nearest quarter of an hour (7.5 degrees).

    Parameters
    ----------
    direction_deg : float
        Clockwise from 12 o'clock.

    Returns
    -------
    str
        For example ``"4:30"``; the dial runs from 12:00 to 11:45. ``"unknown"`` for NaN.
    """
    if not math.isfinite(direction_deg):
        return "unknown"
    quarters = round(direction_deg / 7.5) % 48
    return f"{quarters // 4 or 12}:{quarters % 4 * 15:02d}"


def _clock(value: float) -> str:
    position = clock_position(value)
    hour, _, minutes = position.partition(":")
    return f"{hour} o'clock" if minutes == "00" else f"{position} on the clock"


def _turn(value: float) -> str:
    word = "clockwise" if value >= 0 else "anticlockwise"
    return f"{number(abs(value), '.1f')}° {word}"


SPELT: Final = {
    "clock": _clock,
    "hour": clock_position,
    "turn": _turn,
    "signed": signed,
    "chance": probability,
}
"""Formats for which there is more to say than digits: name to how the value is written."""


def fill(template: str, /, **fields: object) -> str:
    """Fill in a sentence's named fields, each written as its format says."""
    return "".join(
        literal if name is None else f"{literal}{_write(fields[name], spec)}"
        for literal, name, spec in _pieces(template)
    )


def fields_of(template: str) -> frozenset[str]:
    """Return the names of the fields that a sentence has."""
    return frozenset(name for _, name, _ in _pieces(template) if name)


@functools.cache
def _pieces(template: str) -> tuple[tuple[str, str | None, str], ...]:
    """Return text, the name of the field behind it, and its format."""
    parsed = string.Formatter().parse(template)
    return tuple((literal, name, spec or "") for literal, name, spec, _ in parsed)


def _write(value: object, spec: str) -> str:
    """Write one value; NaN is "unknown", and `SPELT` are formats of their own."""
    if isinstance(value, bool | str) or not isinstance(value, int | float):
        return format(value, spec)
    if isinstance(value, float) and math.isnan(value) and spec != "signed":
        return "unknown"
    spelt = SPELT.get(spec)
    return number(value, spec or ANY_NUMBER) if spelt is None else spelt(float(value))
