"""Draw, photograph and measure every page of the atlas."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from spraycheck.simulate import SyntheticPhoto
from spraycheck.train.atlas import Atlas, AtlasPage, Jpeg
from spraycheck.train.encoding import picture_bytes
from spraycheck.train.lessons.agreement import CardAgreement, agreement_of
from spraycheck.train.lessons.lesson import Lesson, lessons
from spraycheck.train.lessons.requested_scene import RequestedScene, scene_for
from spraycheck.train.lessons.truth_text import mark_in_words, tilt_in_words
from spraycheck.train.tool_answer import ask_tool

_SHOWN_PX = 1000
# Side of a picture on a page: 85 mm at 300 dots per inch.
_SHOWN_QUALITY = 86
# Chosen because mist and paper grain survive; the atlas stays near 10 MB.


def build_atlas(
    *,
    seed: int = 1,
    megapixels: float | None = None,
    made_with: str = "",
    told: Callable[[int, int, AtlasPage], None] = lambda *_: None,
) -> Atlas:
    """Make every page.

    Parameters
    ----------
    seed : int
        Another seed draws other cards of the same kinds.
    megapixels : float, optional
        Of the pictures that are measured; 2 by default.
    made_with : str
        For the record.
    told : callable
        Called with number, count and page whenever a page is done.
    """
    wanted = lessons(seed)
    pages = []
    for number, lesson in enumerate(wanted, start=1):
        if megapixels is not None:
            lesson = replace(lesson, request=replace(lesson.request, megapixels=megapixels))
        pages.append(build_page(lesson))
        told(number, len(wanted), pages[-1])
    return Atlas(pages=tuple(pages), made_with=made_with)


def build_page(lesson: Lesson) -> AtlasPage:
    """Make one page: the picture, the tool's answer, and the truth beside it."""
    requested = scene_for(lesson.request)
    photo = requested.scene.photograph()
    assert requested.layout is not None
    tool = ask_tool(
        photo.rgb,
        photo.focal_35mm,
        layout=requested.layout,
        sheet=lesson.request.sheet,
    )
    answer = agreement_of(photo.truth, requested.layout, tool)
    # The list of holes is left out: the page has its own, truth included.
    seen = tool.overlay(_SHOWN_PX, table=False)
    return AtlasPage(
        lesson=lesson,
        photo=_shown(photo.rgb),
        seen=_shown(photo.rgb if seen is None else seen),
        answer=answer,
        others=_others(requested, photo, answer),
        reason=tool.reason,
    )


def _shown(rgb: NDArray[np.uint8]) -> Jpeg:
    """Return a picture as a page shows it."""
    image = Image.fromarray(rgb)
    image.thumbnail((_SHOWN_PX, 2 * _SHOWN_PX), Image.Resampling.LANCZOS)
    data = picture_bytes(np.asarray(image), quality=_SHOWN_QUALITY)
    return Jpeg(data=data, width_px=image.width, height_px=image.height)


_NOT_TOLD = {"stray-spray": "the stray jet", "centre-drip": "the wet spot under the tip"}


def _others(
    requested: RequestedScene, photo: SyntheticPhoto, answer: CardAgreement
) -> tuple[str, ...]:
    """Say what else is on the card, and what of it the tool missed or made up."""
    told = [mark_in_words(mark) for mark in photo.truth.marks if mark.kind != "central"]
    if requested.request.tilt_deg:
        told.append(tilt_in_words(requested.request))
    told += [f"The tool did not find {_NOT_TOLD[code]}." for code in answer.unseen]
    told += [f"The tool reports {_NOT_TOLD[code]}; there is none." for code in answer.invented]
    return tuple(told)
