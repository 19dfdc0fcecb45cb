"""``spraycheck measure``: photos in, a report or a JSON document out."""

from __future__ import annotations

import argparse
import logging
import os
import traceback
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spraycheck.cli import exits
from spraycheck.cli.axial import USAGE as CENTRAL
from spraycheck.cli.axial import (
    add_central_options,
    central_asked,
    check_central_options,
    parse_aim,
)
from spraycheck.cli.options import (
    USAGE,
    add_nozzle_options,
    cabinet_asked,
    check_nozzle_options,
    limits_asked,
    nobody_says,
    nozzle_asked,
)
from spraycheck.cli.shots import add_combine_options, combine_and_tell, combining, look
from spraycheck.errors import MeasurementError, SprayCheckError

if TYPE_CHECKING:
    from spraycheck.card.spec import CardSpec
    from spraycheck.cli.main import Commands
    from spraycheck.judge.limits import LimitSet
    from spraycheck.judge.quality.wicking import SprayTime
    from spraycheck.judge.result import Result
    from spraycheck.judge.standoff import Standoff
    from spraycheck.nozzles.files import Nozzle
    from spraycheck.nozzles.library import Cabinet
    from spraycheck.photo.containers import Photo

_DESCRIPTION = """\
Measures every plume on a sprayed card, compares them with the holes the nozzle
should have, and says pass, fail or recheck, with reasons. Nozzles that spray
along their axis leave one patch, which is measured and judged in its own way.
"""

