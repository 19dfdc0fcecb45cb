"""The project's own target card: one description that is drawn from and read by.

Millimetres on the card, ``x`` right, ``y`` down, origin in the middle of the sheet, index arrow at
12 o'clock. Whatever is printed solid (markers, QR code, text) lies outside the free circle, where
the spray lands; what lies inside it is thin and listed as strokes. All of it is taken out again
when the card is read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spraycheck.card.target.label import MAX_LABEL, Label, inert, parse_label
from spraycheck.constants import SHEET_SIZES_MM
from spraycheck.errors import InputError

__all__ = [
    "CARDS",
    "CARD_VERSION",
    "CHECK_LINE_MM",
    "FAINT",
    "MARKER_MODULES",
    "MAX_LABEL",
    "Artwork",
    "Box",
    "Label",
    "PrintedMarker",
    "Stroke",
    "artwork",
    "inert",
    "make_label",
    "parse_label",
]

CARD_VERSION: Final = 1
"""Bumped whenever a marker, the QR code or a printed block moves; stands in the QR code."""

MARKER_MODULES: Final = 7
"""Modules along a marker: 5 x 5 code cells and a black border of one (the open dictionary
``DICT_5X5_100`` of OpenCV's ArUco module; its codes differ in enough cells that three wrong ones
are put right, where the 4 x 4 codes correct one)."""

CHECK_LINE_MM: Final = 100.0
"""Nominal length of the two lines a user measures."""


@dataclass(frozen=True, kw_only=True)
class Box:
    """An upright rectangle on the card, mm.

    Parameters
    ----------
    left, top, right, bottom : float
        Its sides.
    """

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From top to bottom."""
        return self.bottom - self.top

    def grown(self, by_mm: float) -> Box:
        """Return the box with every side moved out."""
        return Box(
            left=self.left - by_mm,
            top=self.top - by_mm,
            right=self.right + by_mm,
            bottom=self.bottom + by_mm,
        )


@dataclass(frozen=True, kw_only=True)
class PrintedMarker:
    """One coded square.

    Parameters
    ----------
    number : int
        Its id in the dictionary.
    x_mm, y_mm : float
        Its middle.
    side_mm : float
        Of the black square.
    """

    number: int
    x_mm: float
    y_mm: float
    side_mm: float

    def corners(self) -> tuple[tuple[float, float], ...]:
        """Return its corners, clockwise from top left."""
        h = self.side_mm / 2
        return tuple((self.x_mm + sx * h, self.y_mm + sy * h) for sx, sy in _CLOCKWISE)

    def box(self) -> Box:
        """Return the square."""
        h = self.side_mm / 2
        return Box(left=self.x_mm - h, top=self.y_mm - h, right=self.x_mm + h, bottom=self.y_mm + h)


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """A thin printed line.

    Parameters
    ----------
    points : tuple of (float, float)
        Its course in mm.
    width_mm : float
        Of the pen.
    grey : float
        0 black to 1 white.
    """

    points: tuple[tuple[float, float], ...]
    width_mm: float
    grey: float


@dataclass(frozen=True, kw_only=True)
class Artwork:
    """What is printed on a card of one paper size.

    Parameters
    ----------
    paper : str
        Name of the sheet, a key of ``SHEET_SIZES_MM``.
    width_mm, height_mm : float
        Of the sheet.
    markers : tuple of PrintedMarker
        Along all four edges; ids differ between paper sizes, so the markers alone name the card.
    free_mm : float
        Radius of the circle that holds nothing but thin strokes.
    qr : Box
        Of the QR code's modules, its quiet zone left out.
    index : Box
        Around the index arrow; its tip is the middle of the top side.
    head, foot, note, caption : Box
        Where text stands: above and below the free circle, left beside the upright check line and
        under the level one.
    strokes : tuple of Stroke
        Aim, range arcs and check lines.
    arcs_mm : tuple of float
        Radii of the range arcs.
    arc_half_deg : float
        How far each arc reaches to either side of its diagonal.
    """

    paper: str
    width_mm: float
    height_mm: float
    markers: tuple[PrintedMarker, ...]
    free_mm: float
    qr: Box
    index: Box
    head: Box
    foot: Box
    note: Box
    caption: Box
    strokes: tuple[Stroke, ...]
    arcs_mm: tuple[float, ...]
    arc_half_deg: float

    @property
    def arc_labels(self) -> tuple[tuple[float, float, float], ...]:
        """Radius of each arc, and where it is written: the middle of the number's place."""
        out = []
        for radius in self.arcs_mm:
            turn = math.radians(45 - self.arc_half_deg - math.degrees(2.5 / radius))
            out.append((radius, radius * math.sin(turn), -radius * math.cos(turn)))
        return tuple(out)

    @property
    def numbers(self) -> tuple[Box, ...]:
        """Places of the numbers at the arcs."""
        return tuple(
            Box(left=x - 2.2, top=y - 1.2, right=x + 2.2, bottom=y + 1.2)
            for _, x, y in self.arc_labels
        )

    @property
    def text(self) -> tuple[Box, ...]:
        """Blocks that hold words and handwriting."""
        return (self.head, self.foot, self.note, self.caption)


