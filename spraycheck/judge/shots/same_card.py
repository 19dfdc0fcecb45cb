"""Whether two photos show the same card, from the fine shape of its wet patches."""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap
from spraycheck.judge.result import Result

SAME_CARD = 0.55
"""Least correlation of two photos of one card (chosen: on simulated cards photographed twice,
slanted, blurred and cropped ones among them, 0.64 or more where both were measured rightly; two
cards of one nozzle gave 0.35 to 0.95). A figure below it proves two cards; one above proves
nothing."""

_STEPS, _RINGS = 720, 90  # half a degree, and about a hundredth of a plume's reach
_NEAR, _FAR = 0.25, 1.15  # of the typical reach
_FINE, _COARSE = 0.015, 0.06
"""What is compared lies between these widths, as shares of the typical reach: finer detail blurs
with the photo, coarser shape is the nozzle's own and the same on all its cards."""


def likeness(one: Result, other: Result) -> tuple[float, float]:
    """Correlate the wet patches of two photos, turned about the nozzle centre to fit best.

    Returns
    -------
    correlation : float
        1 for the same picture; see `SAME_CARD`.
    turn_deg : float
        Clockwise turn of the other against the one, to half a degree.
    """
    a, b = _unrolled(one), _unrolled(other)
    spectrum = np.fft.fft(a, axis=1).conj() * np.fft.fft(b, axis=1)
    along = np.fft.ifft(spectrum.sum(axis=0)).real
    norm = float(np.sqrt((a.astype(float) ** 2).sum() * (b.astype(float) ** 2).sum()))
    best = int(np.argmax(along))
    return float(along[best]) / max(norm, 1e-12), best * 360.0 / _STEPS


def _unrolled(photo: Result) -> Float:
    """Fine structure of the wetness by distance from the centre and direction, mean 0."""
    reach = float(np.median(photo.catalogue.reach_mm))
    radius = np.linspace(_NEAR, _FAR, _RINGS)[:, None] * reach
    angle = np.radians(np.arange(_STEPS) * 360.0 / _STEPS)
    x = photo.centre.x_mm + radius * np.sin(angle)
    y = photo.centre.y_mm - radius * np.cos(angle)
    cells = photo.card.to_cells(np.stack([x, y], axis=-1)).astype(np.float32)
    cells = cells.reshape(_RINGS, _STEPS, 2)
    wet: FloatMap = np.clip(photo.wetness.smooth, 0, 1)
    unit = reach / photo.card.cell_mm
    fine = cv2.GaussianBlur(wet, (0, 0), _FINE * unit) - cv2.GaussianBlur(
        wet, (0, 0), _COARSE * unit
    )
    seen = cv2.remap(fine, cells[..., 0], cells[..., 1], cv2.INTER_LINEAR)
    weighted = np.asarray(seen, float) * np.sqrt(radius)  # equal areas of card count alike
    return np.asarray(weighted - weighted.mean())
