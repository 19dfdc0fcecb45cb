"""``spraycheck compare``: what changed between two shots of one nozzle."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from spraycheck.cli import exits
from spraycheck.cli.measure import Job, answer, measure_all
from spraycheck.cli.options import (
    USAGE,
    add_nozzle_options,
    add_sheet_option,
    check_has_holes,
    resolve_library_for,
    resolve_limits,
    resolve_nozzle,
)
from spraycheck.cli.terminal import look, quiet_pillow
from spraycheck.cli.values import decimal_number

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Compares two photos of one nozzle's spray, for example before and after cleaning:
hole by hole what changed, and how surely.
"""

_EPILOG = """\
examples:
  spraycheck compare before.jpg after.jpg --holes 5
  spraycheck compare before.jpg after.jpg --nozzle slanted-5 --overlay both.png

exit code: 0 compared, 2 usage or input error, 3 not measurable, or holes could not
be matched surely.

safety: the jet goes through skin, a surgical emergency even if it does not hurt.
Cover closed and hands out while spraying; pressure released and zero on the gauge
before opening, cleaning or putting the injector back; eye protection on.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "compare",
        help="what cleaning changed: two photos of one nozzle, hole by hole",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage=f"spraycheck compare BEFORE AFTER {USAGE} [--limits FILE]\n       "
        "[--sheet SIZE] [--turn DEG] [--json] [--overlay FILE] [--nozzles DIR]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("before", metavar="BEFORE", help="photo of the card sprayed before")
    parser.add_argument("after", metavar="AFTER", help="photo of the card sprayed after")
    add_nozzle_options(parser)
    add_sheet_option(parser)
    parser.add_argument(
        "--turn",
        metavar="DEG",
        type=decimal_number("--turn 0"),
        help="the second card lay turned clockwise by DEG against the first, the injector put back "
        "the same way; 0 for just the same. Not needed with printed target cards",
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document instead of the report"
    )
    parser.add_argument(
        "--overlay", metavar="FILE", help="write both patterns over one another: .png or .jpg"
    )
    parser.set_defaults(run=run)


_NO_HOLES = {
    "asked": "comparing asked for",
    "instead": "measure both photos by themselves, spraycheck measure BEFORE AFTER with the same "
    "nozzle, and read the two reports side by side",
}


def run(args: argparse.Namespace) -> int:
    """Measure both photos and compare them."""
    quiet_pillow()
    nozzle = resolve_nozzle(args)
    if nozzle is not None:
        check_has_holes(nozzle, **_NO_HOLES)
    job = Job(
        nozzle=nozzle,
        limits=resolve_limits(args, nozzle),
        known_nozzles=resolve_library_for(args, nozzle),
        options={"sheet": args.sheet},
    )
    photos = [args.before, args.after]
    target = None
    if args.overlay is not None:
        from spraycheck.cli.overlay_files import plan_overlays, write_overlay

        plan_overlays([args.after], args.overlay)  # neither photo may be drawn over
        target = plan_overlays([args.before], args.overlay)[0]
    from spraycheck.judge.shots import compare_cards
    from spraycheck.report.document import comparison_document

    def work() -> tuple[int, dict[str, Any], str]:
        before, after = measure_all(photos, job, **_NO_HOLES)
        comparison = compare_cards(before, after, turn_deg=args.turn)
        text = ""
        if not args.json:
            from spraycheck.report.model import build_report
            from spraycheck.report.terminal import terminal_report

            text = terminal_report(build_report(comparison), **look())
        if target is not None:
            from spraycheck.report.overlay.changes import draw_comparison

            write_overlay(draw_comparison(comparison), target)
        code = exits.PASS if comparison.matching.sure else exits.RECHECK
        return code, comparison_document(comparison), text

    return answer("comparison", photos, args.json, work)
