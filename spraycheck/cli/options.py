"""Which nozzle and which limits a command is asked for: the same options wherever they are taken.

Light to import: everything heavy is imported when an answer is needed.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.judge.limits import LimitSet
    from spraycheck.nozzles.model import Nozzle
    from spraycheck.nozzles.library import Cabinet

USAGE = "(--holes N | --layout FILE | --nozzle NAME)"


def add_nozzle_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that say what a nozzle should do and what is tolerated."""
    parser.add_argument(
        "--holes",
        metavar="N",
        type=hole_count,
        help="number of equal, evenly spread holes the nozzle should have, 3 to 16",
    )
    parser.add_argument(
        "--layout", metavar="FILE", help="nozzle or layout file (TOML), wherever it lies"
    )
    parser.add_argument(
        "--nozzle",
        metavar="NAME",
        help="nozzle file looked up by its name, see spraycheck nozzle list",
    )
    add_folder_option(parser)
    parser.add_argument(
        "--limits",
        metavar="FILE",
        help="limits file (TOML); goes before the limits in a nozzle file. spraycheck limits "
        "prints one to start from",
    )


def add_folder_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that names the folder of nozzle files."""
    parser.add_argument(
        "--nozzles",
        metavar="DIR",
        help="folder of nozzle files; without it the environment variable SPRAYCHECK_NOZZLES, else "
        "the folder nozzles in your settings; the shipped examples are always there",
    )


def nobody_says() -> InputError:
    """Return the error for a nozzle that neither an option nor the card names."""
    return InputError(
        "neither --holes nor --layout nor --nozzle given, expected one of them, or a printed card "
        "whose code names its nozzle",
        "count the spray holes in the nozzle tip, for example --holes 4",
    )


def check_nozzle_options(args: argparse.Namespace) -> None:
    """Refuse several of the options that name a nozzle.

    Raises
    ------
    InputError
        More than one was given.
    """
    given = [f"--{name}" for name in ("holes", "layout", "nozzle") if vars(args)[name] is not None]
    if len(given) > 1:
        both = "both" if len(given) == 2 else "all of"
        raise InputError(
            f"{both} {' and '.join(given)} given, expected one of them",
            "leave the others out: the file names the holes",
        )


def nozzle_asked(args: argparse.Namespace) -> Nozzle | None:
    """Return the nozzle the options name; None when they name none.

    Raises
    ------
    InputError
        Its file cannot be found, read or understood.
    """
    X

    if args.holes is not None:
        return Nozzle.evenly_spread(args.holes)
    if args.layout is not None:
        return read_nozzle(args.layout, what="layout")
    return None if args.nozzle is None else cabinet_asked(args).read(args.nozzle)


def cabinet_asked(args: argparse.Namespace) -> Cabinet:
    """Return the folders of nozzle files the options name."""
    from spraycheck.nozzles.library import open_cabinet

    return open_cabinet(args.nozzles)


def limits_asked(args: argparse.Namespace) -> LimitSet | None:
    """Return the limits the options name; None when they name none.

    Raises
    ------
    InputError
        The file cannot be read or understood.
    """
    from spraycheck.nozzles.read import read_limits

    return None if args.limits is None else read_limits(args.limits)


def hole_count(text: str) -> int:
    """Read the value of --holes; pattern.layout has the same range but costs numpy to import."""
    try:
        count = int(text)
    except ValueError:
        count = 0
    if not 3 <= count <= 16:
        raise argparse.ArgumentTypeError(
            f"found {text!r}, expected a whole number from 3 to 16; count the spray holes in the "
            "nozzle tip"
        )
    return count
