"""Nozzle files looked up by name: a folder of the user's, and the shipped examples behind it.

The name is the file's name without ``.toml``. No file is opened to find another, so a folder may
hold thousands. What is looked up stays in its folder, wherever links in it point.
"""

from __future__ import annotations

import difflib
import os
import re
import stat
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from spraycheck.errors import InputError
from spraycheck.nozzles.model import Nozzle
from spraycheck.nozzles.read import check_file, read_nozzle
from spraycheck.nozzles.toml_file import Tell
from spraycheck.photo.files import shown
from spraycheck.user_folders import settings_folder

VARIABLE: Final = "SPRAYCHECK_NOZZLES"
"""Environment variable that names the folder, where no option does."""

EXAMPLES: Final = Path(__file__).with_name("examples")

_SUFFIX = ".toml"
_OFFERED = 5


@dataclass(frozen=True, kw_only=True)
class NozzleFolder:
    """One folder of nozzle files.

    Parameters
    ----------
    path : Path
        Where they lie.
    origin : str
        Who named the folder, in plain words.
    """

    path: Path
    origin: str

    def names(self) -> list[str]:
        """Return the names of all files, sorted; opens none."""
        try:
            with os.scandir(self.path) as entries:
                found = [e.name for e in entries if e.name.endswith(_SUFFIX) and is_name(e.name)]
        except OSError as error:
            raise InputError(
                f"nozzle folder {shown(self.path)} cannot be read ({error.strerror}), expected "
                "a folder of nozzle files",
                "check its permissions",
            ) from None
        return sorted((name.removesuffix(_SUFFIX) for name in found), key=_in_order)

    def place_of(self, name: str) -> Path:
        """Return the path of a name that stands in the folder.

        Raises
        ------
        InputError
            It leads out of the folder, or is no ordinary file.
        """
        path = self.path / f"{name}{_SUFFIX}"
        try:
            real = path.resolve(strict=True)
            kind = real.stat().st_mode
        except (OSError, RuntimeError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "a link that leads round in a circle"
            raise InputError(
                f"nozzle {name!r}: {shown(path)} cannot be read ({reason}), expected a nozzle file",
                "check where it points and its permissions",
            ) from None
        # Installers may link a package's own files from a store elsewhere.
        if self.path != EXAMPLES and not real.is_relative_to(self.path.resolve()):
            raise InputError(
                f"nozzle {name!r} leads out of its folder, to {shown(real)}, expected a file in "
                f"{shown(self.path)}",
                "copy the file into the folder",
            )
        if not stat.S_ISREG(kind):
            raise InputError(
                f"nozzle {name!r}: {shown(path)} is no ordinary file, expected a nozzle file",
                "take it out of the folder",
            )
        return path

    def check(self, *, tell: Tell | None = None) -> Iterator[tuple[str, ...]]:
        """Look through every file; give what `check_file` says of each."""
        for name in self.names():
            try:
                path = self.place_of(name)
            except InputError as error:
                yield (str(error),)
            else:
                yield check_file(path, tell=tell)


@dataclass(frozen=True, kw_only=True)
class Library:
    """The folders, the user's before the shipped one: a nozzle of the same name goes before."""

    folders: tuple[NozzleFolder, ...]

    def __iter__(self) -> Iterator[tuple[NozzleFolder, str]]:
        """Give every nozzle that a name leads to, with its folder."""
        seen: set[str] = set()
        for folder in self.folders:
            for name in folder.names():
                if name not in seen:
                    seen.add(name)
                    yield folder, name

    def find(self, name: str) -> tuple[NozzleFolder, str] | None:
        """Return the folder and spelling of a name; None when there is no such nozzle.

        Capitals, and whether words are parted by blanks, hyphens or underscores, do not matter
        where that leaves one answer; the same spelling goes first.

        Raises
        ------
        InputError
            A path instead of a name; a spelling that several files fit.
        """
        wanted = name_checked(name)
        for folder in self.folders:
            if os.path.lexists(folder.path / f"{wanted}{_SUFFIX}"):
                return folder, wanted
            alike = [known for known in folder.names() if _folded(known) == _folded(wanted)]
            if len(alike) > 1:
                raise InputError(
                    f"nozzle {name!r} can mean {_or(alike)} in {shown(folder.path)}, expected one",
                    "write it as the file is called",
                )
            if alike:
                return folder, alike[0]
        return None

    def path_of(self, name: str) -> Path:
        """Return the file of a nozzle.

        Raises
        ------
        InputError
            No such nozzle, with the closest names; or as `find` and `NozzleFolder.place_of`.
        """
        found = self.find(name)
        if found is None:
            raise self.unknown(name)
        folder, spelling = found
        return folder.place_of(spelling)

    def read(self, name: str, *, tell: Tell | None = None) -> Nozzle:
        """Read the file of a nozzle; raises as `path_of` and `read_nozzle`."""
        return read_nozzle(self.path_of(name), tell=tell)

    def close_to(self, name: str, *, alike: float = 0.8) -> str:
        """Return the names most like one, in words; empty where none is.

        The default of ``alike`` chosen so that one wrong letter of five is still seen.
        """
        by_fold = {_folded(one): one for one in reversed([known for _, known in self])}
        close = difflib.get_close_matches(_folded(name), by_fold, n=_OFFERED, cutoff=alike)
        return _or([by_fold[one] for one in close]) if close else ""

    def unknown(self, name: str) -> InputError:
        """Return the error for a name that leads nowhere, offering the closest."""
        where = " or ".join(
            "the shipped examples" if folder.path == EXAMPLES else shown(folder.path)
            for folder in self.folders
        )
        close = self.close_to(name, alike=0.5)
        hint = f"did you mean {close}?" if close else "spraycheck nozzle list names them all"
        return InputError(f"there is no nozzle {name!r} in {where}, expected one of theirs", hint)


def open_library(folder: str | None = None, environ: Mapping[str, str] | None = None) -> Library:
    """Return the folders to look in.

    Parameters
    ----------
    folder : str, optional
        As the option says. Without it the environment variable `VARIABLE` is asked, and without
        that the folder ``nozzles`` among the user's settings, where it exists.
    environ : mapping, optional
        The environment; that of the process when not given.

    Raises
    ------
    InputError
        A folder that was named is none.
    """
    environ = os.environ if environ is None else environ
    shipped = NozzleFolder(path=EXAMPLES, origin="shipped example")
    named = folder if folder is not None else environ.get(VARIABLE) or None
    own = Path(named) if named is not None else user_folder(environ)
    origin = "--nozzles" if folder is not None else VARIABLE if named else "your settings"
    if own.is_dir():
        return Library(folders=(NozzleFolder(path=own, origin=origin), shipped))
    if named is None:
        return Library(folders=(shipped,))
    raise InputError(
        f"{origin} {shown(own)} is no folder, expected a folder of nozzle files",
        "make the folder, or correct the name",
    )


def folder_for_new(folder: str | None = None, environ: Mapping[str, str] | None = None) -> Path:
    """Return the folder a new nozzle file goes to, made if need be; see `open_library`.

    Raises
    ------
    InputError
        A folder that was named is none, or it cannot be made.
    """
    environ = os.environ if environ is None else environ
    if folder is not None or environ.get(VARIABLE):
        return open_library(folder, environ).folders[0].path
    own = user_folder(environ)
    try:
        own.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"nozzle folder {shown(own)} cannot be made ({error.strerror}), expected a place "
            "for it",
            "name another with --nozzles",
        ) from None
    return own


