"""``spraycheck handout``: one page with the cautions, good against bad, and the verdicts."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from spraycheck.cli import exits

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Writes one page for trainers and apprentices, to hang beside the tester: what can hurt,
how to make a card and photograph it, good against bad patterns at a glance, and what
pass, fail and recheck mean. Greys only: any laser printer will do.
"""

_EPILOG = """\
example:
  spraycheck handout --out handout.pdf

safety: the jet goes through skin, a surgical emergency even if it does not hurt. Cover
closed and hands out while spraying; pressure released and zero on the gauge before
opening; eye protection on. The page does not replace instruction by a person.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "handout",
        help="write the one-page handout with the cautions",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck handout --out FILE.pdf [--paper a4|letter]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--out", metavar="FILE", required=True, help="PDF file to write")
    parser.add_argument("--paper", metavar="SIZE", default="a4", help="a4 (default) or letter")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Write the page."""
    from spraycheck.output_files import target_file

    target = target_file(args.out, "handout", (".pdf",))
    from spraycheck.output_files import write_file
    from spraycheck.report.handout import compose_handout
    from spraycheck.report.handout.pdf import handout_pdf

    write_file(target, handout_pdf(compose_handout(args.paper)), "handout")
    print(target)
    return exits.PASS
