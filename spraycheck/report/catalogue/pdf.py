"""The catalogue as a PDF: two columns, the caution at every page's foot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, FrameBreak, KeepTogether, Paragraph
from reportlab.platypus.frames import Frame

from spraycheck.report.catalogue import ABOUT, MAY, NEXT, TITLE, Entry, Group
from spraycheck.report.page import FOOT, draw_foot, frame, height_of, paragraph, pdf_document

_WIDTH, _HEIGHT = A4
_MARGIN: Final = 15.0 * mm
_INNER: Final = _WIDTH - 2 * _MARGIN
_GAP: Final = 7.0 * mm
_TOP: Final = 12.0 * mm
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
    head = [paragraph(TITLE, 16, bold=True), paragraph(ABOUT, _SIZE, before=1.0 * mm)]
    high = height_of(head, _INNER)
    story: list[Flowable] = [*head, FrameBreak()]
    for group in groups:
        for number, entry in enumerate(group.entries):
            block = _entry(entry, below=1.5 * mm if number == 0 else 2.6 * mm)
            if number == 0:
                block = [paragraph(group.title, 12, bold=True, before=2.6 * mm), *block]
            story.append(KeepTogether(block))

    def foot(canvas: Canvas) -> None:
        draw_foot(canvas, made_with, margin=_MARGIN, width=_WIDTH)

    return pdf_document(
        story,
        title=TITLE,
        size=A4,
        first=[
            frame(_MARGIN, _HEIGHT - _TOP - high, _INNER, high),
            *_columns(_TOP + high + 2.0 * mm),
        ],
        later=_columns(_TOP),
        on_page=foot,
    )


def _columns(head: float) -> list[Frame]:
    width = (_INNER - _GAP) / 2
    bottom = FOOT + 1.5 * mm
    return [
        frame(_MARGIN + k * (width + _GAP), bottom, width, _HEIGHT - bottom - head)
        for k in range(2)
    ]


def _entry(entry: Entry, *, below: float) -> list[Flowable]:
    """Return an entry, so far below what stands above it."""
    block: list[Flowable] = [
        paragraph(f"{entry.title}   ({entry.code})", 1.1 * _SIZE, bold=True, before=below),
        paragraph(entry.example, _SIZE),
        _labelled(entry.causes_line),
    ]
    if entry.next_step:
        block.append(_labelled(f"{NEXT}: {entry.next_step}"))
    return [*block, *(paragraph(f"· {case} {step}", _SIZE) for case, step in entry.cases)]


def _labelled(text: str) -> Paragraph:
    """Set a line with the words before its colon in bold, where it begins with `MAY` or `NEXT`."""
    label = next((f"{word}:" for word in (MAY, NEXT) if text.startswith(f"{word}:")), "")
    return paragraph(text.removeprefix(label), _SIZE, label=label)
