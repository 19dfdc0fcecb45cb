"""What each photo should show: the first that knows of manifest, option and the folder's file.

A row of the manifest is about this one photo and goes first. An option holds for all the others.
Only where there is neither, the folder's own ``spraycheck.toml`` is asked.
"""

from __future__ import annotations

import functools
import os
from dataclasses import dataclass, field, replace

from spraycheck.app.batch.folder_file import FOLDER_FILE, FolderFile, read_folder_file
from spraycheck.app.batch.manifest import Labels, Manifest, Row
from spraycheck.app.batch.sources import is_address
from spraycheck.app.nozzles.files import read_layout
from spraycheck.errors import InputError
from spraycheck.pattern.card import CardSpec, parse_sheet
from spraycheck.pattern.layout import Layout


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What one photo should show, and who says so.

    Parameters
    ----------
    layout : Layout or None
        None when nobody knows; ``problem`` says why.
    spec : CardSpec
        The sheet.
    source : str
        ``manifest``, ``option`` or ``folder``; empty when nobody knows.
    labels : Labels
        What is said of the photo besides.
    problem : InputError or None
        Why the photo cannot be scored.
    """

    layout: Layout | None
    spec: CardSpec
    source: str
    labels: Labels
    problem: InputError | None = None


UNKNOWN_HOLES = InputError(
    "nobody says how many holes this nozzle should have",
    "give --holes or --layout, name the photo in a manifest, or put a spraycheck.toml into its "
    "folder",
)


@dataclass(kw_only=True)
class Expectations:
    """Answers what a photo should show; every layout and folder file is read once.

    Parameters
    ----------
    layout : Layout, optional
        What the option says.
    sheet : CardSpec, optional
        The sheet for all photos that nothing else is said of.
    manifest : Manifest, optional
        The table.
    """

    layout: Layout | None = None
    sheet: CardSpec | None = None
    manifest: Manifest | None = None
    _layouts: dict[str, Layout | InputError] = field(default_factory=dict)
    _folders: dict[str, tuple[str, FolderFile] | InputError | None] = field(default_factory=dict)
    _shared: dict[Expected, Expected] = field(default_factory=dict)

    def of(self, path: str) -> Expected:
        """Return what is expected of the photo at ``path``."""
        remote = is_address(path)
        absolute = path if remote else os.path.abspath(path)
        row = self.manifest.rows.get(absolute) if self.manifest else None
        try:
            told = None if remote else self._folder(os.path.dirname(absolute))
            expected = self._settle(row, told)
        except InputError as problem:
            labels = row.labels if row else Labels()
            expected = Expected(
                layout=None, spec=CardSpec(), source="", labels=labels, problem=problem
            )
            return expected
        # Thousands of photos share one answer; one object is kept for them.
        return self._shared.setdefault(expected, expected)

    def _settle(self, row: Row | None, told: tuple[str, FolderFile] | None) -> Expected:
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
        make = functools.partial(Expected, spec=spec, labels=labels)
        if row and row.holes is not None:
            return make(layout=_even(row.holes), source="manifest")
        if row and row.layout:
            return make(layout=self._layout(row.layout), source="manifest")
        if self.layout is not None:
            return make(layout=self.layout, source="option")
        if file.holes is not None:
            return make(layout=_even(file.holes), source="folder")
        if file.layout:
            return make(layout=self._layout(os.path.join(folder, file.layout)), source="folder")
        return make(layout=None, source="", problem=UNKNOWN_HOLES)

    def _layout(self, path: str) -> Layout:
        if path not in self._layouts:
            try:
                self._layouts[path] = read_layout(path)
            except InputError as error:
                self._layouts[path] = error
        known = self._layouts[path]
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
def _even(holes: int) -> Layout:
    return Layout.evenly_spread(holes)


@functools.cache
def _sheet(text: str) -> CardSpec:
    return parse_sheet(text)


__all__ = ["FOLDER_FILE", "UNKNOWN_HOLES", "Expectations", "Expected"]
