"""``spraycheck demo``: a sprayed card drawn to order, with its truth."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.errors import InputError
from spraycheck.output_files import target_file

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands
    from spraycheck.train.lessons.card_request import CardRequest

_DESCRIPTION = """\
Draws a sprayed card to order, by the physics of spray, paper and camera, and tells
the truth about it. For teaching, and for trying the tool without spoiling injectors.
"""

_EPILOG = """\
examples:
  spraycheck demo --out good.jpg
  spraycheck demo --holes 6 --blocked 3 --weak 5:0.4 --drip --seed 7 --out two-faults.jpg
  spraycheck demo --nozzle two-row --holes 8 --off-line 4:8 --photo poor --out hard.jpg
  spraycheck demo --nozzle pintle --fault lopsided --out pintle.jpg

Holes count from 1, clockwise from 12 o'clock. Faults may be given several times, one
per hole. Everything shown is invented.

safety: on a real bench the jet goes through skin, a surgical emergency even if it does
not hurt. Cover closed and hands out while spraying; pressure released and zero on the
gauge before opening; eye protection on. Oil mist burns; wet cards are combustible waste.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "demo",
        help="draw a sprayed card to order, with its truth",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage="spraycheck demo --out PICTURE [--nozzle KIND] [--holes N] [--blocked H] "
        "[--weak H:SHARE]\n       [--heavy H:SHARE] [--off-line H:DEG] ... [--seed N] [--json]",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--out", metavar="PICTURE", required=True, help=".jpg or .png to write")
    parser.add_argument("--seed", metavar="N", help="same seed, same picture; default 1")
    parser.add_argument("--json", action="store_true", help="print the truth as one JSON document")
    _add_nozzle(parser.add_argument_group("the nozzle"))
    _add_faults(parser.add_argument_group("what is wrong with it"))
    _add_stroke(parser.add_argument_group("the stroke"))
    _add_photo(parser.add_argument_group("card and photo"))
    parser.set_defaults(run=run)


def _add_nozzle(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--nozzle", metavar="KIND", help="even (default), slanted, two-row, pintle or single"
    )
    group.add_argument("--holes", metavar="N", help="3 to 16, default 6")
    group.add_argument("--angle", metavar="DEG", help="between holes and nozzle axis, default 65")
    group.add_argument("--cone", metavar="DEG", help="full angle of one plume, default 12")


def _add_faults(group: argparse._ArgumentGroup) -> None:
    def several(name: str, metavar: str, text: str) -> None:
        group.add_argument(name, metavar=metavar, help=text, action="append", default=[])

    several("--blocked", "H", "hole H gives nothing")
    several("--weak", "H:SHARE", "5:0.4 gives 40 %% of a good one")
    several("--heavy", "H:SHARE", "2:1.5 gives half as much again")
    several("--off-line", "H:DEG", "4:8 sprays 8 degrees clockwise of its line")
    several(
        "--merging", "H:DEG", "2:15 bends holes 2 and 3 together, 15 degrees are left between them"
    )
    several("--stray", "DEG[:SHARE]", "a jet of no hole in this direction; share 0.3")
    group.add_argument(
        "--drip", metavar="MM3", nargs="?", const="4", help="the tip drips; default 4 mm3"
    )
    group.add_argument(
        "--fault",
        metavar="KIND",
        help="of a pintle or single-hole nozzle: lopsided, streaky, filled or off-centre",
    )


def _add_stroke(group: argparse._ArgumentGroup) -> None:
    group.add_argument(
        "--tilt", metavar="DEG[:TO]", help="nozzle not square to the card, towards TO (default 90)"
    )
    group.add_argument("--height", metavar="MM", help="of the tip over the card")
    group.add_argument("--volume", metavar="MM3", help="fluid sprayed, all holes together")
    group.add_argument("--splashes", metavar="N", help="drops thrown about the card")


def _add_photo(group: argparse._ArgumentGroup) -> None:
    group.add_argument("--sheet", metavar="SIZE", help="a4 (default), a5, letter, 200x200 ...")
    group.add_argument(
        "--paper",
        metavar="KIND",
        help="office (default), cream, blotting, filter, newsprint, greyboard or kraft",
    )
    group.add_argument("--fluid", metavar="KIND", help="straw (default), clear, red, green or dark")
    group.add_argument("--photo", metavar="HOW", help="easy (default), usual or poor")
    group.add_argument("--squared", action="store_true", help="paper ruled in squares")
    group.add_argument("--shadow", action="store_true", help="a shadow's edge across the card")
    group.add_argument("--glare", action="store_true", help="a lamp mirrored on the card")
    group.add_argument("--curl", metavar="MM", help="the sheet's ends stand up by this much")
    group.add_argument("--minutes", metavar="T", help="from stroke to photo, default 0.75")
    group.add_argument("--megapixels", metavar="MP", help="size of the picture, default 3")


