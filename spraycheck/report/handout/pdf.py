"""The handout as a PDF of exactly one page, in the largest type that fits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from reportlab.lib.colors import black, white
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, HRFlowable, Table

from spraycheck.errors import InputError
from spraycheck.report.handout import Handout
from spraycheck.report.handout.sketches import Pattern
from spraycheck.report.page import (
    GREY,
    LINE,
    Drawing,
    bare_table,
    frame,
    height_of,
    paragraph,
    pdf_document,
    side_by_side,
)

_SIDE: Final = 14.0 * mm
# Laser printers leave up to about 6 mm bare; the rest is for holes and pins. Chosen.
_TOP: Final = 11.0 * mm
_GAP: Final = 6.0 * mm
_SIZES: Final = tuple(9.6 - 0.1 * step for step in range(25))
# Running text in points, largest first. Below 7.2 nobody reads a wall.
_HEAD: Final = 1.15
# A heading over running text.
_ACROSS: Final = 4
_SKETCH: Final = 15.0 * mm
# Radius of a healthy pattern.


def handout_pdf(handout: Handout) -> bytes:
    """Draw the handout.

    Parameters
    ----------
    handout : Handout
        From `compose_handout`.

    Returns
    -------
    bytes
        PDF of one page; the same handout gives the same bytes. Fonts are embedded.

    Raises
    ------
    InputError
        Its words do not fit the paper in type that can be read.
    """
    width, height = handout.width_mm * mm, handout.height_mm * mm
    inner, room = width - 2 * _SIDE, height - 2 * _TOP
    for size in _SIZES:
        story = _story(handout, inner, size)
        if height_of(story, inner) <= room:
            page = [frame(_SIDE, _TOP, inner, room)]
            return pdf_document(story, title=handout.title, size=(width, height), first=page)
    raise InputError(
        f"the handout's words do not fit {handout.width_mm:g} x {handout.height_mm:g} mm",
        "choose a larger paper",
    )


def _story(handout: Handout, inner: float, size: float) -> list[Flowable]:
    """Return everything from top to bottom, running text in a size."""
    steps = (("Make the card", handout.make), ("Photograph it", handout.photograph))
    return [
        paragraph(handout.title, 1.7 * size, bold=True),
        _cautions(handout.cautions, inner, size),
        paragraph("Good against bad, at a glance", _HEAD * size, bold=True, before=3.5 * mm),
        paragraph(handout.look, size, before=0.5 * mm),
        *_patterns(handout.patterns, inner, size),
        side_by_side(
            [_steps(title, lines, size) for title, lines in steps],
            inner,
            gap=_GAP,
            before=5.0 * mm,
        ),
        paragraph("What the tool's verdict means", _HEAD * size, bold=True, before=3.5 * mm),
        _verdicts(handout.verdicts, inner, size),
        HRFlowable(width="100%", thickness=0.8, color=LINE, spaceBefore=1.5 * mm, spaceAfter=0),
        paragraph(handout.agreed, 0.9 * size, before=1.5 * mm),
        paragraph(handout.aid, 0.9 * size, bold=True, before=0.8 * mm),
    ]


def _cautions(cautions: Sequence[str], inner: float, size: float) -> Table:
    """Return the cautions in a heavy frame with a black head; the first two in bold."""
    pad = 3.0 * mm
    halves = [
        [paragraph(text, size, bold=bold, before=1.0 * mm) for text in texts]
        for bold, texts in ((True, cautions[:2]), (False, cautions[2:]))
    ]
    head = paragraph("First: what can hurt you", _HEAD * size, bold=True, colour=white)
    return bare_table(
        [[head], [side_by_side(halves, inner - 2 * pad, gap=_GAP)]],
        [inner],
        before=2.5 * mm,
        look=[
            ("BOX", (0, 0), (-1, -1), 1.6, black),
            ("BACKGROUND", (0, 0), (-1, 0), black),
            ("LEFTPADDING", (0, 0), (-1, -1), pad),
            ("RIGHTPADDING", (0, 0), (-1, -1), pad),
            ("TOPPADDING", (0, 0), (-1, 0), 0.6 * mm),
            ("BOTTOMPADDING", (0, 0), (-1, 0), 1.4 * mm),
            ("TOPPADDING", (0, 1), (-1, 1), 1.2 * mm),
            ("BOTTOMPADDING", (0, 1), (-1, 1), 2.2 * mm),
        ],
    )


def _patterns(patterns: Sequence[Pattern], inner: float, size: float) -> list[Table]:
    """Return good against bad, `_ACROSS` in a row."""
    width = (inner - (_ACROSS - 1) * _GAP) / _ACROSS
    cells = [
        [
            Drawing(one.shapes(), width=width, height=2.56 * _SKETCH, scale=_SKETCH),
            paragraph(one.name, size, bold=True),
            paragraph(one.see, 0.9 * size, before=0.2 * mm),
        ]
        for one in patterns
    ]
    return [
        side_by_side(cells[first : first + _ACROSS], inner, gap=_GAP, before=1.5 * mm)
        for first in range(0, len(cells), _ACROSS)
    ]


def _steps(title: str, lines: Sequence[str], size: float) -> list[Flowable]:
    return [
        paragraph(title, _HEAD * size, bold=True),
        *(
            paragraph(line, size, mark=str(number), before=0.7 * mm)
            for number, line in enumerate(lines, start=1)
        ),
    ]


def _verdicts(verdicts: Sequence[tuple[str, str, str]], inner: float, size: float) -> Table:
    """Return the verdicts side by side, each under a line."""
    cells = [
        [
            paragraph(verdict.upper(), _HEAD * size, bold=True),
            paragraph(means, size, before=0.2 * mm),
            paragraph(then, size, before=0.6 * mm),
        ]
        for verdict, means, then in verdicts
    ]
    lines = [("LINEABOVE", (2 * k, 0), (2 * k, 0), 0.8, GREY) for k in range(len(cells))]
    air = ("TOPPADDING", (0, 0), (-1, -1), 0.6 * mm)
    return side_by_side(cells, inner, gap=_GAP, before=1.2 * mm, look=[*lines, air])
