"""One batch from the folders to the contact sheet."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from spraycheck.batch import scheduler as driver
from spraycheck.batch.executors import Cluster, Engine, InProcess, Pool
from spraycheck.batch.expectations import Expectations, Expected
from spraycheck.batch.journal import Journal
from spraycheck.batch.keys import settings_digest
from spraycheck.batch.manifest import Manifest, read_manifest
from spraycheck.batch.outcome import Summary, write_outcome
from spraycheck.batch.pictures import Pictures
from spraycheck.batch.progress import Watcher
from spraycheck.batch.sources import JOURNAL_NAME, Listing, find_photos, is_address
from spraycheck.card.spec import CardSpec
from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import LimitSet
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.standoff import Standoff
from spraycheck.nozzles.files import Nozzle
from spraycheck.nozzles.library import Cabinet, open_cabinet
from spraycheck.photo.files import shown
from spraycheck.pipeline import Pipeline


@dataclass(frozen=True, kw_only=True)
class Options:
    """What a batch is asked to do.

    Parameters
    ----------
    places : tuple of str
        Folders, photos or addresses; may be empty with a manifest, whose photos are meant then.
    out : Path
        Folder for the outcome: new, empty, or that of an earlier batch, which is continued.
    nozzle : Nozzle or None
        What photos show that no manifest row says it of.
    sheet : CardSpec or None
        The sheet of photos that nothing else is said of.
    printed_mm : (float, float) or None
        Measured check lines of the printed target cards, level and upright.
    standoff : Standoff or None
        Height of the tip over every card.
    aim : (float, float) or str or None
        Where the tip was set over every card, for nozzles with one central spray; as of
        `Pipeline`.
    manifest : str or None
        The table of `manifest`.
    limits : LimitSet or None
        What is tolerated of every nozzle; None: what each nozzle's file says, or the defaults.
    cabinet : Cabinet
        Where nozzles are looked up by name.
    jobs : int
        Processes; 0 measures in this one.
    cluster : str
        Address of a scheduler; goes before ``jobs``.
    pictures : bool
        Whether to draw.
    patience : int or None
        See `driver.run`.
    """

    places: tuple[str, ...]
    out: Path
    nozzle: Nozzle | None = None
    sheet: CardSpec | None = None
    printed_mm: tuple[float, float] | None = None
    standoff: Standoff | None = None
    aim: str | tuple[float, float] | None = None
    manifest: str | None = None
    limits: LimitSet | None = None
    cabinet: Cabinet = field(default_factory=open_cabinet)
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
        The journal is of an unknown version.
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
    pictures = Pictures(out)
    expectations = Expectations(
        nozzle=options.nozzle,
        limits=options.limits,
        cabinet=options.cabinet,
        sheet=options.sheet,
        printed_mm=options.printed_mm,
        manifest=manifest,
    )
    with Journal(os.fspath(out / JOURNAL_NAME)) as journal:
        if journal.damaged:
            watcher.say(
                f"{journal.damaged} damaged lines in the journal left out; their photos are "
                "scored again"
            )
        work = driver.Work(
            paths=listing.paths,
            expected=expectations.of,
            settings=_settings(options.standoff, options.aim),
            standoff=options.standoff,
            aim=options.aim,
            journal=journal,
            engine=_engine(options),
            pictures=pictures.store if options.pictures else None,
            has_pictures=pictures.there,
            missing=missing,
        )
        watcher.begin(len(listing.paths))
        try:
            done = driver.run(work, tell=watcher.step, stop=stop, patience=options.patience)
        finally:
            watcher.end()
        for note in expectations.doubts():
            watcher.say(note)
        return write_outcome(work, done, out, list(options.places))


def _engine(options: Options) -> Engine:
    if options.cluster:
        return Cluster(options.cluster)
    return Pool(options.jobs) if options.jobs else InProcess()


def _settings(
    standoff: Standoff | None, aim: str | tuple[float, float] | None
) -> Callable[[Expected], bytes]:
    holes, central = dict(Pipeline().describe()), dict(Pipeline().describe())
    for told in (holes, central):
        if standoff is not None:  # results without it keep their keys
            told["standoff_mm"] = [standoff.height_mm, standoff.u_mm]
        for package in ("spraycheck", "numpy", "opencv"):
            told.pop(package)  # the results version speaks for them
    central["aim"] = aim

    @functools.cache
    def digest(
        layout: Layout | AxialNozzle | None, limits: LimitSet, spec: CardSpec, lined_up: str
    ) -> bytes:
        if layout is None:
            return b""
        stages = holes if isinstance(layout, Layout) else central
        if lined_up:
            stages = {**stages, "lined_up": lined_up}
        return settings_digest(layout, limits, spec, stages)

    return lambda one: digest(one.layout, one.limits, one.spec, one.lined_up)


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
    if others and JOURNAL_NAME not in others:
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
