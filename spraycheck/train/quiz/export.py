"""Writing the quiz as one HTML file."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

from spraycheck.constants import RESULTS_VERSION
from spraycheck.errors import InputError
from spraycheck.photo.files import shown
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.quiz.page import PageQuestion, quiz_page
from spraycheck.report.quiz.picture import question_picture
from spraycheck.report.quiz.words import tool_lines
from spraycheck.train.pictures import picture_bytes
from spraycheck.train.quiz.papers import fixed_paper
from spraycheck.train.quiz.questions import QuestionSpec, ask_tool, draw_question

_QUALITY, _OVERLAY_PX = 82, 900
# Chosen so that 20 questions stay below 15 MB, with half to spare, and look no worse on a laptop.


def export_page(
    target: str,
    *,
    seed: int,
    questions: int,
    exam: bool,
    name: str = "",
    tell: Callable[[str], None] = lambda line: None,
) -> tuple[Path, int]:
    """Draw a paper, let the tool judge it, and write the page.

    Parameters
    ----------
    target : str
        A file that ends in .html, or a folder, made when missing.
    seed, questions : int
        Of the paper.
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
        It cannot be written, or an impossible paper.
    """
    paper = fixed_paper(seed, questions)
    kind = "exam" if exam else "practice"
    path = Path(target)
    if path.suffix.lower() not in (".html", ".htm"):
        path = path / f"quiz-{kind}-{seed}.html"
    unfinished = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with open(unfinished, "w", encoding="utf-8") as file:
            pieces = quiz_page(
                _drawn(paper, tell),
                title=f"Reading spray cards: {kind}, paper {seed}",
                exam=exam,
                paper=seed,
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
    tool = ask_tool(question)
    picture, hours = question_picture(
        question.rgb, question.hours_px, question.half_hours_px, question.sheet_px
    )
    rows, cols = picture.shape[:2]
    overlay, lines = b"", [f"The tool cannot measure this photo: {tool.trouble}"]
    if tool.assessment is not None:
        drawn = draw_overlay(tool.assessment, max_side_px=_OVERLAY_PX)
        overlay, lines = picture_bytes(drawn, quality=_QUALITY), tool_lines(tool.assessment)
    return PageQuestion(
        seed=spec.seed,
        holes=question.holes,
        look_alike=spec.look_alike,
        targets=question.targets,
        picture=picture_bytes(picture, quality=_QUALITY),
        overlay=overlay,
        hours=[(x / cols, y / rows) for x, y in hours],
        tool_verdict=tool.verdict,
        tool_marks=tool.marks,
        tool_lines=lines,
    )


def _drawn(paper: tuple[QuestionSpec, ...], tell: Callable[[str], None]) -> Iterator[PageQuestion]:
    for number, spec in enumerate(paper, start=1):
        yield page_question(spec)
        if number % 5 == 0 or number == len(paper):
            tell(f"{number} of {len(paper)} questions drawn")
