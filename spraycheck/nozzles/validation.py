"""The text of a TOML file that a person wrote, and its mistakes told with line and key.

Every mistake is told, not only the first: what is wrong is set down and replaced, so that the rest
can still be looked at.
"""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, NoReturn, TypeAlias, TypeVar

import msgspec
from msgspec import inspect

from spraycheck.errors import LayoutError
from spraycheck.nozzles.lines import Place, find_lines, line_of
from spraycheck.photo.files import shown

_MAX_BYTES = 100_000
# Chosen because sixteen holes and all limits with comments are some kilobytes; a larger file is
# something else.

_MOST_PROBLEMS = 100
# Chosen because nobody reads more; a file with so many is another kind of file.

Meaning: TypeAlias = Callable[[Place], str]
"""From a place to what is expected there, in plain words."""

Shape = TypeVar("Shape")


@dataclass(frozen=True, kw_only=True)
class Problem:
    """One mistake.

    Parameters
    ----------
    line : int
        Where it stands; 0 when it is about the whole file.
    found : str
        What was found and what was expected.
    hint : str
        What to try.
    """

    line: int
    found: str
    hint: str


class Source:
    """A file's text, where in it things stand, and what is wrong with it.

    Parameters
    ----------
    path : str or path-like
        The file.
    what : str
        What messages call it, for example ``nozzle file``.
    example : str
        What to try when nothing useful is in it.
    """

    def __init__(self, path: str | os.PathLike[str], *, what: str, example: str) -> None:
        self.path = path
        self.what = what
        self.example = example
        self.problems: list[Problem] = []
        self.data: dict[str, Any] = {}
        self._told: set[Place] = set()
        self.text = self._read()
        self._lines = find_lines(self.text)

    def parse(self, shape: type[Shape], meaning: Meaning) -> Shape:
        """Read the text as TOML of a shape, telling what does not fit it.

        Raises
        ------
        LayoutError
            The text is no TOML at all.
        """
        try:
            self.data = tomllib.loads(self.text)
        except (tomllib.TOMLDecodeError, RecursionError) as error:
            self._fail_toml(str(error))
        data = _copied(self.data)
        while True:
            try:
                return msgspec.convert(data, shape)
            except msgspec.ValidationError as error:
                self._tell_shape(str(error), data, inspect.type_info(shape), meaning)
            if len(self.problems) >= _MOST_PROBLEMS:
                self.check()

    def has(self, *at: str | int) -> bool:
        """Say whether the file itself holds something at a place."""
        try:
            _at(self.data, at)
        except (KeyError, IndexError, TypeError):
            return False
        return True

    def told(self, *at: str | int) -> bool:
        """Say whether a mistake was told at a place, or around it."""
        return any(at[: len(place)] == place for place in self._told)

    def tell(self, found: str, hint: str, *at: str | int) -> None:
        """Set down a mistake, unless one was told at the same place already."""
        if not self.told(*at):
            self._told.add(at)
            line = line_of(self._lines, at)
            self.problems.append(Problem(line=line, found=found, hint=hint))

    def check_range(
        self,
        name: str,
        value: float,
        span: tuple[float, float],
        expected: str,
        hint: str,
        *at: str | int,
        closed: bool = True,
    ) -> None:
        """Tell a value that is not finite or not in its range."""
        low, high = span
        inside = low <= value <= high if closed else low < value < high  # False for NaN
        if not (inside and math.isfinite(value)):
            self.tell(f"{name} is {value:g}, expected {expected}", hint, *at)

    def check(self) -> None:
        """Raise the first mistake, if there is one."""
        if self.problems:
            first, more = self.problems[0], len(self.problems) - 1
            raise LayoutError(
                self._located(first.line, first.found),
                first.hint + (f" (and {more} more: spraycheck nozzle check)" if more else ""),
            )

    def _located(self, line: int, found: str) -> str:
        where = f", line {line}" if line else ""
        return f"{self.what} {shown(self.path)}{where}: {found}"

    # -- the file ---------------------------------------------------------------------------

    def _read(self) -> str:
        name = f"{self.what} {shown(self.path)}"
        try:
            with open(self.path, "rb") as file:
                data = file.read(_MAX_BYTES + 1)
        except FileNotFoundError:
            raise LayoutError(f"{name} not found, expected a TOML file", "check the path") from None
        except IsADirectoryError:
            raise LayoutError(
                f"{name} is a folder, expected a TOML file", "name the file"
            ) from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise LayoutError(
                f"{name} cannot be read ({reason}), expected a TOML file",
                "check path and permissions",
            ) from None
        if len(data) > _MAX_BYTES:
            raise LayoutError(
                f"{name} is larger than {_MAX_BYTES // 1000} kB, expected a short TOML file",
                f"check that this is the {self.what}",
            )
        if not data.strip():
            raise LayoutError(f"{name} is empty, expected a TOML file", self.example)
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            raise LayoutError(
                f"{name}, line {line}: not UTF-8 text, expected a TOML file",
                "save it as plain text in UTF-8",
            ) from None

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
        elif (twice and re.match(r"\[?\[?\s*hole", wrong + " ")) or (twice and "azimuth" in wrong):
            hint = (
                "begin each hole with a line [[hole]], in double brackets, and give each key once"
            )
        elif twice:
            hint = "give each key and each section once"
        elif not wrong.isascii() and re.search(r"[“”„‘’«»]", wrong):
            hint = 'use plain quotes: "'
        told = _lower(reason)
        found = f"{_short(wrong)!r} is not understood ({told})" if wrong else told
        raise LayoutError(self._located(line, f"{found}, expected TOML"), hint)

    # -- keys and types ---------------------------------------------------------------------

    def _tell_shape(self, message: str, data: Any, shape: inspect.Type, meaning: Meaning) -> None:
        """Tell one thing that does not fit, and mend the data so that the next can be found."""
        told, _, path = message.partition(" - at `$")
        at: Place = tuple(
            int(index) if index else key for key, index in re.findall(r"\.(\w+)|\[(\d+)\]", path)
        )
        if unknown := re.search(r"unknown field `(.*)`", told, re.DOTALL):
            key = unknown[1]
            self._tell_unknown(key, at, shape)
            _at(data, at).pop(key, None)
        elif missing := re.search(r"missing required field `(.*)`", told):
            at = (*at, missing[1])
            hint = self.example if len(at) == 1 else f"add {at[-1]} to {label(at[:-1])}"
            self.tell(f"no {label(at)}, expected {meaning(at)}", hint, *at)
            _at(data, at[:-1])[at[-1]] = _stand_in(_type_at(shape, at))
        else:
            value = _at(data, at)
            kind = _type_at(shape, at)
            which = f"{at[-2]} number {int(at[-1]) + 1}" if at and _counted(at) else label(at)
            self.tell(
                f"{which} is {named(value)}, expected {meaning(at)}",
                _type_hint(at, value, kind),
                *at,
            )
            if at:
                _at(data, at[:-1])[at[-1]] = _stand_in(kind)

    def _tell_unknown(self, key: str, at: Place, shape: inspect.Type) -> None:
        known = _keys(_type_at(shape, at))
        close = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
        hint = f"did you mean {close[0]}?" if close else "take the line out"
        for section, inner in _sections(shape).items():
            if not at and key in inner:
                hint = f"put {key} under a line {section}"
        of = f" of {label(at)}" if at else ""
        self.tell(f"unknown key {_short(key)!r}{of}, expected {', '.join(known)}", hint, *at, key)


