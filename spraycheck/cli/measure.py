"""``spraycheck measure``: photos in, a report or a JSON document out."""

from __future__ import annotations

import argparse
import importlib
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from spraycheck.cli import exits
from spraycheck.cli.loading import uncollected
from spraycheck.cli.options import (
    AXIAL_USAGE,
    USAGE,
    add_axial_options,
    add_nozzle_options,
    add_scale_options,
    add_shots_options,
    cards_of,
    check_has_holes,
    check_kind_options,
    check_shots_options,
    no_nozzle,
    resolve_library_for,
    resolve_limits,
    resolve_nozzle,
    turns_of,
)
from spraycheck.cli.terminal import (
    TRACEBACK,
    complain,
    complain_of,
    in_the_program,
    look,
    quiet_pillow,
)
from spraycheck.cli.values import card_number, spray_time
from spraycheck.errors import MeasurementError, SprayCheckError

if TYPE_CHECKING:
    from spraycheck.card.spec import CardSpec
    from spraycheck.cli.main import Commands
    from spraycheck.judge.limits import LimitSet
    from spraycheck.judge.result import Result
    from spraycheck.nozzles.model import Nozzle
    from spraycheck.nozzles.nozzle_library import Library
    from spraycheck.photo.containers import Photo

    Result: TypeAlias = Result

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


