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
    INK,
    LINE,
    bare_table,
    draw_foot,
    frame,
    paragraph,
    pdf_document,
    text_width,
)
from spraycheck.report.words.sentences import say

_WIDTH, _HEIGHT = A4
_MARGIN: Final = 15.0 * mm
_INNER: Final = _WIDTH - 2 * _MARGIN
_TOP: Final = 14.0 * mm
_SIZE: Final = 9.0
_SMALL: Final = 7.6
_PADDING: Final = 4.0 * mm
_PICTURE_HIGH: Final = 105.0 * mm
# So that verdict, picture and the rows of eight holes stand on the first page (chosen).


def pdf_report(report: ReportModel, pictures: Sequence[bytes] = (), *, made_with: str) -> bytes:
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
    lines = [[column.head for column in table.columns]]
    lines += [[f"{c.text} ±{c.u}" if c.u else c.text for c in row.cells] for row in table.rows]
    left = [column.left for column in table.columns]
    if table.state:
        lines[0].append(f"    {table.state}")
        for line, row in zip(lines[1:], table.rows, strict=True):
            line.append(f"{row.look.mark if row.look else ' '} {row.wide_word or row.word}")
        left.append(True)
    widths = [
        _PADDING + max(text_width(line[k], _SIZE, bold=True) for line in lines)
        for k in range(len(left))
    ]
    fit = min(1.0, _INNER / sum(widths))
    rows = [
        [
            paragraph(
                text,
                _SIZE if number else _SMALL,
                bold=number > 0 and k >= len(table.columns) and _alarm(table.rows[number - 1]),
                colour=INK if number else GREY,
                align=0 if left[k] else 2,
            )
            for k, text in enumerate(line)
        ]
        for number, line in enumerate(lines)
    ]
    look: list[Any] = [
        ("LINEBELOW", (0, 0), (-1, 0), 0.4, LINE),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8 * mm),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3 * mm),
    ]
    made = bare_table(rows, [fit * width for width in widths], before=3 * mm, look=look)
    made.hAlign = "LEFT"
    return made


def _alarm(row: Row) -> bool:
    return row.look is not None and row.look.alarm


def _colour(colour: Colour) -> Color:
    return Color(*(value / 255 for value in colour))
