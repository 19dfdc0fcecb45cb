"""The command line: ``spraycheck COMMAND``.

The result goes to stdout and nothing else does; messages go to stderr, one line each. Exit codes
are those of ``spraycheck.cli.exits``. To add a command, write a module in ``spraycheck.cli`` and
list it in `COMMANDS`.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NoReturn, TypeAlias

from spraycheck import __version__
from spraycheck.batch import ONE_THREAD
from spraycheck.cli import exits
from spraycheck.cli.options import UsageError
from spraycheck.cli.terminal import TRACEBACK, complain, complain_of, in_the_program
from spraycheck.errors import SprayCheckError

if TYPE_CHECKING:
    Commands: TypeAlias = argparse._SubParsersAction["Parser"]

COMMANDS = (
    "measure",
    "compare",
    "card",
    "batch",
    "nozzle",
    "limits",
    "repeatability",
    "demo",
    "atlas",
    "handout",
    "findings",
    "quiz",
    "schema",
)
"""Modules in ``spraycheck.cli``, in the order ``--help`` lists them."""


class Parser(argparse.ArgumentParser):
    """A parser that tells a mistake in one line, with the help of the command it is about."""

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.set_defaults(prog=self.prog)  # of nested commands, the innermost one's stays

    def error(self, message: str) -> NoReturn:
        """Tell a usage error and exit with code 2."""
        complain(f"{message}; see {self.prog} --help", who=self.prog)
        self.exit(exits.INPUT)


def build_parser() -> Parser:
    """Return the parser with every command in it; imports nothing heavy."""
    parser = Parser(
        prog="spraycheck",
        description="Reads a phone photo of a card sprayed by an injector and judges it hole by "
        "hole. The verdict is an aid: the maker's manual, local rules and licensed practice "
        "decide.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="version", version=f"spraycheck {__version__}")
    commands = parser.add_subparsers(
        title="commands", metavar="COMMAND", dest="command", required=True
    )
    for name in COMMANDS:
        importlib.import_module(f"spraycheck.cli.{name}").add_parser(commands)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; those of the process when not given.

    Returns
    -------
    int
        The exit code.
    """
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a degree sign shows a substitute rather than a traceback.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    for name in ONE_THREAD:
        # Before NumPy is imported: the same sums, the same bits as in a batch's workers, and some
        # per cent less processor time, since the systems solved here are small.
        os.environ.setdefault(name, "1")
    try:
        args = build_parser().parse_args(argv)
    except SystemExit as stop:  # argparse ends the process; a caller in Python gets the code
        return stop.code if isinstance(stop.code, int) else exits.INPUT
    try:
        code: int = args.run(args)
        sys.stdout.flush()
        return code
    except UsageError as error:
        complain(f"{error}; see {args.prog} --help", who=args.prog)
        return exits.INPUT
    except SprayCheckError as error:
        complain_of(error)
        return exits.of_error(error)
    except BrokenPipeError:
        # Whoever read our output has gone. Python flushes stdout once more at exit: let that go
        # nowhere instead of failing aloud.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return exits.BROKEN_PIPE
    except KeyboardInterrupt:
        complain("stopped")
        return exits.INTERRUPTED
    except Exception as error:
        if os.environ.get(TRACEBACK):
            raise
        complain(f"{in_the_program(error)}; please report this ({TRACEBACK}=1 shows more)")
        return exits.RECHECK
