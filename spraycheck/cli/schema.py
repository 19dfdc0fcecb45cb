"""``spraycheck schema``: print the JSON Schema of the result documents."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from spraycheck.cli import exits

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "schema",
        help="print the JSON Schema of what --json prints",
        description="Print the JSON Schema (2020-12) of a document that --json prints.",
    )
    parser.add_argument(
        "kind",
        nargs="?",
        choices=("holes", "central", "combination", "comparison"),
        default="holes",
        help="the document of a nozzle with holes (the default), of a pintle or single-hole "
        "nozzle, of several shots (measure --combine), or of compare",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    from spraycheck.report.document.schema import schema_text

    print(schema_text(args.kind), end="")
    return exits.PASS
