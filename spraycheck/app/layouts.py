"""Layout files in: the holes a nozzle should have, as TOML a person writes.

```toml
name = "five holes, slanting nozzle"
seen_from = "injector"     # or "tip": a drawing of the tip seen from below is mirrored
counts_from = "dowel"      # optional: the feature at 0 degrees, to line a printed card up with

[[hole]]
azimuth_deg = 12.5         # clockwise as the streaks lie on the card
axis_angle_deg = 72.0      # optional, for all holes or none: hole axis to nozzle axis
diameter_mm = 0.24         # optional, for all holes or none
```

Every mistake is told with its line and key: whoever types a layout does so once, from a drawing.
"""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
from pathlib import Path
from typing import Any, Final, Literal, NoReturn

import msgspec

from spraycheck.app.photos.files import shown
from spraycheck.errors import LayoutError
from spraycheck.pattern.artwork import inert
from spraycheck.pattern.layout import MAX_HOLES, MIN_HOLES, Layout

_MAX_BYTES = 100_000
# Chosen because sixteen holes with comments are some kilobytes; a larger file is something else.

_SAME_DEG = 0.5
# Chosen because holes closer than this are one typed twice: their streaks could not be told apart.

_MEANING: Final = {
    "name": "what the nozzle is called, as text in quotes",
    "seen_from": '"injector" or "tip"',
    "counts_from": "the feature of nozzle or holder that 0 degrees stands for, as text in quotes",
    "hole": "one [[hole]] section for each hole",
    "azimuth_deg": "degrees clockwise as the streaks lie on the card, from -360 to 360",
    "axis_angle_deg": "degrees between the hole and the nozzle axis, above 0 and below 90",
    "diameter_mm": "the hole's diameter, above 0.02 and below 5 mm",
}

_EXAMPLE = (
    'for example: name = "my nozzle", then per hole the lines [[hole]] and azimuth_deg = 45.0'
)


class _HoleEntry(msgspec.Struct, forbid_unknown_fields=True):
    azimuth_deg: float
    axis_angle_deg: float = math.nan
    diameter_mm: float = math.nan


class _LayoutFile(msgspec.Struct, forbid_unknown_fields=True):
    hole: list[_HoleEntry]
    name: str = ""
    seen_from: Literal["injector", "tip"] = "injector"
    counts_from: str = ""


def read_layout(path: str | os.PathLike[str]) -> Layout:
    """Read a layout file.

    Parameters
    ----------
    path : str or path-like
        A TOML file as the module shows. Without ``name`` the file's own name is taken.

    Returns
    -------
    Layout
        Azimuths in ``[0, 360)`` as the streaks lie on the card, in file order; those of a drawing
        seen from the tip are mirrored here.

    Raises
    ------
    LayoutError
        Unreadable file, no TOML, unknown or missing key, wrong type, value out of range, the same
        azimuth twice, fewer than 3 or more than 16 holes, an optional key for some holes only.
    """
    source = _Source(path)
    file = source.parse()
    for number, hole in enumerate(file.hole, start=1):
        source.check_range(number, "azimuth_deg", hole.azimuth_deg, -360, 360, closed=True)
        if not math.isnan(hole.axis_angle_deg) or source.names(number, "axis_angle_deg"):
            source.check_range(number, "axis_angle_deg", hole.axis_angle_deg, 0, 90)
        if not math.isnan(hole.diameter_mm) or source.names(number, "diameter_mm"):
            source.check_range(number, "diameter_mm", hole.diameter_mm, 0.02, 5)
    if not MIN_HOLES <= len(file.hole) <= MAX_HOLES:
        source.fail(
            f"the layout has {len(file.hole)} holes, expected {MIN_HOLES} to {MAX_HOLES}",
            "give one [[hole]] section for each spray hole in the nozzle tip",
            hole=len(file.hole),
        )
    source.check_complete(file.hole)
    azimuths = [hole.azimuth_deg % 360.0 for hole in file.hole]
    source.check_distinct(azimuths)
    layout = Layout(
        name=" ".join(file.name.split()) or Path(path).stem,
        azimuth_deg=tuple(azimuths),
        axis_angle_deg=tuple(hole.axis_angle_deg for hole in file.hole),
        diameter_mm=tuple(hole.diameter_mm for hole in file.hole),
        counts_from=inert(" ".join(file.counts_from.split())),
    )
    return layout.mirrored() if file.seen_from == "tip" else layout


