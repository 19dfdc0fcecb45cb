"""Tools, hands and pens that lie over the sheet's edge: they go on beyond it, spray does not.

Oil wets the card and, where it runs over the edge, whatever lies beneath, which looks different wet
or dry. A thing that lies over the edge looks the same on either side of it, and unlike what lies
beside it there.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.optics import srgb_decode
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import Mark, PlumeSegmentation, WetnessMap

NEAR_MM, INSIDE_MM, BEYOND_MM, BESIDE_MM = 4.0, 3.0, (2.5, 4.5), (4.0, 9.0)
"""Distances, in mm: up to which a plume's cell lies at the edge; of what is compared on the sheet
and beyond it; and, along the edge from the contact's ends, of what lies beside (chosen: the rim of
1.5 mm is not judged, a pen is 8 mm wide)."""

ALIKE, UNLIKE = 0.35, 2.0
"""Difference of log light, over the three colours, up to which both sides are one thing; and how
many times farther what lies beside must be (chosen: a thing's shading across the edge on simulated
cards is 0.1 to 0.3; a bench differs from oiled paper by 0.5 and more)."""

LEAST_MM = 3.0
"""A shorter contact says nothing (chosen: a dozen cells)."""


def leave_out_things(
    segmentation: PlumeSegmentation, wet: WetnessMap, photo: Photo
) -> tuple[PlumeSegmentation, WetnessMap]:
    """Turn plumes that go on beyond the sheet's edge into marks, and judge nothing where they lie.

    Parameters
    ----------
    segmentation : PlumeSegmentation
        From stage 4.
    wet : WetnessMap
        From stage 2.
    photo : Photo
        The photo itself: the sheet's grid ends at its edge.

    Returns
    -------
    PlumeSegmentation, WetnessMap
        Both unchanged where nothing goes on, where no sheet was found, or where fewer than two
        plumes would be left.
    """
    card = wet.card
    if card.found_by == "none":
        return segmentation, wet
    cores = {
        k: segmentation.core & (segmentation.labels == k)
        for k in _at_border(segmentation, round(NEAR_MM / card.cell_mm))
    }
    things = [k for k, core in cores.items() if _goes_on(core, photo, card)]
    if not things or segmentation.count - len(things) < 2:
        return segmentation, wet
    new = np.zeros(segmentation.count + 1, np.int32)
    kept = [k for k in range(1, segmentation.count + 1) if k not in things]
    new[kept] = np.arange(1, len(kept) + 1)
    labels = new[segmentation.labels]
    left = replace(
        segmentation,
        labels=labels,
        core=segmentation.core & (labels > 0),
        count=len(kept),
        marks=(*segmentation.marks, *(_mark(cores[k], card) for k in things)),
        merged=tuple(int(new[k]) for k in segmentation.merged if new[k]),
        cut=tuple(int(new[k]) for k in segmentation.cut if new[k]),
    )
    # A plume may lie under it or run into it: there is nothing to be seen there.
    return left, replace(
        wet,
        valid=wet.valid & ~np.isin(segmentation.labels, things),
        flags=(*wet.flags, flag.THING_OVER_EDGE),
    )


def _at_border(segmentation: PlumeSegmentation, steps: int) -> list[int]:
    """Labels of plumes that come within so many cells of the grid's border."""
    found = set()
    for strip in (np.s_[:steps], np.s_[-steps:], np.s_[:, :steps], np.s_[:, -steps:]):
        found.update(np.unique(segmentation.labels[strip][segmentation.core[strip]]).tolist())
    return sorted(found - {0})


def _mark(core: Mask, card: RectifiedCard) -> Mark:
    y, x = np.nonzero(core)
    return Mark(
        kind="thing",
        x_mm=float(x.mean() * card.cell_mm + card.x0_mm),
        y_mm=float(y.mean() * card.cell_mm + card.y0_mm),
        area_mm2=float(len(x)) * card.cell_mm**2,
    )


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


def _goes_on(core: Mask, photo: Photo, card: RectifiedCard) -> bool:
    """Whether what touches the sheet's edge looks the same beyond it."""
    for contact in _contacts(core, card):
        here = np.linspace(contact.low, contact.high, 9)[1:-1]
        before = contact.low - np.linspace(*BESIDE_MM, 5)
        after = contact.high + np.linspace(*BESIDE_MM, 5)
        inside = _light(contact.places(here, INSIDE_MM), photo, card)
        beyond, *beside = (
            np.concatenate([_light(contact.places(t, -d), photo, card) for d in BEYOND_MM])
            for t in (here, before, after)
        )
        if min(map(len, (inside, beyond, *beside))) < 4:
            continue  # the photo ends there
        there = np.median(beyond, axis=0)
        gap = float(np.linalg.norm(np.median(inside, axis=0) - there))
        away = min(float(np.linalg.norm(np.median(b, axis=0) - there)) for b in beside)
        if gap < ALIKE and away > max(UNLIKE * gap, ALIKE):
            return True
    return False


def _contacts(core: Mask, card: RectifiedCard) -> list[_Contact]:
    """Find the sides that something touches."""
    rows, cols = core.shape
    cell = card.cell_mm
    steps = round(NEAR_MM / cell)
    left, top = card.x0_mm - cell / 2, card.y0_mm - cell / 2
    right, bottom = left + cols * cell, top + rows * cell
    sides = (
        (core[:steps].any(axis=0), (left, top), (1.0, 0.0), (0.0, 1.0)),
        (core[-steps:].any(axis=0), (left, bottom), (1.0, 0.0), (0.0, -1.0)),
        (core[:, :steps].any(axis=1), (left, top), (0.0, 1.0), (1.0, 0.0)),
        (core[:, -steps:].any(axis=1), (right, top), (0.0, 1.0), (-1.0, 0.0)),
    )
    found = []
    for touched, corner, way, inward in sides:
        at = np.flatnonzero(touched)
        if len(at) * cell >= LEAST_MM:
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
    return np.log(np.maximum(srgb_decode(np.asarray(seen, float) / 255.0), 1e-3))
