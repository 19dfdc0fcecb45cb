"""Nozzle and limits files looked through for every mistake at once."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from spraycheck.errors import InputError
from spraycheck.judge.limits import limit_fields
from spraycheck.nozzles.files import examine_nozzle
from spraycheck.nozzles.library import Shelf
from spraycheck.nozzles.limits import KINDS, examine_limits
from spraycheck.nozzles.validation import Problem


@dataclass(frozen=True, kw_only=True)
class Checked:
    """One file and what is wrong with it.

    Parameters
    ----------
    path : str
        The file.
    what : str
        What it was read as.
    problems : tuple of Problem
        Empty when all is well.
    """

    path: str
    what: str
    problems: tuple[Problem, ...]


def check_place(place: str | os.PathLike[str]) -> Iterator[Checked]:
    """Look through a file, or every nozzle file in a folder."""
    if not os.path.isdir(place):
        yield check_file(place)
        return
    shelf = Shelf(folder=Path(place), origin="")
    for name in shelf.names():
        try:
            path = shelf.place_of(name)
        except InputError as error:
            problem = Problem(line=0, found=error.message, hint=error.hint)
            yield Checked(path=f"{place}/{name}.toml", what="nozzle file", problems=(problem,))
        else:
            yield check_file(path)


def check_file(path: str | os.PathLike[str]) -> Checked:
    """Look through one file; what stands in it says whether it is a nozzle or a limits file."""
    what = "limits file" if _holds_limits(path) else "nozzle file"
    examine = examine_limits if what == "limits file" else examine_nozzle
    try:
        _, source = examine(path)
        problems = tuple(sorted(source.problems, key=lambda problem: problem.line))
    except InputError as error:
        problems = (Problem(line=0, found=error.message, hint=error.hint),)
    return Checked(path=os.fspath(path), what=what, problems=problems)


def _holds_limits(path: str | os.PathLike[str]) -> bool:
    """Say whether limits stand in the file where a nozzle file has none: at the outside."""
    try:
        with open(path, "rb") as file:
            keys = set(tomllib.load(file))
    except (OSError, ValueError, RecursionError):
        return False
    return any(one.name in keys for kind in KINDS.values() for one in limit_fields(kind))
