"""The atlas as a PDF: contents, one page per pattern, and how often tool and truth agreed."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

from reportlab.lib.colors import Color, HexColor, white
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Table, TableStyle

from spraycheck.report.atlas import (
    ABOUT,
    COLUMNS,
    HOW_TO_READ,
    KIND_IN_WORDS,
    TITLE,
    Atlas,
    AtlasPage,
    HoleRow,
)
from spraycheck.report.atlas.typesetting import (
    AMBER,
    BOLD,
    GREEN,
    GREY,
    INK,
    LINE,
    RED,
    REGULAR,
    Column,
    paragraph,
    register_fonts,
)
from spraycheck.report.words import AID, CAUTION

_WIDTH, _HEIGHT = A4[0] / mm, A4[1] / mm
_MARGIN: Final = 16.0
_INNER = _WIDTH - 2 * _MARGIN
_GAP: Final = 5.0
_KIND_COLOUR: Final = {"good": GREEN, "fault": RED, "look-alike": AMBER}
_MARK: Final = {"agrees": "✓", "undecided": "?", "differs": "≠"}
_LOWEST_LINE: Final = 28.5
# Where the caution begins: text must end above.


def atlas_pdf(atlas: Atlas) -> bytes:
    """Draw the atlas.

    Parameters
    ----------
    atlas : Atlas
        The pages.

    Returns
    -------
    bytes
        PDF; the same atlas gives the same bytes. Fonts are embedded.
    """
    register_fonts()
    out = io.BytesIO()
    name: Any = REGULAR
    canvas = Canvas(out, pagesize=A4, pageCompression=1, invariant=1, initialFontName=name)
    canvas.setTitle(TITLE)
    canvas.setAuthor("spraycheck")
    canvas.setCreator("spraycheck")
    _contents(canvas, atlas)
    group = ""
    for number, page in enumerate(atlas.pages, start=2):
        canvas.bookmarkPage(_key(number))
        if page.group != group:
            group = page.group
            canvas.addOutlineEntry(group, _key(number), level=0)
        canvas.addOutlineEntry(page.title, _key(number), level=1)
        _page(canvas, page, number)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _key(number: int) -> str:
    return f"page-{number}"


def _contents(canvas: Canvas, atlas: Atlas) -> None:
    column = Column(canvas, _MARGIN, _HEIGHT - 20, _INNER)
    column.heading(TITLE, size=24, gap=0)
    for text in ABOUT:
        column.text(text, size=9, gap=2)
    column.text(atlas.tally, size=9, gap=2)
    start = column.y - 6
    column = Column(canvas, _MARGIN, start, (_INNER - 8) / 2)
    group, half = "", (len(atlas.pages) + 1) // 2
    for number, page in enumerate(atlas.pages, start=2):
        if page.group != group:
            if number - 2 >= half and column.left == _MARGIN:
                column = Column(canvas, _MARGIN + column.width + 8, start, column.width)
            group = page.group
            column.heading(group, size=9.5, gap=3.2)
        column.text(f"{page.title}", size=8.5, gap=0.9)
        canvas.setFont(REGULAR, 8.5)
        canvas.setFillColor(INK)
        right, y = column.left + column.width, column.y + 1.0
        canvas.drawRightString(right * mm, y * mm, f"{_MARK[page.agreement]}   {number}")
        box = (column.left * mm, column.y * mm, right * mm, (column.y + 4) * mm)
        canvas.linkAbsolute(page.title, _key(number), box)
    column = Column(canvas, _MARGIN, 72, _INNER)
    column.heading("How to read the tables", gap=0)
    for name, meaning in HOW_TO_READ:
        column.text(f"{name}: {meaning}", size=8.5, gap=0.6)
    signs = (
        "✓ tool and truth agree, ? the tool does not decide (another card or photo), ≠ they differ"
    )
    column.text(signs, size=8.5, gap=0.6)
    _foot(canvas, atlas.made_with, 1)
    canvas.showPage()


def _page(canvas: Canvas, page: AtlasPage, number: int) -> None:
    """Draw a page; where much is to be told, the pictures give way."""
    tallest = (
        (_INNER - _GAP) / 2 * max(size[1] / size[0] for size in (page.photo_size, page.seen_size))
    )
    scratch = Canvas(io.BytesIO(), pagesize=A4)
    over = _LOWEST_LINE - _fill(scratch, page, number, tallest)
    _fill(canvas, page, number, tallest - max(0.0, over + 0.5))


def _fill(canvas: Canvas, page: AtlasPage, number: int, tallest: float) -> float:
    """Draw a page with pictures up to ``tallest`` mm high; return how far down it reaches."""
    column = Column(canvas, _MARGIN, _HEIGHT - 13, _INNER)
    _badge(canvas, KIND_IN_WORDS[page.kind], _KIND_COLOUR[page.kind])
    column.put(paragraph(page.group, 9, colour=GREY))
    column.heading(page.title, size=18, gap=0)
    side = (_INNER - _GAP) / 2
    pictures = (
        (page.photo, page.photo_size, "As photographed"),
        (page.seen, page.seen_size, "As the tool saw it"),
    )
    # Both stand on one line, so that the same place lies at the same height in both.
    foot = column.y - 3 - tallest
    column.y = min(
        _picture(
            canvas,
            jpeg,
            size,
            _MARGIN + k * (side + _GAP),
            foot,
            min(side, tallest * size[0] / size[1]),
            caption,
        )
        for k, (jpeg, size, caption) in enumerate(pictures)
    )
    column.put(_table(page.rows), gap=3.5)
    column.text(page.verdict_line, size=9, gap=2.5)
    if page.reason:
        column.text(f"The tool's reason: {page.reason}.", size=9, gap=0.5)
    for text in page.others:
        column.text(text, size=9, gap=0.5)
    third = (_INNER - 2 * _GAP) / 3
    columns = [Column(canvas, _MARGIN + k * (third + _GAP), column.y - 4, third) for k in range(3)]
    columns[0].heading("What to see", gap=0)
    columns[0].text(page.see)
    columns[1].heading("Likely causes", gap=0)
    for cause in page.causes:
        columns[1].item("·", f"{cause[0].upper()}{cause[1:]}.")
    columns[2].heading("What to do next", gap=0)
    for step in page.steps:
        columns[2].text(step)
    _foot(canvas, f"Make it again: {page.command}", number)
    return min(c.y for c in columns)


def _badge(canvas: Canvas, text: str, colour: Color) -> None:
    canvas.setFont(BOLD, 10)
    width = canvas.stringWidth(text, BOLD, 10) / mm + 8
    left = _WIDTH - _MARGIN - width
    canvas.setFillColor(colour)
    canvas.roundRect(left * mm, (_HEIGHT - 21.5) * mm, width * mm, 7.5 * mm, 2 * mm, 0, 1)
    canvas.setFillColor(white)
    canvas.drawCentredString((left + width / 2) * mm, (_HEIGHT - 19) * mm, text)


def _picture(
    canvas: Canvas,
    jpeg: bytes,
    size: tuple[int, int],
    left: float,
    foot: float,
    width: float,
    caption: str,
) -> float:
    """Draw a picture and its caption; return how far down they reach."""
    height = width * size[1] / size[0]
    canvas.drawImage(ImageReader(io.BytesIO(jpeg)), left * mm, foot * mm, width * mm, height * mm)
    canvas.setStrokeColor(LINE)
    canvas.setLineWidth(0.5)
    canvas.rect(left * mm, foot * mm, width * mm, height * mm, 1, 0)
    canvas.setFont(REGULAR, 7.5)
    canvas.setFillColor(GREY)
    canvas.drawString(left * mm, (foot - 3.6) * mm, caption)
    return foot - 4


def _table(rows: Sequence[HoleRow]) -> Table:
    heads = ("", "Truth, put in", "", "", "", "The tool measured", "", "", "")
    cells: list[tuple[str, ...]] = [heads, (*COLUMNS, "")]
    cells += [(*row.cells(), _MARK[row.agrees]) for row in rows]
    widths = [12, 16, 16, 18, 22, 26, 29, 25, 10]
    scale = _INNER / sum(widths)
    last = len(cells) - 1
    look: list[Any] = [
        ("FONT", (0, 0), (-1, -1), REGULAR, 8.6),
        ("FONT", (0, 0), (-1, 0), BOLD, 8.6),
        ("TEXTCOLOR", (0, 0), (-1, -1), INK),
        ("TEXTCOLOR", (0, 1), (-1, 1), GREY),
        ("LINEBELOW", (0, 1), (-1, 1), 0.6, GREY),
        ("LINEBELOW", (0, last), (-1, last), 0.6, GREY),
        ("LINEBEFORE", (5, 0), (5, last), 0.6, LINE),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ("LEFTPADDING", (0, 0), (-1, -1), 4),
        ("RIGHTPADDING", (0, 0), (-1, -1), 4),
        ("ALIGN", (0, 1), (3, -1), "RIGHT"),
        ("ALIGN", (5, 1), (6, -1), "RIGHT"),
        ("ALIGN", (8, 1), (8, -1), "CENTER"),
    ]
    for k, row in enumerate(rows, start=2):
        for place, state in ((4, row.true_state), (7, row.state)):
            if state != "clear":
                look.append(("FONT", (place, k), (place, k), BOLD, 8.6))
        if row.true_state != "clear" or row.agrees != "agrees":
            look.append(("BACKGROUND", (0, k), (-1, k), HexColor(0xEEF1F4)))
    return Table(cells, colWidths=[w * scale * mm for w in widths], style=TableStyle(look))


def _foot(canvas: Canvas, note: str, number: int) -> None:
    canvas.setStrokeColor(GREY)
    canvas.setLineWidth(0.5)
    canvas.line(_MARGIN * mm, 28 * mm, (_WIDTH - _MARGIN) * mm, 28 * mm)
    column = Column(canvas, _MARGIN, 27.4, _INNER)
    column.put(paragraph(f"Safety. {CAUTION}", 7.4, bold=True))
    column.put(paragraph(AID, 7.4), gap=0.3)
    Column(canvas, _MARGIN, 12, _INNER - 12).put(paragraph(note, 6.8, colour=GREY))
    canvas.setFillColor(GREY)
    canvas.setFont(REGULAR, 9)
    canvas.drawRightString((_WIDTH - _MARGIN) * mm, 9 * mm, str(number))
