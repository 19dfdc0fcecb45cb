"""``spraycheck quiz``: learn and prove the reading of spray cards on drawn ones."""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from spraycheck.cli import exits
from spraycheck.errors import InputError

if TYPE_CHECKING:
    from spraycheck.cli.main import Commands

_DESCRIPTION = """\
Shows drawn cards, half of them good, and asks: good or faulty, and if faulty, where
and how. Then come the answer, the tool's overlay and numbers, likely causes and the
next step. Practice follows what the trainee finds; an exam is a fixed paper from a
seed, the same for a whole class, with the answers at the end.
"""

_EPILOG = """\
examples:
  spraycheck quiz --name Ana
  spraycheck quiz --name Ana --exam --seed 7 --questions 20
  spraycheck quiz --report --plot ana.png --name Ana
  spraycheck quiz --html quiz.html --exam --seed 7

A practice goes on where the same name stopped: each kind of fault becomes smaller when
it is found and larger when it is missed, until three of four are found. --report fits
a detection curve to each kind and says at which severity this person finds half, and
nine in ten, of them, and how person and tool compare on the same cards. --results may
be given several times for a report, for example with files saved by the HTML quiz.

The HTML quiz is one file without a network. Its answers are inside it and can be dug
out: an exam on it needs a pair of eyes in the room.

exit code: 0 done, 2 usage or input error, 130 stopped by Ctrl-C (answers are kept).

safety: the jet goes through skin, a surgical emergency even if it does not hurt. This
quiz trains the eye; it sprays nothing. At the bench: cover closed, eye protection on,
pressure released and zero on the gauge before opening. The verdict is an aid: the
maker's manual, local rules and licensed practice decide.
"""

_QUESTIONS = {"practice": 10, "exam": 20}


def add_parser(commands: Commands) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "quiz",
        help="train and examine the reading of spray cards",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--name", metavar="NAME", help="who answers; asked for when not given")
    parser.add_argument("--exam", action="store_true", help="a fixed paper; needs --seed")
    parser.add_argument(
        "--seed", metavar="N", type=_whole, help="number of the paper; same number, same paper"
    )
    parser.add_argument(
        "--questions", metavar="N", type=_whole, help="how many (10; for an exam and HTML 20)"
    )
    parser.add_argument(
        "--results", metavar="FILE", action="append", help="where answers are kept, JSON Lines "
        "(a file in your data folder)",
    )  # fmt: skip
    parser.add_argument(
        "--pictures", metavar="DIR", help="folder for the pictures (a temporary one)"
    )
    parser.add_argument(
        "--no-open", action="store_true", help="do not open pictures with the system's viewer"
    )
    parser.add_argument(
        "--report", action="store_true", help="say what the answers kept so far tell, and stop"
    )
    parser.add_argument(
        "--plot", metavar="FILE", help="with --report: write the curves as a PNG; several names "
        "get a number each",
    )  # fmt: skip
    parser.add_argument(
        "--html", metavar="FILE|DIR", help="write the quiz as one page that needs no network"
    )
    parser.set_defaults(run=run)


def run(args: argparse.Namespace) -> int:
    """Hold a session, write a report, or export a page."""
    _check(args)
    if args.report:
        return _report(args)
    if args.html is not None:
        return _export(args)
    return _sit(args)


def _check(args: argparse.Namespace) -> None:
    from spraycheck.train.quiz.selection import check_exam

    if args.report and (args.exam or args.html is not None):
        raise InputError("--report goes alone", "leave out --exam and --html")
    if args.plot is not None and not args.report:
        raise InputError("--plot goes with --report", "add --report")
    if args.exam and args.seed is None:
        raise InputError("an exam needs the number of its paper", "add for example --seed 7")
    if args.results and len(args.results) > 1 and not args.report:
        raise InputError(
            f"--results given {len(args.results)} times, expected once", "several go with --report"
        )
    check_exam(args.seed or 0, _count(args))


def _count(args: argparse.Namespace) -> int:
    if args.questions is not None:
        return int(args.questions)
    return _QUESTIONS["exam" if args.exam or args.html is not None else "practice"]


def _files(args: argparse.Namespace) -> list[Path]:
    from spraycheck.train.quiz.results_file import default_results

    return [Path(name) for name in args.results or ()] or [default_results()]


def _sit(args: argparse.Namespace) -> int:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise InputError(
            "the quiz asks questions and this is no terminal, expected one",
            "run it in a terminal window, or write a page with --html quiz.html",
        )
    from spraycheck.train.quiz.record import Session, clean_name, now
    from spraycheck.train.quiz.session import Dialogue, SessionSetup, run_session

    screen = Dialogue(say=_say, ask=_ask, width=shutil.get_terminal_size().columns)
    name = clean_name(args.name if args.name is not None else _ask("Your name: "))
    if not name or (name == "q" and args.name is None):
        raise InputError("no name given, expected who answers", "add --name NAME")
    session = Session(trainee=name, began=now(), exam=args.seed if args.exam else None)
    pictures = _folder(args.pictures)
    run_session(
        SessionSetup(
            session=session,
            questions=_count(args),
            results=_files(args)[0],
            pictures=pictures,
            seed=args.seed or 0,
            open_viewer=not args.no_open,
        ),
        screen,
    )
    return exits.PASS


def _say(text: str) -> None:
    print(text, flush=True)


def _ask(prompt: str) -> str:
    try:
        return input(prompt)
    except EOFError:  # Ctrl-D: as good as "stop"
        print()
        return "q"


def _folder(name: str | None) -> Path:
    if name is None:
        return Path(tempfile.mkdtemp(prefix="spraycheck-quiz-"))
    folder = Path(name)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"folder {name!r} cannot be made ({error.strerror})", "choose another place"
        ) from None
    return folder


def _report(args: argparse.Namespace) -> int:
    from spraycheck.cli.terminal import complain
    from spraycheck.output_files import write_file
    from spraycheck.train.quiz.progress import all_progress
    from spraycheck.train.quiz.record import clean_name
    from spraycheck.train.quiz.results_file import load_results
    from spraycheck.train.quiz.words import progress_text

    wanted = clean_name(args.name) if args.name is not None else ""
    records, notes = load_results(_files(args), wanted)
    for note in notes:
        complain(note)
    found = all_progress(records)
    print("\n".join(progress_text(one) for one in found), end="")
    if args.plot is not None:
        from spraycheck.train.quiz.progress_plot import plot_files, progress_plot

        for one, path in zip(found, plot_files(args.plot, len(found)), strict=True):
            write_file(path, progress_plot(one), "plot")
            complain(f"{one.trainee}: {path}")
    return exits.PASS


def _export(args: argparse.Namespace) -> int:
    from spraycheck.cli.terminal import complain
    from spraycheck.train.quiz.page import export_page
    from spraycheck.train.quiz.record import clean_name

    path, size = export_page(
        args.html,
        seed=args.seed or 0,
        questions=_count(args),
        exam=args.exam,
        name=clean_name(args.name or ""),
        tell=complain,
    )
    print(f"{path}: {_count(args)} questions, {size / 1e6:.1f} MB")
    return exits.PASS


def _whole(text: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(
            f"{text!r} is no whole number, expected for example 7"
        ) from None