def run(args: argparse.Namespace) -> int:
    """Draw the picture and tell the truth."""
    target = target_file(
        args.out,
        "picture",
        (".jpg", ".jpeg", ".png"),
        expected=".jpg or .png",
        hint="for example --out demo.jpg",
    )
    request = read_request(args)
    from spraycheck.output_files import write_file
    from spraycheck.train.encoding import picture_bytes
    from spraycheck.train.lessons.requested_scene import scene_for
    from spraycheck.train.lessons.truth_text import (
        INVENTED,
        headline,
        measure_command,
        nozzle_file_text,
        truth_document,
        truth_lines,
    )

    requested = scene_for(request)
    photo = requested.scene.photograph()
    write_file(target, picture_bytes(photo.rgb, target.suffix, photo.focal_35mm), "picture")
    beside = ""
    if requested.layout is not None and not requested.layout.even:
        beside = str(target.with_name(f"{target.stem}-nozzle.toml"))
        write_file(Path(beside), nozzle_file_text(requested).encode(), "nozzle file")
    if args.json:
        from spraycheck.report.document import dumps

        print(dumps(truth_document(requested, photo.truth, args.out)))
        return exits.PASS
    lines = [f"{args.out}: {headline(request)}", INVENTED, "", "What is really on it:"]
    lines += truth_lines(requested, photo.truth)
    lines.append("")
    if requested.layout is None:
        lines.append("To be looked at: spraycheck demo gives no measuring line for such a nozzle.")
    else:
        lines += ["Now measure it:", f"  {measure_command(request, args.out, beside)}"]
    text = "\n".join(lines)
    encoding = (sys.stdout.encoding or "ascii").lower()
    print(text if encoding.startswith("utf") else _plain(text))
    return exits.PASS


def _plain(text: str) -> str:
    for sign, word in (("°", " deg"), ("²", "2"), ("³", "3")):
        text = text.replace(sign, word)
    return text


def read_request(args: argparse.Namespace) -> CardRequest:
    """Read the options.

    Raises
    ------
    InputError
        An option that is no number, or a request that cannot be.
    """
    from spraycheck.train.lessons.card_request import CardRequest

    given: dict[str, object] = {}
    for option, name in _TEXTS.items():
        if (text := getattr(args, option)) is not None:
            given[name] = text
    for option, (name, example) in _NUMBERS.items():
        if (text := getattr(args, option)) is not None:
            given[name] = _number(option, text, example)
    for option in ("holes", "seed", "splashes"):
        if (text := getattr(args, option)) is not None:
            given[option] = _whole(option, text)
    for option in ("squared", "shadow", "glare"):
        given[option] = getattr(args, option)
    given["blocked"] = tuple(_whole("blocked", text) for text in args.blocked)
    given["stray"] = tuple(_stray(text) for text in args.stray)
    for option in ("weak", "heavy", "off_line", "merging"):
        given[option] = tuple(_pair(option, text) for text in getattr(args, option))
    if args.tilt is not None:
        size, _, towards = args.tilt.partition(":")
        given["tilt_deg"] = _number("tilt", size, "2 or 2:90")
        if towards:
            given["tilt_to_deg"] = _number("tilt", towards, "2 or 2:90")
    return CardRequest(**given)  # type: ignore[arg-type]


_TEXTS = {
    "nozzle": "nozzle",
    "fault": "axial_fault",
    "sheet": "sheet",
    "paper": "paper",
    "fluid": "fluid",
    "photo": "photo",
}
_NUMBERS = {
    "angle": ("angle_deg", "65"),
    "cone": ("cone_deg", "12"),
    "drip": ("drip_mm3", "4"),
    "height": ("height_mm", "25"),
    "volume": ("volume_mm3", "200"),
    "curl": ("curl_mm", "8"),
    "minutes": ("minutes", "1"),
    "megapixels": ("megapixels", "3"),
}
_PAIR_EXAMPLE = {"weak": "5:0.4", "heavy": "2:1.5", "off_line": "4:8", "merging": "2:15"}


def _number(option: str, text: str, example: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise InputError(f"--{option} {text!r}: expected a number, for example {example}") from None


def _whole(option: str, text: str) -> int:
    try:
        return int(text)
    except ValueError:
        example = {"seed": 7, "holes": 6}.get(option, 3)
        raise InputError(
            f"--{option} {text!r}: expected a whole number, for example {example}"
        ) from None


def _stray(text: str) -> tuple[float, float]:
    from spraycheck.train.lessons.card_request import STRAY_SHARE

    direction, _, share = text.partition(":")
    example = "200 or 200:0.3"
    return (
        _number("stray", direction, example),
        _number("stray", share, example) if share else STRAY_SHARE,
    )


def _pair(option: str, text: str) -> tuple[int, float]:
    hole, colon, value = text.partition(":")
    try:
        if not colon:
            raise ValueError
        return int(hole), float(value.replace(",", "."))
    except ValueError:
        raise InputError(
            f"--{option.replace('_', '-')} {text!r}: expected HOLE:VALUE, for example "
            f"{_PAIR_EXAMPLE[option]}"
        ) from None
