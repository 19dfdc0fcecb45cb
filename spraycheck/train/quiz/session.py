"""The quiz in a terminal: show, ask, keep, explain."""

from __future__ import annotations

import textwrap
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from spraycheck.errors import InputError
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.quiz.kinds import QUIZ_KINDS
from spraycheck.report.quiz.marking import Marks, Named, parse_named
from spraycheck.report.quiz.picture import MAX_SIDE_PX, question_picture
from spraycheck.report.quiz.words import (
    RULE,
    explanations,
    marks_in_words,
    named_in_words,
    tool_lines,
    truth_in_words,
)
from spraycheck.report.words import AID, CAUTION
from spraycheck.train.pictures import picture_bytes, write_file
from spraycheck.train.quiz.asking import Given, Sitting, practice_history, record_of
from spraycheck.train.quiz.papers import fixed_paper, practice_question
from spraycheck.train.quiz.questions import (
    Question,
    QuestionSpec,
    ToolAnswer,
    ask_tool,
    draw_question,
)
from spraycheck.train.quiz.results import append_results, read_results
from spraycheck.train.quiz.viewer import show_picture

_QUALITY = 85
# Of a picture to look at; common practice, no source.


_STOP = ("q", "quit", "stop")


class Stopped(Exception):
    """The trainee has had enough."""


@dataclass(frozen=True, kw_only=True)
class Screen:
    """Where the quiz talks: tests put functions of their own here."""

    say: Callable[[str], None]
    ask: Callable[[str], str]
    width: int = 80
    show: Callable[[Path], bool] = show_picture

    def paragraph(self, text: str, indent: int = 2, title: str = "") -> None:
        """Write a wrapped paragraph."""
        body = f"{title}: {text}" if title else text
        room = max(40, min(self.width, 100))
        pad = " " * indent
        self.say(textwrap.fill(body, room, initial_indent=pad, subsequent_indent=pad))


@dataclass(frozen=True, kw_only=True)
class Run:
    """A sitting to be held.

    Parameters
    ----------
    sitting : Sitting
        Who, since when, which paper.
    questions : int
        At most this many.
    results : Path
        Where answers are kept.
    pictures : Path
        Folder for the pictures.
    seed : int
        Of a practice's chance; an exam's paper has its own.
    open_viewer : bool
        Whether to open pictures with the system's viewer.
    """

    sitting: Sitting
    questions: int
    results: Path
    pictures: Path
    seed: int
    open_viewer: bool = True


@dataclass(kw_only=True)
class _Answered:
    """What an exam keeps for its end."""

    number: int
    question: Question
    given: Given
    marks: Marks
    tool: ToolAnswer


@dataclass(kw_only=True)
class _State:
    history: dict[str, list[bool]] = field(default_factory=dict)
    recent: list[bool] = field(default_factory=list)
    answered: list[_Answered] = field(default_factory=list)


def hold(run: Run, screen: Screen) -> int:
    """Ask the questions, keep every answer at once, and say at the end what came of it.

    Returns
    -------
    int
        How many were answered.

    Raises
    ------
    InputError
        The results cannot be written.
    KeyboardInterrupt
        Ctrl-C; what was answered is kept and summed up first.
    """
    records = read_results(run.results, missing_ok=True).records
    append_results(run.results, ())  # a file that cannot be written is told before any question
    exam = run.sitting.mode == "exam"
    state = _State(history=practice_history(records, run.sitting.trainee))
    _welcome(run, screen)
    rng = np.random.default_rng([run.seed, len(records)])
    paper = fixed_paper(run.sitting.paper or 0, run.questions) if exam else ()
    with ThreadPoolExecutor(max_workers=1) as pool:
        try:
            for number in range(1, run.questions + 1):
                if exam:
                    spec = paper[number - 1]
                else:
                    spec = practice_question(rng, state.history, state.recent)
                _one(run, screen, state, number, spec, pool)
        except Stopped:
            pass
        except KeyboardInterrupt:
            screen.say("")
            _end(run, screen, state)
            raise
    _end(run, screen, state)
    return len(state.answered)


