"""Nozzles with one central spray on the command line: their options, and what is told of them.

Light to import: everything heavy is imported when it is needed.
"""

from __future__ import annotations

import argparse
import re
from typing import TYPE_CHECKING

from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.nozzles.files import Nozzle

USAGE = "--pintle | --single-hole"

_PLACE = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*,\s*([-+]?\d+(?:\.\d+)?)\s*(?:mm)?\s*")


def add_central_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of a nozzle that sprays along its axis."""
    group = parser.add_argument_group("nozzles with one central spray")
    group.add_argument(
        "--pintle",
        action="store_true",
        help="a pintle nozzle, of which nothing else is known; a nozzle file can say whether its "
        "spray should be hollow",
    )
    group.add_argument(
        "--single-hole",
        action="store_true",
        help="a nozzle with a single hole along its axis: its spray should be filled",
    )
    group.add_argument(
        "--aim",
        metavar="X,Y|centre",
        help="where the tip was set over the card: mm right of and below the middle of the sheet "
        "as it lies in the photo (--aim=-5,12), or centre. A printed target card has its own aim; "
        "on a plain sheet without one nothing is said about going straight",
    )


def central_asked(args: argparse.Namespace) -> Nozzle | None:
    """Return the nozzle that ``--pintle`` or ``--single-hole`` names; None without either.

    Raises
    ------
    InputError
        Another option names a nozzle, too.
    """
    kinds = [kind for kind in ("pintle", "single-hole") if getattr(args, kind.replace("-", "_"))]
    if not kinds:
        return None
    named = [name for name in ("holes", "layout", "nozzle") if getattr(args, name) is not None]
    if len(kinds) + len(named) > 1:
        given = ", ".join(f"--{name}" for name in (*kinds, *named))
        raise InputError(
            f"{given} given, expected one of them",
            "a nozzle file says which kind it is: give --nozzle or --layout alone",
        )
    from spraycheck.judge.nozzle import AxialNozzle
    from spraycheck.nozzles.files import Nozzle

    pintle = kinds == ["pintle"]
    return Nozzle(expected=AxialNozzle.pintle() if pintle else AxialNozzle.single_hole())


def parse_aim(text: str | None) -> str | tuple[float, float] | None:
    """Read where the tip was set over the card, as a person writes it.

    Raises
    ------
    InputError
        Neither ``centre`` nor two numbers.
    """
    if text is None:
        return None
    if text.strip().lower() in ("centre", "center", "middle"):
        return "centre"
    match = _PLACE.fullmatch(text)
    if match is None:
        raise InputError(
            f"aim {text!r} not understood: expected mm right of and below the middle of the "
            "sheet, for example --aim=-5,12, or --aim centre"
        )
    return float(match.group(1)), float(match.group(2))


def check_central_options(args: argparse.Namespace, nozzle: Nozzle | None) -> None:
    """Refuse options that do not go with the kind of nozzle.

    Raises
    ------
    InputError
        An aim for a nozzle with holes, or what only those can do for one without.
    """
    if nozzle is None:
        return
    if nozzle.kind == "holes":
        if args.aim is not None:
            raise InputError(
                f"--aim given, but {nozzle.name!r} has holes, expected a pintle or single-hole "
                "nozzle",
                "leave --aim out: the holes themselves tell where the tip stood",
            )
        return
    for option in ("combine", "same_card", "sprayed_at", "lined_up"):
        if getattr(args, option, None):  # not every command has all of them
            check_holes(
                nozzle,
                asked=f"--{option.replace('_', '-')} given",
                instead="measure each photo by itself, without that option",
            )


def check_holes(nozzle: Nozzle, *, asked: str, instead: str) -> None:
    """Refuse what only nozzles with holes can do for one without.

    Parameters
    ----------
    nozzle : Nozzle
        What was named, by an option or by a card.
    asked, instead : str
        What cannot be done for it, and what can.

    Raises
    ------
    InputError
        It has one central spray.
    """
    if nozzle.kind != "holes":
        raise InputError(
            f"{asked}, but {nozzle.name!r} has one central spray, expected a nozzle with holes",
            instead,
        )
