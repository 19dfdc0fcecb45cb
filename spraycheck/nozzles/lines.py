"""On which line of a TOML text a key stands; the standard library's parser does not tell."""

from __future__ import annotations

import re
from typing import TypeAlias

Place: TypeAlias = tuple[str | int, ...]
"""Keys from the outside in; a number counts sections of the same name, from 0."""

_QUIET = re.compile(
    r'"""(?:\\.|[^\\])*?"""|' r"'''.*?'''|" r'"(?:\\.|[^"\\\n])*"|' r"'[^'\n]*'|#[^\n]*", re.DOTALL
)
_HEADING = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]")
_KEY = r"""(?:[\w-]+|"[^"\n]*"|'[^'\n]*')"""
_KEYS = rf"{_KEY}(?:\s*\.\s*{_KEY})*"
_ENTRY = re.compile(rf"\s*({_KEYS})\s*=\s*(.*)")


def find_lines(text: str) -> dict[Place, int]:
    """Return the line, from 1, of every section and key; the first of each.

    Notes
    -----
    Knows headings, dotted keys, and tables written in braces one level deep; a place that it does
    not know is looked for around by `line_of`.
    """
    found: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    section: Place = ()
    inline: Place | None = None  # the key whose brackets are still open
    many = False  # whether they hold a list of tables
    depth = item = 0
    for number, line in enumerate(_QUIET.sub(_silenced, text).splitlines(), start=1):
        start = line
        if inline is None:
            if heading := _HEADING.match(line):
                section = _section(_split(heading[2]), counts, many=heading[1] == "[[")
                found.setdefault(section[:-1] if heading[1] == "[[" else section, number)
                found.setdefault(section, number)
                continue
            if not (entry := _ENTRY.match(line)):
                continue
            keys = _split(entry[1])
            for n in range(1, len(keys) + 1):
                found.setdefault((*section, *keys[:n]), number)
            inline, start, depth, item = (*section, *keys), entry[2], 0, -1
            many = start.startswith("[")
        for mark, key in re.findall(rf"([\[{{}}\]])|({_KEYS})\s*=", start):
            if mark in ("[", "{"):
                depth += 1
                item += mark == "{"
            elif mark:
                depth -= 1
            else:
                place: Place = (*inline, item) if many else inline
                for at in (place, (*place, *_split(key))):
                    found.setdefault(at, number)
        if depth <= 0:
            inline = None
    return found


def line_of(lines: dict[Place, int], at: Place) -> int:
    """Return the line of a place; of what it lies in when it has none; 0 for the whole file."""
    while at and at not in lines:
        at = at[:-1]
    return lines.get(at, 0)


def _section(keys: list[str], counts: dict[Place, int], *, many: bool) -> Place:
    place: Place = ()
    for n, key in enumerate(keys):
        place = (*place, key)
        last = n == len(keys) - 1
        if last and many:
            counts[place] = counts.get(place, -1) + 1
        if place in counts and (many or not last):
            place = (*place, counts[place])
    return place


def _split(keys: str) -> list[str]:
    return [key.strip("\"'") for key in re.findall(_KEY, keys)]


def _silenced(match: re.Match[str]) -> str:
    """Blank what only looks like TOML: marks in texts, and remarks."""
    text = match[0]
    return "" if text.startswith("#") else re.sub(r"[\[\]{}=]", "_", text)
