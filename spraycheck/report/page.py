"""The layer under every printed page: fonts, styles, columns, frames and the foot (Platypus).

Free fonts that come with matplotlib are embedded; the same words always give the same bytes. What
stands on a page is a list of reportlab's flowables; lengths are points, as reportlab counts them.
"""

from __future__ import annotations

import functools
import io
from collections.abc import Callable, Sequence
from importlib import resources
from typing import Any, Final, Literal
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color, HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph, Table
from reportlab.platypus.doctemplate import BaseDocTemplate, NextPageTemplate, PageTemplate
from reportlab.platypus.frames import Frame

from spraycheck.errors import InputError
from spraycheck.report.shapes import Polygon, Polyline, Rect, Shape, Words
from spraycheck.report.words import AID, CAUTION

MM_PER_PT: Final = 25.4 / 72
REGULAR, BOLD = "spraycheck-regular", "spraycheck-bold"
_FILES: Final = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
# They hold Latin, Greek and Cyrillic.

INK, GREY, LINE = HexColor(0x14191F), HexColor(0x55606B), HexColor(0xB8C0C8)
GREEN, RED, AMBER = HexColor(0x00664F), HexColor(0x8C1410), HexColor(0x6B4A00)
# Dark enough to stay legible where a printer makes them grey.

FOOT: Final = 28 * mm
"""Height of the caution at the foot of a page: text stays above."""

_LEADING: Final = 1.35
# Of the type size: suits the fonts' tall small letters (chosen).

PROPERTIES: Final[dict[str, Any]] = {
    "invariant": 1,  # no time of making inside
    "author": "spraycheck",
    "creator": "spraycheck",
}
"""Of every document."""


# -- type ----------------------------------------------------------------------------------------


def font_bytes(name: str) -> bytes:
    """Return the file of a font, `REGULAR` or `BOLD`.

    Raises
    ------
    InputError
        The installed matplotlib lacks it.
    """
    place = resources.files("matplotlib").joinpath("mpl-data/fonts/ttf", _FILES[name])
    try:
        return place.read_bytes()
    except OSError as error:
        raise InputError(
            f"font {_FILES[name]} not found in the installed matplotlib ({error.strerror}), "
            "expected it in mpl-data/fonts/ttf",
            "install matplotlib as it comes from the package index",
        ) from None


