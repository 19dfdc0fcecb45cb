"""The options that several commands share, and what they ask for.

Light to import: everything heavy is imported when an answer is needed.
"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Final

from spraycheck.cli.terminal import complain
from spraycheck.cli.values import (
    aim,
    hole_count,
    photo_turn,
    printed_length,
    sheet_size,
    standoff,
    whole_number,
)
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.judge.limits import LimitSet
    from spraycheck.nozzles.model import Nozzle
    from spraycheck.nozzles.nozzle_library import Library

USAGE: Final = "(--holes N | --layout FILE | --nozzle NAME)"
AXIAL_USAGE: Final = "--pintle | --single-hole"
KINDS: Final = ("holes", "pintle", "single-hole")
"""Kinds of nozzle, as `nozzles.model.KINDS` has them."""

MOST_PHOTOS: Final = 24
"""Photos taken together at once (chosen: their maps are held in memory, about 100 MB each)."""


class UsageError(InputError):
    """Options that do not go together; told with where to read about them."""


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
    add_library_option(parser)
    parser.add_argument(
        "--limits",
        metavar="FILE",
        help="limits file (TOML); goes before the limits in a nozzle file. spraycheck limits "
        "prints one to start from",
    )


def add_library_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that names the folder of nozzle files."""
    parser.add_argument(
        "--nozzles",
        metavar="DIR",
        help="folder of nozzle files; without it the environment variable SPRAYCHECK_NOZZLES, else "
        "the folder nozzles in your settings; the shipped examples are always there",
    )


def add_axial_options(parser: argparse.ArgumentParser) -> None:
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
        type=aim,
        help="where the tip was set over the card: mm right of and below the middle of the sheet "
        "as it lies in the photo (--aim=-5,12), or centre. A printed target card has its own aim; "
        "on a plain sheet without one nothing is said about going straight",
    )


def add_sheet_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that says how large the sheet is."""
    parser.add_argument(
        "--sheet",
        metavar="SIZE",
        type=sheet_size,
        help="size of the sheet: a4, a5, a6, letter, or WIDTHxHEIGHT in mm; without it nothing is "
        "given in mm. A printed target card's own size goes before it",
    )


def add_scale_options(parser: argparse.ArgumentParser) -> None:
    """Add the options with what was measured on card and holder."""
    add_sheet_option(parser)
    parser.add_argument(
        "--printed-length",
        metavar="MM",
        type=printed_length,
        help="what the 100 mm lines of the printed target card measure, for example 98.7, or level "
        "x upright, 98.7x99.1",
    )
    parser.add_argument(
        "--standoff-mm",
        metavar="H",
        type=standoff,
        help="height of the tip over the card, for example 20 or 20+-0.5, measured with the lever "
        "released and the gauge at zero: adds the angles of the holes",
    )


def add_shots_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that say how several photos belong together."""
    group = parser.add_argument_group("several photos of one nozzle, judged together")
    group.add_argument(
        "--combine",
        action="store_true",
        help="the photos show repeated shots of one nozzle, a card each",
    )
    group.add_argument(
        "--same-card",
        action="store_true",
        help="the photos all show one card: they repeat the reading, not the shot",
    )
    group.add_argument(
        "--photos-per-card",
        metavar="N",
        type=whole_number(1, MOST_PHOTOS, "say how many photos show each card"),
        help="with --combine: the first N photos show the first card, the next N the second",
    )
    group.add_argument(
        "--turn",
        metavar="PHOTO:DEG",
        action="append",
        type=photo_turn,
        default=[],
        help="with --combine: that photo's card lay turned clockwise by DEG against the first one, "
        "the injector left in its holder; photos not named by 0. May be given several times",
    )


# -- what the options ask for ------------------------------------------------------------------


def resolve_nozzle(args: argparse.Namespace) -> Nozzle | None:
    """Return the nozzle that the options name; None when they name none.

    Raises
    ------
    UsageError
        Several options name one.
    InputError
        Its file cannot be found, read or understood.
    """
    names = ("holes", "layout", "nozzle", "pintle", "single_hole")
    given = [name for name in names if getattr(args, name, None) not in (None, False)]
    if len(given) > 1:
        options = [f"--{name.replace('_', '-')}" for name in given]
        both = "both" if len(given) == 2 else "all of"
        raise UsageError(
            f"{both} {' and '.join(options)} given, expected one of them",
            "leave the others out: a nozzle file says which kind it is, and names its holes",
        )
    if not given:
        return None
    from spraycheck.nozzles.model import Nozzle

    match given[0]:
        case "holes":
            return Nozzle.evenly_spread(args.holes)
        case "layout":
            from spraycheck.nozzles.read import read_nozzle

            return read_nozzle(args.layout, what="layout", tell=complain)
        case "nozzle":
            return resolve_library(args).read(args.nozzle, tell=complain)
        case kind:
            from spraycheck.judge.nozzle import AxialNozzle

            pintle = kind == "pintle"
            return Nozzle(expected=AxialNozzle.pintle() if pintle else AxialNozzle.single_hole())


