"""Cards side by side, and what a page of the atlas says about one."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from figures.canvas import PHOTO_QUALITY, bare, decoded, jpeg
from figures.tables import markdown_table
from spraycheck.judge.result import Result
from spraycheck.report.overlay import draw_overlay
from spraycheck.report.plots import INK, figure
from spraycheck.train.atlas import KIND_IN_WORDS, AtlasPage, row_texts

_SIDE_IN = 3.0
# Of a card in a row of three: 270 pixels, where a streak is still 25 long. Two get more.


def card_row(pages: Sequence[AtlasPage], *, named: bool = True) -> bytes:
    """Draw cards side by side as photographed, with nothing marked.

    Parameters
    ----------
    pages : sequence of AtlasPage
        One to four.
    named : bool
        Write titles above; letters otherwise, for a reader who is to find out.

    Returns
    -------
    bytes
        A JPEG.
    """
    titles = [page.lesson.title if named else chr(ord("A") + k) for k, page in enumerate(pages)]
    return _row([decoded(page.photo.data) for page in pages], titles)


def photo_and_seen(page: AtlasPage) -> bytes:
    """Draw one card twice, as photographed and with what the tool found, as JPEG."""
    titles = [page.lesson.title, f"the tool: {page.answer.verdict}"]
    return _row([decoded(page.photo.data), decoded(page.seen.data)], titles)


def seen_row(pages: Sequence[AtlasPage]) -> bytes:
    """Draw the same cards with what the tool found on them, as JPEG."""
    titles = [f"{page.lesson.title}: {page.answer.verdict}" for page in pages]
    return _row([decoded(page.seen.data) for page in pages], titles)


def _row(pictures: Sequence[NDArray[np.uint8]], titles: Sequence[str]) -> bytes:
    count = len(pictures)
    side = _SIDE_IN if count > 2 else 1.3 * _SIDE_IN
    tallest = max(picture.shape[0] / picture.shape[1] for picture in pictures)
    made, panes = figure(side * count, side * tallest + 0.35, columns=count)
    for pane, picture, title in zip(panes[0], pictures, titles, strict=True):
        bare(pane).imshow(picture)
        pane.set_title(title, fontsize=11, color=INK, loc="left")
    return jpeg(made)


def overlay_picture(assessment: Result, max_side_px: int = 900) -> bytes:
    """Return what the technician gets to see, as JPEG."""
    from PIL import Image

    out = io.BytesIO()
    Image.fromarray(draw_overlay(assessment, max_side_px=max_side_px)).save(
        out, "JPEG", quality=PHOTO_QUALITY, optimize=True
    )
    return out.getvalue()


_SIGNS = {"pass": "✓ pass", "recheck": "? recheck", "fail": "✗ fail"}


def card_wall(
    rows: Sequence[Mapping[str, str]], pictures: Mapping[str, bytes], *, line: str, column: str
) -> bytes:
    """Draw an archive as a wall: a line per injector, say, and a column per date.

    Parameters
    ----------
    rows : sequence of mapping
        Of the batch's table of photos.
    pictures : mapping
        A row's ``file`` to the picture's bytes.
    line, column : str
        Columns of the table that say where a card hangs.

    Returns
    -------
    bytes
        A JPEG.
    """
    lines, columns = (sorted({row[name] for row in rows}) for name in (line, column))
    side = min(2.1, 9.2 / len(columns))
    made, panes = figure(side * len(columns), (side + 0.28) * len(lines), rows=len(lines),
                         columns=len(columns))  # fmt: skip
    for pane in panes.flat:
        bare(pane)
    for row in rows:
        pane = panes[lines.index(row[line]), columns.index(row[column])]
        pane.imshow(decoded(pictures[row["file"]]))
        pane.set_title(_SIGNS.get(row["verdict"], "not measured"), loc="left", fontsize=10)
        if row[column] == columns[0]:
            pane.set_ylabel(row[line], fontsize=10)
        if row[line] == lines[-1]:
            pane.set_xlabel(row[column], fontsize=10)
    return jpeg(made)


def page_text(page: AtlasPage) -> str:
    """Tell what to see, the hole's true and measured numbers, causes and next step, as Markdown.

    Only holes that are not clear by the truth or by the tool are listed; the others are counted.
    """
    pairs = page.answer.pairs
    odd = [pair for pair in pairs if {pair.true.state, pair.measured} != {"clear"}]
    parts = [
        f"**{page.lesson.title}** ({KIND_IN_WORDS[page.lesson.kind].lower()}). {page.lesson.see}"
    ]
    if odd:
        rows = [(pair.true.hole, *row_texts(pair)[1:]) for pair in odd]
        parts.append(markdown_table(_COLUMNS, rows))
    clear = [pair for pair in pairs if pair not in odd]
    if clear:
        ratios = [pair.area_ratio for pair in clear if math.isfinite(pair.area_ratio)]
        offs = [abs(pair.deviation_deg) for pair in clear if math.isfinite(pair.deviation_deg)]
        seen = ""
        if ratios and offs:
            seen = (
                f"; the tool reads them at {min(ratios):.0%} to {max(ratios):.0%} of the area, "
                f"{max(offs):.1f}° off at most"
            )
        parts.append(f"{'The other' if odd else 'All'} {len(clear)} holes are clear{seen}.")
    parts += [page.verdict_line, *page.others]
    parts.append("*May come from:* " + "; ".join(page.lesson.causes) + ".")
    parts.append("*Next:* " + " ".join(page.lesson.steps))
    return "\n\n".join(parts)


_COLUMNS = (
    "hole", "gives", "truly wets", "truly off by", "truly is",
    "tool: wets", "tool: off by", "tool: is",
)  # fmt: skip
