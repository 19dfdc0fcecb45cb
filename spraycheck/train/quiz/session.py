"""The quiz in a terminal: show, ask, keep, explain."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from spraycheck.errors import InputError
from spraycheck.output_files import write_file
from spraycheck.report.words import AID, CAUTION
from spraycheck.train.encoding import picture_bytes
from spraycheck.train.quiz.dial_picture import MAX_SIDE_PX, question_picture
from spraycheck.train.quiz.kinds import QUIZ_KINDS
from spraycheck.train.quiz.question import (
    Question,
    QuestionSpec,
    draw_question,
    judge_question,
)
from spraycheck.train.quiz.record import Answer, Session, practice_history, record_of
from spraycheck.train.quiz.results_file import append_results, read_results
from spraycheck.train.quiz.score import NamedPlace, Score, parse_places
from spraycheck.train.quiz.selection import exam_questions, practice_question
from spraycheck.train.quiz.words import (
    RULE,
    answer_in_words,
    explanations,
    score_in_words,
    truth_in_words,
)
from spraycheck.train.tool_answer import ToolAnswer

_QUALITY = 85
# Of a picture to look at; common practice, no source.


_STOP = ("q", "quit", "stop")


def show_picture(path: Path) -> bool:
    """Open a picture with the system's viewer, without waiting for it.

    Returns
    -------
    bool
        Whether there was a viewer to start; a screen that shows nothing cannot be told apart.
    """
    command = viewer_command()
    try:
        if sys.platform == "win32":
            os.startfile(path)
        elif command:
            subprocess.Popen(
                [*command, str(path)],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
        else:
            return False
    except OSError:
        return False
    return True


def viewer_command() -> list[str]:
    """Return what opens a picture here; empty where nothing can (no screen, no viewer)."""
    if sys.platform == "darwin":
        return ["open"]
    if sys.platform == "win32":
        return ["start"]
    screen = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return ["xdg-open"] if screen and shutil.which("xdg-open") else []


class Stopped(Exception):
    """The trainee has had enough."""


@dataclass(frozen=True, kw_only=True)
class Dialogue:
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
class SessionSetup:
    """A session to be held.

    Parameters
    ----------
    session : Session
        Who, since when, which exam.
    questions : int
        At most this many.
    results : Path
        Where answers are kept.
    pictures : Path
        Folder for the pictures.
    seed : int
        Of a practice's chance; an exam has its own.
    open_viewer : bool
        Whether to open pictures with the system's viewer.
    """

    session: Session
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
    answer: Answer
    score: Score
    tool: ToolAnswer


@dataclass(kw_only=True)
class _State:
    history: dict[str, list[bool]] = field(default_factory=dict)
    recent: list[bool] = field(default_factory=list)
    answered: list[_Answered] = field(default_factory=list)


def run_session(setup: SessionSetup, screen: Dialogue) -> int:
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
    records = read_results(setup.results, missing_ok=True).records
    append_results(setup.results, ())  # a file that cannot be written is told before any question
    exam = setup.session.mode == "exam"
    state = _State(history=practice_history(records, setup.session.trainee))
    _welcome(setup, screen)
    rng = np.random.default_rng([setup.seed, len(records)])
    fixed = exam_questions(setup.session.exam or 0, setup.questions) if exam else ()
    with ThreadPoolExecutor(max_workers=1) as pool:
        try:
            for number in range(1, setup.questions + 1):
                if exam:
                    spec = fixed[number - 1]
                else:
                    spec = practice_question(rng, state.history, state.recent)
                _one(setup, screen, state, number, spec, pool)
        except Stopped:
            pass
        except KeyboardInterrupt:
            screen.say("")
            _end(setup, screen, state)
            raise
    _end(setup, screen, state)
    return len(state.answered)


def _one(
    setup: SessionSetup, screen: Dialogue, state: _State, number: int, spec: QuestionSpec,
    pool: ThreadPoolExecutor,
) -> None:  # fmt: skip
    question = draw_question(spec)
    # The tool judges while the trainee looks.
    judging: Future[ToolAnswer] = pool.submit(judge_question, question)
    picture, _ = question_picture(
        question.rgb, question.hours_px, question.half_hours_px, question.sheet_px
    )
    path = setup.pictures / f"question-{number:02d}.jpg"
    write_file(path, picture_bytes(picture, quality=_QUALITY), "picture")
    opened = setup.open_viewer and screen.show(path)
    screen.say("")
    screen.say(
        f"Question {number} of {setup.questions}: a nozzle with {question.holes} equal holes"
    )
    screen.paragraph(f"{path}{' (opened)' if opened else ' - open this picture'}")
    answer = _ask(screen)
    tool = judging.result()
    record, score = record_of(setup.session, number, question, answer, tool)
    append_results(setup.results, (record,))
    state.recent.append(record.faulty)
    for fault in record.faults:
        state.history.setdefault(fault.kind, []).append(fault.found)
    answered = _Answered(number=number, question=question, answer=answer, score=score, tool=tool)
    state.answered.append(answered)
    if setup.session.mode == "practice":
        _explain(setup, screen, answered, show=True)


def _ask(screen: Dialogue) -> Answer:
    began = time.monotonic()
    while True:
        reply = screen.ask("  good or faulty? [g / f / q to stop] ").strip().lower()
        if reply in _STOP:
            raise Stopped
        if reply in ("g", "good", "f", "faulty"):
            break
        screen.say("  please type g, f or q")
    named: tuple[NamedPlace, ...] = ()
    while reply.startswith("f") and not named:
        text = screen.ask("  where, and what? [for example: 4 weak, 10:30 off-line; ? for help] ")
        if text.strip().lower() in _STOP:
            raise Stopped
        if text.strip() in ("?", "help"):
            _help(screen)
            continue
        try:
            named = parse_places(text)
        except InputError as error:
            screen.say(f"  {error}")
    verdict = "faulty" if reply.startswith("f") else "good"
    return Answer(verdict=verdict, named=named, seconds=time.monotonic() - began)


def _help(screen: Dialogue) -> None:
    screen.paragraph(
        "A place by the clock round the pattern and a kind, several with commas between. One "
        "letter will do for a kind; leave it out when you only see where."
    )
    for kind in QUIZ_KINDS.values():
        screen.paragraph(kind.looks, indent=4, title=kind.word)


def _welcome(setup: SessionSetup, screen: Dialogue) -> None:
    what = "Practice: the questions follow what you find."
    if setup.session.exam is not None:
        what = f"Exam, paper {setup.session.exam}: the answers come at the end."
    screen.say(f"{setup.session.trainee}. {what}")
    screen.paragraph(RULE)
    screen.paragraph(
        "Places go by the clock drawn round the pattern; count from where the hole should spray."
    )
    screen.paragraph(f"{CAUTION} {AID}")


def _explain(setup: SessionSetup, screen: Dialogue, one: _Answered, *, show: bool) -> None:
    jets = one.question.jets
    screen.say("")
    screen.say(f"  {score_in_words(one.score, jets)}")
    screen.paragraph(truth_in_words(jets), title="On the card")
    for title, text in explanations(jets, one.question.spec.look_alike):
        screen.paragraph(text, title=title)
    overlay = one.tool.overlay(MAX_SIDE_PX)
    if overlay is None:
        screen.paragraph(one.tool.trouble, title="The tool cannot measure this photo")
        return
    first, *rest = one.tool.lines()
    screen.paragraph(first, title="The tool")
    for line in rest:
        screen.say(f"    {line}")
    path = setup.pictures / f"answer-{one.number:02d}.jpg"
    write_file(path, picture_bytes(overlay, quality=_QUALITY), "picture")
    opened = show and setup.open_viewer and screen.show(path)
    screen.paragraph(f"{path}{' (opened)' if opened else ''}", title="Overlay")


def _end(setup: SessionSetup, screen: Dialogue, state: _State) -> None:
    if setup.session.mode == "exam":
        for one in state.answered:
            screen.say("")
            said = answer_in_words(one.answer.verdict, one.answer.named)
            screen.say(f"Question {one.number}: you said {said}")
            _explain(setup, screen, one, show=False)
    done = len(state.answered)
    right = sum(one.score.verdict_right for one in state.answered)
    whole = sum(one.score.all_right for one in state.answered)
    screen.say("")
    screen.say(f"{done} answered: verdict right on {right}, place and kind too on {whole}.")
    if done:
        screen.paragraph(
            f"Kept in {setup.results}. See how small a fault you find: spraycheck quiz --report"
        )
