"""The photo with a central spray's patch drawn on it, its values below."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.judge.axial import CentralAssessment, Judged
from spraycheck.report.central_words import (
    NAMES,
    allowed_in_words,
    explain,
    figure,
    rows_of,
    size_in_words,
)
from spraycheck.report.overlay import Composition, frame_photo
from spraycheck.report.overlay.dial import BACK, DIM, RING, tell_verdict
from spraycheck.report.overlay.pen import PAPER, Box, Pen, Points, circle
from spraycheck.report.overlay.scene import Scene
from spraycheck.report.overlay.signs import STYLES, draw_sign
from spraycheck.report.overlay.view import View, smooth_outline

PANEL_UNITS: Final = 46.0
"""Height of the strip below, in hundredths of the width."""

_LOOK: Final = {"kept": "clear", "broken": "blocked", "unsure": "unsure", "not judged": "unsure"}
"""State of a limit to the look it shares with a hole's state."""

_OF_OUTLINE: Final = (
    *("roundness_low_ratio", "circularity_low_ratio", "heavy_side_frac", "streak_frac"),
    *("core_filled_ratio", "core_hollow_ratio"),
)
"""Limits whose state the patch's outline shows."""


def draw_central_overlay(
    assessment: CentralAssessment, *, max_side_px: int = 1600, whole_photo: bool = False
) -> NDArray[np.uint8]:
    """Draw the photo with the patch, its aim and the verdict.

    Parameters
    ----------
    assessment : CentralAssessment
        The judged photo.
    max_side_px, whole_photo
        As of `draw_overlay`.

    Returns
    -------
    (H, W, 3) ndarray of uint8
        RGB.

    Raises
    ------
    InputError
        ``max_side_px`` is less than 200.
    """
    composed = compose_central_overlay(assessment, max_side_px=max_side_px, whole_photo=whole_photo)
    return composed.image


def compose_central_overlay(
    assessment: CentralAssessment, *, max_side_px: int = 1600, whole_photo: bool = False
) -> Composition:
    """Draw as `draw_central_overlay` does, and also tell where the parts are."""
    a = assessment
    frame = frame_photo(a, PANEL_UNITS, max_side_px, whole_photo)
    tell_verdict(frame.banner, a.verdict, size_in_words(a), explain(a))
    view = _View(assessment=a, width=frame.width, height=frame.height, crop=frame.crop)
    labels = _Scene(frame.middle, view).draw()
    _panel(frame.panel, a)
    return frame.composition(labels)


@dataclass(frozen=True, kw_only=True)
class _View(View):
    """The same geometry: it needs no more than photo and card, and a middle."""

    assessment: CentralAssessment  # type: ignore[assignment]

    @property
    def centre_mm(self) -> Points:
        return np.array([self.assessment.patch.x_mm, self.assessment.patch.y_mm])


