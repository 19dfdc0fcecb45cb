"""A TOML file that a person wrote, and every mistake in it at once, each with its line and key."""

from __future__ import annotations

import difflib
import math
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NoReturn, TypeAlias, TypeVar, get_args

from spraycheck.errors import LayoutError
from spraycheck.nozzles.lines import Place, find_lines, line_of
from spraycheck.photo.files import shown

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic.fields import FieldInfo
    from pydantic_core import ErrorDetails

Tell: TypeAlias = Callable[[str], None]
"""Where a notice goes that is no mistake, for example that a key has a new name."""

Model = TypeVar("Model", bound="BaseModel")

_MAX_BYTES: Final = 100_000
# Chosen because sixteen holes and all limits with comments are some kilobytes; a larger file is
# something else.

_ALIKE: Final = 0.5
# How like a known key an unknown one must be to be taken for a slip (difflib's ratio; chosen
# because "nome" for "name" has 0.75 and words that have nothing in common stay below 0.4).

_LONGEST: Final = 40
"""Characters of a value that messages show."""


@dataclass(frozen=True)
class Advice:
    """What to try where the value of a key is refused: metadata of the key in a model.

    Parameters
    ----------
    hint : str
        What to try.
    least, most : float
        The refused numbers it is for; all when not given.
    """

    hint: str
    least: float = -math.inf
    most: float = math.inf

    def fits(self, value: object) -> bool:
        """Say whether it is for this value."""
        return isinstance(value, int | float) and not (value < self.least or value > self.most)


@dataclass(frozen=True, kw_only=True)
class Mistake:
    """One mistake.

    Parameters
    ----------
    line : int
        Where it stands; 0 when it is about the whole file.
    found, expected : str
        What was found, with the key, and what was expected.
    hint : str
        What to try.
    """

    line: int
    found: str
    expected: str
    hint: str

    def __str__(self) -> str:
        """Say what was found, expected, and what to try."""
        return f"{self.found}, expected {self.expected}; {self.hint}"


