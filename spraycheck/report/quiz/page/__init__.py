"""The quiz as one HTML file that runs from a USB stick: pictures, answers and script inside.

It asks for nothing from a network. What it keeps has the form of the results file, so that saved
answers can be read by a report beside those of the terminal.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from spraycheck.report.contact_sheet import data_address
from spraycheck.report.page_template import page_template, page_text
from spraycheck.report.quiz.kinds import QUIZ_KINDS
from spraycheck.report.quiz.marking import UNNAMED, Marks, Target
from spraycheck.report.quiz.records import SCHEMA
from spraycheck.report.quiz.words import RULE, explanations, fault_in_words, truth_in_words
from spraycheck.report.words import AID, CAUTION


@dataclass(frozen=True, kw_only=True)
class PageQuestion:
    """One question with everything that is shown after it.

    Parameters
    ----------
    seed, holes, look_alike
        As of the record.
    targets : tuple of Target
        The truth.
    picture, overlay : bytes
        JPEGs; the overlay empty where the tool could not measure.
    hours : sequence of (float, float)
        Where 1 o'clock to 12 o'clock lie in the picture, as shares of its width and height.
    tool_verdict : str
        ``pass``, ``fail``, ``recheck`` or ``failed``.
    tool_marks : Marks
        The tool's answer, marked.
    tool_lines : sequence of str
        Its verdict and numbers.
    """

    seed: int
    holes: int
    look_alike: str
    targets: tuple[Target, ...]
    picture: bytes
    overlay: bytes
    hours: Sequence[tuple[float, float]]
    tool_verdict: str
    tool_marks: Marks
    tool_lines: Sequence[str]


def quiz_page(
    questions: Iterable[PageQuestion],
    *,
    title: str,
    exam: bool,
    paper: int,
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
    paper : int
        Seed of the paper.
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
        "paper": paper,
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
    faulty = [target for target in q.targets if target.kind]
    return {
        "seed": q.seed,
        "holes": q.holes,
        "lookAlike": q.look_alike,
        "targets": [
            {
                "hole": t.hole,
                "kind": t.kind,
                "severity": round(t.severity, 4) if math.isfinite(t.severity) else None,
                "at": [round(a, 1) for a in (t.expected_deg, t.direction_deg) if math.isfinite(a)],
                "words": fault_in_words(t) if t.kind else "",
            }
            for t in q.targets
        ],
        "picture": data_address(q.picture),
        "overlay": data_address(q.overlay),
        "hours": [[round(float(x), 4), round(float(y), 4)] for x, y in q.hours],
        "truth": truth_in_words(q.targets),
        "explain": explanations(q.targets, q.look_alike),
        "tool": {
            "verdict": q.tool_verdict,
            "found": list(q.tool_marks.found) if faulty else [],
            "falseHoles": q.tool_marks.false_holes,
            "falseStray": q.tool_marks.false_stray,
            "lines": list(q.tool_lines),
        },
    }


def _inert(value: object) -> str:
    """Return JSON that can stand inside a script element: only "<" could end it early."""
    return json.dumps(value, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")
