"""The lint that refuses numbers without a name where they decide something."""

from __future__ import annotations

import ast
import textwrap

import pytest
from lint_numbers import TO_DO, main, unnamed


def values(source: str) -> list[float]:
    """Unnamed numbers in the body of a function."""
    inside = "def f():\n" + textwrap.indent(source, "    ")
    return [value for _, value in unnamed(ast.parse(inside))]


def test_the_rooms_that_measure_and_judge_name_their_numbers(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code = main([])
    assert capsys.readouterr().out == ""
    assert code == 0


def test_the_room_that_measures_the_spray_is_done() -> None:
    # The measurement of axial sprays moves in from the judge's room, and is done there.
    assert [file for file in TO_DO if file.startswith("spray/") and "/axial" not in file] == []


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("if x > 0.35 * size: pass", [0.35]),
        ("y = max(x, 7)", [7]),
        ("y = max(x, -1.5)", [1.5]),
        ("def f(x=0.2, *, y=4): pass", [0.2, 4]),
        ("x = np.where(a, 3 * b, c)", [3]),
        ("f(lambda t=9: t)", [9]),
    ],
)
def test_numbers_that_decide_are_found(source: str, found: list[float]) -> None:
    assert values(source) == found


@pytest.mark.parametrize(
    "source",
    [
        "if x > 0.5 * size: pass",
        "y = x[..., 3] > x[4:7].min()",
        "y = max(x**3, z)",
        "k = np.ones((3, 3), np.uint8)",
        "y = x.sum(axis=3)",
        "raise E(f'{100 * x:.0f} %')",
        "if x == True: pass",
    ],
)
def test_numbers_that_decide_nothing_are_free(source: str) -> None:
    assert values(source) == []


@pytest.mark.parametrize("source", ["LEAST = max(0.35, 7)", "class S:\n    least_mm: float = 0.35"])
def test_a_constant_and_a_field_give_the_number_its_name(source: str) -> None:
    assert unnamed(ast.parse(source)) == []
