"""Type for printed pages: free fonts, embedded, and the styles of running text."""

from __future__ import annotations

import functools
import io
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph

from spraycheck.report.card_page import FONTS, font_bytes

REGULAR, BOLD = "training-regular", "training-bold"

INK, GREY, LINE = HexColor(0x14191F), HexColor(0x55606B), HexColor(0xB8C0C8)
GREEN, RED, AMBER = HexColor(0x00664F), HexColor(0x8C1410), HexColor(0x6B4A00)
# Dark enough to stay legible where a printer makes them grey.


@functools.cache
def register_fonts() -> None:
    """Make the fonts known; once is enough."""
    for name, weight in ((REGULAR, "regular"), (BOLD, "bold")):
        assert weight in FONTS
        pdfmetrics.registerFont(TTFont(name, io.BytesIO(font_bytes(weight))))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR)


def style(size: float, *, bold: bool = False, colour: Color = INK) -> ParagraphStyle:
    """Return a style; leading 1.35 suits the fonts' tall small letters (chosen)."""
    return ParagraphStyle(
        name=f"{size:g}{bold}",
        fontName=BOLD if bold else REGULAR,
        fontSize=size,
        leading=1.35 * size,
        textColor=colour,
    )


def paragraph(text: str, size: float, *, bold: bool = False, colour: Color = INK) -> Paragraph:
    """Set plain text; nothing in it counts as markup."""
    return Paragraph(escape(text), style(size, bold=bold, colour=colour))


class Column:
    """A column that is filled from the top.

    Parameters
    ----------
    canvas : Canvas
        What is drawn on, in points from the bottom left.
    left, top, width : float
        Place, in mm from the page's bottom left.
    """

    def __init__(self, canvas: Canvas, left: float, top: float, width: float) -> None:
        self.canvas, self.left, self.y, self.width = canvas, left, top, width

    def put(self, flowable: Flowable, *, gap: float = 0.0, indent: float = 0.0) -> None:
        """Draw something below what is there already, ``gap`` mm lower."""
        self.y -= gap
        _, height = flowable.wrapOn(self.canvas, (self.width - indent) * mm, 1000 * mm)
        self.y -= height / mm
        flowable.drawOn(self.canvas, (self.left + indent) * mm, self.y * mm)

    def heading(self, text: str, *, size: float = 10.0, gap: float = 3.0) -> None:
        """Set a heading."""
        self.put(paragraph(text, size, bold=True), gap=gap)

    def text(self, text: str, *, size: float = 9.0, gap: float = 0.8) -> None:
        """Set a paragraph."""
        self.put(paragraph(text, size), gap=gap)

    def item(self, mark: str, text: str, *, size: float = 9.0, gap: float = 0.6) -> None:
        """Set a paragraph with a mark (a dot, a number) before it."""
        self.y -= gap
        at = self.y
        self.put(paragraph(mark, size, bold=True))
        self.y = at
        self.put(paragraph(text, size), indent=0.52 * size)
