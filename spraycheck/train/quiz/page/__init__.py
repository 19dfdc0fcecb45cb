"""The quiz as one HTML file that runs from a USB stick: pictures, answers and script inside.

It asks for nothing from a network. What it keeps has the form of the results file, so that saved
answers can be read by a report beside those of the terminal.
"""

from __future__ import annotations

import contextlib
import json
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from spraycheck.constants import RESULTS_VERSION
from spraycheck.errors import InputError
from spraycheck.photo.files import shown
from spraycheck.report.contact_sheet import data_address
from spraycheck.report.page_template import page_template, page_text
from spraycheck.report.words import AID, CAUTION
from spraycheck.train.encoding import picture_bytes
from spraycheck.train.quiz.dial_picture import question_picture
from spraycheck.train.quiz.kinds import QUIZ_KINDS
from spraycheck.train.quiz.question import QuestionSpec, draw_question, judge_question, score_tool
from spraycheck.train.quiz.record import SCHEMA
from spraycheck.train.quiz.score import UNNAMED, DrawnJet, Score
from spraycheck.train.quiz.selection import exam_questions
from spraycheck.train.quiz.words import (
    RULE,
    explanations,
    fault_in_words,
    truth_in_words,
)

_QUALITY, _OVERLAY_PX = 82, 900
# Chosen so that 20 questions stay below 15 MB, with half to spare, and look no worse on a laptop.


@dataclass(frozen=True, kw_only=True)
class PageQuestion:
    """One question with everything that is shown after it.

    Parameters
    ----------
    seed, holes, look_alike
        As of the record.
    jets : tuple of DrawnJet
        The truth.
    picture, overlay : bytes
        JPEGs; the overlay empty where the tool could not measure.
    hours : sequence of (float, float)
        Where 1 o'clock to 12 o'clock lie in the picture, as shares of its width and height.
    tool_verdict : str
        ``pass``, ``fail``, ``recheck`` or ``failed``.
    tool_score : Score
        The tool's answer, scored.
    tool_lines : sequence of str
        Its verdict and numbers.
    """

    seed: int
    holes: int
    look_alike: str
    jets: tuple[DrawnJet, ...]
    picture: bytes
    overlay: bytes
    hours: Sequence[tuple[float, float]]
    tool_verdict: str
    tool_score: Score
    tool_lines: Sequence[str]


def quiz_page(
    questions: Iterable[PageQuestion],
    *,
    title: str,
    exam: bool,
    seed: int,
    results_version: int,
    name: str = "",
) -> Iterator[str]:
    """Write the page, piece by piece.

    Parameters
    ----------
    questions : iterable of PageQuestion
        Looked at once, one at a time.
    title : str
        Of the page.
    exam : bool
        Keep the answers for the end.
    seed : int
        Of the exam; its number on the page.
    results_version : int
        Of the tool.
    name : str
        Of the trainee, to begin with.

    Yields
    ------
    str
        Parts of one HTML document.
    """
    setup = {
        "schema": SCHEMA,
        "exam": exam,
        "paper": seed,
        "version": results_version,
        "unnamed": UNNAMED,
        "kinds": [*QUIZ_KINDS],
    }
    yield from page_template(__package__).generate(
        title=title,
        exam=exam,
        name=name,
        rule=RULE,
        aid=AID,
        caution=CAUTION,
        kinds=[(kind.word, kind.looks) for kind in QUIZ_KINDS.values()],
        setup=_inert(setup),
        questions=(_inert(_data(question)) for question in questions),
        style=page_text(__package__, "style.css"),
        script=page_text(__package__, "script.js"),
    )


def _data(q: PageQuestion) -> dict[str, Any]:
    faulty = [jet for jet in q.jets if jet.kind]
    return {
        "seed": q.seed,
        "holes": q.holes,
        "lookAlike": q.look_alike,
        "jets": [
            {
                "hole": t.hole,
                "kind": t.kind,
                "severity": round(t.severity, 4) if math.isfinite(t.severity) else None,
                "at": [round(a, 1) for a in (t.expected_deg, t.direction_deg) if math.isfinite(a)],
                "words": fault_in_words(t) if t.kind else "",
            }
            for t in q.jets
        ],
        "picture": data_address(q.picture),
        "overlay": data_address(q.overlay),
        "hours": [[round(float(x), 4), round(float(y), 4)] for x, y in q.hours],
        "truth": truth_in_words(q.jets),
        "explain": explanations(q.jets, q.look_alike),
        "tool": {
            "verdict": q.tool_verdict,
            "found": list(q.tool_score.found) if faulty else [],
            "falseHoles": q.tool_score.false_holes,
            "falseStray": q.tool_score.false_stray,
            "lines": list(q.tool_lines),
        },
    }


def _inert(value: object) -> str:
    """Return JSON that can stand inside a script element: only "<" could end it early."""
    return json.dumps(value, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


def export_page(
    target: str,
    *,
    seed: int,
    questions: int,
    exam: bool,
    name: str = "",
    tell: Callable[[str], None] = lambda line: None,
) -> tuple[Path, int]:
    """Draw an exam, let the tool judge it, and write the page.

    Parameters
    ----------
    target : str
        A file that ends in .html, or a folder, made when missing.
    seed, questions : int
        Of the exam.
    exam : bool
        Keep the answers for the end.
    name : str
        Of the trainee, to begin with.
    tell : callable
        Gets a line now and then.

    Returns
    -------
    Path
        The page.
    int
        Its size in bytes.

    Raises
    ------
    InputError
        It cannot be written, or an impossible exam.
    """
    specs = exam_questions(seed, questions)
    kind = "exam" if exam else "practice"
    path = Path(target)
    if path.suffix.lower() not in (".html", ".htm"):
        path = path / f"quiz-{kind}-{seed}.html"
    unfinished = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(unfinished, "w", encoding="utf-8") as file:
            pieces = quiz_page(
                _drawn(specs, tell),
                title=f"Reading spray cards: {kind}, paper {seed}",
                exam=exam,
                seed=seed,
                results_version=RESULTS_VERSION,
                name=name,
            )
            for piece in pieces:
                file.write(piece)
        unfinished.replace(path)  # a drawing broken off leaves an older page as it was
        return path, path.stat().st_size
    except OSError as error:
        raise InputError(
            f"page {shown(path)} cannot be written ({error.strerror})", "choose another place"
        ) from None
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()


def page_question(spec: QuestionSpec) -> PageQuestion:
    """Draw a question with everything that is shown after it."""
    question = draw_question(spec)
    tool = judge_question(question)
    picture, hours = question_picture(
        question.rgb, question.hours_px, question.half_hours_px, question.sheet_px
    )
    rows, cols = picture.shape[:2]
    drawn = tool.overlay(_OVERLAY_PX)
    return PageQuestion(
        seed=spec.seed,
        holes=question.holes,
        look_alike=spec.look_alike,
        jets=question.jets,
        picture=picture_bytes(picture, quality=_QUALITY),
        overlay=b"" if drawn is None else picture_bytes(drawn, quality=_QUALITY),
        hours=[(x / cols, y / rows) for x, y in hours],
        tool_verdict=tool.verdict,
        tool_score=score_tool(question, tool),
        tool_lines=tool.lines(),
    )


def _drawn(specs: tuple[QuestionSpec, ...], tell: Callable[[str], None]) -> Iterator[PageQuestion]:
    for number, spec in enumerate(specs, start=1):
        yield page_question(spec)
        if number % 5 == 0 or number == len(specs):
            tell(f"{number} of {len(specs)} questions drawn")
