"""The catalogue as a PDF: two columns, the caution at every page's foot."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final
from xml.sax.saxutils import escape

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer
from reportlab.platypus.doctemplate import BaseDocTemplate, NextPageTemplate, PageTemplate
from reportlab.platypus.frames import Frame

from spraycheck.report.atlas.typesetting import (
    BOLD,
    GREY,
    LINE,
    REGULAR,
    Column,
    paragraph,
    register_fonts,
    style,
)
from spraycheck.report.catalogue import ABOUT, MAY, NEXT, TITLE, Entry, Group
from spraycheck.report.words import AID, CAUTION

_WIDTH, _HEIGHT = A4[0] / mm, A4[1] / mm
_MARGIN: Final = 15.0
_GAP: Final = 7.0
_FOOT: Final = 27.0
_HEAD: Final = 33.0
_SIZE: Final = 8.2
# Chosen: small print of a manual, still clear on a 600 dpi laser printer.


def catalogue_pdf(groups: Sequence[Group], *, made_with: str) -> bytes:
    """Draw the catalogue.

    Parameters
    ----------
    groups : sequence of Group
        From `catalogue`.
    made_with : str
        Package version, for the record.

    Returns
    -------
    bytes
        PDF on A4; the same entries give the same bytes. Fonts are embedded.
    """
    register_fonts()
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=A4, invariant=1, title=TITLE, author="spraycheck", creator="spraycheck",
        initialFontName=REGULAR,
    )  # fmt: skip

    def foot(canvas: Canvas, _: Any) -> None:
        _foot(canvas, made_with)

    def head(canvas: Canvas, _: Any) -> None:
        column = Column(canvas, _MARGIN, _HEIGHT - 13, _WIDTH - 2 * _MARGIN)
        column.heading(TITLE, size=16, gap=0)
        column.text(ABOUT, size=_SIZE, gap=1)
        foot(canvas, _)

    document.addPageTemplates(
        [
            PageTemplate("first", _frames(_HEAD), onPage=head),
            PageTemplate("later", _frames(12), onPage=foot),
        ]
    )
    story: list[Flowable] = [NextPageTemplate("later")]
    for group in groups:
        for number, entry in enumerate(group.entries):
            block = _entry(entry)
            if number == 0:
                block = [paragraph(group.title, 12, bold=True), Spacer(0, 1.5 * mm), *block]
            story.append(KeepTogether(block))
    document.build(story)
    return out.getvalue()


def _frames(head: float) -> list[Frame]:
    width = (_WIDTH - 2 * _MARGIN - _GAP) / 2
    return [
        Frame(
            (_MARGIN + k * (width + _GAP)) * mm, _FOOT * mm, width * mm,
            (_HEIGHT - _FOOT - head) * mm,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0,
        )
        for k in range(2)
    ]  # fmt: skip


def _entry(entry: Entry) -> list[Flowable]:
    block: list[Flowable] = [
        paragraph(f"{entry.title}   ({entry.code})", 1.1 * _SIZE, bold=True),
        paragraph(entry.example, _SIZE),
        _labelled(entry.causes_line),
    ]
    if entry.next_step:
        block.append(_labelled(f"{NEXT}: {entry.next_step}"))
    block += [paragraph(f"· {case} {step}", _SIZE) for case, step in entry.cases]
    return [*block, Spacer(0, 2.6 * mm)]


def _labelled(text: str) -> Flowable:
    """Set a line with the word before its colon in bold, where it begins with `MAY` or `NEXT`."""
    for label in (f"{MAY}:", f"{NEXT}:"):
        if text.startswith(label):
            text = escape(text.removeprefix(label))
            return Paragraph(f'<font name="{BOLD}">{label}</font>{text}', style(_SIZE))
    return paragraph(text, _SIZE)


def _foot(canvas: Canvas, made_with: str) -> None:
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.6)
    canvas.line(_MARGIN * mm, (_FOOT - 1.5) * mm, (_WIDTH - _MARGIN) * mm, (_FOOT - 1.5) * mm)
    column = Column(canvas, _MARGIN, _FOOT - 2.2, _WIDTH - 2 * _MARGIN)
    column.put(paragraph(f"Safety. {CAUTION}", 7.2, bold=True))
    column.put(paragraph(AID, 7.2), gap=0.3)
    canvas.setFont(REGULAR, 7.2)
    canvas.setFillColor(GREY)
    canvas.drawString(_MARGIN * mm, 8 * mm, made_with)
    canvas.drawRightString((_WIDTH - _MARGIN) * mm, 8 * mm, str(canvas.getPageNumber()))
