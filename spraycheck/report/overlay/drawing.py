"""What every picture of a photo has: the sheet, 12 o'clock, and labels that find their places."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.judge.result import Result
from spraycheck.report.looks import Look
from spraycheck.report.overlay.pen import INK, PAPER, Box, Pen, Points
from spraycheck.report.overlay.placing import Obstacles, Request, place_labels
from spraycheck.report.overlay.signs import draw_sign
from spraycheck.report.overlay.view import View

LABEL_SIZE = 3.5
"""Type size of labels in units: 14 pixels on a phone that shows the picture 400 pixels wide."""


@dataclass(frozen=True, kw_only=True)
class Tag:
    """A label still without a place: its words, look and the point it belongs to."""

    text: str
    look: Look
    request: Request


class PhotoDrawing:
    """Draws one result onto its photo, layer by layer.

    Parameters
    ----------
    pen : Pen
        On the drawn photo.
    view : View
        The geometry.
    """

    def __init__(self, pen: Pen, view: View) -> None:
        self.pen = pen
        self.view = view
        self.result: Result = view.result
        self.obstacles = Obstacles(view.width, view.height)
        self.tags: list[Tag] = []
        self.fixed: list[Box] = []

    def draw(self) -> list[tuple[str, Box]]:
        """Draw everything; return each label's words and box."""
        self._sheet()
        self.spray()
        self._twelve()
        return self._labels()

    def spray(self) -> None:
        """Draw what is special to a kind of nozzle."""
        raise NotImplementedError

    def _sheet(self) -> None:
        outline = self.view.from_photo(self.result.card.outline_px)
        self.pen.line(outline, PAPER, 0.26, closed=True, casing=0.2)

    def _twelve(self) -> None:
        """Mark 12 o'clock on the card: a pointer outside the sheet's edge, if there is room."""
        u = self.pen.unit
        centre = self.view.from_card(self.view.centre_mm[None])[0]
        top_mm = np.array([self.view.centre_mm[0], -self.result.card.size_mm[1] / 2])
        top = self.view.from_card(top_mm[None])[0]
        way = top - centre
        way = way / max(1e-9, float(np.hypot(*way)))
        size = np.array([self.view.width, self.view.height])
        base = top + way * 3.0 * u
        for _ in range(400):  # walk back into the picture
            if (base > 3.0 * u).all() and (base < size - 3.0 * u).all():
                break
            base = base - way * u
        side = np.array([-way[1], way[0]])
        head = np.array([base, base - way * 2.2 * u + side * 1.2 * u,
                         base - way * 2.2 * u - side * 1.2 * u])  # fmt: skip
        self.pen.line(head, INK, 0.7, closed=True, casing=0)
        self.pen.fill(head, PAPER)
        self.obstacles.add_polygon(head)
        request = Request(
            width=self.pen.text_width("12", 3.0) + 1.4 * u,
            height=3.8 * u,
            anchor=(float(base[0]), float(base[1])),
            away=(float(way[0]), float(way[1])),
        )
        box = place_labels(
            [request], self.obstacles, self.view.width, self.view.height, gap=0.6 * u
        )[0]
        self.pen.panel(box, PAPER, INK)
        self.pen.text(*box.centre, "12", INK, 3.0, align=0.5)
        self.fixed.append(box)

    def ask(self, text: str, look: Look, anchor: Points, away: Points) -> None:
        """Ask for a place for a label that belongs to a point."""
        u = self.pen.unit
        width = self.pen.text_width(text, LABEL_SIZE) + (2.4 + 0.6 + 2 * 1.0) * u
        request = Request(
            width=width,
            height=5.0 * u,
            anchor=(float(anchor[0]), float(anchor[1])),
            away=(float(away[0]), float(away[1])),
        )
        self.tags.append(Tag(text=text, look=look, request=request))

    def _labels(self) -> list[tuple[str, Box]]:
        u = self.pen.unit
        # Faults first: they get the places next to their plumes.
        tags = sorted(self.tags, key=lambda tag: not tag.look.alarm)
        boxes = place_labels(
            [tag.request for tag in tags],
            self.obstacles,
            self.view.width,
            self.view.height,
            taken=self.fixed,
            gap=0.8 * u,
        )
        for tag, box in zip(tags, boxes, strict=True):
            self._leader(tag.request, box)
        for tag, box in zip(tags, boxes, strict=True):
            back, ink = (INK, PAPER) if tag.look.alarm else (PAPER, INK)
            self.pen.panel(box, back, PAPER if tag.look.alarm else INK, width=0.3)
            _, y = box.centre
            sign_ink = tag.look.colour if tag.look.alarm else INK
            draw_sign(self.pen, tag.look.sign, box.left + 2.2 * u, y, 2.2, sign_ink)
            self.pen.text(box.left + 4.0 * u, y, tag.text, ink, LABEL_SIZE)
        return [(tag.text, box) for tag, box in zip(tags, boxes, strict=True)] + [
            ("12", box) for box in self.fixed
        ]

    def _leader(self, request: Request, box: Box) -> None:
        """Join a label to its plume where it could not stay beside it."""
        x = min(max(request.anchor[0], box.left), box.right)
        y = min(max(request.anchor[1], box.top), box.bottom)
        if math.hypot(x - request.anchor[0], y - request.anchor[1]) > 2.2 * self.pen.unit:
            self.pen.line(np.array([request.anchor, (x, y)]), PAPER, 0.25, casing=0.25)
