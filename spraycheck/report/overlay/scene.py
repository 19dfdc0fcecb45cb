"""What is drawn onto the photo itself."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck import flags
from spraycheck.judge.layout import Hole
from spraycheck.report.overlay.pen import INK, PAPER, Box, Pen, Points, circle
from spraycheck.report.overlay.placing import Obstacles, Request, place_labels
from spraycheck.report.overlay.signs import STYLES, Style, draw_sign
from spraycheck.report.overlay.view import View, ghost_outline, smooth_outline
from spraycheck.report.summary import pattern_fits
from spraycheck.spray.containers import Mark

LABEL_SIZE = 3.5
"""Type size of labels in units: 14 pixels on a phone that shows the picture 400 pixels wide."""

_CHI2_95 = 5.991464547107979
"""95 % point of chi-squared with two degrees of freedom, -2 ln 0.05."""


@dataclass(frozen=True, kw_only=True)
class Tag:
    """A label still without a place: its words, look and the point it belongs to."""

    text: str
    style: Style
    request: Request


def label_text(holes: list[Hole], *, merged: bool = False) -> str:
    """Write the label of the hole, or of the holes that share a plume."""
    number = "+".join(str(h.hole) for h in holes)
    if merged or len(holes) > 1:
        return f"{number} merged"
    hole = holes[0]
    if hole.state == "clear":
        return number
    if hole.state in ("weak", "heavy") and math.isfinite(hole.area_ratio):
        return f"{number} {hole.state} {hole.area_ratio:.0%}"
    if hole.state == "off-line" and math.isfinite(hole.deviation_deg):
        return f"{number} off-line {abs(hole.deviation_deg):.0f}°"
    return f"{number} {hole.state}"


class Scene:
    """Draws one assessment onto its photo, layer by layer.

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
        self.a = view.assessment
        self.obstacles = Obstacles(view.width, view.height)
        self.tags: list[Tag] = []
        self.fixed: list[Box] = []

    def draw(self) -> list[tuple[str, Box]]:
        """Draw everything; return each label's words and box."""
        self._sheet()
        self._plumes()
        self._marks()
        self._centre()
        self._twelve()
        return self._labels()

    def _sheet(self) -> None:
        outline = self.view.from_photo(self.a.card.outline_px)
        self.pen.line(outline, PAPER, 0.26, closed=True, casing=0.2)

    # -- plumes -----------------------------------------------------------------------------
    def _plumes(self) -> None:
        cat = self.a.catalogue
        owners: dict[int, list[Hole]] = {}
        for hole in self.a.holes if pattern_fits(self.a) else ():
            if hole.plume is not None:
                owners.setdefault(hole.plume, []).append(hole)
            elif hole.state in ("blocked", "unsure"):
                self._missing(hole)
        for row in range(len(cat)):
            holes = owners.get(row + 1, [])
            merged = flags.MERGED in cat.flags[row]
            if not holes:
                stray = row + 1 in self.a.strays
                style = STYLES["stray" if stray else "unsure"]
                words = "stray" if stray else f"plume {row + 1}"
            else:
                style = STYLES["unsure" if len(holes) > 1 else holes[0].state]
                words = label_text(holes, merged=merged)
            self._outline(row, style)
            self._pointer(row, holes, style, words)

    def _outline(self, row: int, style: Style) -> None:
        if row >= len(self.a.catalogue.outlines_px):
            return
        outline = smooth_outline(
            self.view.from_photo(self.a.catalogue.outlines_px[row]), 0.5 * self.pen.unit
        )
        self.pen.line(outline, style.colour, style.width, dash=style.dash, closed=True)
        if style.sign == "up":  # a heavy plume has a double line
            self.pen.line(outline, INK, 0.35, closed=True, casing=0)
        self.obstacles.add_polygon(outline, 0.8 * self.pen.unit)

    def _pointer(self, row: int, holes: list[Hole], style: Style, words: str) -> None:
        """Draw where the plume points against where it should, and ask for its label."""
        cat = self.a.catalogue
        direction, reach = float(cat.direction_deg[row]), float(cat.reach_mm[row])
        u = self.pen.unit
        end, out = self.view.on_ray(direction, reach)
        side = np.array([-out[1], out[0]])
        tip = end + out * 2.4 * u
        head = np.array([tip, end + out * 0.7 * u + side * u, end + out * 0.7 * u - side * u])
        anchor, away = tip, out
        for hole in holes:
            tick, tick_out = self.view.on_ray(hole.expected_deg, reach)
            bar = np.array([tick + tick_out * 2.5 * u, tick + tick_out * 5.0 * u])
            if hole.state == "off-line":
                near = float(cat.near_mm[row])
                ray, _ = self.view.on_ray(hole.expected_deg, near)
                self.pen.line(np.array([ray, bar[0]]), PAPER, 0.3, dash=(1.0, 1.0), casing=0.25)
                self._arc(hole.expected_deg, direction, reach, style)
            self.pen.line(bar, PAPER, 0.7)
            self.obstacles.add_polygon(bar, 0.6 * u)
            if len(holes) == 1 and hole.state != "off-line":
                anchor, away = bar[1], tick_out
        self.pen.line(head, INK, 0.7, closed=True, casing=0)
        self.pen.fill(head, style.colour)
        self.obstacles.add_polygon(head)
        self._ask(words, style, anchor, away)

    def _arc(self, start_deg: float, stop_deg: float, reach_mm: float, style: Style) -> None:
        """Draw the arrow from where a plume should be to where it is."""
        sweep = (stop_deg - start_deg + 180) % 360 - 180
        steps = start_deg + sweep * np.linspace(0, 1, max(3, int(abs(sweep))))
        rays = [self.view.on_ray(float(s), reach_mm) for s in steps]
        arc = np.array([p + out * 3.7 * self.pen.unit for p, out in rays])
        forward = arc[-1] - arc[-2]
        forward = forward / max(1e-9, float(np.hypot(*forward)))
        side = np.array([-forward[1], forward[0]])
        size = 0.95 * self.pen.unit
        head = np.array(
            [arc[-1] + forward * size, arc[-1] - forward * size + side * size,
             arc[-1] - forward * size - side * size]
        )  # fmt: skip
        self.pen.line(arc, style.colour, 0.5)
        self.pen.line(head, INK, 0.6, closed=True, casing=0)
        self.pen.fill(head, style.colour)
        self.obstacles.add_polygon(np.vstack([arc, arc[::-1]]), 0.8 * self.pen.unit)

    def _missing(self, hole: Hole) -> None:
        """Draw the plume that should have been there."""
        style = STYLES[hole.state]
        u = self.pen.unit
        ghost_mm, reach = ghost_outline(self.a, hole)
        ghost = self.view.from_card(ghost_mm)
        self.pen.line(ghost, style.colour, style.width, dash=style.dash, closed=True)
        if hole.state == "blocked":
            x, y = ghost.mean(axis=0)
            arm = 1.5 * u
            for sign in (1, -1):
                stroke = np.array([[x - arm, y - sign * arm], [x + arm, y + sign * arm]])
                self.pen.line(stroke, style.colour, 0.7)
        self.obstacles.add_polygon(ghost, 0.6 * u)
        end, out = self.view.on_ray(hole.expected_deg, reach)
        bar = np.array([end + out * 2.5 * u, end + out * 5.0 * u])
        self.pen.line(bar, PAPER, 0.7)
        self.obstacles.add_polygon(bar, 0.6 * u)
        self._ask(label_text([hole]), style, bar[1], out)

    # -- the rest ---------------------------------------------------------------------------
    def _marks(self) -> None:
        for mark in self.a.segmentation.marks:
            at = self.view.from_card(np.array([[mark.x_mm, mark.y_mm]]))[0]
            self._mark(mark, at)

    def _mark(self, mark: Mark, at: Points) -> None:
        u = self.pen.unit
        if mark.kind == "drip":
            # A drop: the only mark with advice attached, so the only one with a word.
            size = max(1.9 * u, 0.6 * self._radius_px(mark))
            t = np.linspace(0, 2 * math.pi, 40, endpoint=False)
            drop = at + size * np.column_stack(
                [np.sin(t) * np.sin(t / 2) ** 1.5, -1.1 * np.cos(t) + 0.1]
            )
            self.pen.line(drop, PAPER, 0.4, closed=True, casing=0.3)
            self.obstacles.add_polygon(drop)
            self._ask("drip", STYLES["drip"], at + [0, size], np.array([0.0, 1.0]))
            return
        r = max(1.1 * u, self._radius_px(mark))
        diamond = at + r * np.array([[0, -1.2], [1.2, 0], [0, 1.2], [-1.2, 0]])
        self.pen.line(diamond, PAPER, 0.25, closed=True, casing=0.25)
        self.obstacles.add_polygon(diamond)

    def _radius_px(self, mark: Mark) -> float:
        scale = self.a.card.px_per_mm(np.array([mark.x_mm, mark.y_mm]))
        return math.sqrt(max(0.0, mark.area_mm2) / math.pi) * scale * self.view.scale

    def _centre(self) -> None:
        """Draw the 95 % region of the centre and a cross that leaves it open."""
        u = self.pen.unit
        values, vectors = np.linalg.eigh(self.a.centre.covariance_mm2)
        axes = vectors * np.sqrt(np.maximum(values, 0) * _CHI2_95)
        region = self.view.from_card(self.view.centre_mm + circle(0, 0, 1, 72) @ axes.T)
        at = self.view.from_card(self.view.centre_mm[None])[0]
        radius = float(np.hypot(*(region - at).T).max())
        inner, outer = max(0.9 * u, radius + 0.4 * u), max(0.9 * u, radius + 0.4 * u) + 1.8 * u
        for d in ((1, 0), (0, 1), (-1, 0), (0, -1)):
            arm = at + np.outer([inner, outer], d)
            self.pen.line(arm, PAPER, 0.45, casing=0.35)
        self.pen.line(region, PAPER, 0.24, closed=True, casing=0.18)
        self.obstacles.add_polygon(circle(float(at[0]), float(at[1]), outer, 16), 0.3 * u)

    def _twelve(self) -> None:
        """Mark 12 o'clock on the card: a pointer outside the sheet's edge, if there is room."""
        u = self.pen.unit
        centre = self.view.from_card(self.view.centre_mm[None])[0]
        top_mm = np.array([self.view.centre_mm[0], -self.a.card.size_mm[1] / 2])
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

    # -- labels -----------------------------------------------------------------------------
    def _ask(self, text: str, style: Style, anchor: Points, away: Points) -> None:
        u = self.pen.unit
        width = self.pen.text_width(text, LABEL_SIZE) + (2.4 + 0.6 + 2 * 1.0) * u
        request = Request(
            width=width,
            height=5.0 * u,
            anchor=(float(anchor[0]), float(anchor[1])),
            away=(float(away[0]), float(away[1])),
        )
        self.tags.append(Tag(text=text, style=style, request=request))

    def _labels(self) -> list[tuple[str, Box]]:
        u = self.pen.unit
        # Faults first: they get the places next to their plumes.
        tags = sorted(self.tags, key=lambda tag: not tag.style.alarm)
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
            back, ink = (INK, PAPER) if tag.style.alarm else (PAPER, INK)
            self.pen.panel(box, back, PAPER if tag.style.alarm else INK, width=0.3)
            _, y = box.centre
            sign_ink = tag.style.colour if tag.style.alarm else INK
            draw_sign(self.pen, tag.style.sign, box.left + 2.2 * u, y, 2.2, sign_ink)
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
