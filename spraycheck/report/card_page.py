"""The target card as a list of shapes, one list for every way to draw it.

Places and sizes of what is read back come from `spraycheck.card.target`; this page adds the
words. Millimetres on the card: ``x`` right, ``y`` down, origin in its middle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.card.target import FAINT, MARKER_MODULES, Artwork, Box, Label, artwork
from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.report.page import MM_PER_PT, text_lines, text_width
from spraycheck.report.shapes import Polygon, Polyline, Rect, Shape, Words

TITLE: Final = "Spray target card"
STEPS: Final = (
    "Purge the injector with no card in place.",
    "Card in the tray under the cover, never in the hand.",
    "Cover closed and hands out.",
    "One brisk full stroke.",
    "Pressure released and gauge at zero before opening.",
)
STOCK: Final = (
    "Uncoated, 160 g/m² or more, one sheet on a flat oil-proof backing, one shot per card. "
    "Print at 100 %, no fit to page."
)
SAFETY: Final = (
    "The jet goes through skin, eyes and gloves. Fuel under the skin is a surgical emergency "
    "even if it does not hurt: hospital at once, name fluid and pressure. Wear eye protection. "
    "Oil mist burns: ventilate, no flame or spark. Wet cards are combustible waste."
)
AID: Final = "An aid, not a certificate: maker's manual, local rules, licensed practice decide."
FIELDS: Final = (
    ("Date", "Time sprayed"),
    ("Standoff height, mm", "Strokes"),
    ("Fluid", "Fluid temperature, °C"),
    ("Name", ""),
)
MEASURE_ME: Final = (
    "Measure me: if this line is not 100.0 mm,",
    "enter what you measure: --printed-length 98.7",
)
ARCS: Final = "Arcs: mm from the aim."
TICKS: Final = "Ticks: where plumes should point."
CAPTION: Final = "measure me: 100.0 mm"

_BLACK, _LABEL, _HAIR = 0.0, 0.35, 0.55
_SMALLEST_PT = 4.8
# Smaller type breaks up on a 600 dpi laser printer (chosen: strokes of 3 dots).
_LEADING = 1.28
_PAPER_NAME = {"letter": "Letter"}


@dataclass(frozen=True, kw_only=True)
class CardPage:
    """A card, ready to be drawn.

    Parameters
    ----------
    width_mm, height_mm : float
        Of the sheet.
    title : str
        For the document's properties.
    shapes : tuple of Shape
        In drawing order.
    """

    width_mm: float
    height_mm: float
    title: str
    shapes: tuple[Shape, ...]


def compose_card(label: Label, layout: Layout | None = None) -> CardPage:
    """Lay out one card.

    Parameters
    ----------
    label : Label
        From `make_label`.
    layout : Layout, optional
        Ticks at the edge show where each plume should point, if its azimuths count from a feature
        that the index arrow can be lined up with (``counts_from``); otherwise there are none.

    Returns
    -------
    CardPage
    """
    art = artwork(label.paper)
    shapes: list[Shape] = []
    for marker in art.markers:
        bits = _marker_bits(marker.number)
        shapes += _cells(bits, marker.box())
    shapes += _cells(qr_modules(label.payload()), art.qr)
    for stroke in art.strokes:
        shapes.append(Polyline(points=stroke.points, width=stroke.width_mm, grey=stroke.grey))
    shapes += _arc_labels(art)
    shapes += _index(art)
    shapes += _head(art, label, layout)
    shapes += _foot(art)
    shapes += _measure_me(art)
    if layout is not None and layout.counts_from:
        shapes += _ticks(art, layout)
    return CardPage(
        width_mm=art.width_mm,
        height_mm=art.height_mm,
        title=f"{TITLE} {label.job} {label.injector}".strip(),
        shapes=tuple(shapes),
    )


def qr_modules(payload: str) -> NDArray[np.bool_]:
    """Return the QR code's modules, True black, quiet zone left out.

    Notes
    -----
    ISO/IEC 18004, recovery level M (15 %): oil makes paper darker but leaves black and white apart.
    """
    params = cv2.QRCodeEncoder.Params()
    params.correction_level = cv2.QRCODE_ENCODER_CORRECT_LEVEL_M
    params.mode = cv2.QRCODE_ENCODER_MODE_ALPHANUMERIC
    picture = np.asarray(cv2.QRCodeEncoder.create(params).encode(payload))
    dark = picture < 128
    rows, cols = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    return np.asarray(dark[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1])


# -- pieces -----------------------------------------------------------------------------------


def _marker_bits(number: int) -> NDArray[np.bool_]:
    codes = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    picture = cv2.aruco.generateImageMarker(codes, number, MARKER_MODULES)
    return np.asarray(np.asarray(picture) < 128)


def _cells(dark: NDArray[np.bool_], box: Box) -> Iterator[Shape]:
    """Draw black cells as few rectangles: runs along a row, joined over equal rows below.

    Runs that touch would show hairlines between them in some viewers; joining leaves few.
    """
    rows, cols = dark.shape
    side_x, side_y = box.width / cols, box.height / rows
    open_runs: dict[tuple[int, int], int] = {}
    for row in range(rows + 1):
        runs = _runs(dark[row]) if row < rows else []
        for run, start in list(open_runs.items()):
            if run not in runs:
                del open_runs[run]
                yield Rect(
                    box=Box(
                        left=box.left + run[0] * side_x,
                        top=box.top + start * side_y,
                        right=box.left + run[1] * side_x,
                        bottom=box.top + row * side_y,
                    ),
                    grey=_BLACK,
                )
        for run in runs:
            open_runs.setdefault(run, row)


def _runs(row: NDArray[np.bool_]) -> list[tuple[int, int]]:
    change = np.flatnonzero(np.diff(np.concatenate([[0], row.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in change.reshape(-1, 2)]


def _arc_labels(art: Artwork) -> Iterator[Shape]:
    for radius, x, y in art.arc_labels:
        yield Words(x_mm=x, y_mm=y + 0.6, text=f"{radius:g}", size_pt=5.0, grey=_HAIR, align=0.5)


def _index(art: Artwork) -> Iterator[Shape]:
    box = art.index
    middle, tip = (box.left + box.right) / 2, box.top
    yield Polygon(
        points=(
            (middle, tip),
            (box.right - 0.5, tip + 6.5),
            (middle, tip + 5.0),
            (box.left + 0.5, tip + 6.5),
        ),
        grey=_BLACK,
    )
    yield Words(x_mm=middle, y_mm=tip + 9.4, text="12", size_pt=7.5, bold=True, align=0.5)
    yield Words(x_mm=middle, y_mm=tip + 11.6, text="o'clock", size_pt=5.0, grey=_LABEL, align=0.5)


def _head(art: Artwork, label: Label, layout: Layout | None) -> Iterator[Shape]:
    box = art.head
    small = box.width < 100
    split = box.left + 0.42 * box.width
    title_pt = 9.0 if small else 14.0
    paper = _PAPER_NAME.get(art.paper, art.paper.upper())
    y = box.top + title_pt * MM_PER_PT * 0.8
    yield Words(x_mm=box.left, y_mm=y, text=TITLE, size_pt=title_pt, bold=True)
    yield Words(
        x_mm=box.left,
        y_mm=y + (2.7 if small else 3.2),
        # "Card 1" would read as the number of this card.
        text=f"spraycheck  ·  version {label.version}  ·  {paper}",
        size_pt=5.5,
        grey=_LABEL,
    )
    lined_up = layout.counts_from if layout is not None else ""
    rows = (("Job", label.job), ("Injector", label.injector), ("Arrow lined up with", lined_up))
    top, bottom = y + 3.9, box.bottom
    step = (bottom - top) / len(rows)
    half = box.left + (split - 4 - box.left) / 2
    for k, (name, value) in enumerate(rows):
        y = top + (k + 1) * step - 0.6
        last = label.nozzle and k == len(rows) - 1
        yield from _field(box.left, half - 1.5 if last else split - 4, y, step, name, value)
        if last:
            yield from _field(half + 1.5, split - 4, y, step, "Nozzle", label.nozzle)
    legend = f"{ARCS} {TICKS}" if lined_up else ARCS
    yield from _paragraphs(
        Box(left=split, top=box.top, right=box.right, bottom=box.bottom),
        [
            ("How to spray, in this order", ""),
            *((f"{n}", s) for n, s in enumerate(STEPS, 1)),
            # On a small card it would cost the steps, which matter more, a point of type.
            *(() if small else (("", legend),)),
        ],
        7.2,
    )


def _foot(art: Artwork) -> Iterator[Shape]:
    box = art.foot
    # A small card needs its words more room than its lines.
    middle = box.left + (0.40 if box.width < 120 else 0.47) * box.width
    step = box.height / len(FIELDS)
    for k, (left, right) in enumerate(FIELDS):
        y = box.top + (k + 1) * step - 0.6
        half = box.left + (middle - 4 - box.left) / 2
        if not right:
            yield from _field(box.left, middle - 4, y, step, left, "")
            continue
        yield from _field(box.left, half - 1.5, y, step, left, "")
        yield from _field(half + 1.5, middle - 4, y, step, right, "")
    yield from _paragraphs(
        Box(left=middle, top=box.top, right=box.right, bottom=box.bottom),
        [("Safety", ""), ("", SAFETY), ("", AID), ("Paper", ""), ("", STOCK)],
        6.4,
    )


def _field(
    left: float, right: float, y: float, step: float, name: str, value: str
) -> Iterator[Shape]:
    """Draw a line to write on, its name small above its start."""
    rise = min(4.6, step - 1.9)
    yield Words(x_mm=left, y_mm=y - rise, text=name, size_pt=4.9, grey=_LABEL)
    yield Polyline(points=((left, y), (right, y)), width=0.15, grey=_HAIR)
    if value:
        # Capitals are 0.73 of the type size high (DejaVu Sans): they stay clear of the name.
        size = min(10.0, (rise - 1.5) / (0.73 * MM_PER_PT))
        size = min(size, size * (right - left) / _text_mm(value, size, bold=True))
        yield Words(x_mm=left, y_mm=y - 0.8, text=value, size_pt=size, bold=True)


def _paragraphs(box: Box, items: Sequence[tuple[str, str]], largest_pt: float) -> Iterator[Words]:
    """Set headings ``(text, "")``, numbered ``("1", text)`` and plain ``("", text)`` paragraphs.

    The largest type that fits the box is taken.
    """
    size = largest_pt
    while True:
        lines = _broken(box, items, size)
        height = lines[-1].y_mm - box.top + 0.25 * size * MM_PER_PT
        if height <= box.height:
            break
        size -= 0.1
        if size < _SMALLEST_PT:
            raise InputError(
                f"text needs {height:.0f} mm but its block is {box.height:.0f} mm high",
                "choose a larger paper",
            )
    yield from lines


def _broken(box: Box, items: Sequence[tuple[str, str]], size: float) -> list[Words]:
    """Break paragraphs into lines from the top of a box, however far down they reach."""
    leading = size * MM_PER_PT * _LEADING
    lines: list[Words] = []

    def add(text: str, down: float, indent: float = 0.0, *, bold: bool = False) -> None:
        at = (lines[-1].y_mm if lines else box.top) + down
        lines.append(Words(x_mm=box.left + indent, y_mm=at, text=text, size_pt=size, bold=bold))

    for mark, text in items:
        down = leading if lines else 0.78 * size * MM_PER_PT
        if not text:
            add(mark, 1.35 * leading if lines else down, bold=True)
            continue
        indent = 0.0
        if mark:
            indent = 2.2 * _text_mm("0", size)
            add(mark, down, bold=True)
            down = 0.0
        for line in text_lines(text, size, (box.width - indent) / MM_PER_PT):
            add(line, down, indent)
            down = leading
    return lines


def _text_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    return text_width(text, size_pt, bold=bold) * MM_PER_PT


def _measure_me(art: Artwork) -> Iterator[Shape]:
    box = art.caption
    size = min(5.5, 5.5 * box.width / _text_mm(CAPTION, 5.5))
    yield Words(
        x_mm=(box.left + box.right) / 2,
        y_mm=box.top + 2.2,
        text=CAPTION,
        size_pt=size,
        align=0.5,
    )
    note = art.note
    size = min(5.8, *(5.8 * note.height / _text_mm(line, 5.8) for line in MEASURE_ME))
    for k, line in enumerate(MEASURE_ME):
        yield Words(
            x_mm=note.left + (0.42 + 0.42 * k) * note.width,
            y_mm=(note.top + note.bottom) / 2,
            text=line,
            size_pt=size,
            align=0.5,
            upright=True,
        )


def _ticks(art: Artwork, layout: Layout) -> Iterator[Shape]:
    """Point at where each plume should point, outside the circle of the usual spray."""
    for hole, azimuth in enumerate(layout.azimuth_deg, start=1):
        x, y = math.sin(math.radians(azimuth)), -math.cos(math.radians(azimuth))
        inner, outer = art.free_mm - 3.0, art.free_mm + 2.0
        yield Polyline(
            points=((inner * x, inner * y), (outer * x, outer * y)), width=0.2, grey=FAINT
        )
        yield Words(
            x_mm=(inner - 2.2) * x,
            y_mm=(inner - 2.2) * y + 0.8,
            text=str(hole),
            size_pt=5.5,
            grey=FAINT,
            align=0.5,
        )