class _Scene(Scene):
    """Draws the patch, its hollow, the aim, and what lies beside it."""

    a: CentralAssessment  # type: ignore[assignment]

    def draw(self) -> list[tuple[str, Box]]:
        self._sheet()
        self._sides()
        self._patch()
        self._aim()
        self._twelve()
        return self._labels()

    def _patch(self) -> None:
        p, u = self.a.patch, self.pen.unit
        states = {j.state for j in self.a.judged if j.limit in _OF_OUTLINE}
        worst = next(s for s in ("broken", "unsure", "kept", "not judged") if s in states)
        style = STYLES[_LOOK[worst]]
        outline = smooth_outline(self.view.from_photo(p.outline_px), 0.4 * u)
        self.pen.line(outline, style.colour, style.width, dash=style.dash, closed=True)
        self.obstacles.add_polygon(outline, 0.8 * u)
        if len(p.hollow_px):
            hollow = smooth_outline(self.view.from_photo(p.hollow_px), 0.4 * u)
            self.pen.line(hollow, PAPER, 0.25, dash=(1.0, 0.8), closed=True, casing=0.2)
        broken = self._broken("heavy_side_frac")
        if broken is not None:
            self._point(p.heavy_side_deg, f"heavy side {broken.value:.0%}")

    def _point(self, direction_deg: float, words: str) -> None:
        """Draw an arrowhead at the rim, pointing where the fluid lies, and ask for its label."""
        u = self.pen.unit
        turn, radius = math.radians(direction_deg), self.a.patch.diameter_mm / 2
        ray = np.outer([radius, 1.05 * radius], [math.sin(turn), -math.cos(turn)])
        end, beyond = self.view.from_card(self.view.centre_mm + ray)
        out = (beyond - end) / max(1e-9, float(np.hypot(*(beyond - end))))
        side = np.array([-out[1], out[0]])
        head = np.array([end + out * 2.6 * u, end + out * 0.8 * u + side * u,
                         end + out * 0.8 * u - side * u])  # fmt: skip
        style = STYLES["blocked"]
        self.pen.fill(head, style.colour)
        self.obstacles.add_polygon(head)
        self._ask(words, style, head[0], out)

    def _aim(self) -> None:
        """Draw the aim as a ringed cross, and how far the patch lies off it."""
        a, u = self.a, self.pen.unit
        if not a.aim.known:
            return
        at = self.view.from_card(np.array([[a.aim.x_mm, a.aim.y_mm]]))[0]
        for d in ((1, 0), (0, 1), (-1, 0), (0, -1)):
            self.pen.line(at + np.outer([0.7 * u, 2.4 * u], d), PAPER, 0.3, casing=0.3)
        self.pen.line(
            circle(float(at[0]), float(at[1]), 1.5 * u, 32), PAPER, 0.2, closed=True, casing=0.2
        )
        self.obstacles.add_polygon(circle(float(at[0]), float(at[1]), 2.6 * u, 16))
        middle = self.view.from_card(self.view.centre_mm[None])[0]
        self.pen.fill(circle(float(middle[0]), float(middle[1]), 0.55 * u, 16), PAPER)
        broken = self._broken("offset_ratio")
        style = STYLES["blocked" if broken is not None else "clear"]
        if broken is not None:
            self.pen.line(np.array([at, middle]), style.colour, 0.35)
        words = "aim" if broken is None else f"aim, patch {broken.value:.0%} off"
        away = at - middle
        length = float(np.hypot(*away))
        out = away / length if length > u else np.array([0.0, 1.0])
        self._ask(words, style, at + out * 2.6 * u, out)

    def _sides(self) -> None:
        u = self.pen.unit
        middle = self.view.from_card(self.view.centre_mm[None])[0]
        style = STYLES["stray"]
        for side in self.a.patch.sides:
            outline = smooth_outline(self.view.from_photo(side.outline_px), 0.4 * u)
            self.pen.line(outline, style.colour, style.width, dash=style.dash, closed=True)
            self.obstacles.add_polygon(outline, 0.8 * u)
            out = outline.mean(axis=0) - middle
            out = out / max(1e-9, float(np.hypot(*out)))
            tip = outline[int(np.argmax(outline @ out))]
            self._ask("beside", style, tip, out)

    def _broken(self, limit: str) -> Judged | None:
        return next((j for j in self.a.judged if j.limit == limit and j.state == "broken"), None)


def _panel(pen: Pen, a: CentralAssessment) -> None:
    """Draw the wetness by direction on the left, the values and their limits on the right."""
    u = pen.unit
    pen.flood(BACK)
    _rose(pen, a, 16.5 * u, 22.5 * u)
    rows = rows_of(a)
    step = min(5.4, 41.0 / len(rows)) * u
    y = 22.0 * u - (len(rows) - 1) * step / 2
    for j in rows:
        style = STYLES[_LOOK[j.state]]
        if j.state != "not judged":
            draw_sign(pen, style.sign, 33.5 * u, y, 2.4, style.colour)
        value = figure(j, j.value) + (f" ±{figure(j, j.u)}" if math.isfinite(j.u) else "")
        pen.text(36.0 * u, y, NAMES[j.limit], PAPER, 3.0)
        pen.text(79.5 * u, y, value, PAPER, 3.0, align=1.0)
        told = allowed_in_words(j) if j.state != "not judged" else "not judged"
        pen.text(98.0 * u, y, told, DIM, 2.8, align=1.0)
        y += step


def _rose(pen: Pen, a: CentralAssessment, x: float, y: float) -> None:
    """Draw how much fluid lies in each direction, against the mean as a ring."""
    u = pen.unit
    ring = 8.6 * u
    pen.line(circle(x, y, ring, 96), RING, 0.35, closed=True, casing=0)
    pen.line(circle(x, y, 1.5 * ring, 96), RING, 0.2, closed=True, casing=0)
    turn = np.radians((np.arange(len(a.patch.by_angle)) + 0.5) * 360 / len(a.patch.by_angle))
    reach = ring * np.clip(a.patch.by_angle, 0.0, 1.8)
    curve = np.column_stack([x + reach * np.sin(turn), y - reach * np.cos(turn)])
    state = next((j.state for j in a.judged if j.limit == "streak_frac"), "not judged")
    pen.line(curve, STYLES[_LOOK[state]].colour, 0.55, closed=True, casing=0.2)
    pen.fill(circle(x, y, 0.5 * u, 16), PAPER)
    pen.text(x, y - 1.85 * ring, "12 o'clock", DIM, 2.7, align=0.5)
    pen.text(x, y + 1.95 * ring, "fluid by direction", DIM, 2.7, align=0.5)
