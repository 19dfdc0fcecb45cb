"""How the values of options are read: the functions that argparse calls as a ``type``.

Each refuses with what was found, what was expected and what to try. Light to import: everything
heavy is imported when a value is there to be read.
"""

from __future__ import annotations

import argparse
import functools
import math
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Final, TypeVar

from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.card.spec import CardSpec
    from spraycheck.judge.quality.wicking import SprayTime
    from spraycheck.judge.standoff import Standoff

Value = TypeVar("Value")

_PLACE: Final = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*,\s*([-+]?\d+(?:\.\d+)?)\s*(?:mm)?\s*")


def value_type(parse: Callable[[str], Value]) -> Callable[[str], Value]:
    """Make an argparse type of a function that raises `InputError`, whose words are then told."""

    @functools.wraps(parse)
    def parsed(text: str) -> Value:
        try:
            return parse(text)
        except InputError as error:
            raise argparse.ArgumentTypeError(str(error)) from None

    return parsed


def whole_number(least: int, most: int, hint: str) -> Callable[[str], int]:
    """Return a type for whole numbers from ``least`` to ``most``."""

    @value_type
    def parsed(text: str) -> int:
        number = int(text) if re.fullmatch(r"\s*[-+]?\d{1,18}\s*", text) else None
        if number is None or not least <= number <= most:
            raise InputError(
                f"found {text!r}, expected a whole number from {least} to {most}", hint
            )
        return number

    return parsed


def decimal_number(example: str) -> Callable[[str], float]:
    """Return a type for numbers; a decimal comma will do."""

    @value_type
    def parsed(text: str) -> float:
        try:
            found = float(text.replace(",", "."))
        except ValueError:
            found = math.nan
        if not math.isfinite(found):
            raise InputError(f"found {text!r}, expected a number", f"for example {example}")
        return found

    return parsed


hole_count = whole_number(3, 16, "count the spray holes in the nozzle tip")
"""Read --holes; `judge.layout` has the same range but costs numpy to import."""


@value_type
def sheet_size(text: str) -> CardSpec:
    """Read --sheet."""
    from spraycheck.card.spec import parse_sheet

    return parse_sheet(text)


@value_type
def printed_length(text: str) -> tuple[float, float]:
    """Read --printed-length: level and upright, mm."""
    from spraycheck.card.spec import CardSpec, parse_printed_length

    level, upright = parse_printed_length(text)
    CardSpec(printed_x_mm=level, printed_y_mm=upright)  # refuses what is out of reason
    return level, upright


@value_type
def card_number(text: str) -> int:
    """Read --card-number."""
    from spraycheck.card.spec import CardSpec

    try:
        return CardSpec(which=int(text)).which
    except InputError:
        raise
    except ValueError:
        raise InputError(
            f"card number {text!r}, expected 1 for the leftmost", "count from the left"
        ) from None


@value_type
def standoff(text: str) -> Standoff:
    """Read --standoff-mm."""
    from spraycheck.judge.standoff import parse_standoff

    return parse_standoff(text)


@value_type
def spray_time(text: str) -> SprayTime:
    """Read --sprayed-at."""
    from spraycheck.judge.quality.wicking import parse_spray_time

    return parse_spray_time(text)


@value_type
def aim(text: str) -> str | tuple[float, float]:
    """Read --aim: ``centre``, or mm right of and below the middle of the sheet."""
    if text.strip().lower() in ("centre", "center", "middle"):
        return "centre"
    match = _PLACE.fullmatch(text)
    if match is None:
        raise InputError(
            f"aim {text!r} not understood, expected mm right of and below the middle of the sheet",
            "for example --aim=-5,12, or --aim centre",
        )
    return float(match[1]), float(match[2])


@value_type
def photo_turn(text: str) -> tuple[str, float]:
    """Read --turn of several photos: which photo, and degrees."""
    photo, colon, turn = text.rpartition(":")
    try:
        degrees = float(turn)
    except ValueError:
        degrees = math.nan
    if not (colon and math.isfinite(degrees)):
        raise InputError(
            f"found {text!r}, expected one of the photos, a colon and degrees",
            "for example --turn card.jpg:90",
        )
    return photo, degrees
