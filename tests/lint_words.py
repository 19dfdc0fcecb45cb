"""Refuse sentences in the rooms that measure and judge: what a person reads is told by `report`.

    python tests/lint_words.py [FOLDER]

Looked at are the string literals of `ROOMS`. A sentence is three or more plain words in a row.
Left alone are docstrings, members of enumerations, the record of a method for provenance, what an
`InputError` says (it repeats what the caller gave, in ready words), the declarations of limits,
which carry what a limits file's reader is told, and errors for programmers. Exit code 1 when
something is found.
"""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

ROOMS: Final = ("judge", "spray", "card", "photo", "stats")

SENTENCE: Final = re.compile(r"[A-Za-z']{2,}[,:;]? [a-z']+[,:;]? [a-z']{2,}")
"""Three words of which the last two are written small."""

READY_WORDS: Final = frozenset(
    ("InputError", "LayoutError", "PhotoError", "ArchiveError", "SprayCheckError")
    + ("TypeError", "ValueError", "RuntimeError", "AssertionError", "NotImplementedError")
)
"""Calls whose words may stand where they are raised."""

DECLARATIONS: Final = frozenset({"judge/limits.py"})
"""Files that declare what each limit is for, and where its default comes from."""

LEFT: Final = (
    "photo/files.py",
    "photo/pictures.py",
    "photo/reading.py",
    "photo/structure.py",
    "judge/layout.py",
    "judge/shots/consistency.py",
)
"""Files and rooms whose words of errors, and the name of an even layout, are not in the catalogue
yet. None may be added."""

METHOD: Final = "method"
"""What a record of how something was done is called."""


def sentences(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Find the sentences of a module: line and text."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Call) and _name(node.func) in READY_WORDS:
            continue
        if isinstance(node, ast.keyword) and node.arg == METHOD:
            continue
        if isinstance(node, ast.Assign) and [_name(one) for one in node.targets] == [METHOD]:
            continue
        if isinstance(node, ast.ClassDef) and "StrEnum" in map(_name, node.bases):
            continue
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            continue  # a docstring, or the words below a constant
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if SENTENCE.search(node.value):
                yield node.lineno, node.value
            continue
        waiting += ast.iter_child_nodes(node)


def _name(called: ast.expr) -> str:
    if isinstance(called, ast.Attribute):
        return called.attr
    return called.id if isinstance(called, ast.Name) else ""


def offences(package: Path) -> list[str]:
    """Find what is said where nothing should be said: file, line and words."""
    found = []
    for room in ROOMS:
        for path in sorted((package / room).rglob("*.py")):
            where = path.relative_to(package).as_posix()
            if where not in DECLARATIONS and not where.startswith(LEFT):
                tree = ast.parse(path.read_text("utf-8"))
                found += [f"{where}:{line}: {text!r}" for line, text in sorted(sentences(tree))]
    return found


if __name__ == "__main__":
    root = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parents[1] / "spraycheck"
    told = offences(root)
    print(*told, sep="\n")
    sys.exit(bool(told))
