"""The handout as a PDF of exactly one page, in the largest type that fits."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

from reportlab.lib.colors import black, white
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from spraycheck.errors import InputError
from spraycheck.report.atlas.typesetting import (
    BOLD,
    GREY,
    INK,
    LINE,
    REGULAR,
    Column,
    paragraph,
    register_fonts,
)
from spraycheck.report.handout import Handout
from spraycheck.report.handout.sketches import Dashes, Pattern

_MARGIN: Final = 14.0
# Laser printers leave up to about 6 mm bare; the rest is for holes and pins. Chosen.
_GAP: Final = 6.0
_SIZES: Final = tuple(9.6 - 0.1 * step for step in range(25))
# Running text in points, largest first. Below 7.2 nobody reads a wall.
_ACROSS: Final = 4
_SKETCH_MM: Final = 15.0
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
    register_fonts()
    for size in _SIZES:
        if _fill(_canvas(handout, io.BytesIO()), handout, size) >= _MARGIN - 3:
            out = io.BytesIO()
            canvas = _canvas(handout, out)
            _fill(canvas, handout, size)
            canvas.showPage()
            canvas.save()
            return out.getvalue()
    raise InputError(
        f"the handout's words do not fit {handout.width_mm:g} x {handout.height_mm:g} mm",
        "choose a larger paper",
    )


def _canvas(handout: Handout, out: io.BytesIO) -> Canvas:
    name: Any = REGULAR
    canvas = Canvas(
        out,
        pagesize=(handout.width_mm * mm, handout.height_mm * mm),
        pageCompression=1,
        invariant=1,
        initialFontName=name,
    )
    canvas.setTitle(handout.title)
    canvas.setAuthor("spraycheck")
    canvas.setCreator("spraycheck")
    return canvas


def _fill(canvas: Canvas, handout: Handout, size: float) -> float:
    """Draw everything; return how far down it reaches, mm from the page's foot."""
    inner = handout.width_mm - 2 * _MARGIN
    column = Column(canvas, _MARGIN, handout.height_mm - _MARGIN + 3, inner)
    column.heading(handout.title, size=1.7 * size, gap=0)
    y = _cautions(canvas, handout.cautions, column.y - 2.5, inner, size)
    y = _patterns(canvas, handout, y - 3.5, inner, size)
    half = (inner - _GAP) / 2
    ends = []
    for k, (title, steps) in enumerate(
        (("Make the card", handout.make), ("Photograph it", handout.photograph))
    ):
        part = Column(canvas, _MARGIN + k * (half + _GAP), y - 3.5, half)
        part.heading(title, size=1.15 * size, gap=0)
        for number, step in enumerate(steps, start=1):
            part.item(str(number), step, size=size, gap=0.7)
        ends.append(part.y)
    y = _verdicts(canvas, handout.verdicts, min(ends) - 3.5, inner, size)
    foot = Column(canvas, _MARGIN, y - 1.5, inner)
    foot.text(handout.agreed, size=0.9 * size, gap=0)
    foot.put(paragraph(handout.aid, 0.9 * size, bold=True), gap=0.8)
    return foot.y


def _cautions(
    canvas: Canvas, cautions: Sequence[str], top: float, inner: float, size: float
) -> float:
    """Draw the cautions in a heavy frame with a black head; return its foot."""
    head, pad = 0.55 * size + 0.8, 3.0
    half = (inner - 2 * pad - _GAP) / 2
    ends = []
    for k in range(2):
        left = _MARGIN + pad + k * (half + _GAP)
        part = Column(canvas, left, top - head - 0.8, half)
        for text in cautions[2 * k : 2 * k + 2]:
            part.put(paragraph(text, size, bold=k == 0), gap=1.0)
        ends.append(part.y)
    foot = min(ends) - 2.2
    canvas.setStrokeColor(black)
    canvas.setLineWidth(1.6)
    canvas.rect(_MARGIN * mm, foot * mm, inner * mm, (top - foot) * mm, 1, 0)
    canvas.setFillColor(black)
    canvas.rect(_MARGIN * mm, (top - head) * mm, inner * mm, head * mm, 0, 1)
    canvas.setFillColor(white)
    canvas.setFont(BOLD, 1.15 * size)
    text = "First: what can hurt you"
    canvas.drawString((_MARGIN + pad) * mm, (top - head + 0.27 * head) * mm, text)
    return foot


