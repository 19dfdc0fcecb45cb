"""Both patterns of a comparison over one another, as a picture.

Before is dashed, after is solid; labels say what changed. Colour only helps.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.judge.result import Result, Way
from spraycheck.judge.shots import Comparison, HoleChange
from spraycheck.report.looks import CHANGE_LOOKS
from spraycheck.report.model import Headline, build_report
from spraycheck.report.model.changes import ratio_change, turn_change
from spraycheck.report.overlay.dial import BACK, DIM, RING
from spraycheck.report.overlay.pen import INK, PAPER, Box, Colour, Pen, Points, circle
from spraycheck.report.overlay.placing import Obstacles, Request, place_labels
from spraycheck.report.overlay.view import smooth_outline
from spraycheck.report.words.findings import matching_reason
from spraycheck.report.words.labels import CHANGES
from spraycheck.report.words.sentences import say

BEFORE: Colour = (255, 190, 55)
AFTER: Colour = (125, 222, 255)
DASH = (2.0, 1.2)

_HEAD, _SCENE, _ROW = 14.0, 84.0, 4.4  # in hundredths of the width
_FILL = 0.36  # of the width: how far from the middle the longest plume reaches
_WIDTH_PX = 1200


def draw_comparison(comparison: Comparison, *, width_px: int = _WIDTH_PX) -> NDArray[np.uint8]:
    """Draw both patterns over one another, the nozzle in the middle, and the list of changes.

    Parameters
    ----------
    comparison : Comparison
        What is drawn; the second pattern is turned to lie on the first at its best fit.
    width_px : int
        Of the picture.

    Returns
    -------
    (H, W, 3) ndarray of uint8
        RGB.
    """
    unit = width_px / 100
    # The list, its heads and two notes; without a list the reason for that.
    foot = 12.0 + _ROW * max(2, len(comparison.holes))
    heights = [round(h * unit) for h in (_HEAD, _SCENE, foot)]
    image = np.empty((sum(heights), width_px, 3), np.uint8)
    top, bottom = heights[0], heights[0] + heights[1]
    pens = [Pen(image[a:b], unit) for a, b in ((0, top), (top, bottom), (bottom, sum(heights)))]
    for pen in pens:
        pen.flood(BACK)
    _headline(pens[0], build_report(comparison).headline)
    _scene(pens[1], comparison)
    _list(pens[2], comparison)
    return image


def _headline(pen: Pen, headline: Headline) -> None:
    u = pen.unit
    pen.text(3 * u, 4.2 * u, headline.title, PAPER, 5.0, weight=800)
    pen.line(np.array([[53 * u, 4.2 * u], [62 * u, 4.2 * u]]), BEFORE, 0.5, dash=DASH, casing=0)
    pen.text(63.5 * u, 4.2 * u, say("head-before"), BEFORE, 3.4)
    pen.line(np.array([[78 * u, 4.2 * u], [87 * u, 4.2 * u]]), AFTER, 0.5, casing=0)
    pen.text(88.5 * u, 4.2 * u, say("head-after"), AFTER, 3.4)
    words = headline.reason
    size = min(3.4, 3.4 * 94 * u / pen.text_width(words, 3.4))
    pen.text(3 * u, 10.5 * u, words, PAPER, size)


def _scene(pen: Pen, c: Comparison) -> None:
    u = pen.unit
    height, width = pen.image.shape[:2]
    middle = np.array([width / 2, height / 2])
    scales = _scales(c)
    reach = max(
        float(np.max(a.catalogue.reach_mm, initial=0.0)) * s
        for a, s in zip((c.before, c.after), scales, strict=True)
    )
    to_px = _FILL * width / max(reach, 1e-6)
    obstacles = Obstacles(width, height)
    turn = c.matching.turn_deg[1]
    # The dashes go on top, so that both lines show where they coincide.
    for k, a, colour, dash in ((1, c.after, AFTER, ()), (0, c.before, BEFORE, DASH)):
        back = math.radians(-turn if k else 0.0)
        spin = np.array([[math.cos(back), -math.sin(back)], [math.sin(back), math.cos(back)]])
        for outline in _outlines(a):
            drawn = middle + to_px * scales[k] * (outline @ spin.T)
            drawn = smooth_outline(drawn, 0.4 * u)
            pen.line(drawn, colour, 0.45, dash=dash, closed=True, casing=0.2)
            obstacles.add_polygon(drawn, 0.4 * u)
    for hole in c.before.holes:  # where each hole should spray
        pen.line(_ray(middle, hole.expected_deg, 3.0 * u, 0.3 * width), RING, 0.2, casing=0)
    pen.fill(circle(float(middle[0]), float(middle[1]), 0.7 * u, 24), PAPER)
    _labels(pen, c, middle, to_px * reach, obstacles)


def _labels(pen: Pen, c: Comparison, middle: Points, reach_px: float, obstacles: Obstacles) -> None:
    u = pen.unit
    height, width = pen.image.shape[:2]
    changes = {h.hole: h for h in c.holes}
    texts, requests, alarms = [], [], []
    for hole in c.before.holes:
        change = changes.get(hole.hole)
        text = _label(hole.hole, change)
        a = math.radians(hole.expected_deg)
        out = (math.sin(a), -math.cos(a))
        at = middle + np.array(out) * (reach_px + 1.5 * u)
        texts.append(text)
        alarms.append(change is not None and change.change in CHANGE_LOOKS)
        requests.append(
            Request(
                width=pen.text_width(text, 3.0) + 2 * u,
                height=4.4 * u,
                anchor=(float(at[0]), float(at[1])),
                away=out,
            )
        )
    boxes: list[Box] = place_labels(requests, obstacles, width, height, gap=0.6 * u)
    for text, box, alarm in zip(texts, boxes, alarms, strict=True):
        back, ink = (PAPER, INK) if alarm else (INK, PAPER)
        pen.panel(box, back, PAPER, width=0.25)
        pen.text(*box.centre, text, ink, 3.0, align=0.5)


def _label(number: int, change: HoleChange | None) -> str:
    if change is None:
        return say("label-before", hole=number)
    if change.change is Way.NO_SURE_CHANGE:
        return str(number)
    word = CHANGES[change.change]
    if change.area.sure:
        value = ratio_change(change.area)
    elif change.deviation.sure:
        value = f"{turn_change(change.deviation)}°"
    else:
        return say("label-change", hole=number, change=word)
    return say("label-change-value", hole=number, change=word, value=value)


def _list(pen: Pen, c: Comparison) -> None:
    u = pen.unit
    known = c.before.card.scale_known and c.after.card.scale_known
    note = say("foot-changes" if known else "foot-by-reach")
    if not c.holes:
        lines = [say("which-hole"), *_wrapped(pen, matching_reason(c.matching), 2.7, 94 * u)]
        for k, words in enumerate(lines):
            pen.text(3 * u, (2.5 + 3.2 * k) * u, words, DIM if k else PAPER, 2.7)
        _note(pen, note, (2.7 + 3.2 * len(lines)) * u)
        return
    heads = (
        (8, say("head-hole"), 1.0),
        (14, say("head-wets-pair"), 0.0),
        (48, say("head-off-pair"), 0.0),
    )
    for x, word, align in heads:
        pen.text(x * u, 2.4 * u, word, DIM, 2.7, align=align)
    for k, h in enumerate(c.holes):
        y = (6.4 + _ROW * k) * u
        ink = DIM if h.change is Way.NO_SURE_CHANGE else PAPER
        pen.text(8 * u, y, str(h.hole), ink, 3.2, align=1.0)
        pen.text(14 * u, y, ratio_change(h.area), ink, 3.2)
        pen.text(48 * u, y, turn_change(h.deviation), ink, 3.2)
        pen.text(74 * u, y, CHANGES[h.change], ink, 3.2)
    _note(pen, note, (6.4 + _ROW * len(c.holes)) * u)


def _note(pen: Pen, note: str, y: float) -> None:
    """Write what stands at the foot, as large as there is room for."""
    for k, line in enumerate((note, say("foot-caution"))):
        size = min(2.4, 2.4 * 94 * pen.unit / pen.text_width(line, 2.4, 400))
        pen.text(3 * pen.unit, y + 3.0 * k * pen.unit, line, DIM, size, weight=400)


def _wrapped(pen: Pen, text: str, size: float, room: float) -> list[str]:
    """Break a text into lines that fit."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if lines[-1] and pen.text_width(longer, size) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _scales(c: Comparison) -> tuple[float, float]:
    """Factors that put both photos' lengths on one scale: mm, or else the typical reach."""
    if c.before.card.scale_known and c.after.card.scale_known:
        return 1.0, 1.0
    reach = [float(np.median(a.catalogue.reach_mm)) for a in (c.before, c.after)]
    return 1.0, reach[0] / max(reach[1], 1e-6)


def _outlines(a: Result) -> list[Points]:
    """Outline of every plume's largest piece, in mm from the nozzle centre."""
    found: list[Points] = []
    for label in a.catalogue.label.tolist():
        mask = ((a.segmentation.labels == label) & a.segmentation.mask).astype(np.uint8)
        pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        if pieces:
            largest = max(pieces, key=cv2.contourArea).reshape(-1, 2).astype(float)
            found.append(a.card.to_mm(largest) - [a.centre.x_mm, a.centre.y_mm])
    return found


def _ray(middle: Points, direction_deg: float, near: float, far: float) -> Points:
    a = math.radians(direction_deg)
    out: Points = middle + np.outer([near, far], [math.sin(a), -math.cos(a)])
    return out