def user_folder(environ: Mapping[str, str]) -> Path:
    """Return the folder for nozzle files among the user's settings."""
    return settings_folder(environ) / "nozzles"


def is_name(text: str) -> bool:
    """Say whether a text can be a nozzle's name, and not a path."""
    plain = _plain(text)
    drive = plain[1:2] == ":"
    parted = drive or "/" in plain or "\\" in plain
    return bool(plain) and plain[0] != "." and not parted and plain.isprintable()


def _plain(text: str) -> str:
    return unicodedata.normalize("NFC", text).strip().removesuffix(_SUFFIX)


def name_checked(name: str) -> str:
    """Return a name as files are called; refuse what is no name but a path.

    Raises
    ------
    InputError
        It is empty, hidden, leads elsewhere or does not print.
    """
    plain = _plain(name)
    if not is_name(name):
        raise InputError(
            f"nozzle {name!r} is no name, expected the name of a file in the nozzle folder, "
            "without folders",
            "give the name alone, for example even-4; a file elsewhere is given with --layout",
        )
    return plain


def _in_order(name: str) -> list[str | int]:
    """Sort numbers in names as numbers: even-4 before even-10."""
    parts = re.split(r"(\d+)", name)
    return [int(part) if n % 2 else part.casefold() for n, part in enumerate(parts)]


def _folded(name: str) -> str:
    plain = unicodedata.normalize("NFC", name).casefold().replace("_", " ").replace("-", " ")
    return " ".join(plain.split())


def _or(names: list[str]) -> str:
    return ", ".join(names[:-1]) + (" or " if names[:-1] else "") + names[-1]