def _patterns(canvas: Canvas, handout: Handout, top: float, inner: float, size: float) -> float:
    """Draw good against bad in rows; return how far down they reach."""
    column = Column(canvas, _MARGIN, top, inner)
    column.heading("Good against bad, at a glance", size=1.15 * size, gap=0)
    column.text(handout.look, size=size, gap=0.5)
    y, width = column.y, (inner - (_ACROSS - 1) * _GAP) / _ACROSS
    for first in range(0, len(handout.patterns), _ACROSS):
        ends = []
        for k, pattern in enumerate(handout.patterns[first : first + _ACROSS]):
            left = _MARGIN + k * (width + _GAP)
            reach = 1.28 * _SKETCH_MM
            _sketch(canvas, pattern, left + width / 2, y - 1.0 - reach)
            part = Column(canvas, left, y - 1.0 - 2 * reach, width)
            part.put(_named(pattern, size))
            part.text(pattern.see, size=0.9 * size, gap=0.2)
            ends.append(part.y)
        y = min(ends) - 1.5
    return y


def _named(pattern: Pattern, size: float) -> Any:
    if pattern.kind == pattern.title.lower():
        return paragraph(pattern.title, size, bold=True)
    return paragraph(f"{pattern.title}: {pattern.kind}", size, bold=True)


def _sketch(canvas: Canvas, pattern: Pattern, x: float, y: float) -> None:
    """Draw a pattern about a place in mm from the page's bottom left."""
    canvas.saveState()
    canvas.translate(x * mm, y * mm)
    canvas.scale(_SKETCH_MM * mm, -_SKETCH_MM * mm)
    for mark in pattern.marks():
        path = canvas.beginPath()
        points = mark.points if isinstance(mark, Dashes) else mark.outline
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if isinstance(mark, Dashes):
            canvas.setStrokeColor(INK)
            canvas.setLineWidth(0.022)
            canvas.setDash([0.06, 0.045])
            canvas.drawPath(path, stroke=1, fill=0)
        else:
            path.close()
            canvas.setFillGray(mark.grey)
            canvas.drawPath(path, stroke=0, fill=1)
    canvas.restoreState()


def _verdicts(
    canvas: Canvas,
    verdicts: Sequence[tuple[str, str, str]],
    top: float,
    inner: float,
    size: float,
) -> float:
    """Draw the verdicts side by side; return how far down they reach."""
    column = Column(canvas, _MARGIN, top, inner)
    column.heading("What the tool's verdict means", size=1.15 * size, gap=0)
    width = (inner - (len(verdicts) - 1) * _GAP) / len(verdicts)
    ends = []
    for k, (verdict, means, then) in enumerate(verdicts):
        left = _MARGIN + k * (width + _GAP)
        canvas.setStrokeColor(GREY)
        canvas.setLineWidth(0.8)
        canvas.line(left * mm, (column.y - 1.2) * mm, (left + width) * mm, (column.y - 1.2) * mm)
        part = Column(canvas, left, column.y - 1.8, width)
        part.put(paragraph(verdict.upper(), 1.15 * size, bold=True))
        part.text(means, size=size, gap=0.2)
        part.text(then, size=size, gap=0.6)
        ends.append(part.y)
    canvas.setStrokeColor(LINE)
    foot = min(ends) - 1.5
    canvas.line(_MARGIN * mm, foot * mm, (_MARGIN + inner) * mm, foot * mm)
    return foot