def artwork(paper: str) -> Artwork:
    """Return the card of a paper size.

    Raises
    ------
    InputError
        No card is made for this size.
    """
    key = paper.strip().lower()
    if key not in CARDS:
        raise InputError(
            f"no card is made for paper {inert(paper)!r}, expected one of {', '.join(CARDS)}"
        )
    return CARDS[key]


def make_label(paper: str, *, job: str = "", injector: str = "", nozzle: str = "") -> Label:
    """Make the label of a new card.

    Parameters
    ----------
    paper : str
        A key of `CARDS`.
    job, injector, nozzle : str
        Any text; folded to capitals because the QR code's compact alphabet has no others.

    Raises
    ------
    InputError
        Unknown paper; a text longer than `MAX_LABEL` characters or with control characters in it.
    """
    size = artwork(paper).paper
    texts = []
    for name, text in (("job", job), ("injector", injector), ("nozzle", nozzle)):
        clean = " ".join(text.split()).upper()
        if len(clean) > MAX_LABEL:
            raise InputError(
                f"{name} of {len(clean)} characters, expected at most {MAX_LABEL}",
                "give a number or a short name; the rest can be written on the card",
            )
        if inert(clean) != clean:
            raise InputError(
                f"{name} {inert(clean)!r} holds characters that cannot be printed",
                "use letters, digits and punctuation",
            )
        texts.append(clean)
    return Label(version=CARD_VERSION, paper=size, job=texts[0], injector=texts[1], nozzle=texts[2])


# -- the designs ------------------------------------------------------------------------------

_CLOCKWISE: Final = ((-1, -1), (1, -1), (1, 1), (-1, 1))
_AIM_MM = 2.5
FAINT: Final = 0.72
"""Grey of what lies near the spray: over 0.2 mm it takes less light from a 0.7 mm wide filter than
the paper's own grain does."""


@dataclass(frozen=True, kw_only=True)
class _Plan:
    """The few lengths in which the cards differ."""

    first: int
    marker_mm: float
    edge_mm: float
    free_mm: float
    arcs_mm: tuple[float, ...]
    arc_half_deg: float
    qr_mm: float


# Markers stand 6 mm in from the paper's edge: cheap laser printers leave 4 to 5 mm white (from
# memory). First ids are chosen away from 0, which other people's marker sheets start with.
_PLANS: Final[dict[str, _Plan]] = {
    "a4": _Plan(
        first=20,
        marker_mm=12.0,
        edge_mm=6.0,
        free_mm=90.0,
        arcs_mm=(90.0, 100.0),
        arc_half_deg=13.0,
        qr_mm=24.0,
    ),
    "letter": _Plan(
        first=40,
        marker_mm=12.0,
        edge_mm=6.0,
        free_mm=86.0,
        arcs_mm=(90.0, 100.0),
        arc_half_deg=13.0,
        qr_mm=24.0,
    ),
    "a5": _Plan(
        first=60,
        marker_mm=10.0,
        edge_mm=6.0,
        free_mm=60.0,
        arcs_mm=(60.0, 70.0),
        arc_half_deg=6.0,
        qr_mm=19.0,
    ),
}


