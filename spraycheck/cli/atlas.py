"""``spraycheck atlas``: good and bad spray patterns with their truth, as PDF and HTML."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands
    from spraycheck.train.atlas import AtlasPage

_DESCRIPTION = """\
Makes an atlas of spray patterns: good ones, every fault at three severities, several
faults at once, and things that look like faults but are none. Each page shows the card,
what to see, what is really on it beside what this tool measured, and what to do next.
Writes atlas.pdf to print and atlas.html, one file that opens from a USB stick.
"""

_EPILOG = """\
examples:
  spraycheck atlas --out atlas/
  spraycheck atlas --out monday/ --seed 2      the same lessons on other cards
  spraycheck atlas --out try/ --quick          small pictures, half the time

It takes a minute or two. Everything shown is invented.

safety: on a real bench the jet goes through skin, a surgical emergency even if it does
not hurt. Cover closed and hands out while spraying; pressure released and zero on the
gauge before opening; eye protection on. Oil mist burns; wet cards are combustible waste.
"""

_QUICK_MP = 1.0
# Smallest picture on which a slight fault is still measured well (about 4.5 pixels per mm).


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "atlas",
        help="make an atlas of good and bad patterns, with their truth",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck atlas --out DIR [--seed N] [--quick]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--out", metavar="DIR", required=True, help="folder, made when missing")
    parser.add_argument("--seed", metavar="N", default="1", help="1 or more; other cards")
    parser.add_argument("--quick", action="store_true", help="smaller pictures, sooner done")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Build the atlas and write it."""
    seed = _seed(args.seed)
    folder = Path(args.out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"atlas folder {args.out!r} cannot be made ({error.strerror or error}), expected a "
            "folder",
            "choose another name or place",
        ) from None
    from spraycheck import __version__
    from spraycheck.output_files import write_file
    from spraycheck.train.atlas import atlas_html
    from spraycheck.train.atlas.building import build_atlas
    from spraycheck.train.atlas.pdf import atlas_pdf
    from spraycheck.train.lessons.agreement import Agrees

    atlas = build_atlas(
        seed=seed,
        megapixels=_QUICK_MP if args.quick else None,
        made_with=f"spraycheck {__version__}, atlas, seed {seed}",
        told=_progress if sys.stderr.isatty() else lambda *_: None,
    )
    for name, data in (
        ("atlas.pdf", atlas_pdf(atlas)),
        ("atlas.html", atlas_html(atlas).encode("utf-8")),
    ):
        write_file(folder / name, data, "atlas")
        print(folder / name)
    print(atlas.tally)
    for number, page in enumerate(atlas.pages, start=2):
        if page.agreement is not Agrees.YES:
            print(f"  page {number}, {page.lesson.title}: {page.verdict_line}")
    return exits.PASS


def _progress(number: int, count: int, page: AtlasPage) -> None:
    end = "\n" if number == count else ""
    print(
        f"\r{number} of {count}: {page.lesson.title:<40.40}", end=end, file=sys.stderr, flush=True
    )


def _seed(text: str) -> int:
    try:
        seed = int(text)
    except ValueError:
        seed = 0
    if not 1 <= seed <= 1_000_000:
        raise InputError(f"--seed {text!r}: expected a whole number from 1, for example 2")
    return seed