class TomlFile:
    """A file's data, and what is wrong with it.

    Parameters
    ----------
    path : str or path-like
        The file.
    what : str
        What messages call it, for example ``nozzle file``.
    example : str
        What to try when nothing useful is in it.

    Raises
    ------
    LayoutError
        The file cannot be read, or is no TOML: then nothing more can be said of it.
    """

    def __init__(self, path: str | os.PathLike[str], *, what: str, example: str) -> None:
        self.path = path
        self.what = what
        self._notices: list[str] = []
        self._mistakes: dict[Place, Mistake] = {}
        self._lines: dict[Place, int] | None = None
        self._text = self._read(example)
        self.data = self._parse()

    @property
    def mistakes(self) -> tuple[Mistake, ...]:
        """Everything told so far, in the order of the lines; what is about the whole file last."""
        return tuple(sorted(self._mistakes.values(), key=lambda one: one.line or math.inf))

    def at(self, *at: str | int) -> Any:
        """Return what the file holds at a place; None when it holds nothing."""
        found: Any = self.data
        try:
            for step in at:
                found = found[step]
        except (KeyError, IndexError, TypeError):
            return None
        return found

    def has(self, *at: str | int) -> bool:
        """Say whether the file holds something at a place."""
        return self.at(*at) is not None

    def told(self, *at: str | int) -> bool:
        """Say whether a mistake was told at a place, or around it."""
        return any(at[:n] in self._mistakes for n in range(len(at) + 1))

    def sound(self, *at: str | int) -> bool:
        """Say whether nothing was told at a place, around it or inside."""
        inside = any(place[: len(at)] == at for place in self._mistakes)
        return not (inside or self.told(*at))

    def tell(self, found: str, expected: str, hint: str, *at: str | int) -> None:
        """Set down a mistake, unless one was told at the same place already."""
        if not self.told(*at):
            mistake = Mistake(line=self._line(at), found=found, expected=expected, hint=hint)
            self._mistakes[at] = mistake

    def rename(self, renamed: Mapping[str, str], *around: str | int) -> None:
        """Take keys by their old names for those of today, and note it.

        Parameters
        ----------
        renamed : mapping of str to str
            Old name to the name of today.
        *around : str or int
            The section in which they stand.
        """
        section = self.at(*around)
        for old, new in renamed.items() if isinstance(section, dict) else ():
            if old not in section or new in section:
                continue
            section[new] = section.pop(old)
            line = self._line((*around, old))
            for at in [at for at in self._where() if at[: len(around) + 1] == (*around, old)]:
                self._where()[(*around, new, *at[len(around) + 1 :])] = self._where()[at]
            self._notices.append(
                f"{self._located(line)}: {old} is called {new} now; the old name is still read"
            )

    def read_as(self, model: type[Model]) -> Model | None:
        """Read the data by a model of it; tell what does not fit, and return None then."""
        from pydantic import ValidationError

        try:
            return model.model_validate(self.data)
        except ValidationError as error:
            for details in error.errors(include_url=False, include_context=False):
                self._tell(details, model)
            return None

    def check(self, tell: Tell | None = None) -> None:
        """Raise the mistakes, if there are any; else give the notices to ``tell``.

        Raises
        ------
        LayoutError
            Its message tells the first mistake, its ``lines`` tell all.
        """
        if self.mistakes:
            first, *more = self.mistakes
            counted = f" (and {len(more)} more: spraycheck nozzle check)" if more else ""
            raise LayoutError(
                f"{self._located(first.line)}: {first.found}, expected {first.expected}",
                first.hint + counted,
                tuple(f"{self._located(one.line)}: {one}" for one in self.mistakes),
            )
        if tell is not None:
            for notice in self._notices:
                tell(notice)

    # -- the text ---------------------------------------------------------------------------

    def _where(self) -> dict[Place, int]:
        if self._lines is None:
            self._lines = find_lines(self._text)
        return self._lines

    def _line(self, at: Place) -> int:
        return line_of(self._where(), at)

    def _located(self, line: int) -> str:
        return f"{self.what} {shown(self.path)}" + (f", line {line}" if line else "")

    def _refusal(self, found: str, hint: str, expected: str = "a TOML file") -> LayoutError:
        return LayoutError(f"{self._located(0)} {found}, expected {expected}", hint)

    def _read(self, example: str) -> str:
        try:
            with open(self.path, "rb") as file:
                data = file.read(_MAX_BYTES + 1)
        except FileNotFoundError:
            raise self._refusal("not found", "check the path") from None
        except IsADirectoryError:
            raise self._refusal("is a folder", "name the file") from None
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or str(error)
            raise self._refusal(
                f"cannot be read ({reason})", "check path and permissions"
            ) from None
        if len(data) > _MAX_BYTES:
            size = f"is larger than {_MAX_BYTES // 1000} kB"
            hint = f"check that this is the {self.what}"
            raise self._refusal(size, hint, "a short TOML file")
        if not data.strip():
            raise self._refusal("is empty", example)
        try:
            return data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            raise LayoutError(
                f"{self._located(line)}: not UTF-8 text, expected a TOML file",
                "save it as plain text in UTF-8",
            ) from None

    def _parse(self) -> dict[str, Any]:
        try:
            return tomllib.loads(self._text)
        except (ValueError, RecursionError) as error:
            self._refuse_toml(str(error))

    def _refuse_toml(self, message: str) -> NoReturn:
        place = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
        reason = message[: place.start()] if place else message
        lines = self._text.splitlines()
        line = int(place[1]) if place and place[1] else len(lines) if place else 0
        # tomllib notices a repeated key only where the statement ends: the start of the next line.
        twice = "overwrite" in reason or "twice" in reason
        if twice and place and place[1] and message.endswith("column 1)"):
            line -= 1
        wrong = lines[line - 1].strip() if 0 < line <= len(lines) else ""
        hint = "write key = value, one a line; text in quotes, numbers with a decimal point"
        if re.search(r"=\s*[-+]?\d+,\d", wrong):
            hint = "write numbers with a decimal point, not a comma"
        elif twice and (re.match(r"\[?\[?\s*hole\b", wrong) or "azimuth" in wrong):
            hint = (
                "begin each hole with a line [[hole]], in double brackets, and give each key once"
            )
        elif twice:
            hint = "give each key and each section once"
        elif re.search(r"[“”„‘’«»]", wrong):
            hint = 'use plain quotes: "'
        told = reason[:1].lower() + reason[1:]
        found = f"{_short(wrong)!r} is not understood ({told})" if wrong else told
        raise LayoutError(f"{self._located(line)}: {found}, expected TOML", hint)

    # -- keys and values --------------------------------------------------------------------

    def _tell(self, details: ErrorDetails, model: type[BaseModel]) -> None:
        """Tell one thing that does not fit a model."""
        at, value = details["loc"], details["input"]
        if details["type"] == "extra_forbidden":
            self._tell_unknown(at, model)
            return
        field = _field_at(model, at)
        expected = field.description or "another value"
        if details["type"] == "missing":
            hint = f"add {at[-1]} to {label(at[:-1])}"
            self.tell(f"no {label(at)}", expected, hint, *at)
            return
        which = f"{at[-2]} number {at[-1] + 1}" if isinstance(at[-1], int) else label(at)
        if _is_list(field):
            hint = f"write [[{at[0]}]] in double brackets"
        elif _section_of(field) is not None:
            hint = f"write it as a section: a line [{'.'.join(map(str, at))}], its keys below"
        elif isinstance(value, str) and details["type"] in ("float_type", "int_type"):
            hint = "write a plain number, without quotes"
        else:
            advice = (one for one in field.metadata if isinstance(one, Advice) and one.fits(value))
            hint = next((one.hint for one in advice), f"correct {label(at)}")
        self.tell(f"{which} is {named(value)}", expected, hint, *at)

    def _tell_unknown(self, at: Place, model: type[BaseModel]) -> None:
        *around, key = at
        section = _section_of(_field_at(model, tuple(around))) if around else model
        fields = section.model_fields if section else {}
        close = difflib.get_close_matches(str(key), fields, n=1, cutoff=_ALIKE)
        hint = f"did you mean {close[0]}?" if close else "take the line out"
        for name, field in fields.items() if not around else ():
            inner = _section_of(field)
            if inner is not None and key in inner.model_fields:
                brackets = ("[[", "]]") if _is_list(field) else ("[", "]")
                hint = f"put {key} under a line {name.join(brackets)}"
        of = f" of {label(tuple(around))}" if around else ""
        self.tell(f"unknown key {_short(str(key))!r}{of}", ", ".join(fields), hint, *at)