class _Source:
    """The text of one layout file, and where in it things stand."""

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = path
        self.text = _read_text(path)
        self.data: dict[str, Any] = {}

    def parse(self) -> _LayoutFile:
        """Read the text as TOML of the expected shape."""
        try:
            self.data = tomllib.loads(self.text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            self._fail_toml(str(error))
        try:
            return msgspec.convert(self.data, _LayoutFile)
        except msgspec.ValidationError as error:
            self._fail_shape(str(error))

    def names(self, hole: int, key: str) -> bool:
        """Say whether hole number ``hole`` (from 1) has this key."""
        return key in self.data["hole"][hole - 1]

    def check_range(
        self, hole: int, key: str, value: float, low: float, high: float, *, closed: bool = False
    ) -> None:
        """Refuse a value that is not finite or not in the range."""
        inside = low <= value <= high if closed else low < value < high  # False for NaN
        if inside:
            return
        hint = f"correct {key} of hole {hole}"
        if key == "axis_angle_deg" and 90 <= value < 180:
            hint = "give half of the angle between opposite holes, not the whole cone angle"
        if key == "diameter_mm" and value >= 5:
            hint = "give the diameter in mm, for example 0.24"
        self.fail(
            f"{key} of hole {hole} is {value:g}, expected {_MEANING[key]}", hint, hole=hole, key=key
        )

    def check_complete(self, holes: list[_HoleEntry]) -> None:
        """Refuse an optional key that only some holes have: it would have to be left unused."""
        for key in ("axis_angle_deg", "diameter_mm"):
            without = [n for n, hole in enumerate(holes, 1) if math.isnan(getattr(hole, key))]
            if without and len(without) < len(holes):
                having = len(holes) - len(without)
                self.fail(
                    f"hole {without[0]} has no {key}, but {having} of {len(holes)} holes have, "
                    "expected all or none",
                    f"add {key} to every hole, or take it out of all",
                    hole=without[0],
                )

    def check_distinct(self, azimuths: list[float]) -> None:
        """Refuse two holes at the same azimuth."""
        for b, second in enumerate(azimuths):
            for a, first in enumerate(azimuths[:b]):
                apart = abs((second - first + 180.0) % 360.0 - 180.0)
                if apart < _SAME_DEG:
                    self.fail(
                        f"azimuth_deg of hole {b + 1} is {second:g}, the same as that of hole "
                        f"{a + 1} ({first:g}), expected holes at different azimuths",
                        "correct it, or take one of the two out",
                        hole=b + 1,
                        key="azimuth_deg",
                    )

    def fail(
        self, found: str, hint: str, *, hole: int = 0, key: str = "", line: int = 0
    ) -> NoReturn:
        """Raise, naming the line where the hole's key stands."""
        line = line or self.line_of(hole, key)
        where = f", line {line}" if line else ""
        raise LayoutError(f"layout {shown(self.path)}{where}: {found}", hint)

    def line_of(self, hole: int, key: str) -> int:
        """Find the line of a key; of the hole's heading when the key is not there; 0 if neither."""
        return _line_of(self.text, hole, key)

    def _fail_toml(self, message: str) -> NoReturn:
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
        reason = message[: place.start()] if place else message
        line = int(place[1]) if place and place[1] else 0
        lines = self.text.splitlines()
        if place and not place[1]:
            line = len(lines)
        # tomllib notices a repeated key only where the statement ends: the start of the next line.
        twice = "overwrite" in reason or "twice" in reason
        if twice and place and place[1] and re.search(r"column 1\)$", message):
            line -= 1
        wrong = lines[line - 1].strip() if 0 < line <= len(lines) else ""
        hint = "write key = value, one a line; text in quotes, numbers with a decimal point"
        if re.search(r"=\s*[-+]?\d+,\d", wrong):
            hint = "write numbers with a decimal point, not a comma"
        elif twice:
            hint = (
                "begin each hole with a line [[hole]], in double brackets, and give each key once"
            )
        elif not wrong.isascii() and re.search(r"[“”„‘’«»]", wrong):
            hint = 'use plain quotes: "'
        found = (
            f"{_short(wrong)!r} is not understood ({_lower(reason)})" if wrong else _lower(reason)
        )
        self.fail(f"{found}, expected TOML", hint, line=line)

    def _fail_shape(self, message: str) -> NoReturn:
        told, _, at = message.partition(" - at `")
        index = re.search(r"\[(\d+)\]", at)
        hole = int(index[1]) + 1 if index else 0
        inside = f" of hole {hole}" if hole else ""
        if unknown := re.search(r"unknown field `(.*)`", told):
            known = list(_HoleEntry.__struct_fields__ if hole else _LayoutFile.__struct_fields__)
            close = difflib.get_close_matches(unknown[1], known, n=1, cutoff=0.5)
            hint = f"did you mean {close[0]}?" if close else "take the line out"
            if not hole and unknown[1] in _HoleEntry.__struct_fields__:
                hint = f"put {unknown[1]} under a line [[hole]]"
            self.fail(
                f"unknown key {_short(unknown[1])!r}{inside}, expected {', '.join(known)}",
                hint,
                hole=hole,
                key=unknown[1],
            )
        if missing := re.search(r"missing required field `(.*)`", told):
            key = missing[1]
            hint = _EXAMPLE if key == "hole" else f"add {key} to hole {hole}"
            self.fail(f"no {key}{inside}, expected {_MEANING[key]}", hint, hole=hole)
        named = re.match(r"\$(?:\.hole\[\d+\])?(?:\.(\w+))?", at)
        key = (named[1] if named else None) or "hole"
        value: Any = self.data
        if hole:
            value = value["hole"][hole - 1]
        if isinstance(value, dict):
            value = value.get(key)
        hint = f"correct {key}{inside}"
        if key == "hole":
            inside = f" number {hole}" if hole else ""
            hint = "write [[hole]] in double brackets"
        elif isinstance(value, str) and key in _HoleEntry.__struct_fields__:
            hint = "write a plain number, without quotes"
        self.fail(
            f"{key}{inside} is {_named(value)}, expected {_MEANING[key]}", hint, hole=hole, key=key
        )


def _line_of(text: str, hole: int, key: str) -> int:
    count, heading = 0, 0
    quoted = rf"""^\s*["']?{re.escape(key)}["']?\s*[=.]"""
    lines = text.splitlines()
    for number, line in enumerate(lines, start=1):
        if re.match(r"""^\s*\[\[?\s*["']?hole["']?\s*\]""", line):
            count += 1
            if count == hole:
                heading = number
        if key and count == hole and re.match(quoted, line):
            return number
        if key == "hole" and hole == 0 and count == 1:
            return number
    if heading or not hole:
        return heading
    # Holes written as inline tables on one line, or one a line.
    inline = [n for n, line in enumerate(lines, 1) for _ in re.findall(r"azimuth_deg", line)]
    return inline[hole - 1] if hole <= len(inline) else 0


def _read_text(path: str | os.PathLike[str]) -> str:
    name = f"layout {shown(path)}"
    try:
        with open(path, "rb") as file:
            data = file.read(_MAX_BYTES + 1)
    except FileNotFoundError:
        raise LayoutError(f"{name} not found, expected a TOML file", "check the path") from None
    except IsADirectoryError:
        raise LayoutError(f"{name} is a folder, expected a TOML file", "name the file") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise LayoutError(
            f"{name} cannot be read ({reason}), expected a TOML file", "check path and permissions"
        ) from None
    if len(data) > _MAX_BYTES:
        raise LayoutError(
            f"{name} is larger than {_MAX_BYTES // 1000} kB, expected a short TOML file",
            "check that this is the layout file",
        )
    if not data.strip():
        raise LayoutError(f"{name} is empty, expected a TOML file", _EXAMPLE)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise LayoutError(
            f"{name}, line {line}: not UTF-8 text, expected a TOML file",
            "save it as plain text in UTF-8",
        ) from None


def _named(value: object) -> str:
    if isinstance(value, bool):
        return f"{value} (yes or no)".lower()
    if isinstance(value, str):
        return f"the text {_short(value)!r}"
    if isinstance(value, dict):
        return "a single section"
    if isinstance(value, list):
        return "a list"
    return f"{_short(str(value))}"


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