def _one(
    run: Run, screen: Screen, state: _State, number: int, spec: QuestionSpec,
    pool: ThreadPoolExecutor,
) -> None:  # fmt: skip
    question = draw_question(spec)
    # The tool judges while the trainee looks.
    judging: Future[ToolAnswer] = pool.submit(ask_tool, question)
    picture, _ = question_picture(
        question.rgb, question.hours_px, question.half_hours_px, question.sheet_px
    )
    path = run.pictures / f"question-{number:02d}.jpg"
    write_file(path, picture_bytes(picture, quality=_QUALITY), "picture")
    opened = run.open_viewer and screen.show(path)
    screen.say("")
    screen.say(f"Question {number} of {run.questions}: a nozzle with {question.holes} equal holes")
    screen.paragraph(f"{path}{' (opened)' if opened else ' - open this picture'}")
    given = _ask(screen)
    tool = judging.result()
    record, marks = record_of(run.sitting, number, question, given, tool)
    append_results(run.results, (record,))
    state.recent.append(record.faulty)
    for fault in record.faults:
        state.history.setdefault(fault.kind, []).append(fault.found)
    answered = _Answered(number=number, question=question, given=given, marks=marks, tool=tool)
    state.answered.append(answered)
    if run.sitting.mode == "practice":
        _explain(run, screen, answered, show=True)


def _ask(screen: Screen) -> Given:
    began = time.monotonic()
    while True:
        reply = screen.ask("  good or faulty? [g / f / q to stop] ").strip().lower()
        if reply in _STOP:
            raise Stopped
        if reply in ("g", "good", "f", "faulty"):
            break
        screen.say("  please type g, f or q")
    named: tuple[Named, ...] = ()
    while reply.startswith("f") and not named:
        text = screen.ask("  where, and what? [for example: 4 weak, 10:30 off-line; ? for help] ")
        if text.strip().lower() in _STOP:
            raise Stopped
        if text.strip() in ("?", "help"):
            _help(screen)
            continue
        try:
            named = parse_named(text)
        except InputError as error:
            screen.say(f"  {error}")
    verdict = "faulty" if reply.startswith("f") else "good"
    return Given(verdict=verdict, named=named, seconds=time.monotonic() - began)


def _help(screen: Screen) -> None:
    screen.paragraph(
        "A place by the clock round the pattern and a kind, several with commas between. One "
        "letter will do for a kind; leave it out when you only see where."
    )
    for kind in QUIZ_KINDS.values():
        screen.paragraph(kind.looks, indent=4, title=kind.word)


def _welcome(run: Run, screen: Screen) -> None:
    what = "Practice: the questions follow what you find."
    if run.sitting.paper is not None:
        what = f"Exam, paper {run.sitting.paper}: the answers come at the end."
    screen.say(f"{run.sitting.trainee}. {what}")
    screen.paragraph(RULE)
    screen.paragraph(
        "Places go by the clock drawn round the pattern; count from where the hole should spray."
    )
    screen.paragraph(f"{CAUTION} {AID}")


def _explain(run: Run, screen: Screen, one: _Answered, *, show: bool) -> None:
    targets = one.question.targets
    screen.say("")
    screen.say(f"  {marks_in_words(one.marks, targets)}")
    screen.paragraph(truth_in_words(targets), title="On the card")
    for title, text in explanations(targets, one.question.spec.look_alike):
        screen.paragraph(text, title=title)
    if one.tool.assessment is None:
        screen.paragraph(one.tool.trouble, title="The tool cannot measure this photo")
        return
    first, *rest = tool_lines(one.tool.assessment)
    screen.paragraph(first, title="The tool")
    for line in rest:
        screen.say(f"    {line}")
    path = run.pictures / f"answer-{one.number:02d}.jpg"
    overlay = draw_overlay(one.tool.assessment, max_side_px=MAX_SIDE_PX)
    write_file(path, picture_bytes(overlay, quality=_QUALITY), "picture")
    opened = show and run.open_viewer and screen.show(path)
    screen.paragraph(f"{path}{' (opened)' if opened else ''}", title="Overlay")


def _end(run: Run, screen: Screen, state: _State) -> None:
    if run.sitting.mode == "exam":
        for one in state.answered:
            screen.say("")
            said = named_in_words(one.given.verdict, one.given.named)
            screen.say(f"Question {one.number}: you said {said}")
            _explain(run, screen, one, show=False)
    done = len(state.answered)
    right = sum(one.marks.verdict_right for one in state.answered)
    whole = sum(one.marks.all_right for one in state.answered)
    screen.say("")
    screen.say(f"{done} answered: verdict right on {right}, place and kind too on {whole}.")
    if done:
        screen.paragraph(
            f"Kept in {run.results}. See how small a fault you find: spraycheck quiz --report"
        )
