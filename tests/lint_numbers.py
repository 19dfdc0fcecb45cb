"""Refuse numbers without a name where they decide something.

    python tests/lint_numbers.py [--list] [FILE...]

In the rooms that measure and judge, a number in a comparison, in an argument of a call or in a
parameter's default must have a name, so that its unit and source can stand beside it: a field of a
settings dataclass or a constant of the module. Free are the numbers of `FREE`, and

- indices and slices, ``x[3]``: places and not values;
- exponents, ``x**3``: they belong to a formula;
- shapes, which are the arguments of the calls of `SHAPES`, and the sizes of small kernels,
  ``np.ones((3, 3))``;
- numbers inside f-strings: they are for the reader;
- class bodies of dataclasses, and constants of the module: there the number gets its name.

A file that is not done yet stands in `TO_DO`, which may only shrink; ``--list`` prints what would
have to stand there now.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[1]

ROOMS = ("card", "spray", "judge", "bench")

FREE = frozenset({0, 1, -1, 2, 0.5, 90, 180, 360})

SHAPES = frozenset({"empty", "eye", "full", "identity", "ones", "reshape", "zeros"})
"""Calls whose arguments are shapes."""

KEYWORDS = frozenset(
    {"axis", "axes", "ndim", "ndigits", "dtype", "shape", "minlength", "stacklevel"}
)
"""Keyword arguments that are places or shapes."""

TO_DO: frozenset[str] = frozenset(
    {
        "card/containers.py",
        "card/edge_rise.py",
        "card/edges.py",
        "card/find.py",
        "card/fit.py",
        "card/grouping.py",
        "card/infill.py",
        "card/labels.py",
        "card/lines.py",
        "card/markers.py",
        "card/outline.py",
        "card/printed_ink.py",
        "card/reference.py",
        "card/resample.py",
        "card/score_quads.py",
        "card/spec.py",
        "card/surface.py",
        "card/surface_fit.py",
        "card/target/__init__.py",
        "card/target/label.py",
        "card/unreadable.py",
        "judge/holes.py",
        "judge/illumination.py",
        "judge/matching.py",
        "judge/quality/light.py",
        "judge/quality/metrics.py",
        "judge/quality/wicking.py",
        "judge/residuals.py",
        "judge/shots/comparing.py",
        "judge/shots/matching.py",
        "judge/shots/means.py",
        "judge/shots/same_card.py",
        "judge/standoff.py",
        "judge/values.py",
        "spray/axial/finding.py",
        "spray/axial/measure.py",
        "spray/axial/region.py",
        "spray/axial/shadow.py",
        "spray/axial/uncertainty.py",
    }
)
"""Files, from the package's folder, that still hold unnamed numbers."""


def unnamed(tree: ast.AST) -> list[tuple[int, float]]:
    """Line and value of every number without a name in a comparison, argument or default."""
    return sorted({(node.lineno, value) for node, value in _walk(tree, decides=False)})


def _walk(node: ast.AST, *, decides: bool) -> Iterator[tuple[ast.Constant, float]]:
    """Numbers below a node; ``decides``: it lies in a comparison, an argument or a default."""
    if isinstance(node, ast.Constant):
        number = isinstance(node.value, int | float) and not isinstance(node.value, bool)
        if decides and number and node.value not in FREE:
            yield node, node.value
        return
    if isinstance(node, ast.JoinedStr):
        return
    if isinstance(node, ast.Subscript):
        yield from _walk(node.value, decides=decides)
        return
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Pow):
        yield from _walk(node.left, decides=decides)
        return
    if isinstance(node, ast.Call):
        yield from _walk(node.func, decides=False)
        if _name(node.func) in SHAPES:
            return
        for argument in node.args:
            yield from _walk(argument, decides=True)
        for keyword in node.keywords:
            if keyword.arg not in KEYWORDS:
                yield from _walk(keyword.value, decides=True)
        return
    if isinstance(node, ast.arguments):
        for default in (*node.defaults, *(one for one in node.kw_defaults if one is not None)):
            yield from _walk(default, decides=True)
        return
    if isinstance(node, ast.Module | ast.ClassDef):
        # Assignments there give a number its name.
        body = [one for one in node.body if not isinstance(one, ast.Assign | ast.AnnAssign)]
        for statement in body:
            yield from _walk(statement, decides=False)
        return
    inside = decides or isinstance(node, ast.Compare)
    for child in ast.iter_child_nodes(node):
        yield from _walk(child, decides=inside)


def _name(function: ast.expr) -> str:
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


def files() -> list[Path]:
    """Every module of the rooms."""
    package = ROOT / "spraycheck"
    return sorted(path for room in ROOMS for path in (package / room).rglob("*.py"))


def main(given: list[str]) -> int:
    """Print every unnamed number and every file of `TO_DO` that is done; 1 if there are any."""
    if given == ["--list"]:
        for path in files():
            if unnamed(ast.parse(path.read_text(encoding="utf-8"))):
                print(f'        "{path.relative_to(ROOT / "spraycheck").as_posix()}",')
        return 0
    wrong = 0
    for path in [Path(name).resolve() for name in given] or files():
        place = path.relative_to(ROOT / "spraycheck").as_posix()
        found = unnamed(ast.parse(path.read_text(encoding="utf-8")))
        if place in TO_DO and not found:
            print(f"{place}: holds no unnamed number any more; take it off TO_DO")
            wrong += 1
        elif place not in TO_DO:
            for line, value in found:
                print(f"{path.relative_to(ROOT)}:{line}: unnamed number {value:g}")
            wrong += len(found)
    missing = [place for place in TO_DO if not (ROOT / "spraycheck" / place).is_file()]
    for place in sorted(missing):
        print(f"{place}: on TO_DO, but there is no such file")
    return 1 if wrong or missing else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
