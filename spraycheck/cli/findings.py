"""``spraycheck findings``: every finding explained, in the terminal or as a page to keep."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.cli.terminal import look

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Tells what every finding means, what it may come from and what to do next: the whole
catalogue, or only what is named. With --out it becomes one page to read, print or keep
on a USB stick.
"""

_EPILOG = """\
examples:
  spraycheck findings                          everything
  spraycheck findings hole-weak stray-spray    these two
  spraycheck findings photo                    all that begin so
  spraycheck findings --out findings.html

Causes are possibilities in the trade's words: a card shows where the fuel landed, never
why. The maker's manual, local rules and licensed practice decide.

safety: pressure released and zero on the gauge before anything is opened or cleaned; the
jet goes through skin, a surgical emergency even if it does not hurt.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "findings",
        help="explain every finding: meaning, likely causes, next step",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck findings [CODE...] [--out FILE.html|FILE.pdf]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("codes", metavar="CODE", nargs="*", help="codes, or how they begin")
    parser.add_argument("--out", metavar="FILE", help="write a page, .html or .pdf, instead")
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Print the catalogue or write it."""
    from spraycheck.output_files import target_file
    from spraycheck.report.catalogue import catalogue

    target = None if args.out is None else target_file(args.out, "findings", (".html", ".pdf"))
    groups = catalogue(args.codes)
    if target is None:
        from spraycheck.report.catalogue.terminal import catalogue_text

        print(catalogue_text(groups, **look()), end="")
        return exits.PASS
    from spraycheck import __version__
    from spraycheck.output_files import write_file

    made_with = f"spraycheck {__version__}, findings"
    if target.suffix.lower() == ".pdf":
        from spraycheck.report.catalogue.pdf import catalogue_pdf

        data = catalogue_pdf(groups, made_with=made_with)
    else:
        from spraycheck.report.catalogue import catalogue_html

        data = catalogue_html(groups, made_with=made_with).encode("utf-8")
    write_file(target, data, "findings")
    print(target)
    return exits.PASS
