"""On which line of a TOML text a key stands; the standard library's parser does not tell."""

from __future__ import annotations

import re
import tomllib
from typing import Final, TypeAlias

Place: TypeAlias = tuple[str | int, ...]
"""Keys from the outside in; a number counts items of a list, from 0."""

_TOKEN: Final = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'  # quotes next to the end belong to the text
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|#[^\n]*"
    r"|[\n\[\]{}=,.]"
    r"|[^\s\[\]{}=,.#\"']+",
    re.DOTALL,
)


def find_lines(text: str) -> dict[Place, int]:
    """Return the line, from 1, on which every section, key and list item begins.

    Parameters
    ----------
    text : str
        TOML that a parser has accepted; of anything else the lines mean nothing.

    Returns
    -------
    dict
        From places to lines; of a section that is opened several times, the first.
    """
    return _Scanner(text).scan()


def line_of(lines: dict[Place, int], at: Place) -> int:
    """Return the line of a place; of what it lies in when it has none; 0 for the whole file."""
    while at and at not in lines:
        at = at[:-1]
    return lines.get(at, 0)


class _Scanner:
    """Walks through the tokens of a text by TOML's grammar (version 1.0), values unread."""

    def __init__(self, text: str) -> None:
        self._tokens: list[tuple[str, int]] = []
        line = 1
        for match in _TOKEN.finditer(text):
            if not match[0].startswith("#"):
                self._tokens.append((match[0], line))
            line += match[0].count("\n")
        self._tokens.reverse()  # the next one is popped from the end
        self._lines: dict[Place, int] = {}
        self._last: dict[Place, int] = {}  # of each list of sections, the number of the last

    def scan(self) -> dict[Place, int]:
        section: Place = ()
        while self._tokens:
            if self._next() == "\n":
                self._tokens.pop()
            elif self._next() == "[":
                section = self._heading()
            else:
                self._entry(section)
        return self._lines

    def _next(self) -> str:
        return self._tokens[-1][0] if self._tokens else "\n"

    def _keys(self, end: str) -> list[tuple[str, int]]:
        """Take the keys up to a sign, and the sign."""
        keys = []
        while self._tokens:
            token, line = self._tokens.pop()
            if token == end:
                break
            if token != ".":
                keys.append((next(iter(tomllib.loads(f"{token} = 0"))), line))
        return keys

    def _heading(self) -> Place:
        self._tokens.pop()
        many = self._next() == "["
        if many:
            self._tokens.pop()
        place: Place = ()
        keys = self._keys("]")
        for n, (key, line) in enumerate(keys, start=1):
            place = (*place, key)
            self._lines.setdefault(place, line)
            if many and n == len(keys):
                self._last[place] = self._last.get(place, -1) + 1
            if place in self._last:
                place = (*place, self._last[place])
                self._lines.setdefault(place, line)
        if many:
            self._tokens.pop()
        return place

    def _entry(self, around: Place) -> None:
        for key, line in self._keys("="):
            around = (*around, key)
            self._lines.setdefault(around, line)
        self._value(around)

    def _value(self, place: Place) -> None:
        opening = self._tokens.pop()[0] if self._tokens else ""
        if opening not in ("[", "{"):
            # A number with a point and a date with a blank are several tokens.
            while self._next() not in ("\n", ",", "]", "}"):
                self._tokens.pop()
            return
        item = 0
        while self._tokens and self._next() not in ("]", "}"):
            if self._next() in ("\n", ","):
                self._tokens.pop()
            elif opening == "{":
                self._entry(place)
            else:
                self._lines[(*place, item)] = self._tokens[-1][1]
                self._value((*place, item))
                item += 1
        if self._tokens:
            self._tokens.pop()
