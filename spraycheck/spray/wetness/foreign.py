"""Tools, hands and pens: what lies on the card or over its edge and is no spray.

Soaked paper has one depth: a patch far darker than the others lies on the card. Oil wets the card
and, where it runs over the edge, whatever lies beneath, which looks different wet or dry: what lies
over the edge looks the same on either side of it, and unlike what lies beside it there.
"""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.optics import srgb_decode
from spraycheck.photo.containers import Photo
from spraycheck.spray.settings import WetnessSettings

_DARKEST_LINEAR = 1e-3  # a third of an 8-bit step: darker light has no logarithm worth having


def dark_objects(
    smooth: FloatMap, usable: Mask, noise: float, cell_mm: float, settings: WetnessSettings
) -> Mask:
    """Find patches, ``(M, N)`` bool, much darker than the others: never wet paper.

    A patch is compared with the middle one (by area).

    Parameters
    ----------
    smooth : (M, N) ndarray of float32
        Filtered optical depth.
    usable : (M, N) ndarray of bool
        Cells that may set the scale.
    noise : float
        Of ``smooth`` on dry paper.
    cell_mm : float
        Side of a cell.
    settings : WetnessSettings
        The numbers that decide.
    """
    s = settings
    nothing = np.zeros_like(usable)
    small = np.ascontiguousarray(smooth[::2, ::2])
    known = usable[::2, ::2]
    deepest = float(np.percentile(small[known], s.peak_percentile)) if known.any() else 0.0
    level = max(s.least_noises * noise, s.least_depth, s.object_level_frac * deepest)
    dark = (known & (small > level)).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark)
    cells = stats[:, cv2.CC_STAT_AREA]
    least = s.object_least_mm2 / (2 * cell_mm) ** 2
    large = [k for k in range(1, count) if cells[k] >= least]
    if len(large) < s.object_least_patches:
        return nothing
    plateau = np.array([np.percentile(small[labels == k], s.plateau_percentile) for k in large])
    # A patch along the border is a shadow or an object more often than spray: the others compare.
    rim = known & ~_eroded(known)
    free = np.bincount(labels[rim], minlength=count)[large] == 0
    if free.sum() < s.object_least_patches:
        free[:] = True
    order = np.argsort(plateau[free])
    area = np.cumsum(cells[large][free][order])
    middle = float(plateau[free][order][np.argmax(area >= area[-1] / 2)])
    found = [
        k for k, depth in zip(large, plateau, strict=True) if depth > s.object_depth_ratio * middle
    ]
    if not found or len(found) > s.object_most:
        return nothing
    whole = cv2.resize(
        np.isin(labels, found).astype(np.uint8), smooth.shape[::-1], interpolation=cv2.INTER_NEAREST
    )
    return np.asarray(_grown(whole, s.object_rim_mm / cell_mm) & usable)


def objects_over_edge(
    wet: Mask, card: RectifiedCard, photo: Photo | None, settings: WetnessSettings
) -> Mask:
    """Find patches, ``(M, N)`` bool, that go on beyond the sheet's edge.

    Parameters
    ----------
    wet : (M, N) ndarray of bool
        Cells that read as wet.
    card : RectifiedCard
        From stage 1.
    photo : Photo or None
        The photo itself: the card's grid ends at the sheet's edge.
    settings : WetnessSettings
        The numbers that decide.

    Returns
    -------
    (M, N) ndarray of bool
        With a rim; empty where no sheet was found, and where they would be most of what is wet.
    """
    s = settings
    nothing = np.zeros_like(wet)
    strips = _border_strips(round(s.object_near_mm / card.cell_mm))
    if photo is None or card.found_by == "none" or not any(wet[strip].any() for strip in strips):
        return nothing
    labels = cv2.connectedComponents(wet.astype(np.uint8))[1]
    at_border = {int(k) for strip in strips for k in np.unique(labels[strip])} - {0}
    over = [k for k in at_border if _goes_on(labels == k, photo, card, s)]
    found = np.isin(labels, over)
    if not over or found.sum() > s.object_most_frac * wet.sum():
        return nothing
    return _grown(found.astype(np.uint8), s.object_rim_mm / card.cell_mm)