def label(at: Place) -> str:
    """Return how messages name a place: ``azimuth_deg of hole 3``, ``unit of direction_deg``."""
    if not at:
        return "the file"
    if _counted(at):
        return f"{at[-2]} {int(at[-1]) + 1}"
    around = at[:-1]
    return f"{at[-1]} of {label(around)}" if around and around != ("limits",) else str(at[-1])


def _counted(at: Place) -> bool:
    return isinstance(at[-1], int)


def named(value: object) -> str:
    """Return how messages show a value."""
    if isinstance(value, bool):
        return f"{value} (yes or no)".lower()
    if isinstance(value, str):
        return f"the text {_short(value)!r}"
    if isinstance(value, dict):
        return "a single section"
    if isinstance(value, list):
        return "a list"
    return _short(str(value))


def one_line(text: str) -> str:
    """Return a text as one line, single spaces between its words."""
    return " ".join(text.split())


def _type_hint(at: Place, value: object, kind: inspect.Type) -> str:
    if at[:1] == ("hole",) and len(at) < 3:
        return "write [[hole]] in double brackets"
    if isinstance(kind, inspect.StructType):
        return f"write it as a section: a line [{'.'.join(map(str, at))}], its keys below"
    if isinstance(value, str) and isinstance(kind, inspect.FloatType | inspect.IntType):
        return "write a plain number, without quotes"
    return f"correct {label(at)}"


def _type_at(shape: inspect.Type, at: Place) -> inspect.Type:
    for step in at:
        if isinstance(shape, inspect.ListType):
            shape = shape.item_type
        elif isinstance(shape, inspect.StructType):
            shape = next(one.type for one in shape.fields if one.encode_name == step)
        if isinstance(shape, inspect.UnionType):  # a section that may be absent
            shape = next(t for t in shape.types if isinstance(t, inspect.StructType))
    return shape


def _keys(shape: inspect.Type) -> list[str]:
    return [one.encode_name for one in shape.fields] if isinstance(shape, _STRUCT) else []


def _sections(shape: inspect.Type) -> dict[str, list[str]]:
    """Return the keys of each section one level down, by how its heading is written."""
    found = {}
    for key in _keys(shape):
        inner = _type_at(shape, (key,))
        many = isinstance(inner, inspect.ListType)
        keys = _keys(inner.item_type if isinstance(inner, inspect.ListType) else inner)
        found[f"[[{key}]]" if many else f"[{key}]"] = keys
    return found


_STRUCT: Final = inspect.StructType


def _stand_in(kind: inspect.Type) -> Any:
    """Return a value of the right type, to be looked at no further."""
    match kind:
        case inspect.FloatType():
            return math.nan
        case inspect.IntType():
            return 0
        case inspect.StrType():
            return ""
        case inspect.BoolType():
            return False
        case inspect.ListType():
            return []
        case inspect.LiteralType():
            return kind.values[0]
        case _:
            return {}


def _at(data: Any, at: Place) -> Any:
    for step in at:
        data = data[step]
    return data


def _copied(data: Any) -> Any:
    if isinstance(data, dict):
        return {key: _copied(value) for key, value in data.items()}
    return [_copied(value) for value in data] if isinstance(data, list) else data


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
