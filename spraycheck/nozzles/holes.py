"""The ``[[hole]]`` sections of a nozzle file: each by itself, and whether they fit together."""

from __future__ import annotations

import math
from typing import Final

import msgspec

from spraycheck.judge.layout import MAX_HOLES, MIN_HOLES
from spraycheck.nozzles.validation import Source

_SAME_DEG = 0.5
# Chosen because holes closer than this are one typed twice: their streaks could not be told apart.

MEANING_OF_HOLE: Final = {
    "azimuth_deg": "degrees clockwise as the streaks lie on the card, from -360 to 360",
    "axis_angle_deg": "degrees between the hole and the nozzle axis, above 0 and below 90",
    "diameter_mm": "the hole's diameter, above 0.02 and below 5 mm",
    "row": f"a whole number from 1, at most {MAX_HOLES}",
}
"""What is expected of each key."""

_OPTIONAL: Final = {"axis_angle_deg": (0.0, 90.0), "diameter_mm": (0.02, 5.0), "row": (0.5, 16.5)}
"""Keys for all holes or none, and the ends of their ranges, which are left out."""


class HoleEntry(msgspec.Struct, forbid_unknown_fields=True):
    """One ``[[hole]]`` section."""

    azimuth_deg: float
    axis_angle_deg: float = math.nan
    diameter_mm: float = math.nan
    row: int = 1


def check_holes(source: Source, holes: list[HoleEntry]) -> None:
    """Tell everything that is wrong with the holes of a file."""
    for n, hole in enumerate(holes):
        _check(source, n, "azimuth_deg", hole.azimuth_deg, (-360.0, 360.0), closed=True)
        for key, span in _OPTIONAL.items():
            if source.has("hole", n, key):
                _check(source, n, key, getattr(hole, key), span)
    if not MIN_HOLES <= len(holes) <= MAX_HOLES:
        source.tell(
            f"the layout has {len(holes)} holes, expected {MIN_HOLES} to {MAX_HOLES}",
            "give one [[hole]] section for each spray hole in the nozzle tip",
            *("hole", max(len(holes) - 1, 0)),
        )
    _check_complete(source, len(holes))
    _check_distinct(source, [hole.azimuth_deg % 360.0 for hole in holes])
    if not source.problems:
        _check_rows(source, [hole.row for hole in holes])


def _check(
    source: Source,
    n: int,
    key: str,
    value: float,
    span: tuple[float, float],
    *,
    closed: bool = False,
) -> None:
    source.check_range(
        f"{key} of hole {n + 1}",
        value,
        span,
        MEANING_OF_HOLE[key],
        _hint(key, value, n + 1),
        *("hole", n, key),
        closed=closed,
    )


def _hint(key: str, value: float, hole: int) -> str:
    if key == "axis_angle_deg" and 90 <= value < 180:
        return "give half of the angle between opposite holes, not the whole cone angle"
    if key == "diameter_mm" and value >= 5:
        return "give the diameter in mm, for example 0.24"
    return f"correct {key} of hole {hole}"


def _check_complete(source: Source, count: int) -> None:
    """Tell an optional key that only some holes have: it would have to be left unused."""
    for key in _OPTIONAL:
        without = [n for n in range(count) if not source.has("hole", n, key)]
        if without and len(without) < count:
            source.tell(
                f"hole {without[0] + 1} has no {key}, but {count - len(without)} of {count} holes "
                "have, expected all or none",
                f"add {key} to every hole, or take it out of all",
                *("hole", without[0], key),
            )


def _check_distinct(source: Source, azimuths: list[float]) -> None:
    """Tell two holes at the same azimuth."""
    for b, second in enumerate(azimuths):
        for a, first in enumerate(azimuths[:b]):
            apart = abs((second - first + 180.0) % 360.0 - 180.0)
            if apart < _SAME_DEG:
                source.tell(
                    f"azimuth_deg of hole {b + 1} is {second:g}, the same as that of hole "
                    f"{a + 1} ({first:g}), expected holes at different azimuths",
                    "correct it, or take one of the two out",
                    *("hole", b, "azimuth_deg"),
                )


def _check_rows(source: Source, rows: list[int]) -> None:
    """Tell a gap in the numbers of the rows: one of them is mistyped."""
    for n, row in enumerate(rows):
        if row > 1 and row - 1 not in rows:
            source.tell(
                f"row of hole {n + 1} is {row}, but no hole is in row {row - 1}, expected rows "
                "counted from 1 without a gap",
                "correct row",
                *("hole", n, "row"),
            )
