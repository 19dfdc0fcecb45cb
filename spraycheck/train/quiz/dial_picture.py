"""The picture of a question: the photo with a clock dial round the pattern, and nothing else."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.report.overlay.pen import INK, PAPER, Pen

Float = NDArray[np.float64]

MAX_SIDE_PX = 1100
"""Of a question's picture. Chosen because a laptop shows no more of a page and 20 questions then
stay well below 15 MB."""

_TYPE, _TICK = 2.3, 0.8  # in hundredths of the picture's width
_MARGIN_FRAC = 0.03  # of the diagonal of what has to be seen: keeps the sheet's edge off the border


def question_picture(
    photo: NDArray[np.uint8], hours_px: Float, half_hours_px: Float, sheet_px: Float
) -> tuple[NDArray[np.uint8], Float]:
    """Draw the sheet, with the numerals of a clock round the pattern so that places can be named.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
        As the trainee is to see it.
    hours_px, half_hours_px : (12, 2) ndarray of float64
        Where 1 o'clock to 12 o'clock, and 1:30 to 12:30, lie in the photo.
    sheet_px : (4, 2) ndarray of float64
        Corners of the sheet in it; what lies well outside is cut away.

    Returns
    -------
    (h, w, 3) ndarray of uint8
        The picture, at most `MAX_SIDE_PX` long.
    (12, 2) ndarray of float64
        Where the hours lie in it.
    """
    shown = np.vstack([sheet_px, hours_px])
    size_px = np.array(photo.shape[1::-1], float)
    margin = _MARGIN_FRAC * float(np.hypot(*np.ptp(shown, axis=0)))
    low = np.clip(np.floor(shown.min(axis=0) - margin), 0, size_px - 1).astype(int)
    high = np.clip(np.ceil(shown.max(axis=0) + margin), low + 1, size_px).astype(int)
    photo = photo[low[1] : high[1], low[0] : high[0]]
    hours_px, half_hours_px = hours_px - low, half_hours_px - low
    rows, cols = photo.shape[:2]
    scale = min(1.0, MAX_SIDE_PX / max(rows, cols))
    size = (round(cols * scale), round(rows * scale))
    image = np.ascontiguousarray(cv2.resize(photo, size, interpolation=cv2.INTER_AREA), np.uint8)
    pen = Pen(image, size[0] / 100)
    edge = 1.9 * pen.unit
    room = np.array(size, float) - edge
    hours = np.clip((hours_px + 0.5) * scale - 0.5, edge, room)
    halves = np.clip((half_hours_px + 0.5) * scale - 0.5, edge / 2, room + edge / 2)
    for x, y in halves:
        dot = _TICK * pen.unit / 2
        cv2.circle(image, (round(x), round(y)), round(dot) + 1, INK, cv2.FILLED, cv2.LINE_AA)
        cv2.circle(image, (round(x), round(y)), round(dot), PAPER, cv2.FILLED, cv2.LINE_AA)
    for hour, (x, y) in enumerate(hours, start=1):
        centre = (round(x), round(y))
        cv2.circle(image, centre, round(1.9 * pen.unit), INK, cv2.FILLED, cv2.LINE_AA)
        pen.text(x, y, str(hour), PAPER, _TYPE, align=0.5)
    return image, np.asarray(hours)
