"""``spraycheck limits``: the default limits as a file to copy and change."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.cli.options import KINDS

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Prints every limit with its default value, unit, source and meaning, as a TOML file
to copy and change. The defaults are settings to be agreed in the workshop, not a
standard.
"""

_EPILOG = """\
example:
  spraycheck limits > agreed.toml
  spraycheck nozzle check agreed.toml
  spraycheck measure card.jpg --holes 4 --limits agreed.toml
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "limits",
        help="print the default limits as a file to change",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "--kind",
        choices=KINDS,
        default="holes",
        help="kind of nozzle the limits are for (default %(default)s)",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the limits."""
    from spraycheck.nozzles.write import limits_text

    print(limits_text(args.kind), end="")
    return exits.PASS
