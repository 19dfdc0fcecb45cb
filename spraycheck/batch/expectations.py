"""What each photo should show: the first that knows of manifest, option and the folder's file.

A row of the manifest is about this one photo and goes first. An option holds for all the others.
Only where there is neither, the file ``spraycheck.toml`` in the photo's folder or one above is
asked. Row and folder file name the holes, a layout file, or a nozzle by its name; a nozzle's name
that leads to no file is a label. Where nobody knows, the code of a printed card is read, which may
carry a nozzle's name.

```toml
holes = 4                  # or: layout = "nozzle.toml", a path from this folder
sheet = "a4"               # optional
nozzle = "lorry A"         # optional: a name to sort by; without holes and layout, a nozzle file's
injector = "cyl 1"         # optional: to follow one injector over time
```
"""

from __future__ import annotations

import functools
import os
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Final, TypeVar

import msgspec

from spraycheck.batch.manifest import Labels, Manifest, Row
from spraycheck.batch.scoring import Settings
from spraycheck.batch.sources import is_address
from spraycheck.card.spec import CardSpec, parse_sheet
from spraycheck.errors import InputError
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.standoff import Standoff
from spraycheck.nozzles.model import Nozzle
from spraycheck.nozzles.nozzle_library import Library, is_name, open_library
from spraycheck.nozzles.read import read_nozzle
from spraycheck.photo.files import shown

FOLDER_FILE: Final = "spraycheck.toml"
"""Holds for the folder it lies in and all below, until a folder below has one of its own."""

UNKNOWN_HOLES: Final = InputError(
    "nobody says how many holes this nozzle should have",
    "give --holes, --layout or --nozzle, name the photo in a manifest, or put a spraycheck.toml "
    "into its folder",
)

_MOST_DOUBTS: Final = 1000
# Chosen so that an archive with a name for every photo does not keep the foreman waiting.

T = TypeVar("T")


