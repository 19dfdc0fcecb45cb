"""What users hold on to: commands, options, names, columns, stable words, exit codes.

Read off the package as it is today, through the command line and the package's public names;
``surface.json`` holds it as it was at the first freeze. Nothing in there may disappear; additions
are free, and what is renamed stands in ``renamed.py``.
"""

from __future__ import annotations

import argparse
import csv
import importlib
import inspect
import json
import pkgutil
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final
from unittest import mock

from golden.documents import call

FROZEN: Final = Path(__file__).with_name("surface.json")

Surface = dict[str, Any]


def frozen() -> Surface:
    """Return the surface at the first freeze."""
    read: Surface = json.loads(FROZEN.read_text(encoding="utf-8"))
    return read


def commands() -> dict[str, dict[str, Any]]:
    """Return every command (``nozzle list`` is one) with its options, read off its parser."""
    found: dict[str, dict[str, Any]] = {}
    waiting: list[tuple[str, ...]] = [()]
    while waiting:
        words = waiting.pop(0)
        parser = _parser(words)
        options = {}
        for action in parser._actions:
            if isinstance(action, argparse._SubParsersAction):
                waiting += [(*words, name) for name in action.choices]
            elif not isinstance(action, argparse._HelpAction):
                for name in action.option_strings or [str(action.metavar or action.dest)]:
                    options[name] = _option(action)
        found[" ".join(words)] = options
    return found


def _parser(words: tuple[str, ...]) -> argparse.ArgumentParser:
    """Return the parser that answers ``spraycheck WORDS --help``."""
    asked: list[argparse.ArgumentParser] = []

    def keep(self: argparse.ArgumentParser, file: object = None) -> None:
        asked.append(self)

    with mock.patch.object(argparse.ArgumentParser, "print_help", keep):
        said = call([*words, "--help"])
    if said.code or len(asked) != 1:
        raise AssertionError(f"spraycheck {' '.join(words)} --help: code {said.code}, {said.err}")
    return asked[0]


def _option(action: argparse.Action) -> dict[str, Any]:
    default = action.default
    entry: dict[str, Any] = {
        "takes": _takes(action),
        "metavar": action.metavar if isinstance(action.metavar, str) else None,
        "choices": sorted(map(str, action.choices)) if action.choices else None,
        "default": str(default) if _plain(default) else None,
        "repeats": type(action).__name__ == "_AppendAction",
    }
    return {key: value for key, value in entry.items() if value}


def _plain(default: object) -> bool:
    return bool(default) and isinstance(default, int | float | str) and default != argparse.SUPPRESS


def _takes(action: argparse.Action) -> str:
    """How many words follow: ``none``, ``one``, or as argparse writes it."""
    return "one" if action.nargs is None else "none" if action.nargs == 0 else str(action.nargs)


def names() -> list[str]:
    """Return the public names, each of which can be had."""
    import spraycheck

    return sorted(name for name in spraycheck.__all__ if getattr(spraycheck, name) is not None)


def table_holding(*words: str) -> Mapping[str, Any]:
    """Return the table (a mapping, wherever in the package it lies) that has all these keys."""
    for module in _modules():
        for value in vars(module).values():
            if isinstance(value, Mapping) and all(word in value for word in words):
                return value
    raise AssertionError(f"no table in the package has the keys {', '.join(words)}")


def _modules() -> Iterator[Any]:
    import spraycheck

    for found in pkgutil.walk_packages(spraycheck.__path__, "spraycheck."):
        if not found.name.endswith("__main__"):
            yield importlib.import_module(found.name)


def findings() -> dict[str, list[str]]:
    """Return the codes of the findings with the fields of each."""
    kinds = table_holding("hole-blocked", "hole-weak")
    return {str(code): sorted(kind.fields) for code, kind in kinds.items()}


def flags() -> list[str]:
    """Return the flags."""
    return sorted(str(flag) for flag in table_holding("no-scale", "merged", "lossy-copy"))


def schemas() -> dict[str, dict[str, list[Any]]]:
    """Return every key that the JSON Schemas describe, with the values it is limited to."""
    kinds = commands_of("schema")
    return {kind: _described(json.loads(call(["schema", kind]).out)) for kind in kinds}


def commands_of(command: str) -> list[str]:
    """Return what a command's first word may be."""
    parser = _parser((command,))
    return [str(choice) for action in parser._actions for choice in action.choices or ()]


def _described(schema: dict[str, Any]) -> dict[str, list[Any]]:
    found: dict[str, list[Any]] = {}

    def walk(node: Any, key: str, inside: tuple[str, ...]) -> None:
        if not isinstance(node, dict):
            return
        where = node.get("$ref", "")
        if where and where not in inside:
            target: Any = schema
            for part in where.removeprefix("#/").split("/"):
                target = target[part]
            walk(target, key, (*inside, where))
        if key:
            limited = [v for v in [*node.get("enum", ()), node.get("const")] if v is not None]
            found[key] = sorted({*found.get(key, []), *limited}, key=str)
        for part, item in node.get("properties", {}).items():
            walk(item, f"{key}.{part}".strip("."), inside)
        for part in ("items", "additionalProperties"):
            walk(node.get(part), key, inside)
        for part in ("anyOf", "oneOf", "allOf", "prefixItems"):
            for item in node.get(part, ()):
                walk(item, key, inside)

    walk(schema, "", ())
    return found


def parameters(name: str) -> list[str]:
    """Return the names of a public function's parameters."""
    import spraycheck

    return list(inspect.signature(getattr(spraycheck, name)).parameters)


def columns(folder: Path) -> dict[str, list[str]]:
    """Return the columns of the tables that a batch over a folder writes."""
    out = folder / "out"
    said = call(
        ["batch", str(folder), "--holes", "4", "--no-pictures", "--jobs", "1", "--out", str(out)]
    )
    if said.code:
        raise AssertionError(f"spraycheck batch: code {said.code}, {said.err}")
    found = {}
    for table in sorted(out.glob("*.csv")):
        with table.open(encoding="utf-8-sig", newline="") as lines:
            found[table.stem] = next(csv.reader(lines))
    return found


def exit_codes() -> dict[str, int]:
    """Return the exit codes that can be had without a photo; those of verdicts lie in documents."""
    return {
        "no command": call([]).code,
        "unknown option": call(["measure", "card.jpg", "--no-such-option"]).code,
        "unreadable photo": call(["measure", "no-such-photo.jpg", "--holes", "4"]).code,
        "help": call(["--help"]).code,
    }


def surface() -> Surface:
    """Return all of it but the columns of tables, which a batch has to be run for."""
    return {
        "commands": commands(),
        "names": names(),
        "parameters": {"measure_photo": parameters("measure_photo")},
        "findings": findings(),
        "flags": flags(),
        "schemas": schemas(),
        "exit codes": exit_codes(),
    }