@functools.cache
def register_fonts() -> None:
    """Make the fonts known to reportlab; once is enough."""
    for name in _FILES:
        pdfmetrics.registerFont(TTFont(name, io.BytesIO(font_bytes(name))))
    # Nothing is set in italics; bold is found by way of them.
    pdfmetrics.registerFontFamily(
        REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD
    )


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is; the unit is that of ``size``."""
    register_fonts()
    return float(pdfmetrics.stringWidth(text, BOLD if bold else REGULAR, size))


def text_lines(text: str, size: float, width: float) -> list[str]:
    """Break a text into lines at most ``width`` points wide, where words allow."""
    register_fonts()
    return [str(line) for line in simpleSplit(text, REGULAR, size, width)]


def paragraph(
    text: str,
    size: float = 9.0,
    *,
    bold: bool = False,
    colour: Color = INK,
    before: float = 0.0,
    mark: str = "",
    label: str = "",
    link: str = "",
    align: Literal[0, 1, 2] = 0,
) -> Paragraph:
    """Set plain text; nothing in it counts as markup.

    Parameters
    ----------
    text : str
        The words.
    size : float
        Of the type.
    bold : bool
        Weight.
    colour : Color
        Of the type.
    before : float
        Room above, but at the top of a column.
    mark : str
        A dot or number that stands before the text, in bold; the text hangs beside it.
    label : str
        Words in bold that the text begins with.
    link : str
        Bookmark of the document that the text leads to.
    align : int
        0 to the left, 1 in the middle, 2 to the right, as reportlab counts.
    """
    register_fonts()
    style = ParagraphStyle(
        name="page",
        fontName=BOLD if bold else REGULAR,
        fontSize=size,
        leading=_LEADING * size,
        textColor=colour,
        spaceBefore=before,
        alignment=align,
        leftIndent=0.52 * size * mm if mark else 0.0,
        bulletFontName=BOLD,
        bulletFontSize=size,
    )
    words = (f"<b>{escape(label)}</b>" if label else "") + escape(text)
    if link:
        words = f'<link destination="{escape(link)}">{words}</link>'
    return Paragraph(words, style, bulletText=mark or None)


# -- blocks --------------------------------------------------------------------------------------


def side_by_side(
    cells: Sequence[Any],
    width: float,
    *,
    gap: float = 0.0,
    before: float = 0.0,
    look: Sequence[Any] = (),
) -> Table:
    """Lay equally wide columns beside each other.

    Parameters
    ----------
    cells : sequence
        A flowable or a list of them for each column.
    width, gap : float
        Of all together, and between two.
    before : float
        Room above.
    look : sequence
        Commands of a `TableStyle`; column ``k`` has the number ``2 * k``, gaps stand between.
    """
    part = (width - gap * (len(cells) - 1)) / len(cells)
    row: list[Any] = []
    widths: list[float] = []
    for k, cell in enumerate(cells):
        row += ["", cell] if k else [cell]
        widths += [gap, part] if k else [part]
    return bare_table([row], widths, before=before, look=look)


def bare_table(
    rows: Sequence[list[Any]],
    widths: Sequence[float],
    *,
    before: float = 0.0,
    look: Sequence[Any] = (),
) -> Table:
    """Return a table of flowables without lines or padding, but for what ``look`` adds."""
    plain = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        *((f"{side}PADDING", (0, 0), (-1, -1), 0) for side in ("LEFT", "RIGHT", "TOP", "BOTTOM")),
    ]
    return Table(rows, colWidths=widths, style=[*plain, *look], spaceBefore=before)


def height_of(story: Sequence[Flowable], width: float) -> float:
    """Return how high flowables stand in a column of a width."""
    heights = [flowable.wrap(width, float("inf"))[1] for flowable in story]
    return sum(heights) + sum(float(flowable.getSpaceBefore()) for flowable in story[1:])


class Drawing(Flowable):
    """Shapes as a block of a page, centred in it.

    Parameters
    ----------
    shapes : sequence of Shape
        In drawing order.
    width, height : float
        Of the block.
    scale : float
        Points for one unit of the shapes.
    """

    def __init__(
        self, shapes: Sequence[Shape], *, width: float, height: float, scale: float
    ) -> None:
        super().__init__()
        self.shapes, self.width, self.height, self.scale = shapes, width, height, scale

    def draw(self) -> None:
        """Draw all shapes."""
        self.canv.translate(self.width / 2, self.height / 2)
        self.canv.scale(self.scale, -self.scale)
        for shape in self.shapes:
            draw_shape(self.canv, shape)


def draw_shape(canvas: Any, shape: Shape) -> None:
    """Draw a shape on a canvas whose ``y`` axis points down."""
    if isinstance(shape, Rect):
        box = shape.box
        canvas.setFillGray(shape.grey)
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
            canvas.setLineWidth(shape.width)
            canvas.setDash(list(shape.dashes))
            canvas.drawPath(path, stroke=1, fill=0)


def _write(canvas: Any, words: Words) -> None:
    canvas.saveState()
    canvas.translate(words.x_mm, words.y_mm)
    if words.upright:
        canvas.rotate(-90)  # y points down here, so a negative turn is to the left
    canvas.scale(1, -1)
    size = words.size_pt * MM_PER_PT
    canvas.setFillGray(words.grey)
    canvas.setFont(BOLD if words.bold else REGULAR, size)
    start = -words.align * text_width(words.text, size, bold=words.bold)
    canvas.drawString(start, 0, words.text)
    canvas.restoreState()


# -- documents -----------------------------------------------------------------------------------


def frame(left: float, bottom: float, width: float, height: float) -> Frame:
    """Return a column of a page, without padding."""
    return Frame(
        left, bottom, width, height, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0
    )


def pdf_document(
    story: Sequence[Flowable],
    *,
    title: str,
    size: tuple[float, float],
    first: Sequence[Frame],
    later: Sequence[Frame] = (),
    on_page: Callable[[Canvas], None] = lambda canvas: None,
) -> bytes:
    """Set a story into the frames of as many pages as it needs.

    Parameters
    ----------
    story : sequence of Flowable
        What is set.
    title : str
        For the document's properties.
    size : (float, float)
        Width and height of a page.
    first, later : sequence of Frame
        Columns of the first page and of all others; alike when ``later`` is empty.
    on_page : callable
        Draws what stands on every page, such as its foot.

    Returns
    -------
    bytes
        PDF; the same story gives the same bytes.
    """
    register_fonts()
    out = io.BytesIO()
    document = BaseDocTemplate(
        out, pagesize=size, title=title, initialFontName=REGULAR, **PROPERTIES
    )
    document.addPageTemplates(
        [
            PageTemplate(name, list(frames), onPage=lambda canvas, _: on_page(canvas))
            for name, frames in (("first", first), ("later", later or first))
        ]
    )
    document.build([NextPageTemplate("later"), *story])
    return out.getvalue()


def draw_foot(canvas: Canvas, note: str, *, margin: float, width: float) -> None:
    """Draw the caution, a note and the page's number at the foot of a page.

    Parameters
    ----------
    canvas : Canvas
        Of the page.
    note : str
        In small type, such as how the page was made.
    margin : float
        Left and right of the foot.
    width : float
        Of the page.
    """
    inner = width - 2 * margin
    canvas.setStrokeColor(GREY)
    canvas.setLineWidth(0.5)
    canvas.line(margin, FOOT, margin + inner, FOOT)
    caution: list[Flowable] = [
        paragraph(f"Safety. {CAUTION}", 7.4, bold=True),
        paragraph(AID, 7.4, before=0.3 * mm),
    ]
    frame(margin, 12 * mm, inner, FOOT - 12.6 * mm).addFromList(caution, canvas)
    small: list[Flowable] = [paragraph(note, 6.8, colour=GREY)]
    frame(margin, 4 * mm, inner - 12 * mm, 8 * mm).addFromList(small, canvas)
    canvas.setFillColor(GREY)
    canvas.setFont(REGULAR, 9)
    canvas.drawRightString(margin + inner, 9 * mm, str(canvas.getPageNumber()))
