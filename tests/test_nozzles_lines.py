"""Lines of places in TOML as people write it."""

from __future__ import annotations

import tomllib

import pytest

from spraycheck.nozzles.lines import Place, find_lines, line_of


@pytest.mark.parametrize(
    ("text", "place", "line"),
    [
        ('a = """\n[[hole]]\nb = 1\n"""\nb = 2\n', ("b",), 5),
        ("a = '''x = 1\n'''\n[t] # [u]\n'x' = 2\n", ("t", "x"), 4),
        ('[t]\n"quoted key".sub = 1\n', ("t", "quoted key", "sub"), 2),
        ("[a.b]\nx = 1\n[a.c]\nx = 2\n", ("a", "c", "x"), 4),
        ("[[h]]\n[h.s]\nx = 1\n[[h]]\n[h.s]\nx = 2\n", ("h", 1, "s", "x"), 6),
        ("h = [\n {x = 1}, # {x = 9}\n {y = '{', x = 2}\n]\n", ("h", 1, "x"), 3),
        ("h = [{x = 1},\n {x = 2}]\nz = 3\n", ("z",), 3),
        ("t = {x = 1, y = [2, 3]}\nz = 3\n", ("t", "y"), 1),
        ("x = 1\n", ("gone", "deeper"), 0),
        ("\n[t]\nx = 1\n", ("t", "gone"), 2),
    ],
)
def test_lines_of_places(text: str, place: Place, line: int) -> None:
    tomllib.loads(text)  # it is TOML at all
    assert line_of(find_lines(text), place) == line
