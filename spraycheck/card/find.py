"""Stage 1: find the card, and show it square-on, flat and in linear light.

Markers first: a printed target card says itself where it is. Otherwise a sheet by its outline.

1. `markers`, `grouping`: codes read on a reduced picture, and which belong to one card; or
   `outline`, `edges`: four straight sides, each followed along its curve;
2. `fit`, `surface_fit`, `surface`: camera, lens and curl fitted to corners or edges;
3. `labels`, `resample`, `printed_ink`: the QR code read, the sheet on a regular grid, its own print
   filled from the paper beside it;
4. `unreadable`: a printed card that shows but cannot be read is refused.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.edges import EdgeSettings, place_edges, trace_sides
from spraycheck.card.fit import FittedCard, fit_card, fit_sheet, unlike_size
from spraycheck.card.grouping import MIN_MARKERS, MarkerSet, group_markers
from spraycheck.card.labels import read_label
from spraycheck.card.markers import (
    CARD_NUMBERS,
    GLANCE_PX,
    WORKING_PX,
    SeenMarker,
    read_markers,
)
from spraycheck.card.outline import Working, find_outline, make_working
from spraycheck.card.resample import GridSettings, show_print, show_sheet, show_whole
from spraycheck.card.sampling import block_for, reduce_by
from spraycheck.card.score_quads import ScoreSettings
from spraycheck.card.spec import CardSpec
from spraycheck.card.surface_fit import SurfaceSettings
from spraycheck.card.target import CARD_VERSION, Label
from spraycheck.card.unreadable import what_shows, what_shows_on
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

__all__ = ["CardSettings", "find_card", "rectify_card", "rectify_printed_card"]


@dataclass(frozen=True, kw_only=True)
class CardSettings:
    """Every number of this stage that decides.

    Parameters
    ----------
    score : ScoreSettings
        What makes a quadrilateral a sheet.
    edges : EdgeSettings
        How sides are followed.
    surface : SurfaceSettings
        Cameras and paper.
    grid : GridSettings
        The cell, and what is flagged.
    min_score : float
        Outlines worth less are no sheet. On 378 photographs the sheets reach 0.59, but for three
        whose print or shadows hide them, and what is no sheet at most 0.34; landscapes and the
        inside of a sheet reach 0.47.
    least_sides : int
        Sides that must show an edge: two still tell the sheet's turn and, with its size, its place.
    """

    score: ScoreSettings = field(default_factory=ScoreSettings)
    edges: EdgeSettings = field(default_factory=EdgeSettings)
    surface: SurfaceSettings = field(default_factory=SurfaceSettings)
    grid: GridSettings = field(default_factory=GridSettings)
    min_score: float = 0.55
    least_sides: int = 2


def find_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    settings: CardSettings = CardSettings(),
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
    settings : CardSettings
        Of the stage.

    Returns
    -------
    RectifiedCard

    Raises
    ------
    CardNotFoundError
        A target card shows, but too little of it or too blurred, mirrored, or several with none
        chosen; or none shows although its check line was measured; or the photo shows nothing.
    """
    working = make_working(photo.rgb)
    grey = _grey(photo)
    glance = reduce_by(grey, block_for(grey, GLANCE_PX))
    seen = read_markers(glance, CARD_NUMBERS)
    shows = what_shows(glance, working.rgb, seen)
    if seen or shows:
        seen = _read(grey)
        sets = _cards(seen)
        if sets:
            return _show_one(photo, spec, sets, cell_mm, 1.0, settings)
        if shows := what_shows(grey, working.rgb, seen):
            raise _unread(shows)
    if spec.which or not math.isnan(spec.printed_x_mm):
        raise CardNotFoundError(
            "no-printed-card-length" if spec.which == 0 else "no-printed-card-number",
            stage="rectification",
        )
    card = _rectify(photo, working, spec, cell_mm, 1.0, settings)
    if shows := what_shows_on(card):
        raise _unread(shows)
    return card


def rectify_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    curl: float = 1.0,
    settings: CardSettings = CardSettings(),
) -> RectifiedCard:
    """Find a plain sheet and show it square-on, flat and in linear light.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet. A known size gives real mm.
    cell_mm : float, optional
        Side of a cell of the result; by default 0.4 mm, or coarser when the photo has fewer pixels
        or the sheet is large.
    curl : float
        Scales how much curl is expected; 0 keeps the sheet flat.
    settings : CardSettings
        Of the stage.

    Returns
    -------
    RectifiedCard
        The card's top edge is the sheet edge nearest the top of the photo. Without a visible sheet
        the photo itself, taken as square-on (``found_by`` is ``none``).

    Raises
    ------
    CardNotFoundError
        The photo shows nothing at all: every pixel is alike.
    """
    return _rectify(photo, make_working(photo.rgb), spec, cell_mm, curl, settings)


