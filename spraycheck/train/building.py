"""Draw, photograph and measure every page of the atlas."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from spraycheck.errors import MeasurementError
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Result
from spraycheck.measuring import measure_photo
from spraycheck.photo import photo_from_array
from spraycheck.report.atlas import Atlas, AtlasPage, HoleRow
from spraycheck.report.model.holes import explain_verdict
from spraycheck.report.overlay import compose_overlay
from spraycheck.simulate import SyntheticPhoto
from spraycheck.train.agreement import Comparison, compare, not_measured
from spraycheck.train.lessons import Lesson, lessons
from spraycheck.train.pictures import picture_bytes
from spraycheck.train.scenes import Setting, set_scene
from spraycheck.train.truth_text import mark_in_words, tilt_in_words

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
            lesson = replace(lesson, wish=replace(lesson.wish, megapixels=megapixels))
        pages.append(build_page(lesson))
        told(number, len(wanted), pages[-1])
    return Atlas(pages=tuple(pages), made_with=made_with)


def build_page(lesson: Lesson) -> AtlasPage:
    """Make one page: the picture, the tool's answer, and the truth beside it."""
    setting = set_scene(lesson.wish)
    photo = setting.scene.photograph()
    seen, reason, answer = photo.rgb, "", not_measured(photo.truth, _layout(setting))
    try:
        assessment = _measured(setting, photo)
    except MeasurementError as error:
        reason = f"{error} ({error.hint})"
    else:
        answer = compare(photo.truth, assessment)
        drawn = compose_overlay(assessment, max_side_px=_SHOWN_PX, whole_photo=True)
        # The list of holes below the picture is left out: the page has its own, truth included.
        seen = drawn.image[: int(drawn.photo.bottom)]
        reason = "; ".join(explain_verdict(assessment))
    shown, seen = _small(photo.rgb), _small(seen)
    return AtlasPage(
        group=lesson.group,
        title=lesson.title,
        kind=lesson.kind,
        see=lesson.see,
        photo=picture_bytes(shown, quality=_SHOWN_QUALITY),
        photo_size=(shown.shape[1], shown.shape[0]),
        seen=picture_bytes(seen, quality=_SHOWN_QUALITY),
        seen_size=(seen.shape[1], seen.shape[0]),
        rows=_rows(photo, answer),
        others=_others(setting, photo, answer),
        true_verdict=answer.true_verdict,
        verdict=answer.verdict,
        reason=reason,
        agreement=answer.agreement,
        causes=lesson.causes,
        steps=lesson.steps,
        command=lesson.wish.command("page.jpg"),
    )


def _layout(setting: Setting) -> Layout:
    assert setting.layout is not None
    return setting.layout


def _measured(setting: Setting, photo: SyntheticPhoto) -> Result:
    """Measure the picture as a file of it would be: compressed, with its focal length."""
    data = picture_bytes(photo.rgb)
    with Image.open(io.BytesIO(data)) as image:
        taken = photo_from_array(np.asarray(image.convert("RGB")))
    taken = replace(taken, focal_35mm=photo.focal_35mm, flags=())
    return measure_photo(taken, layout=_layout(setting), sheet=setting.wish.sheet)


def _small(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    image = Image.fromarray(rgb)
    image.thumbnail((_SHOWN_PX, 2 * _SHOWN_PX), Image.Resampling.LANCZOS)
    return np.asarray(image)


def _rows(photo: SyntheticPhoto, answer: Comparison) -> tuple[HoleRow, ...]:
    return tuple(
        HoleRow(
            hole=hole.hole,
            gives_frac=hole.flow_frac,
            true_ratio=pair.true.area_ratio,
            true_off_deg=pair.true.deviation_deg,
            true_state=pair.true.state,
            ratio=pair.area_ratio,
            ratio_u=pair.area_ratio_u,
            off_deg=pair.deviation_deg,
            off_u_deg=pair.deviation_u_deg,
            state=pair.measured,
            agrees=pair.verdict,
        )
        for hole, pair in zip(photo.truth.holes, answer.pairs, strict=True)
    )


_NOT_TOLD = {"stray-spray": "the stray jet", "centre-drip": "the wet spot under the tip"}


def _others(setting: Setting, photo: SyntheticPhoto, answer: Comparison) -> tuple[str, ...]:
    """Say what else is on the card, and what of it the tool missed or made up."""
    told = [mark_in_words(mark) for mark in photo.truth.marks if mark.kind != "central"]
    if setting.wish.tilt_deg:
        told.append(tilt_in_words(setting.wish))
    told += [f"The tool did not find {_NOT_TOLD[code]}." for code in answer.unseen]
    told += [f"The tool reports {_NOT_TOLD[code]}; there is none." for code in answer.invented]
    return tuple(told)
