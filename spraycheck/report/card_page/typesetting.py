"""Type on a card: fonts, how wide a text is, and paragraphs set into a block."""

from __future__ import annotations

import functools
import io
from collections.abc import Iterator, Sequence
from importlib import resources
from typing import Final

from PIL import ImageFont

from spraycheck.card.target import Box
from spraycheck.errors import InputError
from spraycheck.report.card_page.shapes import Words

MM_PER_PT: Final = 25.4 / 72
FONTS: Final = {"regular": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}
"""Free fonts that come with matplotlib; they hold Latin, Greek and Cyrillic."""

SMALLEST_PT = 4.8
"""Smaller type breaks up on a 600 dpi laser printer (chosen: strokes of 3 dots)."""

_LEADING = 1.28


def font_bytes(name: str) -> bytes:
    """Return a font file of `FONTS`."""
    place = resources.files("matplotlib").joinpath("mpl-data/fonts/ttf", FONTS[name])
    try:
        return place.read_bytes()
    except OSError as error:
        raise InputError(
            f"font {FONTS[name]} not found in the installed matplotlib ({error.strerror}), "
            "expected it in mpl-data/fonts/ttf",
            "install matplotlib as it comes from the package index",
        ) from None


@functools.cache
def _ruler(bold: bool) -> ImageFont.FreeTypeFont:
    # At 1000 units widths are exact to a thousandth; hinting does not round them.
    return ImageFont.truetype(
        io.BytesIO(font_bytes("bold" if bold else "regular")),
        1000,
        layout_engine=ImageFont.Layout.BASIC,
    )


def text_mm(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Return how wide a line of text is."""
    return float(_ruler(bold).getlength(text)) / 1000 * size_pt * MM_PER_PT


def paragraphs(box: Box, items: Sequence[tuple[str, str]], largest_pt: float) -> Iterator[Words]:
    """Set headings ``(text, "")``, numbered ``("1", text)`` and plain ``("", text)`` paragraphs.

    The largest type that fits the box is taken.
    """
    size = largest_pt
    while True:
        lines = _broken(box.width, items, size)
        height = sum(gap for gap, *_ in lines) + 0.25 * size * MM_PER_PT
        if height <= box.height:
            break
        size -= 0.1
        if size < SMALLEST_PT:
            raise InputError(
                f"text needs {height:.0f} mm but its block is {box.height:.0f} mm high",
                "choose a larger paper",
            )
    y = box.top
    for gap, indent, text, bold in lines:
        y += gap
        yield Words(x_mm=box.left + indent, y_mm=y, text=text, size_pt=size, bold=bold)


def _broken(
    width: float, items: Sequence[tuple[str, str]], size: float
) -> list[tuple[float, float, str, bool]]:
    """Break paragraphs into lines: distance down, indent, text, bold."""
    leading = size * MM_PER_PT * _LEADING
    lines: list[tuple[float, float, str, bool]] = []
    for mark, text in items:
        first = 0.78 * size * MM_PER_PT if not lines else leading
        if not text:
            lines.append((first if not lines else 1.35 * leading, 0.0, mark, True))
            continue
        indent = 2.2 * text_mm("0", size) if mark else 0.0
        if mark:
            lines.append((first, 0.0, mark, True))
            first = 0.0
        row = ""
        for word in text.split():
            trial = f"{row} {word}".strip()
            if row and text_mm(trial, size) > width - indent:
                lines.append((first, indent, row, False))
                row, first = word, leading
            else:
                row = trial
        lines.append((first, indent, row, False))
    return lines
