"""What is drawn onto the photo of an axial spray: its patch, the aim, and what lies beside it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from spraycheck.judge.result import LimitCheck, Outcome
from spraycheck.report.looks import LOOKS, OUTCOME_LOOKS, Sight
from spraycheck.report.overlay.drawing import PhotoDrawing
from spraycheck.report.overlay.pen import PAPER, circle
from spraycheck.report.overlay.view import smooth_outline
from spraycheck.report.words.sentences import say

_OF_OUTLINE: Final = (
    *("ellipse_low_ratio", "form_factor_low_ratio", "heavy_side_frac", "streak_frac"),
    *("core_filled_ratio", "core_hollow_ratio"),
)
"""Limits whose outcome the patch's outline shows."""

_WORST_FIRST: Final = (Outcome.BROKEN, Outcome.UNSURE, Outcome.KEPT, Outcome.NOT_JUDGED)


class PatchDrawing(PhotoDrawing):
    """Draws the patch of an axial spray."""

    def spray(self) -> None:
        """Draw the patch, its hollow, the aim, and what lies beside it."""
        self._sides()
        self._patch()
        self._aim()

    def _patch(self) -> None:
        p, u = self.result.patch, self.pen.unit
        outcomes = {c.outcome for c in self.result.checks if c.limit in _OF_OUTLINE}
        look = OUTCOME_LOOKS[next(one for one in _WORST_FIRST if one in outcomes)]
        outline = smooth_outline(self.view.from_photo(p.outline_px), 0.4 * u)
        self.pen.line(outline, look.colour, look.width, dash=look.dash, closed=True)
        self.obstacles.add_polygon(outline, 0.8 * u)
        if len(p.hollow_px):
            hollow = smooth_outline(self.view.from_photo(p.hollow_px), 0.4 * u)
            self.pen.line(hollow, PAPER, 0.25, dash=(1.0, 0.8), closed=True, casing=0.2)
        broken = self._broken("heavy_side_frac")
        if broken is not None:
            self._point(p.heavy_side_deg, say("label-heavy-side", share=broken.value))

    def _point(self, direction_deg: float, words: str) -> None:
        """Draw an arrowhead at the rim, pointing where the fluid lies, and ask for its label."""
        u = self.pen.unit
        turn, radius = math.radians(direction_deg), self.result.patch.diameter_mm / 2
        ray = np.outer([radius, 1.05 * radius], [math.sin(turn), -math.cos(turn)])
        end, beyond = self.view.from_card(self.view.centre_mm + ray)
        out = (beyond - end) / max(1e-9, float(np.hypot(*(beyond - end))))
        side = np.array([-out[1], out[0]])
        head = np.array([end + out * 2.6 * u, end + out * 0.8 * u + side * u,
                         end + out * 0.8 * u - side * u])  # fmt: skip
        look = OUTCOME_LOOKS[Outcome.BROKEN]
        self.pen.fill(head, look.colour)
        self.obstacles.add_polygon(head)
        self.ask(words, look, head[0], out)

    def _aim(self) -> None:
        """Draw the aim as a ringed cross, and how far the patch lies off it."""
        aim, u = self.result.aim, self.pen.unit
        if not aim.known:
            return
        at = self.view.from_card(np.array([[aim.x_mm, aim.y_mm]]))[0]
        for d in ((1, 0), (0, 1), (-1, 0), (0, -1)):
            self.pen.line(at + np.outer([0.7 * u, 2.4 * u], d), PAPER, 0.3, casing=0.3)
        self.pen.line(
            circle(float(at[0]), float(at[1]), 1.5 * u, 32), PAPER, 0.2, closed=True, casing=0.2
        )
        self.obstacles.add_polygon(circle(float(at[0]), float(at[1]), 2.6 * u, 16))
        middle = self.view.from_card(self.view.centre_mm[None])[0]
        self.pen.fill(circle(float(middle[0]), float(middle[1]), 0.55 * u, 16), PAPER)
        broken = self._broken("offset_ratio")
        look = OUTCOME_LOOKS[Outcome.KEPT if broken is None else Outcome.BROKEN]
        if broken is not None:
            self.pen.line(np.array([at, middle]), look.colour, 0.35)
        words = say("label-aim")
        if broken is not None:
            words = say("label-aim-off", share=broken.value)
        away = at - middle
        length = float(np.hypot(*away))
        out = away / length if length > u else np.array([0.0, 1.0])
        self.ask(words, look, at + out * 2.6 * u, out)

    def _sides(self) -> None:
        u = self.pen.unit
        middle = self.view.from_card(self.view.centre_mm[None])[0]
        look = LOOKS[Sight.STRAY]
        for side in self.result.patch.sides:
            outline = smooth_outline(self.view.from_photo(side.outline_px), 0.4 * u)
            self.pen.line(outline, look.colour, look.width, dash=look.dash, closed=True)
            self.obstacles.add_polygon(outline, 0.8 * u)
            out = outline.mean(axis=0) - middle
            out = out / max(1e-9, float(np.hypot(*out)))
            tip = outline[int(np.argmax(outline @ out))]
            self.ask(say("label-beside"), look, tip, out)

    def _broken(self, limit: str) -> LimitCheck | None:
        broken = (c for c in self.result.checks if c.outcome is Outcome.BROKEN)
        return next((check for check in broken if check.limit == limit), None)
