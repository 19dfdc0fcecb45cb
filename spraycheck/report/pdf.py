"""The report as a PDF on A4: verdict, picture, rows, what to do, how sure; the caution at the foot.

Plain on purpose: the bytes are the same for the same report.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

from reportlab.lib.colors import Color
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, KeepTogether

from spraycheck.report.looks import BADGES, Colour
from spraycheck.report.model import Headline, ReportModel, Row, Table
from spraycheck.report.page import (
    FOOT,
    GREY,
    LINE,
    bare_table,
    draw_foot,
    frame,
    paragraph,
    pdf_document,
)
from spraycheck.report.words.sentences import say

_WIDTH, _HEIGHT = A4
_MARGIN: Final = 15.0 * mm
_INNER: Final = _WIDTH - 2 * _MARGIN
_TOP: Final = 14.0 * mm
_SIZE: Final = 9.0
_SMALL: Final = 7.6
_PICTURE_HIGH: Final = 105.0 * mm
# So that verdict, picture and the rows of eight holes stand on the first page (chosen).


def pdf_report(
    report: ReportModel, pictures: Sequence[bytes] = (), *, made_with: str
) -> bytes:
    """Set a report.

    Parameters
    ----------
    report : ReportModel
        What is told.
    pictures : sequence of bytes
        PNG or JPEG of the report's pictures, in their order; fewer leave the last ones out.
    made_with : str
        Package version, for the record.

    Returns
    -------
    bytes
        PDF with fonts embedded.
    """
    story: list[Flowable] = [*_headline(report.headline)]
    for _, data in zip(report.pictures, pictures, strict=False):
        story.append(_picture(data))
    for table in report.tables:
        story.append(_table(table))
        story += [paragraph(note, _SMALL, colour=GREY, before=1 * mm) for note in table.notes]
    if report.findings:
        story.append(_heading("findings"))
    for number, finding in enumerate(report.findings, start=1):
        block: list[Flowable] = [
            paragraph(f"{number}. {finding.title}", _SIZE, bold=True, before=2 * mm),
            paragraph(finding.text, _SIZE),
        ]
        if finding.causes:
            block.append(paragraph(finding.causes, _SMALL, colour=GREY))
        story.append(KeepTogether(block))
    if report.certainty:
        story.append(_heading("certainty"))
    story += [paragraph(line, _SIZE, mark="–") for line in report.certainty]

    def foot(canvas: Canvas) -> None:
        draw_foot(canvas, made_with, margin=_MARGIN, width=_WIDTH)

    bottom = FOOT + 2 * mm
    page = frame(_MARGIN, bottom, _INNER, _HEIGHT - bottom - _TOP)
    title = f"{report.headline.title} {report.headline.about}".strip()
    return pdf_document(story, title=title, size=A4, first=[page], on_page=foot)


def _heading(key: str) -> Flowable:
    return paragraph(say(key), 11.5, bold=True, before=4 * mm)


def _headline(headline: Headline) -> list[Flowable]:
    title = paragraph(headline.title, 20, bold=True)
    reason = paragraph(headline.reason, 11, before=1 * mm)
    about = paragraph(headline.about, _SMALL, colour=GREY, before=1 * mm)
    if headline.verdict is None:
        return [title, reason, about]
    badge = BADGES[headline.verdict]
    ink = _colour(badge.ink)
    box = bare_table(
        [[[paragraph(headline.title, 20, bold=True, colour=ink),
           paragraph(headline.reason, 11, colour=ink)]]],
        [_INNER],
        look=[
            ("BACKGROUND", (0, 0), (-1, -1), _colour(badge.back)),
            *((f"{side}PADDING", (0, 0), (-1, -1), 3 * mm) for side in ("LEFT", "RIGHT")),
            *((f"{side}PADDING", (0, 0), (-1, -1), 2 * mm) for side in ("TOP", "BOTTOM")),
        ],
    )  # fmt: skip
    return [box, about]


def _picture(data: bytes) -> Flowable:
    width, height = ImageReader(io.BytesIO(data)).getSize()
    scale = min(_INNER / width, _PICTURE_HIGH / height)
    picture = Image(io.BytesIO(data), width=width * scale, height=height * scale)
    picture.spaceBefore = 3 * mm
    return picture


def _table(table: Table) -> Flowable:
    heads = [
        paragraph(column.head, _SMALL, colour=GREY, align=0 if column.left else 2)
        for column in table.columns
    ]
    if table.state:
        heads.append(paragraph(f"      {table.state}", _SMALL, colour=GREY))
    rows = [heads, *(_row(table, row) for row in table.rows)]
    count = len(heads)
    look: list[Any] = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.4, LINE),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8 * mm),
        ("RIGHTPADDING", (0, 0), (-1, -1), 1.5 * mm),
    ]
    return bare_table(rows, [_INNER / count] * count, before=3 * mm, look=look)


def _row(table: Table, row: Row) -> list[Any]:
    cells: list[Any] = [
        paragraph(
            f"{cell.text} ± {cell.u}" if cell.u else cell.text,
            _SIZE,
            align=0 if column.left else 2,
        )
        for column, cell in zip(table.columns, row.cells, strict=True)
    ]
    if table.state:
        word = row.wide_word or row.word
        sign = row.look.mark if row.look else ""
        cells.append(paragraph(f"   {sign} {word}", _SIZE, bold=bool(row.look and row.look.alarm)))
    return cells


def _colour(colour: Colour) -> Color:
    return Color(*(value / 255 for value in colour))
