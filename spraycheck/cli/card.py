"""``spraycheck card``: print target cards at true scale."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.cli.options import add_library_option, resolve_nozzle
from spraycheck.cli.terminal import complain
from spraycheck.cli.values import decimal_number, hole_count
from spraycheck.errors import InputError
from spraycheck.output_files import target_file, write_file

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands
    from spraycheck.judge.layout import Layout
    from spraycheck.report.card_page import CardPage

_DESCRIPTION = """\
Writes target cards as a PDF at true scale, one page per injector. A printed card
gives millimetres, the direction of the feature its arrow was lined up with, and the
job and injector it belongs to.
"""

_EPILOG = """\
examples:
  spraycheck card --out card.pdf
  spraycheck card --out cards.pdf --job 2041 --injector "cyl 1" --injector "cyl 2"
  spraycheck card --out card.pdf --paper a5 --layout nozzle.toml --copies 4

printing: at 100 % ("actual size"), never "fit to page"; then measure the 100 mm lines
with a steel rule. Not 100.0? Give what you measure to spraycheck measure, for example
--printed-length 98.7. Uncoated paper of 160 g/m2 or more; one shot per card.

safety: the card lies in the tray under the cover, never in a hand. Cover closed and
hands out while spraying; pressure released and zero on the gauge before opening; eye
protection on. Oil mist burns; wet cards are combustible waste.
"""

_MOST_PAGES = 200
# Chosen because a day's work is less, and a typing mistake should not fill a printer.


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "card",
        help="print target cards at true scale",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck card --out FILE.pdf [--paper a4|a5|letter] [--job TEXT] "
        "[--injector TEXT]...\n       [--holes N | --layout FILE | --nozzle NAME] [--copies K] "
        "[--png DPI] [--nozzles DIR]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--out", metavar="FILE", required=True, help="PDF file to write")
    parser.add_argument("--paper", metavar="SIZE", default="a4", help="a4 (default), a5 or letter")
    parser.add_argument("--job", metavar="TEXT", default="", help="job, up to 40 characters")
    parser.add_argument(
        "--injector",
        metavar="TEXT",
        action="append",
        help="injector, up to 40 characters; repeat it for one page per injector",
    )
    parser.add_argument(
        "--holes",
        metavar="N",
        type=hole_count,
        help="number of even holes; draws no ticks, since no direction is known from it",
    )
    parser.add_argument(
        "--layout",
        metavar="FILE",
        help="layout file (TOML); if it says what its azimuths count from (counts_from), faint "
        "ticks show where each plume should point",
    )
    parser.add_argument(
        "--nozzle",
        metavar="NAME",
        help="nozzle file looked up by its name; the card's code carries the name, so that measure "
        "and batch need not be told. Ticks as with --layout",
    )
    add_library_option(parser)
    parser.add_argument(
        "--copies", metavar="K", type=int, default=1, help="pages per injector, default 1"
    )
    parser.add_argument(
        "--png",
        metavar="DPI",
        type=decimal_number("--png 300"),
        help="also write each page as a picture beside the PDF, 72 to 1200 pixels per inch",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the cards."""
    target = _checked(args)
    from spraycheck.card.target import make_label
    from spraycheck.report.card_page import compose_card

    layout = _layout(args)
    labels = [
        make_label(args.paper, job=args.job, injector=injector, nozzle=args.nozzle or "")
        for injector in args.injector or [""]
    ]
    pages = [compose_card(label, layout) for label in labels]
    pictures = [] if args.png is None else _pictures(pages, args.png)

    from spraycheck.report.card_pdf import card_pdf

    write_file(target, card_pdf([page for page in pages for _ in range(args.copies)]), "card")
    names = [str(target)]
    for number, picture in enumerate(pictures, start=1):
        suffix = f"-{number}" if len(pictures) > 1 else ""
        beside = target.with_name(f"{target.stem}{suffix}.png")
        write_file(beside, picture, "card")
        names.append(str(beside))
    print("\n".join(names))
    complain("print at 100 %, then measure the 100 mm lines with a steel rule")
    return exits.PASS


def _checked(args: argparse.Namespace) -> Path:
    """Check what was asked, and return where the cards go."""
    target = target_file(args.out, "card", (".pdf",), hint="for a picture give --png DPI as well")
    pages = args.copies * len(args.injector or [""])
    if not (args.copies >= 1 and pages <= _MOST_PAGES):
        raise InputError(
            f"{pages} pages asked for, expected 1 to {_MOST_PAGES}", "give a smaller --copies"
        )
    return target


def _layout(args: argparse.Namespace) -> Layout | None:
    from spraycheck.judge.layout import Layout

    nozzle = resolve_nozzle(args)
    # A central spray has no directions to draw; its card is the plain one.
    return nozzle.expected if nozzle and isinstance(nozzle.expected, Layout) else None


def _pictures(pages: list[CardPage], dpi: float) -> list[bytes]:
    from spraycheck.report.card_png import card_picture, png_bytes

    return [png_bytes(card_picture(page, dpi), dpi) for page in pages]
