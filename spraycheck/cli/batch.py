"""``spraycheck batch``: folders of photos in, tables and a contact sheet out."""

from __future__ import annotations

import argparse
import contextlib
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spraycheck.cli import exits
from spraycheck.cli.options import (
    AXIAL_USAGE,
    USAGE,
    add_axial_options,
    add_nozzle_options,
    add_scale_options,
    check_kind_options,
    resolve_library,
    resolve_limits,
    resolve_nozzle,
)
from spraycheck.cli.terminal import quiet_pillow
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.batch.progress import Watcher
    from spraycheck.batch.run import Options
    from spraycheck.batch.summary import Summary
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Scores every photo in some folders, unattended, and writes tables (CSV, Parquet,
JSON Lines), a contact sheet that opens in any browser, and plots. A photo that
cannot be measured gets a record that says why. Run the same command again and it
goes on where it ended; only what changed is scored again.
"""

_EPILOG = """\
how many holes each nozzle should have is looked up in this order: the photo's row in
the manifest (column holes, layout or nozzle); --holes, --layout, --nozzle, --pintle or
--single-hole; the file spraycheck.toml in the photo's folder or one above it, for
example with the line: holes = 4, or nozzle = "NAME". A nozzle's name that leads to no
nozzle file is a label to sort by. A nozzle's own limits hold for its photos, unless
--limits is given.

manifest: a CSV table with a column file and any of holes, layout, sheet, nozzle,
injector, date, verdict (a person's), part, person, repeat, lined_up (the feature the
card was lined up with).

examples:
  spraycheck batch cards/2019 cards/2020 --holes 4 --sheet a4
  spraycheck batch cards --manifest cards.csv --out results --jobs 4
  spraycheck batch /archive/cards --holes 6 --cluster tcp://10.0.0.5:8786
  spraycheck batch s3://bucket/cards --holes 6
  spraycheck batch pintles --nozzle pintle --aim centre

exit code: 0 every photo has its record, whatever the verdicts; 2 usage or input
error, or disk full; 3 ended early because the first photos all failed alike;
130 stopped with Ctrl-C. Finished work is kept in all cases.

The verdict is an aid: the maker's manual, local rules and licensed practice decide.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "batch",
        help="score folders of photos: tables, contact sheet, plots",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage=f"spraycheck batch FOLDER... [{USAGE[1:-1]}] [--limits FILE]\n       "
        "[--manifest FILE] [--sheet SIZE] [--printed-length MM] [--standoff-mm H]\n       "
        "[--out DIR] [--jobs N | --cluster ADDRESS] [--no-pictures] [--keep-going]\n       "
        f"[--nozzles DIR]\n       spraycheck batch FOLDER... ({AXIAL_USAGE}) "
        "[--aim X,Y|centre] ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "places",
        metavar="FOLDER",
        nargs="*",
        help="folders, searched with all below them; photos; or addresses such as s3://bucket/cards",
    )
    add_nozzle_options(parser)
    add_axial_options(parser)
    add_scale_options(parser)
    parser.add_argument("--manifest", metavar="FILE", help="table (CSV) of what the photos show")
    for one_card in ("--dry", "--card-number"):  # known, so that the refusal can say why
        parser.add_argument(one_card, metavar="X", help=argparse.SUPPRESS)
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="spraycheck-results",
        help="folder for the outcome, new or that of an earlier batch (default %(default)s)",
    )
    where = parser.add_mutually_exclusive_group()
    where.add_argument(
        "--jobs",
        metavar="N",
        type=_job_count,
        default=None,
        help="photos measured at the same time (default: the processor's cores)",
    )
    where.add_argument(
        "--cluster",
        metavar="ADDRESS",
        default="",
        help="measure on the workers of this dask scheduler; they must see the photos under the "
        "same paths and have the same versions installed",
    )
    parser.add_argument(
        "--no-pictures", action="store_true", help="draw nothing: a tenth faster, less disk"
    )
    parser.add_argument(
        "--keep-going",
        action="store_true",
        help="go on even when the first 50 photos all fail the same way",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Score the folders and tell what came of it."""
    _check_options(args)
    quiet_pillow()
    options = _options(args)
    watcher = _watcher()
    from spraycheck.batch.run import run_batch

    with _stopping(watcher) as stop:
        summary = run_batch(options, watcher, stop=stop)
    _tell(summary, watcher)
    return {"": exits.PASS, "asked": exits.INTERRUPTED, "alike": exits.RECHECK}[summary.stopped]


def _check_options(args: argparse.Namespace) -> None:
    if not args.places and args.manifest is None:
        raise InputError(
            "neither a folder nor --manifest given, expected a folder of photos",
            "name the folder, for example: spraycheck batch cards --holes 4",
        )
    for option, value in (("--dry", args.dry), ("--card-number", args.card_number)):
        if value is not None:
            raise InputError(
                f"{option} is about one photo, expected options that hold for all of them",
                f"use spraycheck measure PHOTO {option} ... for that photo",
            )


def _options(args: argparse.Namespace) -> Options:
    from spraycheck.batch.run import Options

    nozzle = resolve_nozzle(args)  # a mistake here should not be told once for every photo
    check_kind_options(args, nozzle)
    return Options(
        places=tuple(args.places),
        out=Path(args.out),
        nozzle=nozzle,
        limits=resolve_limits(args, nozzle),
        cabinet=resolve_library(args),
        sheet=args.sheet,
        printed_mm=args.printed_length,
        standoff=args.standoff_mm,
        aim=args.aim,
        manifest=args.manifest,
        jobs=_cores() if args.jobs is None else args.jobs,
        cluster=args.cluster,
        pictures=not args.no_pictures,
        patience=None if args.keep_going else 50,
    )


def _watcher() -> Watcher:
    from spraycheck.batch.progress import PlainProgress, TerminalProgress

    return TerminalProgress() if sys.stderr.isatty() else PlainProgress()


@contextlib.contextmanager
def _stopping(watcher: Watcher) -> Iterator[Callable[[], bool]]:
    """Turn the first Ctrl-C or SIGTERM into a wish to stop; the second ends at once."""
    asked = threading.Event()

    def ask(number: int, frame: Any) -> None:
        if asked.is_set():
            raise KeyboardInterrupt
        asked.set()
        watcher.say("stopping: the photos in hand are finished first; once more stops at once")

    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = {n: signal.signal(n, ask) for n in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield asked.is_set
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _tell(summary: Summary, watcher: Watcher) -> None:
    from spraycheck.batch.progress import WORDS

    counts = summary.counts
    total = counts.total()
    print(f"{total} photo{'' if total == 1 else 's'}")
    for name, word in WORDS.items():
        if counts[name]:
            print(f"  {word:<13}{counts[name]:>8}")
    if summary.duplicates:
        print(f"  {summary.duplicates} of them have the content of another")
    if summary.comparison:
        print(f"\n{summary.comparison.text()}", end="")
    print(f"\nin {summary.folder}: {', '.join(summary.files)}")
    for note in summary.notes:
        watcher.say(note)
    if summary.stopped == "alike":
        watcher.say(
            f"ended early: the first 50 photos all failed the same way ({summary.alike}); "
            "--keep-going goes on regardless"
        )
    elif summary.stopped:
        watcher.say("stopped; run the same command again to go on")


def _job_count(text: str) -> int:
    try:
        count = int(text)
    except ValueError:
        count = -1
    if not 0 <= count <= 256:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 1 to 256, or 0 to measure in the main "
            "process"
        )
    return count


def _cores() -> int:
    # The cores this process may use, where the system tells: a container may have fewer.
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