def _rectify(
    photo: Photo,
    working: Working,
    spec: CardSpec,
    cell_mm: float | None,
    curl: float,
    settings: CardSettings,
) -> RectifiedCard:
    if min(photo.rgb.shape[:2]) < 16 or np.ptp(photo.rgb[::8, ::8]) < 3:
        raise CardNotFoundError("photo-blank", stage="rectification")

    def to_full(points: Float) -> Float:
        return photo.to_full((points + 0.5) * working.scale - 0.5)

    def unlike(corners: Float) -> float:
        return unlike_size(photo, to_full(corners), spec, settings.surface)

    outline = find_outline(working, settings.score, unlike if spec.size_known else None)
    if outline is None or outline.score < settings.min_score:
        return show_whole(photo, cell_mm, settings.grid)
    corners = _top_first(outline.corners)
    placed = place_edges(
        photo.rgb,
        trace_sides(working, corners, settings.edges),
        working.scale,
        settings.edges,
    )
    edges = tuple(replace(edge, points_px=photo.to_full(edge.points_px)) for edge in placed)
    if len(edges) < settings.least_sides:
        return show_whole(photo, cell_mm, settings.grid)
    sheet = fit_sheet(photo, spec, to_full(corners), edges, settings.surface, curl=curl)
    return show_sheet(photo, sheet, len(edges), cell_mm, settings.grid)


def _top_first(corners: Float) -> Float:
    """Start at the corner before the side whose middle is nearest the photo's top."""
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    return np.roll(corners, -int(np.argmin(middles[:, 1])), axis=0)


def rectify_printed_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    curl: float = 1.0,
    settings: CardSettings = CardSettings(),
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
    settings : CardSettings
        Of the stage.

    Returns
    -------
    RectifiedCard
        The index arrow is at 12 o'clock, however the photo was taken.

    Raises
    ------
    CardNotFoundError
        No card, too little of it, mirrored, or several with none chosen.
    """
    sets = _cards(_read(_grey(photo)))
    if not sets:
        raise CardNotFoundError("no-printed-card", stage="rectification")
    return _show_one(photo, spec, sets, cell_mm, curl, settings)


def _show_one(
    photo: Photo,
    spec: CardSpec,
    sets: list[MarkerSet],
    cell_mm: float | None,
    curl: float,
    settings: CardSettings,
) -> RectifiedCard:
    chosen = _chosen(photo, sets, spec, settings)
    fit = fit_card(photo, chosen, spec, settings.surface, curl=curl)
    label = _label(photo, fit)
    _check_label(label)
    return show_print(photo, spec, fit, label, cell_mm, settings.grid)


def _unread(shows: tuple[str, int]) -> CardNotFoundError:
    """Taken for a plain sheet, the card's print would read as plumes."""
    return CardNotFoundError(
        f"printed-card-{shows[0]}",
        stage="rectification",
        count=shows[1],
        most=MIN_MARKERS - 1,
        least=MIN_MARKERS,
    )


# -- which card -------------------------------------------------------------------------------


def _grey(photo: Photo) -> NDArray[np.uint8]:
    return np.asarray(cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY), np.uint8)


def _read(grey: NDArray[np.uint8]) -> list[SeenMarker]:
    """Read the markers; at full size when the reduced picture shows too few of them."""
    seen = read_markers(grey, CARD_NUMBERS, working_px=WORKING_PX)
    if len(seen) <= MIN_MARKERS and max(grey.shape) > WORKING_PX:
        seen = read_markers(grey, CARD_NUMBERS)
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
        raise CardNotFoundError("photo-mirrored", stage="rectification")
    sets = group_markers(upright)
    full = [s for s in sets if len(s.seen) >= MIN_MARKERS]
    if full:
        return full
    if len({m.number for m in upright}) >= MIN_MARKERS:
        raise CardNotFoundError("markers-misplaced", stage="rectification", found=len(upright))
    if sets:
        card = sets[0].card
        raise CardNotFoundError(
            "markers-few",
            stage="rectification",
            found=2,
            total=len(card.markers),
            least=MIN_MARKERS,
        )
    return []


def _chosen(
    photo: Photo, sets: list[MarkerSet], spec: CardSpec, settings: CardSettings
) -> MarkerSet:
    ordered = sorted(sets, key=lambda s: float(s.middle[0]))
    if len(ordered) == 1 and spec.which <= 1:
        return ordered[0]
    if 1 <= spec.which <= len(ordered):
        return ordered[spec.which - 1]
    names = []
    for one in ordered:
        fit = fit_card(photo, one, CardSpec(), settings.surface, curl=1.0)
        label = _label(photo, fit)
        said = " ".join(t for t in (label.job, label.injector) if t) if label else ""
        names.append(said)
    if spec.which:
        raise CardNotFoundError(
            "card-number", stage="rectification", cards=tuple(names), wanted=spec.which
        )
    raise CardNotFoundError(
        "several-cards", stage="rectification", count=len(names), cards=tuple(names)
    )


def _label(photo: Photo, fit: FittedCard) -> Label | None:
    return read_label(photo.rgb, fit.card, lambda mm: photo.to_decoded(fit.project_print(mm)))


def _check_label(label: Label | None) -> None:
    if label is not None and label.version != CARD_VERSION:
        raise CardNotFoundError(
            "card-version", stage="rectification", found=label.version, expected=CARD_VERSION
        )