def _design(paper: str, plan: _Plan) -> Artwork:
    width, height = SHEET_SIZES_MM[paper]
    inset = plan.edge_mm + plan.marker_mm / 2
    x, y = width / 2 - inset, height / 2 - inset
    places = [
        (sx * x, sy * y / k) for sy, k in ((-1, 1), (-1, 3), (1, 3), (1, 1)) for sx in (-1, 1)
    ]
    places += [(sx * x / 3, sy * y) for sy in (-1, 1) for sx in (-1, 1)]
    markers = tuple(
        PrintedMarker(number=plan.first + k, x_mm=px, y_mm=py, side_mm=plan.marker_mm)
        for k, (px, py) in enumerate(places)
    )
    inner_x, inner_y = x - plan.marker_mm / 2 - 2, y - plan.marker_mm / 2 - 2
    qr = Box(left=inner_x - plan.qr_mm, top=-inner_y, right=inner_x, bottom=-inner_y + plan.qr_mm)
    # The upright check line keeps its ends out of the markers' white; text stays 2 mm clear of it.
    line_x, line_y = -(inner_x - 1.0), inner_y - 0.5
    foot = Box(left=-inner_x, top=plan.free_mm + 4, right=inner_x, bottom=line_y - 2)
    head = Box(left=-inner_x, top=-inner_y, right=qr.left - 4, bottom=-plan.free_mm - 4)
    arrow = Box(left=-4.0, top=-height / 2 + 5.0, right=4.0, bottom=-height / 2 + 17.2)
    room = y / 3 - plan.marker_mm / 2 - 3
    note = Box(left=-x - plan.marker_mm / 2, top=-room, right=-x, bottom=room)
    half = x / 3 - plan.marker_mm / 2 - 2
    caption = Box(left=-half, top=line_y + 0.8, right=half, bottom=line_y + 4.0)
    strokes = (
        *_aim(),
        *(
            _arc(radius, middle, plan.arc_half_deg)
            for radius in plan.arcs_mm
            for middle in (45, 135, 225, 315)
        ),
        *_check_line((-CHECK_LINE_MM / 2, line_y), (CHECK_LINE_MM / 2, line_y)),
        *_check_line((line_x, -CHECK_LINE_MM / 2), (line_x, CHECK_LINE_MM / 2)),
    )
    return Artwork(
        paper=paper,
        width_mm=width,
        height_mm=height,
        markers=markers,
        free_mm=plan.free_mm,
        qr=qr,
        index=arrow,
        head=head,
        foot=foot,
        note=note,
        caption=caption,
        strokes=strokes,
        arcs_mm=plan.arcs_mm,
        arc_half_deg=plan.arc_half_deg,
    )


def _aim() -> tuple[Stroke, ...]:
    ring = tuple(
        (1.2 * math.sin(t), -1.2 * math.cos(t)) for t in (k * math.pi / 12 for k in range(25))
    )
    cross = [((-_AIM_MM, 0.0), (_AIM_MM, 0.0)), ((0.0, -_AIM_MM), (0.0, _AIM_MM))]
    return tuple(Stroke(points=p, width_mm=0.2, grey=FAINT) for p in (ring, *cross))


def _arc(radius: float, middle_deg: float, half_deg: float) -> Stroke:
    steps = [middle_deg + half_deg * (k / 12 - 1) for k in range(25)]
    points = tuple(
        (radius * math.sin(math.radians(d)), -radius * math.cos(math.radians(d))) for d in steps
    )
    return Stroke(points=points, width_mm=0.2, grey=FAINT)


def _check_line(a: tuple[float, float], b: tuple[float, float]) -> tuple[Stroke, ...]:
    """Draw the line and, at each end, a serif whose middle is the exact end."""
    across = 1.2
    upright = a[0] == b[0]
    serifs = [
        ((x - across, y), (x + across, y)) if upright else ((x, y - across), (x, y + across))
        for x, y in (a, b)
    ]
    return tuple(Stroke(points=p, width_mm=0.18, grey=0.0) for p in ((a, b), *serifs))


CARDS: Final[dict[str, Artwork]] = {paper: _design(paper, plan) for paper, plan in _PLANS.items()}
"""Paper name to the card made for it."""