def _border_strips(steps: int) -> tuple[tuple[slice, slice], ...]:
    """Top, bottom, left and right of a grid."""
    everything, first, last = slice(None), slice(None, steps), slice(-steps, None)
    return (first, everything), (last, everything), (everything, first), (everything, last)


def _grown(mask: np.ndarray, reach_cells: float) -> Mask:
    size = 2 * round(reach_cells) + 1
    return cv2.dilate(mask, np.ones((size, size), np.uint8)).astype(bool)


def _eroded(mask: Mask) -> Mask:
    """Cells all of whose neighbours are in the mask; beyond the grid there are none."""
    kernel = np.ones((3, 3), np.uint8)
    inner = cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    return np.asarray(inner > 0)


class _Contact(NamedTuple):
    """Where something touches a side of the sheet; all in card mm."""

    start: Float  # the side's first corner, (x, y)
    way: Float  # unit vector along the side
    inward: Float  # unit vector into the sheet
    low: float  # ends of the contact, from the corner
    high: float

    def places(self, t: Float, depth: float) -> Float:
        """Card positions, ``(K, 2)``, at distances along the side, ``depth`` mm inside it."""
        return np.asarray(self.start + t[:, None] * self.way + depth * self.inward)


def _goes_on(mask: Mask, photo: Photo, card: RectifiedCard, settings: WetnessSettings) -> bool:
    """Whether what touches the sheet's edge looks the same beyond it."""
    s = settings
    beside_mm = np.array(s.object_beside_mm)
    for contact in _contacts(mask, card, s):
        here = np.linspace(contact.low, contact.high, s.object_samples + 2)[1:-1]
        inside = _light(contact.places(here, s.object_inside_mm), photo, card)
        beyond, *beside = (
            np.concatenate([_light(contact.places(t, -d), photo, card) for d in s.object_beyond_mm])
            for t in (here, contact.low - beside_mm, contact.high + beside_mm)
        )
        if min(map(len, (inside, beyond, *beside))) < s.object_least_samples:
            continue  # the photo ends there
        there = np.median(beyond, axis=0)
        gap = float(np.linalg.norm(np.median(inside, axis=0) - there))
        away = min(float(np.linalg.norm(np.median(b, axis=0) - there)) for b in beside)
        if gap < s.object_alike < away and away > s.object_unlike_ratio * gap:
            return True
    return False


def _contacts(mask: Mask, card: RectifiedCard, settings: WetnessSettings) -> list[_Contact]:
    """Find the sides that something touches."""
    rows, cols = mask.shape
    cell = card.cell_mm
    left, top = card.x0_mm - cell / 2, card.y0_mm - cell / 2
    right, bottom = left + cols * cell, top + rows * cell
    across, down = (1.0, 0.0), (0.0, 1.0)
    sides = (
        ((left, top), across, (0.0, 1.0)),
        ((left, bottom), across, (0.0, -1.0)),
        ((left, top), down, (1.0, 0.0)),
        ((right, top), down, (-1.0, 0.0)),
    )
    found = []
    strips = _border_strips(round(settings.object_near_mm / cell))
    for strip, (corner, way, inward) in zip(strips, sides, strict=True):
        at = np.flatnonzero(mask[strip].any(axis=0 if way == across else 1))
        if len(at) * cell >= settings.object_contact_mm:
            start, along, into = (np.array(v) for v in (corner, way, inward))
            found.append(
                _Contact(start, along, into, float(at[0] * cell), float(at[-1] + 1) * cell)
            )
    return found


def _light(places_mm: Float, photo: Photo, card: RectifiedCard) -> Float:
    """Log light, ``(K, 3)``, at those places that the photo shows."""
    px = photo.to_decoded(card.to_photo(places_mm))
    height, width = photo.rgb.shape[:2]
    here = (px > 0).all(axis=1) & (px[:, 0] < width - 1) & (px[:, 1] < height - 1)
    if not here.any():
        return np.zeros((0, 3))
    at = np.ascontiguousarray(px[here], np.float32)
    seen = cv2.remap(photo.rgb, at[:, None, 0], at[:, None, 1], cv2.INTER_LINEAR)[:, 0]
    linear = srgb_decode(np.asarray(seen, float) / np.iinfo(np.uint8).max)
    return np.log(np.maximum(linear, _DARKEST_LINEAR))
