"""The photo with everything found on it, readable on a phone, in grey and without colour vision.

A strip above says the verdict, a strip below holds the direction dial and the list of holes, so
that neither covers anything on the photo. Words, signs, line patterns and light-on-dark labels
tell the states apart; colour only helps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.report.model import ReportModel, build_report
from spraycheck.report.overlay.drawing import PhotoDrawing
from spraycheck.report.overlay.patch import PatchDrawing
from spraycheck.report.overlay.pen import Box, Pen, Points
from spraycheck.report.overlay.plumes import HolesDrawing
from spraycheck.report.overlay.strips import (
    BANNER_UNITS,
    HOLES_UNITS,
    PATCH_UNITS,
    draw_banner,
    draw_holes_panel,
    draw_patch_panel,
)
from spraycheck.report.overlay.view import View

__all__ = ["Composition", "compose_overlay", "draw_overlay"]

MIN_WIDTH_PX = 720
"""A narrower photo is enlarged: below this, type of a phone-readable size gets ragged."""


MARGIN_FRAC = 0.07
"""Margin around the sheet, of its diagonal: room for the labels of plumes near its edge."""

MIN_CROP_PX = 200
"""A sheet smaller than this in the decoded photo is no sheet worth zooming in on."""


@dataclass(frozen=True, kw_only=True)
class Composition:
    """A drawn overlay and where its parts are.

    Parameters
    ----------
    image : (H, W, 3) ndarray of uint8
        RGB.
    photo : Box
        Where the photo lies in it.
    labels : tuple of (str, Box)
        Words and places of the labels on the photo.
    dial_numbers : tuple of (str, Box)
        Words and places of the hole numbers round the dial.
    """

    image: NDArray[np.uint8]
    photo: Box
    labels: tuple[tuple[str, Box], ...]
    dial_numbers: tuple[tuple[str, Box], ...]


def draw_overlay(
    result: Result,
    *,
    report: ReportModel | None = None,
    max_side_px: int = 1600,
    whole_photo: bool = False,
) -> NDArray[np.uint8]:
    """Draw the photo with what was found, and the verdict.

    Parameters
    ----------
    result : Result
        Of one photo, whatever the nozzle; of several shots the first photo is drawn.
    report : ReportModel, optional
        What is told of it, where it was made already.
    max_side_px : int
        Longest side of the photo in the drawing; the strips above and below come on top of it.
        What is less than 720 pixels wide is enlarged to that.
    whole_photo : bool
        Draw all of the photo, not just the sheet with a margin around it.

    Returns
    -------
    (H, W, 3) ndarray of uint8
        RGB.

    Raises
    ------
    InputError
        ``max_side_px`` is less than 200.
    """
    return compose_overlay(
        result, report=report, max_side_px=max_side_px, whole_photo=whole_photo
    ).image


def compose_overlay(
    result: Result,
    *,
    report: ReportModel | None = None,
    max_side_px: int = 1600,
    whole_photo: bool = False,
) -> Composition:
    """Draw as `draw_overlay` does, and also tell where the parts are."""
    if result.shots is not None:
        result, report = result.shots.photos[0], None
    told = report or build_report(result)
    kind = _PLUMES if isinstance(result.nozzle, Layout) else _PATCH
    frame = frame_photo(result, kind.panel_units, max_side_px, whole_photo)
    draw_banner(frame.banner, told.headline)
    view = View(
        result=result,
        centre_mm=kind.middle(result),
        width=frame.width,
        height=frame.height,
        crop=frame.crop,
    )
    labels = kind.drawing(frame.middle, view).draw()
    return frame.composition(labels, kind.panel(frame.panel, result, told))


@dataclass(frozen=True, kw_only=True)
class _Kind:
    """What differs between the pictures of nozzles with holes and of axial sprays."""

    drawing: type[PhotoDrawing]
    middle: Callable[[Result], Points]
    panel: Callable[[Pen, Result, ReportModel], list[tuple[str, Box]]]
    panel_units: float


_PLUMES: Final = _Kind(
    drawing=HolesDrawing,
    middle=lambda result: np.array([result.centre.x_mm, result.centre.y_mm]),
    panel=draw_holes_panel,
    panel_units=HOLES_UNITS,
)
_PATCH: Final = _Kind(
    drawing=PatchDrawing,
    middle=lambda result: np.array([result.patch.x_mm, result.patch.y_mm]),
    panel=draw_patch_panel,
    panel_units=PATCH_UNITS,
)


@dataclass(frozen=True, kw_only=True)
class Frame:
    """A picture with the photo in its middle and room for the strips above and below.

    Parameters
    ----------
    image : (H, W, 3) ndarray of uint8
        RGB; the strips are not drawn yet.
    banner, middle, panel : Pen
        On the strip above, the photo, and the strip below.
    above, width, height : int
        Height of the strip above, and size of the drawn photo.
    crop : (int, int, int, int)
        Left, top, right and bottom of the drawn part, in pixels of ``photo.rgb``.
    """

    image: NDArray[np.uint8]
    banner: Pen
    middle: Pen
    panel: Pen
    above: int
    width: int
    height: int
    crop: tuple[int, int, int, int]

    def composition(
        self, labels: Iterable[tuple[str, Box]], dial_numbers: Iterable[tuple[str, Box]] = ()
    ) -> Composition:
        """Return the finished drawing.

        Parameters
        ----------
        labels, dial_numbers : iterable of (str, Box)
            Words on the photo and on the strip below, each in the frame of its own part.
        """
        above, below = self.above, self.above + self.height
        return Composition(
            image=self.image,
            photo=Box(0, above, self.width, below),
            labels=tuple((text, box.shifted(0, above)) for text, box in labels),
            dial_numbers=tuple((text, box.shifted(0, below)) for text, box in dial_numbers),
        )


def frame_photo(
    result: Result,
    panel_units: float,
    max_side_px: int,
    whole_photo: bool,
) -> Frame:
    """Lay the photo into a picture; parameters as of `draw_overlay`, and the panel's height."""
    if max_side_px < 200:
        raise InputError(
            f"max_side_px {max_side_px}: expected at least 200; text is unreadable below"
        )
    crop = _crop(result, whole_photo)
    left, top, right, bottom = crop
    scale = min(1.0, max_side_px / max(right - left, bottom - top))
    scale = max(scale, MIN_WIDTH_PX / (right - left))
    width, height = round((right - left) * scale), round((bottom - top) * scale)
    unit = width / 100
    above, below = round(BANNER_UNITS * unit), round(panel_units * unit)

    image = np.empty((above + height + below, width, 3), np.uint8)
    middle = image[above : above + height]
    part = result.photo.rgb[top:bottom, left:right]
    # Averaging over two by two is five times as quick as over any other number, and between a half
    # and whole size interpolation looks the same.
    while scale < 0.5:
        half = (part.shape[1] // 2, part.shape[0] // 2)
        part = np.asarray(cv2.resize(part, half, interpolation=cv2.INTER_AREA), np.uint8)
        scale *= 2
    how = cv2.INTER_LINEAR if scale < 1 else cv2.INTER_CUBIC
    cv2.resize(part, (width, height), dst=middle, interpolation=how)
    return Frame(
        image=image,
        banner=Pen(image[:above], unit),
        middle=Pen(middle, unit),
        panel=Pen(image[above + height :], unit),
        above=above,
        width=width,
        height=height,
        crop=crop,
    )


def _crop(result: Result, whole_photo: bool) -> tuple[int, int, int, int]:
    """Return the part of ``photo.rgb`` to draw: left, top, right, bottom."""
    rows, cols = result.photo.rgb.shape[:2]
    outline = result.photo.to_decoded(result.card.outline_px)
    outline = outline[np.isfinite(outline).all(axis=1)]
    if whole_photo or len(outline) < 3:
        return 0, 0, cols, rows
    size = np.array([cols, rows])
    low = np.clip(outline.min(axis=0), 0, size)
    high = np.clip(outline.max(axis=0), 0, size)
    margin = MARGIN_FRAC * float(np.hypot(*(high - low)))
    left, top = np.clip(np.floor(low - margin), 0, size).astype(int)
    right, bottom = np.clip(np.ceil(high + margin), 0, size).astype(int)
    if right - left < MIN_CROP_PX or bottom - top < MIN_CROP_PX:
        return 0, 0, cols, rows
    return int(left), int(top), int(right), int(bottom)