def resolve_library(args: argparse.Namespace) -> Library:
    """Return the folders of nozzle files that the options name."""
    from spraycheck.nozzles.nozzle_library import open_library

    return open_library(args.nozzles)


def resolve_library_for(args: argparse.Namespace, nozzle: Nozzle | None) -> Library | None:
    """Return where names on cards are looked up; None where the nozzle is known already.

    A folder that was named is looked at all the same: a mistake in it is told.
    """
    return resolve_library(args) if nozzle is None or args.nozzles is not None else None


def resolve_limits(args: argparse.Namespace, nozzle: Nozzle | None) -> LimitSet | None:
    """Return the limits that the options name; None when they name none.

    Raises
    ------
    InputError
        The file cannot be read or understood, or is not for this kind of nozzle.
    """
    if args.limits is None:
        return None
    from spraycheck.nozzles.read import read_limits

    limits = read_limits(args.limits, tell=complain)
    return limits if nozzle is None else nozzle.limits_under(limits)


def no_nozzle() -> InputError:
    """Return the error for a nozzle that neither an option nor the card names."""
    return InputError(
        "neither --holes nor --layout nor --nozzle given, expected one of them, or a printed card "
        "whose code names its nozzle",
        "count the spray holes in the nozzle tip, for example --holes 4",
    )


def check_kind_options(args: argparse.Namespace, nozzle: Nozzle | None) -> None:
    """Refuse options that do not go with the kind of nozzle.

    Raises
    ------
    UsageError
        An aim for a nozzle with holes, or what only those can do for one without.
    """
    if nozzle is None:
        return
    if nozzle.kind == "holes":
        if args.aim is not None:
            raise UsageError(
                f"--aim given, but {nozzle.name!r} has holes, expected a pintle or single-hole "
                "nozzle",
                "leave --aim out: the holes themselves tell where the tip stood",
            )
        return
    for option in ("combine", "same_card", "sprayed_at", "lined_up"):
        if getattr(args, option, None):  # not every command has all of them
            check_has_holes(
                nozzle,
                asked=f"--{option.replace('_', '-')} given",
                instead="measure each photo by itself, without that option",
            )


def check_has_holes(nozzle: Nozzle, *, asked: str, instead: str) -> None:
    """Refuse what only nozzles with holes can do for one without.

    Parameters
    ----------
    nozzle : Nozzle
        What was named, by an option or by a card.
    asked, instead : str
        What cannot be done for it, and what can.

    Raises
    ------
    UsageError
        It has one central spray.
    """
    if nozzle.kind != "holes":
        raise UsageError(
            f"{asked}, but {nozzle.name!r} has one central spray, expected a nozzle with holes",
            instead,
        )


def check_shots_options(args: argparse.Namespace) -> bool:
    """Tell whether photos are to be taken together.

    Raises
    ------
    UsageError
        Options that do not go together.
    """
    together = bool(args.combine or args.same_card)
    if args.combine and args.same_card:
        raise UsageError(
            "both --combine and --same-card given, expected one of them",
            "--combine for a card each, --same-card for one card photographed several times",
        )
    if (args.turn or args.photos_per_card is not None) and not args.combine:
        raise UsageError(
            "--turn or --photos-per-card given without --combine, expected both or neither; they "
            "need --combine",
            "add --combine",
        )
    if not together:
        return False
    count, each = len(args.photos), args.photos_per_card or 1
    if not 2 <= count <= MOST_PHOTOS:
        raise UsageError(
            f"{count} photo{'' if count == 1 else 's'} to combine, expected 2 to {MOST_PHOTOS}",
            "name the photos one after the other",
        )
    if count % each:
        raise UsageError(
            f"--photos-per-card {each} with {count} photos, expected a whole number of photos for "
            "every card",
            "photograph every card equally often",
        )
    for photo, _ in args.turn:
        if photo not in args.photos:
            raise UsageError(
                f"--turn names {photo!r}, expected one of the photos",
                f"for example --turn {args.photos[-1]}:90",
            )
    return True


def cards_of(args: argparse.Namespace) -> list[int]:
    """Return which card each photo shows, from 1."""
    each = len(args.photos) if args.same_card else args.photos_per_card or 1
    return [k // each + 1 for k in range(len(args.photos))]


def turns_of(args: argparse.Namespace) -> list[float] | None:
    """Return the known turn of each photo's card in degrees; None when none was given."""
    turns = dict(args.turn)
    return [turns.get(photo, 0.0) for photo in args.photos] if turns else None