def label(at: Place) -> str:
    """Return how messages name a place: ``azimuth_deg of hole 3``, ``unit of direction_deg``."""
    if not at:
        return "the file"
    if isinstance(at[-1], int):
        return f"{at[-2]} {at[-1] + 1}"
    around = at[:-1]
    return f"{at[-1]} of {label(around)}" if around and around != ("limits",) else at[-1]


def named(value: object) -> str:
    """Return how messages show a value."""
    match value:
        case bool():
            return f"{value} (yes or no)".lower()
        case str():
            return f"the text {_short(value)!r}"
        case float():
            return f"{value:g}"
        case int() if value.bit_length() > 4 * _LONGEST:
            return "a number of very many digits"  # Python refuses to write the longest
        case dict():
            return "a single section"
        case list():
            return "a list"
        case _:
            return _short(str(value))


def one_line(text: str) -> str:
    """Return a text as one line, single spaces between its words."""
    return " ".join(text.split())


def _field_at(model: type[BaseModel], at: Place) -> FieldInfo:
    """Return the declaration of the innermost key of a place."""
    keys = [step for step in at if isinstance(step, str)]
    for key in keys[:-1]:
        section = _section_of(model.model_fields[key])
        assert section is not None  # only sections have keys
        model = section
    return model.model_fields[keys[-1]]


def _section_of(field: FieldInfo) -> type[BaseModel] | None:
    """Return the model of the section, or of each of the sections, that a key stands for."""
    kinds = (field.annotation, *get_args(field.annotation))
    return next((kind for kind in kinds if hasattr(kind, "model_fields")), None)


def _is_list(field: FieldInfo) -> bool:
    return getattr(field.annotation, "__origin__", None) is list


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "..."
