"""One batch from the folders to the contact sheet."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from spraycheck.batch import scheduler
from spraycheck.batch.engines import Cluster, Engine, InProcess, Pool
from spraycheck.batch.expectations import Expectations, PhotoOptions
from spraycheck.batch.files import Pictures
from spraycheck.batch.journal import Journal
from spraycheck.batch.manifest import Manifest, read_manifest
from spraycheck.batch.outcome import write_outcome
from spraycheck.batch.progress import Watcher
from spraycheck.batch.sources import OUTCOME_NAMES, Listing, find_photos, is_address
from spraycheck.batch.summary import Summary
from spraycheck.errors import InputError
from spraycheck.photo.files import shown


@dataclass(frozen=True, kw_only=True)
class Options(PhotoOptions):
    """What a batch is asked to do, besides what holds for every photo.

    Parameters
    ----------
    places : tuple of str
        Folders, photos or addresses; may be empty with a manifest, whose photos are meant then.
    out : Path
        Folder for the outcome: new, empty, or that of an earlier batch, which is continued.
    manifest : str or None
        The table of `manifest`.
    jobs : int
        Processes; 0 measures in this one.
    cluster : str
        Address of a scheduler; goes before ``jobs``.
    pictures : bool
        Whether to draw.
    patience : int or None
        See `scheduler.run`.
    """

    places: tuple[str, ...]
    out: Path
    manifest: str | None = None
    jobs: int = 1
    cluster: str = ""
    pictures: bool = True
    patience: int | None = 50


def run_batch(
    options: Options, watcher: Watcher, *, stop: Callable[[], bool] = lambda: False
) -> Summary:
    """Score every photo and write the outcome.

    Parameters
    ----------
    options : Options
        What to do.
    watcher : Watcher
        Who is told how far it is.
    stop : callable
        Asked now and then whether to end early.

    Returns
    -------
    Summary

    Raises
    ------
    InputError
        An option, the manifest or a folder cannot be used; the disk is full; no photos found.
    ArchiveError
        What lies there is no journal, or one of an unknown version.
    """
    out = options.out
    manifest = read_manifest(options.manifest) if options.manifest else None
    if manifest and manifest.unused:
        watcher.say(f"columns of the manifest not used: {', '.join(manifest.unused)}")
    _check_out(out)
    listing = find_photos(options.places, leave_out=os.fspath(out))
    for problem in listing.problems:
        watcher.say(f"{problem}; its photos are left out")
    if listing.others:
        watcher.say(f"{listing.others} other files left alone")
    missing = _add_named(listing, manifest, options.places) if manifest else {}
    if not listing.paths:
        raise InputError(
            f"no photos found in {', '.join(map(shown, options.places)) or 'the manifest'}",
            "check the folder",
        )
    _make_folder(out)
    expectations = Expectations(options, manifest)
    with Journal(os.fspath(out)) as journal:
        for note in journal.notes:
            watcher.say(note)
        work = scheduler.Work(
            paths=listing.paths,
            expected=expectations.of,
            journal=journal,
            engine=_engine(options),
            pictures=Pictures(out) if options.pictures else None,
            missing=missing,
        )
        watcher.begin(len(listing.paths))
        try:
            done = scheduler.run(work, tell=watcher.step, stop=stop, patience=options.patience)
        finally:
            watcher.end()
        for note in expectations.doubts():
            watcher.say(note)
        return write_outcome(work, done, out, list(options.places))


def _engine(options: Options) -> Engine:
    if options.cluster:
        return Cluster(options.cluster)
    return Pool(options.jobs) if options.jobs else InProcess()


def _check_out(out: Path) -> None:
    """Refuse a folder that holds something else: a batch must never write among photos."""
    try:
        others = sorted(os.listdir(out))
    except FileNotFoundError:
        return
    except OSError as error:
        raise InputError(
            f"--out {shown(out)} cannot be used ({error.strerror}), expected a folder",
            "choose another name or place",
        ) from None
    if others and OUTCOME_NAMES.isdisjoint(others):
        raise InputError(
            f"--out {shown(out)} holds other files ({shown(others[0])}, ...), expected a new "
            "folder or that of an earlier batch",
            "choose another name",
        )


def _make_folder(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"--out {shown(out)} cannot be made ({error.strerror}), expected a folder",
            "choose another name or place",
        ) from None


def _add_named(
    listing: Listing, manifest: Manifest, places: tuple[str, ...]
) -> dict[str, InputError]:
    """Add photos that the manifest names and the folders do not show; return why some stay unread.

    A photo that is not there fails when it is read, with the reader's own words.
    """
    found = {path if is_address(path) else os.path.abspath(path) for path in listing.paths}
    roots = [place if is_address(place) else os.path.abspath(place) for place in places]
    outside: dict[str, InputError] = {}
    for row in manifest.rows.values():
        if row.file in found:
            continue
        listing.paths.append(row.file)
        inside = any(
            row.file == root or row.file.startswith(root.rstrip("/" + os.sep) + os.sep)
            for root in roots
        )
        if roots and not inside:
            outside[row.file] = InputError(
                f"line {row.line} of the manifest names {shown(row.file)}, which lies outside the "
                "folders given",
                "give its folder too, or correct the line",
            )
    return outside
