"""Target cards as a vector PDF at true scale."""

from __future__ import annotations

import functools
import io
from collections.abc import Sequence
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from spraycheck.report.card_page import (
    FONTS,
    MM_PER_PT,
    CardPage,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Words,
    font_bytes,
)


def card_pdf(pages: Sequence[CardPage]) -> bytes:
    """Draw cards, one page each.

    Parameters
    ----------
    pages : sequence of CardPage
        From `compose_card`.

    Returns
    -------
    bytes
        The same pages always give the same bytes: no time of making stands in the file. Fonts are
        embedded, and the viewer is told to print without scaling.
    """
    _register_fonts()
    out = io.BytesIO()
    first = pages[0]
    # Named here, or the file asks every viewer for a font that is not in it.
    font: Any = _font(False)
    canvas = Canvas(
        out, pagesize=_size(first), pageCompression=1, invariant=1, initialFontName=font
    )
    canvas.setTitle(first.title)
    canvas.setAuthor("spraycheck")
    canvas.setCreator("spraycheck")
    canvas.setSubject("Target card at true scale: print at 100 %")
    # ISO 32000-1, table 150: without it many viewers shrink a page to the printer's margins.
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        canvas.setPageSize(_size(page))
        # Card frame: millimetres from the sheet's middle, y down.
        canvas.translate(page.width_mm / 2 / MM_PER_PT, page.height_mm / 2 / MM_PER_PT)
        canvas.scale(1 / MM_PER_PT, -1 / MM_PER_PT)
        canvas.setLineCap(0)
        canvas.setLineJoin(1)
        for shape in page.shapes:
            _draw(canvas, shape)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _size(page: CardPage) -> tuple[float, float]:
    return page.width_mm / MM_PER_PT, page.height_mm / MM_PER_PT


def _font(bold: bool) -> str:
    return "spraycheck-bold" if bold else "spraycheck-regular"


@functools.cache
def _register_fonts() -> None:
    for name in FONTS:
        pdfmetrics.registerFont(TTFont(_font(name == "bold"), io.BytesIO(font_bytes(name))))


def _draw(canvas: Any, shape: Shape) -> None:
    if isinstance(shape, Rect):
        canvas.setFillGray(shape.grey)
        box = shape.box
        canvas.rect(box.left, box.top, box.width, box.height, stroke=0, fill=1)
    elif isinstance(shape, Words):
        _write(canvas, shape)
    else:
        path = canvas.beginPath()
        path.moveTo(*shape.points[0])
        for point in shape.points[1:]:
            path.lineTo(*point)
        if isinstance(shape, Polygon):
            path.close()
            canvas.setFillGray(shape.grey)
            canvas.drawPath(path, stroke=0, fill=1)
        elif isinstance(shape, Polyline):
            canvas.setStrokeGray(shape.grey)
            canvas.setLineWidth(shape.width_mm)
            canvas.drawPath(path, stroke=1, fill=0)


def _write(canvas: Any, words: Words) -> None:
    canvas.saveState()
    canvas.translate(words.x_mm, words.y_mm)
    if words.upright:
        canvas.rotate(-90)  # y points down here, so a negative turn is to the left
    canvas.scale(1, -1)
    size = words.size_pt * MM_PER_PT
    font = _font(words.bold)
    canvas.setFillGray(words.grey)
    canvas.setFont(font, size)
    width = pdfmetrics.stringWidth(words.text, font, size)
    canvas.drawString(-words.align * width, 0, words.text)
    canvas.restoreState()
