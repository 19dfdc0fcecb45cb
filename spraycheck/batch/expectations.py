"""What each photo should show: the first that knows of manifest, option and the folder's file.

A row of the manifest is about this one photo and goes first. An option holds for all the others.
Only where there is neither, the folder's own ``spraycheck.toml`` is asked. Row and folder file name
the holes, a layout file, or a nozzle by its name; a nozzle's name that leads to no file is a label.
Where nobody knows, the code of a printed card is read, which may carry a nozzle's name.
"""

from __future__ import annotations

import functools
import os
from dataclasses import dataclass, field, replace

from spraycheck.batch.folder_file import FOLDER_FILE, FolderFile, read_folder_file
from spraycheck.batch.manifest import Labels, Manifest, Row
from spraycheck.batch.sources import is_address
from spraycheck.card.spec import CardSpec, parse_sheet
from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits, LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.nozzles.files import Nozzle, read_nozzle
from spraycheck.nozzles.library import Cabinet, is_name, open_cabinet


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What one photo should show, and who says so.

    Parameters
    ----------
    layout : Layout or AxialNozzle or None
        What the nozzle should spray; None when nobody knows, and ``problem`` says why.
    limits : LimitSet
        What is tolerated.
    spec : CardSpec
        The sheet.
    source : str
        ``manifest``, ``option``, ``folder`` or ``card``; empty when nobody knows.
    labels : Labels
        What is said of the photo besides.
    lined_up : str
        The feature that 12 o'clock on the card was lined up with; empty when nobody says.
    problem : InputError or None
        Why the photo cannot be scored.
    """

    layout: Layout | AxialNozzle | None
    limits: LimitSet = field(default_factory=Limits)
    spec: CardSpec
    source: str
    labels: Labels
    lined_up: str = ""
    problem: InputError | None = None


UNKNOWN_HOLES = InputError(
    "nobody says how many holes this nozzle should have",
    "give --holes, --layout or --nozzle, name the photo in a manifest, or put a spraycheck.toml "
    "into its folder",
)


_MOST_DOUBTS = 1000
# Chosen so that an archive with a name for every photo does not keep the foreman waiting.


@dataclass(kw_only=True)
class Expectations:
    """Answers what a photo should show; every nozzle and folder file is read once.

    Parameters
    ----------
    nozzle : Nozzle, optional
        What the option says.
    limits : LimitSet, optional
        What is tolerated of every nozzle; without it what each nozzle's file says, or the defaults.
    cabinet : Cabinet, optional
        Where nozzles are looked up by name; the user's own when not given.
    sheet : CardSpec, optional
        The sheet for all photos that nothing else is said of.
    printed_mm : (float, float), optional
        Measured check lines of the printed target cards.
    manifest : Manifest, optional
        The table.
    """

    nozzle: Nozzle | None = None
    limits: LimitSet | None = None
    cabinet: Cabinet = field(default_factory=open_cabinet)
    sheet: CardSpec | None = None
    printed_mm: tuple[float, float] | None = None
    manifest: Manifest | None = None
    _by_name: dict[str, Nozzle | InputError | None] = field(default_factory=dict)
    _by_card: dict[str, Nozzle | InputError | None] = field(default_factory=dict)
    _problems: dict[str, InputError] = field(default_factory=dict)
    _nozzles: dict[str, Nozzle | InputError] = field(default_factory=dict)
    _folders: dict[str, tuple[str, FolderFile] | InputError | None] = field(default_factory=dict)
    _shared: dict[Expected, Expected] = field(default_factory=dict)

    def of(self, path: str) -> Expected:
        """Return what is expected of the photo at ``path``."""
        remote = is_address(path)
        absolute = path if remote else os.path.abspath(path)
        row = self.manifest.rows.get(absolute) if self.manifest else None
        try:
            told = None if remote else self._folder(os.path.dirname(absolute))
            expected = self._settle(row, told, "" if remote else absolute)
        except InputError as problem:
            labels = row.labels if row else Labels()
            expected = Expected(
                layout=None, spec=CardSpec(), source="", labels=labels, problem=problem
            )
            return expected
        # Thousands of photos share one answer; one object is kept for them.
        return self._shared.setdefault(expected, expected)

    def _settle(self, row: Row | None, told: tuple[str, FolderFile] | None, place: str) -> Expected:
        folder, file = told if told else ("", FolderFile())
        labels = row.labels if row else Labels()
        labels = replace(
            labels,
            nozzle=labels.nozzle or file.nozzle,
            injector=labels.injector or file.injector,
        )
        sheet = row.sheet if row else ""
        if sheet or self.sheet is None:
            sheet = sheet or file.sheet
            spec = _sheet(sheet) if sheet else CardSpec()
        else:
            spec = self.sheet
        if self.printed_mm is not None:
            spec = replace(spec, printed_x_mm=self.printed_mm[0], printed_y_mm=self.printed_mm[1])

        def make(nozzle: Nozzle, source: str) -> Expected:
            feature = row.lined_up if row else ""
            if feature:
                nozzle.layout.check_lined_up(feature)
            return Expected(
                layout=nozzle.expected,
                limits=nozzle.limits_under(self.limits),
                spec=spec,
                labels=labels,
                lined_up=feature,
                source=source,
            )

        if row and row.holes is not None:
            return make(_even(row.holes), "manifest")
        if row and row.layout:
            return make(self._read(row.layout), "manifest")
        if row and (nozzle := self._named(row.labels.nozzle)):
            return make(nozzle, "manifest")
        if self.nozzle is not None:
            return make(self.nozzle, "option")
        if file.holes is not None:
            return make(_even(file.holes), "folder")
        if file.layout:
            return make(self._read(os.path.join(folder, file.layout)), "folder")
        if nozzle := self._named(file.nozzle):
            return make(nozzle, "folder")
        if place and (nozzle := self._on_card(place)):
            return make(nozzle, "card")
        problem = self._unknown(labels.nozzle) if labels.nozzle else UNKNOWN_HOLES
        return Expected(layout=None, spec=spec, labels=labels, source="", problem=problem)

    def doubts(self) -> list[str]:
        """Return a line for every label met so far that is nearly a nozzle's name: a slip?"""
        labels = sorted(name for name, nozzle in self._by_name.items() if name and nozzle is None)
        close = {name: self.cabinet.close_to(name) for name in labels[:_MOST_DOUBTS]}
        return [
            f"the nozzle {name!r} was taken for a label only: no nozzle file has this name, but "
            f"there is {names}"
            for name, names in close.items()
            if names
        ]

    def _named(self, name: str) -> Nozzle | None:
        """Return the nozzle of a name; None where the name is a label only."""
        if name not in self._by_name:
            self._by_name[name] = self._look_up(name)
        known = self._by_name[name]
        if isinstance(known, InputError):
            raise known
        return known

    def _look_up(self, name: str) -> Nozzle | InputError | None:
        try:
            if is_name(name) and self.cabinet.find(name) is not None:
                return self.cabinet.read(name)
        except InputError as error:
            return error
        return None

    def _on_card(self, path: str) -> Nozzle | None:
        """Return the nozzle that the card in a photo names; None where it names none."""
        if path not in self._by_card:
            self._by_card[path] = self._read_card(path)
        known = self._by_card[path]
        if isinstance(known, InputError):
            raise known
        return known

    def _read_card(self, path: str) -> Nozzle | InputError | None:
        from spraycheck.nozzles.card_codes import names_printed, one_name
        from spraycheck.photo import read_photo

        try:
            photo = read_photo(path)
        except InputError:
            return None  # whoever measures it will say so
        try:
            name = one_name(names_printed(photo))
            return self._read(os.fspath(self.cabinet.path_of(name))) if name else None
        except InputError as error:
            return error

    def _unknown(self, name: str) -> InputError:
        """Return the problem of photos whose nozzle's name leads nowhere; one for all of them."""
        if name not in self._problems:
            why = self.cabinet.unknown(name)
            self._problems[name] = InputError(
                f"{UNKNOWN_HOLES.message}: {why.message}", f"{why.hint}; or {UNKNOWN_HOLES.hint}"
            )
        return self._problems[name]

    def _read(self, path: str) -> Nozzle:
        if path not in self._nozzles:
            try:
                self._nozzles[path] = read_nozzle(path)
            except InputError as error:
                self._nozzles[path] = error
        known = self._nozzles[path]
        if isinstance(known, InputError):
            raise known
        return known

    def _folder(self, folder: str) -> tuple[str, FolderFile] | None:
        """Return the nearest folder file upwards, and the folder it lies in."""
        climbed: list[str] = []
        found: tuple[str, FolderFile] | InputError | None = None
        while True:  # a loop, not recursion: archives nest deeper than Python's stack
            if folder in self._folders:
                found = self._folders[folder]
                break
            climbed.append(folder)
            try:
                own = read_folder_file(folder)
            except InputError as error:
                found = error
                break
            above = os.path.dirname(folder)
            if own is not None or above == folder:
                found = (folder, own) if own else None
                break
            folder = above
        for below in climbed:
            self._folders[below] = found
        if isinstance(found, InputError):
            raise found
        return found


@functools.cache
def _even(holes: int) -> Nozzle:
    return Nozzle.evenly_spread(holes)


@functools.cache
def _sheet(text: str) -> CardSpec:
    return parse_sheet(text)


__all__ = ["FOLDER_FILE", "UNKNOWN_HOLES", "Expectations", "Expected"]
