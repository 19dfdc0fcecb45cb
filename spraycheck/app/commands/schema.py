"""``spraycheck schema``: print the JSON Schema of the result document."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spraycheck.app.cli import Commands


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "schema",
        help="print the JSON Schema of what measure --json prints",
        description="Print the JSON Schema (2020-12) of the document measure --json prints.",
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the schema."""
    from spraycheck.report.document import schema_text

    print(schema_text(), end="")
    return 0
