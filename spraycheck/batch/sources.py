"""Finding photos: folders, single files, and folders of an object store."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import PurePosixPath
from typing import Any, Final

from spraycheck.batch.journal import JOURNAL_NAME, OLD_NAME
from spraycheck.errors import InputError
from spraycheck.photo.files import shown, sniff

OUTCOME_NAMES: Final = frozenset((JOURNAL_NAME, OLD_NAME))
"""A folder that holds a file of such a name is the outcome of a batch, not an archive of photos."""

SUFFIXES: Final = frozenset(
    (".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp")
    + (".heic", ".heif", ".hif", ".avif")
)
"""Endings that promise a photo; one that does not keep the promise gets a record that says so."""


@dataclass(kw_only=True)
class Listing:
    """What a search found.

    Parameters
    ----------
    paths : list of str
        Photos, in the order of the outcome: the places as given, in each the folder's own files
        by name, then its subfolders by name.
    problems : list of str
        Folders that could not be read, one line each.
    others : int
        Files left alone because they are no photos.
    """

    paths: list[str] = field(default_factory=list)
    problems: list[str] = field(default_factory=list)
    others: int = 0


def find_photos(places: Sequence[str], *, leave_out: str | None = None) -> Listing:
    """Find every photo in some places.

    Parameters
    ----------
    places : sequence of str
        Folders, searched with all their subfolders; photo files; or addresses such as
        ``s3://bucket/cards`` that fsspec understands.
    leave_out : str, optional
        A folder not to be searched: where the outcome goes.

    Returns
    -------
    Listing
        Each folder is searched once, however many links lead to it, so links in circles end.
        Names beginning with a dot are left out, as are the results of earlier batches. A file
        counts as a photo by its ending; one without any ending by its first bytes.

    Raises
    ------
    InputError
        A place does not exist or cannot be read, or fsspec is missing.
    """
    listing = Listing()
    searched: set[tuple[int, int]] = set()
    if leave_out is not None and os.path.isdir(leave_out):
        searched.add(_identity(leave_out))
    for place in places:
        if is_address(place):
            _find_remote(place, listing)
        elif os.path.isdir(place):
            _walk(place, searched, listing)
        elif os.path.lexists(place):
            listing.paths.append(place)
        else:
            raise InputError(
                f"{shown(place)} not found, expected a folder of photos",
                "check the name, and put quotes around a name with spaces",
            )
    if len(places) > 1:
        listing.paths = list(dict.fromkeys(listing.paths))
    return listing


def is_address(place: str) -> bool:
    """Tell an address of an object store from a path."""
    scheme, mark, _ = place.partition("://")
    return bool(mark) and scheme.replace("+", "").replace("-", "").isalnum()


def open_file(place: str) -> Any:
    """Open a file or an address for reading bytes; a context manager."""
    if is_address(place):
        return _fsspec().open(place, "rb")
    return open(place, "rb")


def _identity(folder: str) -> tuple[int, int]:
    info = os.stat(folder)
    return info.st_dev, info.st_ino


def _walk(root: str, searched: set[tuple[int, int]], listing: Listing) -> None:
    stack = [root]  # a list, not recursion: archives nest deeper than Python's stack
    while stack:
        folder = stack.pop()
        try:
            who = _identity(folder)
            if who in searched:
                continue
            searched.add(who)
            files, folders, others = _entries(folder)
        except OSError as error:
            listing.problems.append(f"folder {shown(folder)} cannot be read ({error.strerror})")
            continue
        listing.others += others
        listing.paths += [os.path.join(folder, name) for name in sorted(files)]
        stack += [os.path.join(folder, name) for name in sorted(folders, reverse=True)]


def _entries(folder: str) -> tuple[list[str], list[str], int]:
    """Return names of photos and of subfolders, and how many other files there are."""
    files, folders, others = [], [], 0
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name in OUTCOME_NAMES:
                return [], [], 0
            if entry.name.startswith("."):
                continue
            try:
                is_folder = entry.is_dir()
            except OSError:  # a link to itself: told when it is read
                is_folder = False
            if is_folder:
                folders.append(entry.name)
            elif _promises_photo(entry.name, entry.path):
                files.append(entry.name)
            else:
                others += 1
    return files, folders, others


def _promises_photo(name: str, path: str) -> bool:
    suffix = os.path.splitext(name)[1].lower()
    if suffix:
        return suffix in SUFFIXES
    try:
        with open(path, "rb") as file:
            return bool(sniff(file.read(64)))
    except OSError:
        return False


def _find_remote(address: str, listing: Listing) -> None:
    fsspec = _fsspec()
    try:
        system, root = fsspec.core.url_to_fs(address)
        names: Iterable[str] = sorted(system.find(root))
        there = system.exists(root)
    except Exception as error:  # every store has exceptions of its own
        raise InputError(
            f"{address} cannot be listed ({' '.join(str(error).split()) or type(error).__name__}), "
            "expected a folder of photos",
            "check the address, the network and the permissions",
        ) from None
    if not there:
        raise InputError(f"{address} not found, expected a folder of photos", "check the address")
    for name in names:
        inside = PurePosixPath(name).relative_to(root).parts if name != root else (name,)
        if any(part.startswith(".") for part in inside):
            continue
        if PurePosixPath(name).suffix.lower() in SUFFIXES:
            listing.paths.append(system.unstrip_protocol(name))
        else:
            listing.others += 1


def _fsspec() -> Any:
    try:
        import fsspec
        import fsspec.core
    except ImportError:
        raise InputError(
            "reading from an address needs the package fsspec, which is not installed",
            "run: pip install 'spraycheck[store]'",
        ) from None
    return fsspec
