"""Stage 1 for the project's own target card, and the choice between it and a plain sheet.

1. `markers`: codes read on a reduced picture, corners placed on the full one;
2. `grouping`: which markers belong to one card, and whether there are several;
3. `fitting`, `bending`: camera, lens and curl fitted to all corners, the residual checked;
4. `labels`, `ink`, `resampling`: the QR code read, the card shown square-on, its own print filled
   from the paper beside it;
5. `traces`: a card that shows but cannot be read, which is refused.
"""

from __future__ import annotations

import math

from spraycheck.card.containers import RectifiedCard
from spraycheck.card.printed.fitting import MIN_MARKERS, CardFit, fit_photo
from spraycheck.card.printed.grouping import MarkerSet, group_markers
from spraycheck.card.printed.labels import read_label
from spraycheck.card.printed.markers import CARD_NUMBERS, WORKING_PX, SeenMarker, read_markers
from spraycheck.card.printed.resampling import resample
from spraycheck.card.printed.traces import what_shows, what_shows_on
from spraycheck.card.sheet import rectify_card
from spraycheck.card.spec import CardSpec
from spraycheck.card.target import CARD_VERSION, Label
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

__all__ = ["find_card", "rectify_printed_card"]


def find_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
) -> RectifiedCard:
    """Find the target card by its markers, or else a plain sheet by its edges.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet.
    cell_mm : float, optional
        Side of a cell of the result.

    Returns
    -------
    RectifiedCard

    Raises
    ------
    CardNotFoundError
        A target card shows, but too little of it or too blurred, mirrored, or several with none
        chosen; or none shows although its check line was measured; or the photo shows nothing.
    """
    seen = _seen(photo)
    sets = _cards(seen)
    if sets:
        return rectify_printed_card(photo, spec, cell_mm=cell_mm, sets=sets)
    if shows := what_shows(photo.rgb, seen):
        raise _unread(shows)
    if spec.which or not math.isnan(spec.printed_x_mm):
        asked = "the printed length was given" if spec.which == 0 else "a card number was given"
        raise CardNotFoundError(
            f"no printed target card shows in the photo, although {asked}",
            stage="rectification",
            hint="photograph the whole card with its black squares, or leave the option out for a "
            "plain sheet",
        )
    card = rectify_card(photo, spec, cell_mm=cell_mm)
    if shows := what_shows_on(card):
        raise _unread(shows)
    return card


def rectify_printed_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    curl: float = 1.0,
    sets: list[MarkerSet] | None = None,
) -> RectifiedCard:
    """Show the target card square-on, flat and in linear light, its own print taken out.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        Measured check lines, and which of several cards. The sheet's size is known from the card.
    cell_mm : float, optional
        Side of a cell of the result; by default 0.25 mm, or coarser for a photo of fewer pixels.
    curl : float
        Scales how much curl is expected; 0 keeps the card flat.
    sets : list of MarkerSet, optional
        Cards already found in this photo.

    Returns
    -------
    RectifiedCard
        The index arrow is at 12 o'clock, however the photo was taken.

    Raises
    ------
    CardNotFoundError
        No card, too little of it, mirrored, or several with none chosen.
    """
    if sets is None:
        sets = _cards(_seen(photo))
    if not sets:
        raise CardNotFoundError(
            "no printed target card shows in the photo",
            stage="rectification",
            hint="photograph the whole card with its black squares",
        )
    fit = fit_photo(photo, _chosen(photo, sets, spec), spec, curl)
    label = _label(photo, fit)
    _check_label(label)
    return resample(photo, spec, fit, label, cell_mm)


def _unread(shows: str) -> CardNotFoundError:
    """Taken for a plain sheet, the card's print would read as plumes."""
    return CardNotFoundError(
        f"a printed target card shows ({shows}), but at most {MIN_MARKERS - 1} of its coded "
        f"squares can be read, expected at least {MIN_MARKERS}",
        stage="rectification",
        hint="photograph the whole card again from closer, in focus and in even light, its black "
        "squares uncovered; other sheets with black squares cannot be judged",
    )


# -- which card -------------------------------------------------------------------------------


def _seen(photo: Photo) -> list[SeenMarker]:
    """Read the markers; at full size when the reduced picture shows too few of them."""
    seen = read_markers(photo.rgb, CARD_NUMBERS)
    if 1 <= len(seen) <= MIN_MARKERS and max(photo.rgb.shape) > WORKING_PX:
        seen = read_markers(photo.rgb, CARD_NUMBERS, working_px=max(photo.rgb.shape))
    return seen


def _cards(seen: list[SeenMarker]) -> list[MarkerSet]:
    """Cards in the photo; empty without any.

    Raises
    ------
    CardNotFoundError
        There is one, but mirrored, cut up or mostly hidden.
    """
    mirrored = [m for m in seen if m.mirrored]
    upright = [m for m in seen if not m.mirrored]
    if len(mirrored) >= MIN_MARKERS and len(mirrored) > len(upright):
        raise CardNotFoundError(
            "the photo is mirrored: the card's markers read the wrong way round",
            stage="rectification",
            hint="send the photo as it was taken; switch off the selfie camera's mirror",
        )
    sets = group_markers(upright)
    full = [s for s in sets if len(s.seen) >= MIN_MARKERS]
    if full:
        return full
    if len({m.number for m in upright}) >= MIN_MARKERS:
        raise CardNotFoundError(
            f"{len(upright)} markers were found, but they do not lie as on a target card",
            stage="rectification",
            hint="use a card printed whole by `spraycheck card`, one piece, not cut up",
        )
    if sets:
        card = sets[0].card
        raise CardNotFoundError(
            f"only 2 of the target card's {len(card.markers)} markers can be read, expected at "
            f"least {MIN_MARKERS}",
            stage="rectification",
            hint="photograph the whole card from closer, black squares uncovered and in even light",
        )
    return []


def _chosen(photo: Photo, sets: list[MarkerSet], spec: CardSpec) -> MarkerSet:
    ordered = sorted(sets, key=lambda s: float(s.middle[0]))
    if len(ordered) == 1 and spec.which <= 1:
        return ordered[0]
    if 1 <= spec.which <= len(ordered):
        return ordered[spec.which - 1]
    names = []
    for number, one in enumerate(ordered, start=1):
        fit = fit_photo(photo, one, CardSpec(), 1.0)
        label = _label(photo, fit)
        said = " ".join(t for t in (label.job, label.injector) if t) if label else ""
        names.append(f"{number} ({said or 'no name read'})")
    found = f"card number {spec.which} was asked for, but " if spec.which else ""
    raise CardNotFoundError(
        f"{found}{len(ordered)} target card{'s show' if len(ordered) > 1 else ' shows'} in the "
        f"photo, from the left: {', '.join(names)}; expected one, or to be told which",
        stage="rectification",
        hint="photograph one card at a time, or say which with --card-number",
    )


def _label(photo: Photo, fit: CardFit) -> Label | None:
    return read_label(photo.rgb, fit.card, lambda mm: photo.to_decoded(fit.project(mm)))


def _check_label(label: Label | None) -> None:
    if label is not None and label.version != CARD_VERSION:
        raise CardNotFoundError(
            f"the card is of version {label.version}, expected {CARD_VERSION}",
            stage="rectification",
            hint="print new cards with this version of spraycheck, or update spraycheck",
        )
