"""Lines of places in TOML as people write it."""

from __future__ import annotations

import json
import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from spraycheck.nozzles.lines import Place, find_lines, line_of


@pytest.mark.parametrize(
    ("text", "place", "line"),
    [
        # texts and remarks that look like TOML
        ('a = """\n[[hole]]\nb = 1\n"""\nb = 2\n', ("b",), 5),
        ("a = '''x = 1\n'''\n[t] # [u]\n'x' = 2\n", ("t", "x"), 4),
        ('a = """""two\n"quotes" at each end"""""\nb = 2\n', ("b",), 3),
        ("a = ''''one\n''''\nb = 2\n", ("b",), 3),
        ('a = """\\\\"""\nb = 2\n', ("b",), 2),
        ('a = """\\""" [\n"""\nb = 2\n', ("b",), 3),
        ('a = "\\"# ["\nb = 2\n', ("b",), 2),
        ("a = 'C:\\'  # \"\nb = 2\n", ("b",), 2),
        ('a = """one \\\n  two"""\r\nb = 2\r\n', ("b",), 3),
        # keys
        ('[t]\n"quoted key".sub = 1\n', ("t", "quoted key", "sub"), 2),
        ('a."b.c" . d = 1\n', ("a", "b.c", "d"), 1),
        ('"\\u00e9" = 1\n\n"#" = 2\n', ("é",), 1),
        ('"\\u00e9" = 1\n\n"#" = 2\n', ("#",), 3),
        ("1.2 = 3\n", ("1", "2"), 1),
        ("x.y = 1\nx.z = 2\n", ("x", "z"), 2),
        # values of several tokens
        ("a = 1.5\nb = 2\n", ("b",), 2),
        ("a = 1979-05-27 07:32:00.5\nb = 2\n", ("b",), 2),
        ("a = [1.5, 1979-05-27 07:32:00]\nb = {c = -1e+5, d = inf}\n", ("b", "d"), 2),
        # sections
        ("[a.b]\nx = 1\n[a.c]\nx = 2\n", ("a", "c", "x"), 4),
        ("[ a . 'b c' ]\nx = 1\n", ("a", "b c", "x"), 2),
        ("[a.b]\nx = 1\n[a]\ny = 2\n", ("a",), 1),
        ("[[h]]\n[h.s]\nx = 1\n[[h]]\n[h.s]\nx = 2\n", ("h", 1, "s", "x"), 6),
        ("[[h]]\nx = 1\n[[h]]\n", ("h", 1), 3),
        ("[[h]]\n[[h.i]]\n[[h.i]]\n[[h]]\n[[h.i]]\nx = 1\n", ("h", 1, "i", 0, "x"), 6),
        ("[[h]]\n[[h.i]]\n[[h.i]]\n[[h]]\n[[h.i]]\nx = 1\n", ("h", 0, "i", 1), 3),
        # values in brackets
        ("h = [\n {x = 1}, # {x = 9}\n {y = '{', x = 2}\n]\n", ("h", 1, "x"), 3),
        ("h = [{x = 1},\n {x = 2}]\nz = 3\n", ("z",), 3),
        ("t = {x = 1, y = [2, 3]}\nz = 3\n", ("t", "y"), 1),
        ("t = {a.b = {c = [\n1,\n{d = 2}\n]}}\n", ("t", "a", "b", "c", 1, "d"), 3),
        ("h = [\n # one\n\n 1,\n [\n 2, ']'\n ],\n]\nz = 3\n", ("h", 1, 1), 6),
        ("h = [\n # one\n\n 1,\n [\n 2, ']'\n ],\n]\nz = 3\n", ("z",), 9),
        ("a = []\nb = {}\n", ("b",), 2),
        # places that are not there
        ("x = 1\n", ("gone", "deeper"), 0),
        ("\n[t]\nx = 1\n", ("t", "gone"), 2),
    ],
)
def test_lines_of_places(text: str, place: Place, line: int) -> None:
    tomllib.loads(text)  # it is TOML at all
    assert line_of(find_lines(text), place) == line


TEXTS = st.sampled_from(["", "x", "# no", "[t]", "a = 1", 'qu"ote', "{", "\n", "'''", "\\"])
VALUES = st.recursive(
    TEXTS | st.integers(-(10**6), 10**6) | st.booleans() | st.sampled_from([1.5, -2e-7]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=8,
)


def written(value: Any) -> str:
    """Write a value as TOML, lists over several lines with remarks between."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {written(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[\n" + "".join(f"# [\n {written(inner)},\n" for inner in value) + "]"
    return json.dumps(value)


def places(value: Any, at: Place = ()) -> set[Place]:
    """Return every place in some data."""
    steps: list[Any] = []
    if isinstance(value, dict | list):
        steps = list(value) if isinstance(value, dict) else list(range(len(value)))
    return {(*at, step) for step in steps}.union(
        *(places(value[step], (*at, step)) for step in steps)
    )


@given(st.dictionaries(TEXTS, VALUES, max_size=4), st.dictionaries(TEXTS, VALUES, max_size=3))
def test_every_place_of_any_file_is_found_where_its_key_stands(
    top: dict[str, Any], section: dict[str, Any]
) -> None:
    text = ""
    expected: dict[Place, int] = {}
    for around, entries in (((), top), (("section", 0), section)):
        text += "[[section]]\n" if around else ""
        for key, value in entries.items():
            expected[(*around, key)] = text.count("\n") + 1
            text += f"{json.dumps(key)} = {written(value)}\n"
    found = find_lines(text)
    assert set(found) == places(tomllib.loads(text))
    assert {place: found[place] for place in expected} == expected
