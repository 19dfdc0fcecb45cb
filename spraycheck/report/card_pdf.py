"""Target cards as a vector PDF at true scale."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from spraycheck.report.card_page import CardPage
from spraycheck.report.page import MM_PER_PT, PROPERTIES, REGULAR, draw_shape, register_fonts


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
    register_fonts()
    out = io.BytesIO()
    # Named here, or the file asks every viewer for a font that is not in it.
    font: Any = REGULAR
    canvas = Canvas(out, pageCompression=1, invariant=1, initialFontName=font)
    canvas.setTitle(pages[0].title)
    canvas.setAuthor(PROPERTIES["author"])
    canvas.setCreator(PROPERTIES["creator"])
    canvas.setSubject("Target card at true scale: print at 100 %")
    # ISO 32000-1, table 150: without it many viewers shrink a page to the printer's margins.
    canvas.setViewerPreference("PrintScaling", "None")
    for page in pages:
        width, height = page.width_mm / MM_PER_PT, page.height_mm / MM_PER_PT
        canvas.setPageSize((width, height))
        # Card frame: millimetres from the sheet's middle, y down.
        canvas.translate(width / 2, height / 2)
        canvas.scale(1 / MM_PER_PT, -1 / MM_PER_PT)
        canvas.setLineCap(0)
        canvas.setLineJoin(1)
        for shape in page.shapes:
            draw_shape(canvas, shape)
        canvas.showPage()
    canvas.save()
    return out.getvalue()
