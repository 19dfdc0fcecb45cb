"""``spraycheck nozzle``: nozzle files listed, shown, begun and checked."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.cli.options import KINDS, UsageError, add_library_option, resolve_library
from spraycheck.cli.terminal import complain, look
from spraycheck.cli.values import hole_count
from spraycheck.errors import InputError
from spraycheck.output_files import target_file

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands, Parser
    from spraycheck.report.nozzle_format import Screen

_DESCRIPTION = """\
Nozzle files say what a nozzle should do and, if wanted, what is tolerated. They lie
in one folder and are called by name: spraycheck measure card.jpg --nozzle NAME.
"""

_EPILOG = """\
examples:
  spraycheck nozzle list
  spraycheck nozzle show slanted-5 --png slanted.png
  spraycheck nozzle new "lorry A" --holes 6 --slanted
  spraycheck nozzle check nozzles/

The shipped examples are invented. What a nozzle should do, its maker's data decide.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "nozzle",
        help="list, show, begin and check nozzle files",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    actions = parser.add_subparsers(title="actions", metavar="ACTION", dest="action", required=True)
    _add(actions, "list", _list, "name every nozzle that --nozzle knows")

    show = _add(actions, "show", _show, "show one nozzle: its holes, limits and notes")
    show.add_argument("name", metavar="NAME|FILE", help="its name, or a file ending in .toml")
    show.add_argument("--png", metavar="FILE", help="also draw where the holes point")

    new = _add(actions, "new", _new, "write a commented file to fill in")
    new.add_argument("name", metavar="NAME", help="what the nozzle is called; names the file too")
    new.add_argument("--kind", choices=KINDS, default="holes", help="default %(default)s")
    new.add_argument("--holes", metavar="N", type=hole_count, help="how many holes, 3 to 16")
    new.add_argument(
        "--slanted", action="store_true", help="a section for each hole: uneven or slanted"
    )

    check = _add(actions, "check", _check, "tell every mistake in nozzle and limits files")
    check.add_argument(
        "places",
        metavar="FILE|DIR",
        nargs="*",
        help="files or folders; without any, the folder of nozzle files in use",
    )


def _add(actions: Commands, name: str, run: object, about: str) -> Parser:
    parser = actions.add_parser(
        name, help=about, description=f"{about[:1].upper()}{about[1:]}.", allow_abbrev=False
    )
    add_library_option(parser)
    parser.set_defaults(run=run)
    return parser


def _list(args: argparse.Namespace) -> int:
    """Print a table of all nozzles; a file that cannot be read is a line that says so."""
    from spraycheck.report.nozzle_format import list_text

    print(list_text(resolve_library(args), _screen()), end="")
    return exits.PASS


def _show(args: argparse.Namespace) -> int:
    """Print one nozzle, and draw it if asked to."""
    from spraycheck.nozzles.read import read_nozzle
    from spraycheck.report.nozzle_format import nozzle_text

    if args.name.endswith(".toml") and os.path.lexists(args.name):
        path = Path(args.name)
    else:
        path = resolve_library(args).path_of(args.name)
    nozzle = read_nozzle(path, tell=complain)
    if args.png is not None:
        from spraycheck.report.nozzle_dial import dial_png

        target = target_file(args.png, "picture", (".png",), hint="name it for example x.png")
        _write(target, dial_png(nozzle.layout), mode="wb")
    print(nozzle_text(nozzle, os.fspath(path), _screen()), end="")
    return exits.PASS


def _new(args: argparse.Namespace) -> int:
    """Write a new file, never over another."""
    from spraycheck.nozzles.nozzle_library import folder_for_new, name_checked
    from spraycheck.nozzles.write import nozzle_text

    if args.kind == "holes" and args.holes is None:
        raise UsageError(
            "neither --holes nor --kind given, expected one of them",
            "count the spray holes in the nozzle tip, for example --holes 4",
        )
    if args.kind != "holes" and (args.holes is not None or args.slanted):
        raise UsageError(
            f"--kind {args.kind} with --holes or --slanted given, expected one of them",
            f"a {args.kind} nozzle has one central spray: leave --holes and --slanted out",
        )
    name = name_checked(args.name)
    text = nozzle_text(name, kind=args.kind, holes=args.holes or 0, slanted=args.slanted)
    target = folder_for_new(args.nozzles) / f"{name}.toml"
    _write(target, text.encode(), mode="xb")
    print(target)
    return exits.PASS


def _check(args: argparse.Namespace) -> int:
    """Print every mistake; exit code 2 when there is one."""
    from spraycheck.nozzles.nozzle_library import NozzleFolder
    from spraycheck.nozzles.read import check_file

    places = args.places or [os.fspath(resolve_library(args).folders[0].path)]
    total = wrong = 0
    for place in places:
        folder = NozzleFolder(path=Path(place), origin="") if os.path.isdir(place) else None
        for mistakes in (
            folder.check(tell=complain) if folder else [check_file(place, tell=complain)]
        ):
            total += 1
            wrong += bool(mistakes)
            for mistake in mistakes:
                print(mistake)
    print(f"{total} file{'' if total == 1 else 's'} checked, {wrong or 'none'} with mistakes")
    return exits.INPUT if wrong else exits.PASS


def _screen() -> Screen:
    from spraycheck.report.nozzle_format import Screen

    how = look()
    return Screen(width=how["width"], ascii_only=how["ascii_only"])


def _write(path: Path, data: bytes, *, mode: str) -> None:
    from spraycheck.photo.files import shown

    try:
        with open(path, mode) as file:
            file.write(data)
    except FileExistsError:
        raise InputError(
            f"{shown(path)} is there already, expected a new name",
            "choose another name, or change that file",
        ) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"{shown(path)} cannot be written ({reason}), expected room and permission to write",
            "choose another place",
        ) from None