class FolderFile(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """The keys of a folder's file; empty or None when not stated."""

    holes: int | None = None
    layout: str = ""
    sheet: str = ""
    nozzle: str = ""
    injector: str = ""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What one photo should show, and who says so.

    Parameters
    ----------
    settings : Settings
        What the nozzle should spray, what is tolerated, and what is known of the sheet; no layout
        when nobody knows, and ``problem`` says why.
    source : str
        ``manifest``, ``option``, ``folder`` or ``card``; empty when nobody knows.
    labels : Labels
        What is said of the photo besides.
    problem : InputError or None
        Why the photo cannot be scored.
    """

    settings: Settings
    source: str
    labels: Labels
    problem: InputError | None = None


@dataclass(frozen=True, kw_only=True)
class PhotoOptions:
    """What holds for every photo of a batch, as far as nothing else is said of one.

    Parameters
    ----------
    nozzle : Nozzle or None
        What photos show that no manifest row says it of.
    limits : LimitSet or None
        What is tolerated of every nozzle; None: what each nozzle's file says, or the defaults.
    cabinet : Library
        Where nozzles are looked up by name; the user's own when not given.
    sheet : CardSpec or None
        The sheet.
    printed_mm : (float, float) or None
        Measured check lines of the printed target cards, level and upright.
    standoff : Standoff or None
        Height of the tip over every card.
    aim : (float, float) or str or None
        Where the tip was set over every card, for nozzles with one central spray; as of
        `Pipeline`.
    """

    nozzle: Nozzle | None = None
    limits: LimitSet | None = None
    cabinet: Library = field(default_factory=open_library)
    sheet: CardSpec | None = None
    printed_mm: tuple[float, float] | None = None
    standoff: Standoff | None = None
    aim: str | tuple[float, float] | None = None


class Expectations:
    """Answers what a photo should show; every nozzle and folder file is read once.

    Parameters
    ----------
    options : PhotoOptions
        What the options say.
    manifest : Manifest, optional
        The table.
    """

    def __init__(self, options: PhotoOptions, manifest: Manifest | None = None) -> None:
        self.options = options
        self.manifest = manifest
        self._shared: dict[Expected, Expected] = {}
        self._labels_only: set[str] = set()
        self._read = _remembering(read_nozzle)
        self._named = _remembering(self._look_up)
        self._on_card = _remembering(self._read_card)
        self._folder = _remembering(_read_folder_file)
        self._unknown = functools.cache(self._why_unknown)

    def of(self, path: str) -> Expected:
        """Return what is expected of the photo at ``path``."""
        remote = is_address(path)
        absolute = path if remote else os.path.abspath(path)
        row = self.manifest.rows.get(absolute) if self.manifest else None
        try:
            folder, file = ("", None) if remote else self._nearest(os.path.dirname(absolute))
            expected = self._settle(row, folder, file or FolderFile(), "" if remote else absolute)
        except InputError as problem:
            return Expected(
                settings=Settings(layout=None),
                source="",
                labels=row.labels if row else Labels(),
                problem=problem,
            )
        # Thousands of photos share one answer; one object is kept for them.
        return self._shared.setdefault(expected, expected)

    def _settle(self, row: Row | None, folder: str, file: FolderFile, place: str) -> Expected:
        said = row.labels if row else Labels()
        labels = replace(
            said, nozzle=said.nozzle or file.nozzle, injector=said.injector or file.injector
        )
        spec = self._spec(row.sheet if row else "", file.sheet)
        nozzle, source = self._nozzle_of(row, folder, file, place)
        if nozzle is None:
            problem = self._unknown(labels.nozzle) if labels.nozzle else UNKNOWN_HOLES
            unknown = Settings(layout=None, spec=spec)
            return Expected(settings=unknown, source="", labels=labels, problem=problem)
        lined_up = row.lined_up if row else ""
        if lined_up:
            nozzle.layout.check_lined_up(lined_up)
        settings = Settings(
            layout=nozzle.expected,
            limits=nozzle.limits_under(self.options.limits),
            spec=spec,
            standoff=self.options.standoff,
            aim=self.options.aim,
            lined_up=lined_up,
        )
        return Expected(settings=settings, source=source, labels=labels)

    def _nozzle_of(
        self, row: Row | None, folder: str, file: FolderFile, place: str
    ) -> tuple[Nozzle | None, str]:
        """Return the nozzle and who names it: the first that knows."""
        if row is not None and (nozzle := self._of(row.holes, row.layout, row.labels.nozzle)):
            return nozzle, "manifest"
        if self.options.nozzle is not None:
            return self.options.nozzle, "option"
        layout = os.path.join(folder, file.layout) if file.layout else ""
        if nozzle := self._of(file.holes, layout, file.nozzle):
            return nozzle, "folder"
        if place and (nozzle := self._on_card(place)):
            return nozzle, "card"
        return None, ""

    def _of(self, holes: int | None, layout: str, name: str) -> Nozzle | None:
        if holes is not None:
            return _even(holes)
        return self._read(layout) if layout else self._named(name)

    def _spec(self, in_row: str, in_folder: str) -> CardSpec:
        if not in_row and self.options.sheet is not None:
            spec = self.options.sheet
        else:
            sheet = in_row or in_folder
            spec = _sheet(sheet) if sheet else CardSpec()
        if self.options.printed_mm is not None:
            spec = replace(
                spec,
                printed_x_mm=self.options.printed_mm[0],
                printed_y_mm=self.options.printed_mm[1],
            )
        return spec

    def doubts(self) -> list[str]:
        """Return a line for every label met so far that is nearly a nozzle's name: a slip?"""
        close = {
            name: self.options.cabinet.close_to(name)
            for name in sorted(self._labels_only)[:_MOST_DOUBTS]
        }
        return [
            f"the nozzle {name!r} was taken for a label only: no nozzle file has this name, but "
            f"there is {names}"
            for name, names in close.items()
            if names
        ]

    def _look_up(self, name: str) -> Nozzle | None:
        """Return the nozzle of a name; None where the name is a label only."""
        if name and is_name(name) and self.options.cabinet.find(name) is not None:
            return self.options.cabinet.read(name)
        if name:
            self._labels_only.add(name)
        return None

    def _read_card(self, path: str) -> Nozzle | None:
        """Return the nozzle that the card in a photo names; None where it names none."""
        from spraycheck.nozzles.card_codes import names_printed, one_name
        from spraycheck.photo import read_photo

        try:
            photo = read_photo(path)
        except InputError:
            return None  # whoever measures it will say so
        name = one_name(names_printed(photo))
        return self._read(os.fspath(self.options.cabinet.path_of(name))) if name else None

    def _why_unknown(self, name: str) -> InputError:
        """Return the problem of photos whose nozzle's name leads nowhere; one for all of them."""
        why = self.options.cabinet.unknown(name)
        return InputError(
            f"{UNKNOWN_HOLES.message}: {why.message}", f"{why.hint}; or {UNKNOWN_HOLES.hint}"
        )

    def _nearest(self, folder: str) -> tuple[str, FolderFile | None]:
        """Return the folder that the nearest file upwards lies in, and the file if there is one."""
        while (file := self._folder(folder)) is None and os.path.dirname(folder) != folder:
            folder = os.path.dirname(folder)
        return folder, file


def _remembering(ask: Callable[[str], T]) -> Callable[[str], T]:
    """Return a function that asks once for each text and gives the answer, or the refusal, again.

    Unlike `functools.cache` it remembers an `InputError` too: what cannot be read is not read again
    for each of a thousand photos.
    """
    known: dict[str, T | InputError] = {}

    def answer(text: str) -> T:
        if text not in known:
            try:
                known[text] = ask(text)
            except InputError as error:
                known[text] = error
        found = known[text]
        if isinstance(found, InputError):
            raise found
        return found

    return answer


def _read_folder_file(folder: str) -> FolderFile | None:
    """Read a folder's own file; None when it has none.

    Raises
    ------
    InputError
        Not to be read or understood.
    """
    path = os.path.join(folder, FOLDER_FILE)
    try:
        with open(path, "rb") as file:
            told = msgspec.convert(tomllib.load(file), FolderFile)
    except FileNotFoundError:
        return None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, msgspec.ValidationError) as error:
        raise InputError(
            f"{shown(path)}: {error}, expected for example: holes = 4", "correct the file"
        ) from None
    except OSError as error:
        raise InputError(
            f"{shown(path)} cannot be read ({error.strerror})", "check its permissions"
        ) from None
    if told.holes is not None and told.layout:
        raise InputError(f"{shown(path)}: both holes and layout given", "take one of them out")
    return told


@functools.cache
def _even(holes: int) -> Nozzle:
    return Nozzle.evenly_spread(holes)


@functools.cache
def _sheet(text: str) -> CardSpec:
    return parse_sheet(text)
