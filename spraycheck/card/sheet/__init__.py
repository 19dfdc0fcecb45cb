"""Stage 1: find the sheet, undo perspective, lens and curl, and go to linear light.

1. `finding`: the sheet's outline as four straight sides, at a working size (candidates from
   `lines` and regions of even colour, weighed by `judging`);
2. `edges`: each side followed along its curve, then placed to a fraction of a pixel;
3. `fitting`: proportions, size and the `surface`: camera pose, focal length, lens and curl;
4. `resampling`: linear light on a regular grid of the flattened sheet.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.sheet.detect import find_outline, make_working
from spraycheck.card.sheet.edges import place_edges, trace_sides
from spraycheck.card.sheet.fitting import Camera, fit_sheet
from spraycheck.card.sheet.resampling import resample_sheet, whole_photo
from spraycheck.card.spec import CardSpec
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

__all__ = ["rectify_card"]

MIN_SCORE = 0.66
"""Least worth of an outline (see `judging.judge`). Chosen between what photos without a sheet reach
(landscapes 0.55, the inside of a sheet 0.6) and pale paper on a pale table (from 0.67)."""

LEAST_SIDES = 2
"""Sides that must show an edge: two still tell the sheet's turn and, with its size, its place."""


def rectify_card(
    photo: Photo,
    spec: CardSpec = CardSpec(),  # noqa: B008 (frozen)
    *,
    cell_mm: float | None = None,
    min_score: float = MIN_SCORE,
    curl: float = 1.0,
) -> RectifiedCard:
    """Find the sheet and show it square-on, flat and in linear light.

    Parameters
    ----------
    photo : Photo
        Upright.
    spec : CardSpec
        What is known of the sheet. A known size gives real mm.
    cell_mm : float, optional
        Side of a cell of the result; by default 0.4 mm, or coarser when the photo has fewer pixels
        or the sheet is large.
    min_score : float
        Outlines worth less than this are not taken for a sheet.
    curl : float
        Scales how much curl is expected; 0 keeps the sheet flat.

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
    if min(photo.rgb.shape[:2]) < 16 or np.ptp(photo.rgb[::4, ::4]) < 3:
        raise CardNotFoundError(
            "the photo shows nothing: every pixel is alike; expected a sheet of paper",
            stage="rectification",
            hint="photograph the whole sheet in even light, lens uncovered",
        )
    camera = Camera.of(photo)
    working = make_working(photo.rgb)

    def to_full(points: Float) -> Float:
        return photo.to_full((points + 0.5) * working.scale - 0.5)

    def unlikely(corners: Float) -> float:
        return camera.unlike(to_full(corners), spec)

    outline = find_outline(working, unlikely if spec.size_known else None)
    if outline is None or outline.score < min_score:
        return whole_photo(photo, cell_mm)
    corners = _top_first(outline.corners)
    placed = place_edges(photo.rgb, trace_sides(working, corners), working.scale)
    edges = tuple(replace(edge, points_px=photo.to_full(edge.points_px)) for edge in placed)
    if len(edges) < LEAST_SIDES:
        return whole_photo(photo, cell_mm)
    sheet = fit_sheet(
        camera, spec, to_full(corners), edges, curl=curl, noise_px=0.3 * photo.decode_scale
    )
    return resample_sheet(photo, sheet, len(edges), cell_mm)


def _top_first(corners: Float) -> Float:
    """Start at the corner before the side whose middle is nearest the photo's top."""
    middles = (corners + np.roll(corners, -1, axis=0)) / 2
    return np.roll(corners, -int(np.argmin(middles[:, 1])), axis=0)
