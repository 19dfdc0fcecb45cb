"""What is drawn onto the photo of a nozzle with holes: plumes, missing ones, spots, the centre."""

from __future__ import annotations

import math

import numpy as np

from spraycheck import flags
from spraycheck.judge.result import Hole, HoleState
from spraycheck.report.looks import LOOKS, Look, Sight
from spraycheck.report.model.holes import pattern_fits
from spraycheck.report.model.shared import brief_value
from spraycheck.report.overlay.drawing import PhotoDrawing
from spraycheck.report.overlay.pen import INK, PAPER, Points, circle
from spraycheck.report.overlay.view import ghost_outline, smooth_outline
from spraycheck.report.words.labels import STATES
from spraycheck.report.words.sentences import say
from spraycheck.spray.containers import Mark

_CHI2_95 = 5.991464547107979
"""95 % point of chi-squared with two degrees of freedom, -2 ln 0.05."""


def label_text(holes: list[Hole], *, merged: bool = False) -> str:
    """Write the label of the hole, or of the holes that share a plume."""
    numbers = "+".join(str(hole.hole) for hole in holes)
    if merged or len(holes) > 1:
        return say("label-holes", holes=numbers, what=say("merged"))
    hole = holes[0]
    if hole.state is HoleState.CLEAR:
        return numbers
    what = f"{STATES[hole.state]} {brief_value(hole)}".rstrip()
    return say("label-holes", holes=numbers, what=what)


class HolesDrawing(PhotoDrawing):
    """Draws the plumes of a nozzle with holes."""

    def spray(self) -> None:
        """Draw plumes, spots and the centre."""
        self._plumes()
        for spot in self.result.segmentation.marks:
            self._spot(spot, self.view.from_card(np.array([[spot.x_mm, spot.y_mm]]))[0])
        self._centre()

    def _plumes(self) -> None:
        cat = self.result.catalogue
        owners: dict[int, list[Hole]] = {}
        for hole in self.result.holes if pattern_fits(self.result) else ():
            if hole.plume is not None:
                owners.setdefault(hole.plume, []).append(hole)
            elif hole.state in (HoleState.BLOCKED, HoleState.UNSURE):
                self._missing(hole)
        for row in range(len(cat)):
            holes = owners.get(row + 1, [])
            merged = flags.MERGED in cat.flags[row]
            if not holes:
                stray = row + 1 in self.result.strays
                look = LOOKS[Sight.STRAY if stray else HoleState.UNSURE]
                words = say("stray") if stray else say("plume", plume=row + 1)
            else:
                look = LOOKS[HoleState.UNSURE if len(holes) > 1 else holes[0].state]
                words = label_text(holes, merged=merged)
            self._outline(row, look)
            self._pointer(row, holes, look, words)

    def _outline(self, row: int, look: Look) -> None:
        if row >= len(self.result.catalogue.outlines_px):
            return
        outline = smooth_outline(
            self.view.from_photo(self.result.catalogue.outlines_px[row]), 0.5 * self.pen.unit
        )
        self.pen.line(outline, look.colour, look.width, dash=look.dash, closed=True)
        if look.sign == "up":  # a heavy plume has a double line
            self.pen.line(outline, INK, 0.35, closed=True, casing=0)
        self.obstacles.add_polygon(outline, 0.8 * self.pen.unit)

    def _pointer(self, row: int, holes: list[Hole], look: Look, words: str) -> None:
        """Draw where the plume points against where it should, and ask for its label."""
        cat = self.result.catalogue
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
            if hole.state is HoleState.OFF_LINE:
                near = float(cat.near_mm[row])
                ray, _ = self.view.on_ray(hole.expected_deg, near)
                self.pen.line(np.array([ray, bar[0]]), PAPER, 0.3, dash=(1.0, 1.0), casing=0.25)
                self._arc(hole.expected_deg, direction, reach, look)
            self.pen.line(bar, PAPER, 0.7)
            self.obstacles.add_polygon(bar, 0.6 * u)
            if len(holes) == 1 and hole.state is not HoleState.OFF_LINE:
                anchor, away = bar[1], tick_out
        self.pen.line(head, INK, 0.7, closed=True, casing=0)
        self.pen.fill(head, look.colour)
        self.obstacles.add_polygon(head)
        self.ask(words, look, anchor, away)

    def _arc(self, start_deg: float, stop_deg: float, reach_mm: float, look: Look) -> None:
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
        self.pen.line(arc, look.colour, 0.5)
        self.pen.line(head, INK, 0.6, closed=True, casing=0)
        self.pen.fill(head, look.colour)
        self.obstacles.add_polygon(np.vstack([arc, arc[::-1]]), 0.8 * self.pen.unit)

    def _missing(self, hole: Hole) -> None:
        """Draw the plume that should have been there."""
        look = LOOKS[hole.state]
        u = self.pen.unit
        ghost_mm, reach = ghost_outline(self.result, hole)
        ghost = self.view.from_card(ghost_mm)
        self.pen.line(ghost, look.colour, look.width, dash=look.dash, closed=True)
        if hole.state is HoleState.BLOCKED:
            x, y = ghost.mean(axis=0)
            arm = 1.5 * u
            for sign in (1, -1):
                stroke = np.array([[x - arm, y - sign * arm], [x + arm, y + sign * arm]])
                self.pen.line(stroke, look.colour, 0.7)
        self.obstacles.add_polygon(ghost, 0.6 * u)
        end, out = self.view.on_ray(hole.expected_deg, reach)
        bar = np.array([end + out * 2.5 * u, end + out * 5.0 * u])
        self.pen.line(bar, PAPER, 0.7)
        self.obstacles.add_polygon(bar, 0.6 * u)
        self.ask(label_text([hole]), look, bar[1], out)

    def _spot(self, spot: Mark, at: Points) -> None:
        u = self.pen.unit
        if spot.kind == "drip":
            # A drop: the only spot with advice attached, so the only one with a word.
            size = max(1.9 * u, 0.6 * self._radius_px(spot))
            t = np.linspace(0, 2 * math.pi, 40, endpoint=False)
            drop = at + size * np.column_stack(
                [np.sin(t) * np.sin(t / 2) ** 1.5, -1.1 * np.cos(t) + 0.1]
            )
            self.pen.line(drop, PAPER, 0.4, closed=True, casing=0.3)
            self.obstacles.add_polygon(drop)
            self.ask(say("label-drip"), LOOKS[Sight.DRIP], at + [0, size], np.array([0.0, 1.0]))
            return
        r = max(1.1 * u, self._radius_px(spot))
        diamond = at + r * np.array([[0, -1.2], [1.2, 0], [0, 1.2], [-1.2, 0]])
        self.pen.line(diamond, PAPER, 0.25, closed=True, casing=0.25)
        self.obstacles.add_polygon(diamond)

    def _radius_px(self, spot: Mark) -> float:
        scale = self.result.card.px_per_mm(np.array([spot.x_mm, spot.y_mm]))
        return math.sqrt(max(0.0, spot.area_mm2) / math.pi) * scale * self.view.scale

    def _centre(self) -> None:
        """Draw the 95 % region of the centre and a cross that leaves it open."""
        u = self.pen.unit
        values, vectors = np.linalg.eigh(self.result.centre.covariance_mm2)
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
