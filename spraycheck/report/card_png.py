"""Target cards as a picture, for screens and for photo printers without a PDF path."""

from __future__ import annotations

import functools
import io
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from spraycheck.errors import InputError
from spraycheck.report.card_page import CardPage
from spraycheck.report.page import BOLD, MM_PER_PT, REGULAR, font_bytes
from spraycheck.report.shapes import Polygon, Polyline, Rect, Shape, Words

MIN_DPI, MAX_DPI = 72, 1200
"""Below 72 a marker's module is under 5 pixels; 1200 is the finest of office printers, and A4 then
takes 139 million pixels."""

At = Callable[[tuple[float, float]], tuple[float, float]]

_FINE = 4  # drawn this much larger and averaged down: exact to a quarter pixel, smooth edges


def card_picture(page: CardPage, dpi: float) -> NDArray[np.uint8]:
    """Draw one card.

    Parameters
    ----------
    page : CardPage
        From `compose_card`.
    dpi : float
        Pixels per inch, 72 to 1200.

    Returns
    -------
    (H, W) ndarray of uint8
        sRGB grey.

    Raises
    ------
    InputError
        Resolution out of range.
    """
    if not MIN_DPI <= dpi <= MAX_DPI:
        raise InputError(f"{dpi:g} dpi: expected {MIN_DPI} to {MAX_DPI}", "600 is a good choice")
    # Strips keep the enlarged picture small: a whole A4 card at 1200 dpi would be 2.2 GB.
    width, height = (round(side / 25.4 * dpi) for side in (page.width_mm, page.height_mm))
    fine = _FINE if dpi <= 400 else 2
    per_mm = dpi / 25.4 * fine
    strip = max(1, 12_000_000 // (width * fine * fine))
    rows = [
        _strip(page, per_mm, width, fine, top, min(top + strip, height))
        for top in range(0, height, strip)
    ]
    return np.concatenate(rows)


def png_bytes(picture: NDArray[np.uint8], dpi: float) -> bytes:
    """Return a picture as a PNG file that states its resolution."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", dpi=(dpi, dpi), optimize=False)
    return out.getvalue()


def _strip(
    page: CardPage, per_mm: float, width: int, fine: int, top: int, bottom: int
) -> NDArray[np.uint8]:
    image = Image.new("L", (width * fine, (bottom - top) * fine), 255)
    pen = ImageDraw.Draw(image)
    x0, y0 = page.width_mm / 2, page.height_mm / 2

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return (point[0] + x0) * per_mm, (point[1] + y0) * per_mm - top * fine

    for shape in page.shapes:
        _draw(image, pen, shape, at, per_mm)
    small = np.asarray(image, np.float32).reshape(bottom - top, fine, width, fine)
    # Averaged in linear light: what the eye and a camera see of a half-covered pixel.
    grey = np.arange(256) / 255
    linear = np.where(grey <= 0.04045, grey / 12.92, ((grey + 0.055) / 1.055) ** 2.4)
    mean = linear[small.astype(np.uint8)].mean(axis=(1, 3))
    coded = np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(coded * 255), np.uint8)


def _draw(
    image: Image.Image, pen: ImageDraw.ImageDraw, shape: Shape, at: At, per_mm: float
) -> None:
    grey = _coded(shape.grey)
    if isinstance(shape, Rect):
        box = shape.box
        (left, top), (right, bottom) = at((box.left, box.top)), at((box.right, box.bottom))
        # Pillow's rectangles include their last pixel.
        pen.rectangle((round(left), round(top), round(right) - 1, round(bottom) - 1), fill=grey)
    elif isinstance(shape, Polygon):
        pen.polygon([at(p) for p in shape.points], fill=grey)
    elif isinstance(shape, Polyline):
        width = max(1, round(shape.width * per_mm))
        # An odd pen has its middle on a pixel, an even one between two.
        pen.line([at(p) for p in shape.points], fill=grey, width=width, joint="curve")
    else:
        _write(image, shape, at, per_mm)


def _write(image: Image.Image, words: Words, at: At, per_mm: float) -> None:
    font = _sized(words.bold, words.size_pt * MM_PER_PT * per_mm)
    x, y = at((words.x_mm, words.y_mm))
    length = font.getlength(words.text)
    if not words.upright:
        pen = ImageDraw.Draw(image)
        pen.text(
            (x - words.align * length, y),
            words.text,
            fill=_coded(words.grey),
            font=font,
            anchor="ls",
        )
        return
    ascent, descent = font.getmetrics()
    tile = Image.new("L", (int(length) + 2, ascent + descent), 0)
    ImageDraw.Draw(tile).text((0, ascent), words.text, fill=255, font=font, anchor="ls")
    turned = tile.transpose(Image.Transpose.ROTATE_90)
    corner = (round(x - ascent), round(y + words.align * length - turned.height))
    image.paste(_coded(words.grey), (corner[0], corner[1]), turned)


@functools.lru_cache(maxsize=64)
def _sized(bold: bool, pixels: float) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(
        io.BytesIO(font_bytes(BOLD if bold else REGULAR)),
        pixels,
        layout_engine=ImageFont.Layout.BASIC,
    )


def _coded(grey: float) -> int:
    return round(255 * grey)
