"""The atlas as a PDF: contents, one page per pattern, and how often tool and truth agreed."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any, Final

from reportlab.lib.colors import HexColor, white
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, KeepInFrame, PageBreak, Table

from spraycheck.report.page import (
    AMBER,
    BOLD,
    FOOT,
    GREEN,
    GREY,
    INK,
    LINE,
    RED,
    REGULAR,
    bare_table,
    draw_foot,
    frame,
    height_of,
    paragraph,
    pdf_document,
    side_by_side,
)
from spraycheck.train.atlas import (
    ABOUT,
    AGREEMENT,
    COLUMNS,
    HOW_TO_READ,
    KIND_IN_WORDS,
    SIGNS,
    TITLE,
    Atlas,
    AtlasPage,
    Jpeg,
    row_texts,
)
from spraycheck.train.lessons.agreement import Agrees, HoleAgreement
from spraycheck.train.lessons.lesson import LessonKind

_WIDTH, _HEIGHT = A4
_MARGIN: Final = 16.0 * mm
_TOP: Final = 13.0 * mm
_INNER: Final = _WIDTH - 2 * _MARGIN
_ROOM: Final = _HEIGHT - _TOP - FOOT - 0.5 * mm
_GAP: Final = 5.0 * mm
_BADGE: Final = 34.0 * mm
_LOWEST_PICTURE: Final = 45.0 * mm
# Chosen: streaks can still be told apart. Beyond that the whole page is set smaller.
_KIND_COLOUR: Final = {
    LessonKind.GOOD: GREEN,
    LessonKind.FAULT: RED,
    LessonKind.LOOK_ALIKE: AMBER,
}


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
    notes = [atlas.made_with, *(f"Make it again: {page.command}" for page in atlas.pages)]
    story = _contents(atlas)
    group = ""
    for number, page in enumerate(atlas.pages, start=2):
        story += [PageBreak(), _Bookmark(page, number, new_group=page.lesson.group != group)]
        story += _page(page)
        group = page.lesson.group

    def foot(canvas: Canvas) -> None:
        draw_foot(canvas, notes[canvas.getPageNumber() - 1], margin=_MARGIN, width=_WIDTH)

    return pdf_document(
        story,
        title=TITLE,
        size=A4,
        first=[frame(_MARGIN, _HEIGHT - _TOP - _ROOM, _INNER, _ROOM)],
        on_page=foot,
    )


class _Bookmark(Flowable):
    """A page's place in the document's outline; takes no room."""

    def __init__(self, page: AtlasPage, number: int, *, new_group: bool) -> None:
        super().__init__()
        self.page, self.key, self.new_group = page, _key(number), new_group

    def draw(self) -> None:
        """Enter the page."""
        self.canv.bookmarkPage(self.key)
        if self.new_group:
            self.canv.addOutlineEntry(self.page.lesson.group, self.key, level=0)
        self.canv.addOutlineEntry(self.page.lesson.title, self.key, level=1)


def _key(number: int) -> str:
    return f"page-{number}"


# -- the first page ------------------------------------------------------------------------------


def _contents(atlas: Atlas) -> list[Flowable]:
    signs = "  ".join(f"{SIGNS[name]} {words}" for name, words in AGREEMENT.items())
    return [
        paragraph(TITLE, 24, bold=True, before=6.0 * mm),
        *(paragraph(text, 9, before=2.0 * mm) for text in (*ABOUT, atlas.tally)),
        side_by_side(_halves(atlas.pages), _INNER, gap=8.0 * mm, before=6.0 * mm),
        paragraph("How to read the tables", 10, bold=True, before=8.0 * mm),
        *(
            paragraph(text, 8.5, before=0.6 * mm)
            for text in (*(f"{name}: {meaning}" for name, meaning in HOW_TO_READ), signs)
        ),
    ]


def _halves(pages: Sequence[AtlasPage]) -> list[list[Flowable]]:
    """Return the contents in two columns; the second begins with a group."""
    halves: list[list[Flowable]] = [[], []]
    group, column = "", 0
    for place, page in enumerate(pages):
        if page.lesson.group != group:
            group, column = page.lesson.group, int(2 * place >= len(pages))
            halves[column].append(paragraph(group, 9.5, bold=True, before=3.2 * mm))
        halves[column].append(_line(page, number=place + 2))
    return halves


def _line(page: AtlasPage, number: int) -> Table:
    """Return a line of the contents that leads to its page."""
    cells = [
        paragraph(page.lesson.title, 8.5, link=_key(number)),
        paragraph(SIGNS[page.agreement], 8.5, align=2),
        paragraph(str(number), 8.5, align=2),
    ]
    half = (_INNER - 8.0 * mm) / 2
    return bare_table([cells], [half - 16 * mm, 8 * mm, 8 * mm], before=0.9 * mm)


# -- a pattern's page ----------------------------------------------------------------------------


def _page(page: AtlasPage) -> list[Flowable]:
    """Return a page; where much is to be told, the pictures give way."""
    head = _head(page)
    see = [paragraph(page.lesson.see, before=0.8 * mm)]
    causes = [paragraph(cause, mark="·", before=0.6 * mm) for cause in page.causes]
    steps = [paragraph(step, before=0.8 * mm) for step in page.lesson.steps]
    below: list[Flowable] = [
        _table(page.answer.pairs),
        paragraph(page.verdict_line, before=2.5 * mm),
        *(paragraph(text, before=0.5 * mm) for text in page.notes),
        side_by_side(
            [
                [paragraph("What to see", 10, bold=True), *see],
                [paragraph("Likely causes", 10, bold=True), *causes],
                [paragraph("What to do next", 10, bold=True), *steps],
            ],
            _INNER,
            gap=_GAP,
            before=4.0 * mm,
        ),
    ]
    left = _ROOM - height_of([head, *below], _INNER) - 8.5 * mm
    whole = [head, _pictures(page, max(left, _LOWEST_PICTURE)), *below]
    # One page each, however much there is to tell: the contents count on it.
    return [KeepInFrame(_INNER, _ROOM, whole, mode="shrink")]


def _head(page: AtlasPage) -> Table:
    """Return the group and the title, and the kind on a coloured badge."""
    badge = Table(
        [[paragraph(KIND_IN_WORDS[page.lesson.kind], 10, bold=True, colour=white, align=1)]],
        colWidths=[_BADGE],
        style=[("BACKGROUND", (0, 0), (-1, -1), _KIND_COLOUR[page.lesson.kind])],
        cornerRadii=[2.0 * mm] * 4,
    )
    title = [
        paragraph(page.lesson.group, 9, colour=GREY),
        paragraph(page.lesson.title, 18, bold=True),
    ]
    return bare_table([[title, badge]], [_INNER - _BADGE, _BADGE])


def _pictures(page: AtlasPage, left: float) -> Table:
    """Return photo and drawing with their captions, at most ``left`` points high.

    Both stand on one line, so that the same place lies at the same height in both.
    """
    side = (_INNER - _GAP) / 2
    pictures = [
        [
            _Framed(picture, min(side, left * picture.width_px / picture.height_px)),
            paragraph(caption, 7.5, colour=GREY, before=0.8 * mm),
        ]
        for picture, caption in (
            (page.photo, "As photographed"),
            (page.seen, "As the tool saw it"),
        )
    ]
    low = ("VALIGN", (0, 0), (-1, -1), "BOTTOM")
    return side_by_side(pictures, _INNER, gap=_GAP, before=3.0 * mm, look=[low])


class _Framed(Image):
    """A picture with a thin line round it."""

    def __init__(self, picture: Jpeg, width: float) -> None:
        height = width * picture.height_px / picture.width_px
        super().__init__(io.BytesIO(picture.data), width, height, hAlign="LEFT")

    def draw(self) -> None:
        """Draw picture and line."""
        super().draw()
        self.canv.setStrokeColor(LINE)
        self.canv.setLineWidth(0.5)
        self.canv.rect(0, 0, self.drawWidth, self.drawHeight)


def _table(pairs: Sequence[HoleAgreement]) -> Table:
    heads = ("", "Truth, put in", "", "", "", "The tool measured", "", "", "")
    rows: list[tuple[str, ...]] = [heads, (*COLUMNS, "")]
    rows += [(*row_texts(pair), SIGNS[pair.agreement]) for pair in pairs]
    widths = [12, 16, 16, 18, 22, 26, 29, 25, 10]
    scale = _INNER / sum(widths)
    last = len(rows) - 1
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
    for k, pair in enumerate(pairs, start=2):
        for place, state in ((4, pair.true.state), (7, pair.measured)):
            if state != "clear":
                look.append(("FONT", (place, k), (place, k), BOLD, 8.6))
        if pair.true.state != "clear" or pair.agreement is not Agrees.YES:
            look.append(("BACKGROUND", (0, k), (-1, k), HexColor(0xEEF1F4)))
    return Table(rows, colWidths=[w * scale for w in widths], style=look, spaceBefore=3.5 * mm)
