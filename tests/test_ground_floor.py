"""Nothing on the ground floor is there for its tests alone.

A truth test of a function that the product never calls proves nothing. So every name in `stats`,
`units` and `optics` has to be reached from the rest of the package, or stands below with the
reason why it is kept.
"""

from __future__ import annotations

import ast
from pathlib import Path

import spraycheck

ROOT = Path(spraycheck.__file__).parent
GROUND = ("stats", "units", "optics")
FOR_THE_BENCH = {
    "units.read_pressure",
    "units.same_pressure",
}
"""What the commands for readings at the bench will use; see DEVELOPERS.md."""


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


TREES = {module_name(path): ast.parse(path.read_text()) for path in ROOT.rglob("*.py")}
ON_GROUND = {name for name in TREES if name.split(".")[0] in GROUND}


def imported(tree: ast.Module) -> dict[str, str]:
    """Local name to the dotted place it comes from, inside the package."""
    return {
        alias.asname or alias.name: f"{node.module}.{alias.name}".removeprefix("spraycheck.")
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("spraycheck")
        for alias in node.names
    }


def definitions() -> dict[str, ast.AST]:
    return {
        f"{module}.{node.name}": node
        for module in ON_GROUND
        for node in TREES[module].body
        if isinstance(node, ast.FunctionDef | ast.ClassDef)
    }


def used_in(module: str, node: ast.AST, names: dict[str, ast.AST]) -> set[str]:
    """Which ground-floor names a piece of code mentions."""
    places = imported(TREES[module])
    found = set()
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            found |= {f"{module}.{part.id}", places.get(part.id, "")}
        elif isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            found.add(f"{places.get(part.value.id, '')}.{part.attr}")
    return found & names.keys()


def reached() -> set[str]:
    names = definitions()
    todo = set().union(
        *(used_in(module, tree, names) for module, tree in TREES.items() if module not in ON_GROUND)
    )
    done: set[str] = set()
    while todo:
        name = todo.pop()
        done.add(name)
        todo |= used_in(name.rpartition(".")[0], names[name], names) - done
    return done


def private_helpers_of(names: set[str]) -> set[str]:
    """What kept names call themselves."""
    known, todo, done = definitions(), set(names), set()
    while todo:
        name = todo.pop()
        done.add(name)
        todo |= used_in(name.rpartition(".")[0], known[name], known) - done
    return done


def test_every_ground_floor_name_is_reached_by_the_product() -> None:
    spare = definitions().keys() - reached() - private_helpers_of(FOR_THE_BENCH)
    assert not spare, f"only tests call {sorted(spare)}: use them in the product, or take them out"


def test_names_kept_for_the_bench_are_still_waiting() -> None:
    # Once the product calls them they are no exception any more.
    assert definitions().keys() >= FOR_THE_BENCH
    assert not FOR_THE_BENCH & reached()
