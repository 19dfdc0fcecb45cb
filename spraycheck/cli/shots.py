"""Several photos measured, then taken together: what ``measure --combine`` and ``compare`` share.

Light to import: everything heavy is imported when it is needed.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from spraycheck.cli import exits
from spraycheck.errors import InputError, MeasurementError, SprayCheckError

if TYPE_CHECKING:
    from spraycheck.judge.result import Result

MOST_PHOTOS = 24
"""Photos taken together at once (chosen: their maps are held in memory, about 100 MB each)."""


def add_combine_options(parser: argparse.ArgumentParser) -> None:
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
        type=int,
        help="with --combine: the first N photos show the first card, the next N the second",
    )
    group.add_argument(
        "--turn",
        metavar="PHOTO:DEG",
        action="append",
        default=[],
        help="with --combine: that photo's card lay turned clockwise by DEG against the first one, "
        "the injector left in its holder; photos not named by 0. May be given several times",
    )


def combining(args: argparse.Namespace) -> bool:
    """Tell whether photos are to be taken together.

    Raises
    ------
    InputError
        Options that do not go together.
    """
    together = bool(args.combine or args.same_card)
    extra = args.turn or args.photos_per_card is not None
    if args.combine and args.same_card:
        raise InputError(
            "both --combine and --same-card given, expected one of them",
            "--combine for a card each, --same-card for one card photographed several times",
        )
    if extra and not args.combine:
        raise InputError("--turn and --photos-per-card need --combine", "add --combine")
    if together and not 2 <= len(args.photos) <= MOST_PHOTOS:
        count = len(args.photos)
        raise InputError(
            f"{count} photo{'' if count == 1 else 's'} to combine, expected 2 to {MOST_PHOTOS}"
        )
    return together


def cards_asked(args: argparse.Namespace) -> list[int]:
    """Return which card each photo shows."""
    count = len(args.photos)
    if args.same_card:
        return [1] * count
    each = 1 if args.photos_per_card is None else args.photos_per_card
    if each < 1 or count % each:
        raise InputError(
            f"--photos-per-card {each} with {count} photos, expected a whole number of photos for "
            "every card"
        )
    return [k // each + 1 for k in range(count)]


def turns_asked(args: argparse.Namespace) -> list[float] | None:
    """Return the known turn of each photo's card; None when none was given."""
    if not args.turn:
        return None
    turns = [0.0] * len(args.photos)
    for text in args.turn:
        name, _, value = str(text).rpartition(":")
        try:
            turn = float(value)
        except ValueError:
            turn = math.nan
        if name not in args.photos or not math.isfinite(turn):
            raise InputError(
                f"--turn {text!r}: expected one of the photos, a colon and degrees",
                f"for example --turn {args.photos[-1]}:90",
            )
        turns[args.photos.index(name)] = turn
    return turns


def measure_all(photos: Sequence[str], measure: Callable[[str], Result]) -> list[Result]:
    """Measure all photos; the first that cannot be measured ends it, by name.

    Raises
    ------
    SprayCheckError
        As `measure` raises it, the photo's name before its message.
    """
    from spraycheck.photo.files import shown

    found = []
    for path in photos:
        try:
            found.append(measure(path))
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
    from spraycheck.cli.main import complain, describe
    from spraycheck.report.document import dumps, refusal_document

    try:
        code, document, text = work()
    except SprayCheckError as error:
        complain(describe(error))
        code = exits.RECHECK if isinstance(error, MeasurementError) else exits.INPUT
        document, text = refusal_document(kind, photos, error), ""
    print(dumps(document) + "\n" if as_json else text, end="")
    return code


def look() -> dict[str, Any]:
    """Return how a report suits this terminal: keywords of the report functions."""
    import shutil

    encoding = (sys.stdout.encoding or "ascii").lower()
    return {
        "colour": sys.stdout.isatty() and "NO_COLOR" not in os.environ,
        "width": shutil.get_terminal_size((100, 24)).columns,
        "ascii_only": not encoding.startswith("utf"),
    }


def combine_and_tell(
    args: argparse.Namespace,
    measure: Callable[[str], Result],
    targets: Sequence[Path | None],
    draw: Callable[[Result, Path], bool],
) -> int:
    """Run ``measure`` with its photos taken together.

    Parameters
    ----------
    args : argparse.Namespace
        Of ``measure``.
    measure : callable
        Measures one photo.
    targets : sequence of (Path or None)
        Where each photo's overlay goes.
    draw : callable
        Draws one photo's overlay; False when it could not be written.
    """
    cards, turns = cards_asked(args), turns_asked(args)
    from spraycheck.judge.shots import combine_shots
    from spraycheck.report.document import result_document
    from spraycheck.report.model import build_report
    from spraycheck.report.terminal import terminal_report

    def work() -> tuple[int, dict[str, Any], str]:
        found = measure_all(args.photos, measure)
        together = combine_shots(found, cards=cards, turns_deg=turns)
        drawn = [draw(a, path) for a, path in zip(found, targets, strict=True) if path is not None]
        code = exits.OF_VERDICT[together.verdict] if all(drawn) else exits.INPUT
        text = "" if args.json else terminal_report(build_report(together), **look())
        return code, result_document(together), text

    return answer("combination", args.photos, args.json, work)