STAGES = "spraycheck.pipeline"
"""The module that loads everything a measurement needs."""


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
        f"spraycheck measure PHOTO... ({AXIAL_USAGE}) [--aim X,Y|centre] ...",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument(
        "photos", metavar="PHOTO", nargs="+", help="JPEG, PNG, TIFF, WebP, HEIC or AVIF"
    )
    add_nozzle_options(parser)
    add_scale_options(parser)
    parser.add_argument(
        "--card-number",
        metavar="N",
        type=card_number,
        default=0,
        help="which of several target cards in the photo, from the left",
    )
    parser.add_argument(
        "--dry",
        metavar="PHOTO",
        help="photo of the same card before spraying: stains and print on it then do not count",
    )
    parser.add_argument(
        "--sprayed-at",
        metavar="TIME",
        type=spray_time,
        help="when the card was sprayed, for example 14:30: areas on a card photographed late are "
        "less certain",
    )
    parser.add_argument(
        "--lined-up",
        metavar="FEATURE",
        type=str.strip,
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
    add_axial_options(parser)
    add_shots_options(parser)
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Measure the photos; one that fails does not stop the others, unless they go together."""
    quiet_pillow()
    # Everything that can be wrong with the options is found before the first photo is decoded.
    together = check_shots_options(args)
    targets: Sequence[Path | None] = [None] * len(args.photos)
    with uncollected(STAGES):
        job = _job(args)
        if args.overlay is not None:
            from spraycheck.cli.overlay_files import plan_overlays

            targets = plan_overlays(args.photos, args.overlay)
        importlib.import_module(STAGES)
    if together:
        return _combine(args, job, targets)
    outcomes = [
        _one(path, target, job, as_json=args.json, first=number == 0)
        for number, (path, target) in enumerate(zip(args.photos, targets, strict=True))
    ]
    if args.json:
        from spraycheck.report.document import dumps

        documents = [outcome.document for outcome in outcomes]
        print(dumps(documents if len(documents) > 1 else documents[0]))
    return exits.worst(outcome.code for outcome in outcomes)


@dataclass(frozen=True, kw_only=True)
class Job:
    """What is the same for all photos.

    Parameters
    ----------
    nozzle : Nozzle or None
        What the options name; None where each card says it.
    limits : LimitSet or None
        What the options name; None for the nozzle's own.
    known_nozzles : Library or None
        Where the names on cards are looked up; None where none needs to be.
    options : dict
        Keywords of `measure_photo`.
    of_holes, of_axial : dict
        Those of one kind of nozzle alone.
    """

    nozzle: Nozzle | None
    limits: LimitSet | None
    known_nozzles: Library | None
    options: dict[str, Any]
    of_holes: dict[str, Any] = field(default_factory=dict)
    of_axial: dict[str, Any] = field(default_factory=dict)


def _job(args: argparse.Namespace) -> Job:
    nozzle = resolve_nozzle(args)
    check_kind_options(args, nozzle)
    if nozzle is not None and nozzle.kind == "holes":
        nozzle.layout.check_lined_up(args.lined_up)
    dry = None
    if args.dry is not None:
        from spraycheck.photo import read_photo

        dry = read_photo(args.dry)
    return Job(
        nozzle=nozzle,
        limits=resolve_limits(args, nozzle),
        known_nozzles=resolve_library_for(args, nozzle),
        options={"sheet": _card(args), "dry": dry, "standoff": args.standoff_mm},
        of_holes={"sprayed_at": args.sprayed_at, "lined_up": args.lined_up},
        of_axial={"aim": args.aim},
    )


def _card(args: argparse.Namespace) -> CardSpec:
    import dataclasses

    from spraycheck.card.spec import CardSpec

    card = dataclasses.replace(args.sheet or CardSpec(), which=args.card_number)
    if args.printed_length is None:
        return card
    level, upright = args.printed_length
    return dataclasses.replace(card, printed_x_mm=level, printed_y_mm=upright)


def measure(photo: Photo, job: Job, *, check: Callable[[Nozzle], None] | None = None) -> Result:
    """Measure one photo against the nozzle that an option or its own card names.

    Parameters
    ----------
    photo : Photo
        The photo.
    job : Job
        What is the same for all photos.
    check : callable, optional
        Refuses a nozzle, once it is known.
    """
    from spraycheck.measuring import measure_photo

    nozzle = job.nozzle
    if nozzle is None and job.known_nozzles is not None:
        from spraycheck.nozzles.card_codes import nozzle_printed

        nozzle = nozzle_printed(photo, job.known_nozzles)
    if nozzle is None:
        raise no_nozzle()
    if check is not None:
        check(nozzle)
    limits = nozzle.limits_under(job.limits)
    own = job.of_holes if nozzle.kind == "holes" else job.of_axial
    return measure_photo(photo, nozzle=nozzle.expected, limits=limits, **job.options, **own)


@dataclass(frozen=True, kw_only=True)
class _Outcome:
    """What is kept of one photo: not the result, whose maps would fill the memory."""

    code: int
    document: dict[str, Any]


def _one(path: str, target: Path | None, job: Job, *, as_json: bool, first: bool) -> _Outcome:
    """Measure one photo, write its overlay, print its report; tell what went wrong."""
    from spraycheck.photo import read_photo
    from spraycheck.photo.files import shown
    from spraycheck.report.document import error_document, result_document

    photo: Photo | str = path
    try:
        photo = read_photo(path)
        result = measure(photo, job)
        document = result_document(result)
    except SprayCheckError as error:
        not_measured = f"{shown(path)}: not measured: "
        complain_of(error, before=not_measured if isinstance(error, MeasurementError) else "")
        return _Outcome(code=exits.of_error(error), document=error_document(photo, error))
    except Exception as error:
        if os.environ.get(TRACEBACK):
            raise
        mistake = in_the_program(error)
        complain(
            f"{shown(path)}: not measured: {mistake}; please report this together with the photo "
            f"({TRACEBACK}=1 shows more)"
        )
        return _Outcome(code=exits.RECHECK, document=error_document(photo, mistake))
    if not as_json:
        from spraycheck.report.model import build_report
        from spraycheck.report.terminal import terminal_report

        text = terminal_report(build_report(result), **look())
        # Flushed, so that the report and the messages on stderr keep their order on a terminal.
        print(text if first else f"\n{text}", end="", flush=True)
    drawn = target is None or _draw(result, target)
    return _Outcome(
        code=exits.OF_VERDICT[result.verdict] if drawn else exits.INPUT, document=document
    )


def _draw(result: Result, target: Path) -> bool:
    """Write the overlay; a drawing that fails costs the drawing, not the result."""
    from spraycheck.cli.overlay_files import write_overlay
    from spraycheck.report.overlay import draw_overlay

    try:
        write_overlay(draw_overlay(result), target)
    except SprayCheckError as error:
        complain_of(error)
        return False
    return True


# -- several photos taken together -------------------------------------------------------------


def _combine(args: argparse.Namespace, job: Job, targets: Sequence[Path | None]) -> int:
    from spraycheck.judge.shots import combine_shots
    from spraycheck.report.document import result_document
    from spraycheck.report.model import build_report
    from spraycheck.report.terminal import terminal_report

    def work() -> tuple[int, dict[str, Any], str]:
        found = measure_all(
            args.photos,
            job,
            asked="combining asked for",
            instead="measure each photo by itself",
        )
        together = combine_shots(found, cards=cards_of(args), turns_deg=turns_of(args))
        drawn = [_draw(a, path) for a, path in zip(found, targets, strict=True) if path is not None]
        code = exits.OF_VERDICT[together.verdict] if all(drawn) else exits.INPUT
        text = "" if args.json else terminal_report(build_report(together), **look())
        return code, result_document(together), text

    return answer("combination", args.photos, args.json, work)


def measure_all(photos: Sequence[str], job: Job, *, asked: str, instead: str) -> list[Result]:
    """Measure photos of a nozzle with holes; the first that cannot be measured ends it, by name.

    Parameters
    ----------
    photos : sequence of str
        The photos.
    job : Job
        What is the same for all photos.
    asked, instead : str
        What cannot be done with a nozzle without holes, and what can.

    Raises
    ------
    SprayCheckError
        As `measure` raises it, the photo's name before its message.
    """
    from spraycheck.photo import read_photo
    from spraycheck.photo.files import shown

    def check(nozzle: Nozzle) -> None:
        check_has_holes(nozzle, asked=asked, instead=instead)

    found: list[Any] = []
    for path in photos:
        try:
            found.append(measure(read_photo(path), job, check=check))
        except MeasurementError as error:
            raise MeasurementError(
                f"{shown(path)}: not measured, so nothing is combined: {error}",
                stage=error.stage,
                hint=error.hint,
            ) from error
    return found


def answer(
    kind: str,
    photos: Sequence[str],
    as_json: bool,
    work: Callable[[], tuple[int, dict[str, Any], str]],
) -> int:
    """Do the work and print its one document or report; with ``--json`` a refusal is one too."""
    from spraycheck.report.document import dumps, refusal_document

    try:
        code, document, text = work()
    except SprayCheckError as error:
        complain_of(error)
        code, document, text = exits.of_error(error), refusal_document(kind, photos, error), ""
    print(dumps(document) + "\n" if as_json else text, end="")
    return code
