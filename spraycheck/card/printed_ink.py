"""The card's own print taken out of its light, so that ink does not read as wet.

Where ink stands is known: markers, QR code, arrow and thin lines exactly; in the blocks of text,
where names and handwriting differ from card to card, dark strokes are looked for. Everything under
ink is filled from the paper beside it, in log light, where a plume crossing a line or a letter is
carried on from both sides.
"""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.infill import fill_hidden
from spraycheck.card.target import Artwork, Box

_BESIDE_MM = 0.35
"""How far beyond its outline ink is taken to darken the paper: a good lens's blur, toner dust and
light that wanders in paper (chosen)."""

_PEN_MM = 2.4
"""Strokes up to this width in the text blocks are ink (chosen: three times a felt pen, twice the
bold title's strokes; the narrowest plume is wider)."""

_INK_DEPTH = 0.05
"""Natural-log loss of light from which a thin stroke is ink: five times the paper's own grain after
the smoothing below (chosen)."""


def without_print(
    linear_rgb: FloatMap, card: Artwork, x_mm: Float, y_mm: Float, *, blur_mm: float
) -> FloatMap:
    """Fill everything printed from the paper beside it.

    Parameters
    ----------
    linear_rgb : (M, N, 3) ndarray of float32
        Light on the card's grid.
    card : Artwork
        Which card.
    x_mm, y_mm : (N,), (M,) ndarray of float64
        Centres of columns and rows, mm as printed.
    blur_mm : float
        How far the photo smears a line: its pixel on the card.

    Returns
    -------
    (M, N, 3) ndarray of float32
    """
    beside = _BESIDE_MM + blur_mm / 2
    log = np.asarray(np.log(np.maximum(linear_rgb, 1e-4)), np.float32)
    hidden = _strokes(card, x_mm, y_mm, beside)
    for box in (*(marker.box() for marker in card.markers), card.qr, *card.numbers, card.index):
        hidden |= _inside(box.grown(beside), x_mm, y_mm)
    text = np.zeros_like(hidden)
    for box in card.text:
        text |= _inside(box.grown(beside), x_mm, y_mm)
    hidden |= _written(log, text & ~hidden, float(x_mm[1] - x_mm[0]), beside)
    out = linear_rgb.copy()
    out[hidden] = np.exp(fill_hidden(log, hidden)[hidden])
    return np.asarray(out, np.float32)


def _inside(box: Box, x_mm: Float, y_mm: Float) -> Mask:
    rows = (y_mm >= box.top) & (y_mm <= box.bottom)
    cols = (x_mm >= box.left) & (x_mm <= box.right)
    return np.asarray(rows[:, None] & cols[None, :])


def _strokes(card: Artwork, x_mm: Float, y_mm: Float, beside: float) -> Mask:
    mask = np.zeros((len(y_mm), len(x_mm)), np.uint8)
    origin = np.array([x_mm[0], y_mm[0]])
    pitch = np.array([float(x_mm[1] - x_mm[0]), float(y_mm[1] - y_mm[0])])
    for stroke in card.strokes:
        # OpenCV takes places in sixteenths of a cell when told so by its shift of 4.
        points = np.rint((np.array(stroke.points) - origin) / pitch * 16).astype(np.int32)
        width = max(1, round((stroke.width_mm + 2 * beside) / float(pitch[0])))
        cv2.polylines(mask, [points.reshape(-1, 1, 2)], False, 1, width, cv2.LINE_8, 4)
    return mask.astype(bool)


def _written(log: FloatMap, where: Mask, cell_mm: float, beside: float) -> Mask:
    """Find letters and handwriting: dark, thin, and in a text block."""
    grey = np.asarray(log.min(axis=2))
    grey = cv2.GaussianBlur(grey, (0, 0), 0.2 / cell_mm + 0.3)
    size = 2 * round(_PEN_MM / cell_mm / 2) + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    ink = (cv2.morphologyEx(grey, cv2.MORPH_BLACKHAT, disc) > _INK_DEPTH) & where
    reach = 2 * max(1, round(beside / 2 / cell_mm)) + 1
    grown = cv2.dilate(ink.astype(np.uint8), np.ones((reach, reach), np.uint8))
    return np.asarray(grown.astype(bool) & where)