_EPILOG = """\
examples:
  spraycheck measure card.jpg --holes 4
  spraycheck measure card.jpg --layout nozzle.toml --sheet a4 --overlay seen.png
  spraycheck measure card.jpg --nozzle slanted-5 --limits agreed.toml
  spraycheck measure *.jpg --holes 6 --json --overlay seen/ > results.json
  spraycheck measure a.jpg b.jpg c.jpg --holes 5 --combine
  spraycheck measure card.jpg --pintle --sheet a5 --aim centre

Without --holes, --layout and --nozzle the code of a printed card is asked, which can
carry its nozzle's name (spraycheck card --nozzle NAME).

exit code: 0 pass, 1 fail, 2 usage or input error, 3 recheck or not measurable;
for several photos the first that applies of 2, 3, 1, 0.

safety: the jet goes through skin, a surgical emergency even if it does not hurt.
Cover closed and hands out while spraying; pressure released and zero on the gauge
before opening; eye protection on. Oil mist burns; wet cards are combustible waste.
The verdict is an aid: the maker's manual, local rules and licensed practice decide.
"""


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "measure",
        help="measure and judge photos of sprayed cards",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        usage=f"spraycheck measure PHOTO... {USAGE} [--limits FILE]\n       "
        "[--sheet SIZE] [--json] [--overlay FILE|DIR] [--printed-length MM]\n       "
        "[--card-number N] [--dry PHOTO] [--standoff-mm H] [--sprayed-at TIME]\n       "
        "[--nozzles DIR] [--combine | --same-card] [--photos-per-card N]\n       "
        "[--turn PHOTO:DEG]... [--lined-up FEATURE]\n       "
        f"spraycheck measure PHOTO... ({CENTRAL}) [--aim X,Y|centre] ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "photos", metavar="PHOTO", nargs="+", help="JPEG, PNG, TIFF, WebP, HEIC or AVIF"
    )
    add_nozzle_options(parser)
    parser.add_argument(
        "--sheet",
        metavar="SIZE",
        help="size of the sheet: a4, a5, a6, letter, or WIDTHxHEIGHT in mm; without it nothing is "
        "given in mm. A printed target card's own size goes before it",
    )
    parser.add_argument(
        "--printed-length",
        metavar="MM",
        help="what the 100 mm lines of the printed target card measure, for example 98.7, or level "
        "x upright, 98.7x99.1",
    )
    parser.add_argument(
        "--card-number",
        metavar="N",
        type=int,
        default=0,
        help="which of several target cards in the photo, from the left",
    )
    parser.add_argument(
        "--dry",
        metavar="PHOTO",
        help="photo of the same card before spraying: stains and print on it then do not count",
    )
    parser.add_argument(
        "--standoff-mm",
        metavar="H",
        help="height of the tip over the card, for example 20 or 20+-0.5, measured with the lever "
        "released and the gauge at zero: adds the angles of the holes",
    )
    parser.add_argument(
        "--sprayed-at",
        metavar="TIME",
        help="when the card was sprayed, for example 14:30: areas on a card photographed late are "
        "less certain",
    )
    parser.add_argument(
        "--lined-up",
        metavar="FEATURE",
        default="",
        help="12 o'clock on the card was lined up with this feature of nozzle or holder, the one "
        "the nozzle file counts from: the turn of the whole pattern is then judged, too. 12 "
        "o'clock is a printed card's arrow; on a plain sheet the edge nearest the top of the photo",
    )
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document instead of the report"
    )
    parser.add_argument(
        "--overlay",
        metavar="FILE|DIR",
        help="write the photo with everything found drawn on it: a .png or .jpg file, or a folder "
        "(needed for several photos)",
    )
    add_central_options(parser)
    add_combine_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure the photos one after the other; one that fails does not stop the others."""
    check_nozzle_options(args)
    together = combining(args)
    # Pillow logs what it finds odd in a damaged file; without a handler that would reach stderr.
    logging.getLogger("PIL").addHandler(logging.NullHandler())
    from spraycheck.cli.overlay_files import plan_overlays

    # Everything that can be wrong with the options is found before the first photo is decoded.
    nozzle, limits = central_asked(args) or nozzle_asked(args), limits_asked(args)
    check_central_options(args, nozzle)
    if nozzle is not None:
        nozzle.limits_under(limits)
    job = _Job(
        nozzle=nozzle,
        limits=limits,
        cabinet=cabinet_asked(args),
        spec=_spec(args),
        dry=_dry(args.dry),
        standoff=_standoff(args.standoff_mm),
        aim=parse_aim(args.aim),
        sprayed=_sprayed(args.sprayed_at),
        lined_up=_lined_up(args.lined_up, nozzle),
        as_json=args.json,
    )
    targets: Sequence[Path | None] = [None] * len(args.photos)
    if args.overlay is not None:
        targets = plan_overlays(args.photos, args.overlay)
    if together:
        from spraycheck.photo import read_photo

        return combine_and_tell(args, lambda path: _judged(read_photo(path), job), targets, _draw)
    outcomes = [
        _one(path, target, job, number)
        for number, (path, target) in enumerate(zip(args.photos, targets, strict=True))
    ]
    if args.json:
        from spraycheck.report.document import dumps

        documents = [outcome.document for outcome in outcomes]
        print(dumps(documents if len(documents) > 1 else documents[0]))
    return exits.worst(outcome.code for outcome in outcomes)


@dataclass(frozen=True, kw_only=True)
class _Job:
    """What is the same for all photos."""

    nozzle: Nozzle | None
    limits: LimitSet | None
    cabinet: Cabinet
    spec: CardSpec
    dry: Photo | None
    standoff: Standoff | None
    aim: str | tuple[float, float] | None
    sprayed: SprayTime | None
    lined_up: str
    as_json: bool


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    """What is kept of one photo: not the assessment, whose maps would fill the memory."""

    code: int
    document: dict[str, Any]


def _one(path: str, target: Path | None, job: _Job, number: int) -> _Outcome:
    """Measure one photo, write its overlay, print its report; tell what went wrong."""
    from spraycheck.cli.main import complain, describe
    from spraycheck.photo import read_photo
    from spraycheck.photo.files import shown
    from spraycheck.report.document import error_document, result_document

    photo: Photo | str = path
    try:
        photo = read_photo(path)
        assessment = _judged(photo, job)
        document = result_document(assessment)
    except MeasurementError as error:
        complain(f"{shown(path)}: not measured: {describe(error)}")
        return _Outcome(code=exits.RECHECK, document=error_document(photo, error))
    except SprayCheckError as error:
        complain(describe(error))
        return _Outcome(code=exits.INPUT, document=error_document(photo, error))
    except Exception as error:
        if os.environ.get("SPRAYCHECK_TRACEBACK"):
            raise
        mistake = _internal(error)
        complain(
            f"{shown(path)}: not measured: {mistake}; please report this together with the photo "
            "(SPRAYCHECK_TRACEBACK=1 shows more)"
        )
        return _Outcome(code=exits.RECHECK, document=error_document(photo, mistake))
    if not job.as_json:
        _print_report(assessment, number)
    code = exits.OF_VERDICT[assessment.verdict]
    if target is not None and not _draw(assessment, target):
        code = exits.INPUT
    return _Outcome(code=code, document=document)


def _nozzle(photo: Photo, job: _Job) -> Nozzle:
    """Return the nozzle that an option or the card names."""
    from spraycheck.nozzles.card_codes import nozzle_printed

    nozzle = job.nozzle or nozzle_printed(photo, job.cabinet)
    if nozzle is None:
        raise nobody_says()
    return nozzle


def _judged(photo: Photo, job: _Job) -> Result:
    """Measure a photo, whatever kind of nozzle it is of."""
    from spraycheck.measuring import measure_photo

    nozzle = _nozzle(photo, job)
    # A card may name its nozzle itself: each kind takes what it can use.
    holes = nozzle.kind == "holes"
    return measure_photo(
        photo,
        nozzle=nozzle.expected,
        aim=None if holes else job.aim,
        limits=nozzle.limits_under(job.limits),
        sheet=job.spec,
        dry=job.dry,
        standoff=job.standoff,
        sprayed_at=job.sprayed if holes else None,
        lined_up=job.lined_up if holes else "",
    )


def _draw(assessment: Result, target: Path) -> bool:
    """Write the overlay; a drawing that fails costs the drawing, not the result."""
    from spraycheck.cli.main import complain, describe
    from spraycheck.cli.overlay_files import write_overlay
    from spraycheck.report.overlay import draw_overlay

    try:
        write_overlay(draw_overlay(assessment), target)
    except SprayCheckError as error:
        complain(describe(error))
        return False
    return True


def _print_report(assessment: Result, number: int) -> None:
    from spraycheck.report.model import build_report
    from spraycheck.report.terminal import terminal_report

    text = terminal_report(build_report(assessment), **look())
    # Flushed, so that the report and the messages on stderr keep their order on a terminal.
    print(f"\n{text}" if number else text, end="", flush=True)


def _spec(args: argparse.Namespace) -> CardSpec:
    import dataclasses
    import math

    from spraycheck.card.spec import parse_printed_length
    from spraycheck.measuring import card_spec

    printed = (math.nan, math.nan)
    if args.printed_length is not None:
        printed = parse_printed_length(args.printed_length)
    return dataclasses.replace(
        card_spec(args.sheet),
        printed_x_mm=printed[0],
        printed_y_mm=printed[1],
        which=args.card_number,
    )


def _dry(path: str | None) -> Photo | None:
    if path is None:
        return None
    from spraycheck.photo import read_photo

    return read_photo(path)


def _standoff(text: str | None) -> Standoff | None:
    if text is None:
        return None
    from spraycheck.judge.standoff import parse_standoff

    return parse_standoff(text)


def _sprayed(text: str | None) -> SprayTime | None:
    if text is None:
        return None
    from spraycheck.judge.quality.wicking import parse_spray_time

    return parse_spray_time(text)


def _lined_up(feature: str, nozzle: Nozzle | None) -> str:
    """Check the feature as soon as the nozzle is known; else when the card has named it."""
    from spraycheck.judge.layout import Layout

    feature = feature.strip()
    if nozzle is not None and isinstance(nozzle.expected, Layout):
        nozzle.layout.check_lined_up(feature)
    return feature


def _internal(error: Exception) -> RuntimeError:
    """Say where in the program a mistake showed, in one line."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(last.filename).name} line {last.lineno}"
    return RuntimeError(f"internal error: {type(error).__name__}: {error} ({place})")
