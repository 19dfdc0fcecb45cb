"""A photo of the same card before spraying: what was dark then is not wet now.

Both photos are rectified to the same grid, by the markers or by the sheet's edges, and the light of
the sprayed card is divided by that of the clean one. Stains, print, stock colour and clouds in the
paper cancel; lamps may differ, since what is left varies slowly and the wetness stage models it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import cv2
import numpy as np

from spraycheck.arrays import FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.errors import CardNotFoundError

SMOOTH_MM: Final = 0.3
"""Gaussian sigma over which the clean card's light is averaged, so that its noise does not add to
the sprayed card's: a third of the finest that is told from grain (chosen)."""

SIZE_TOLERANCE: Final = 0.02
"""Relative difference in size from which two sheets are not the same (cut paper: under 1 %)."""


def divide_by_reference(card: RectifiedCard, reference: RectifiedCard) -> RectifiedCard:
    """Take out of a sprayed card what the same card dry showed already.

    Parameters
    ----------
    card : RectifiedCard
        Sprayed.
    reference : RectifiedCard
        The same card before, rectified with the same cell.

    Returns
    -------
    RectifiedCard
        The sprayed card's light where the paper is clean, everywhere.

    Raises
    ------
    CardNotFoundError
        The two are not the same card, or one shows no sheet to register by.

    Notes
    -----
    A plain sheet does not say which way up it lies; the turn at which the two photos' own marks
    agree best is taken.
    """
    _check_same(card, reference)
    before = np.asarray(np.log(np.maximum(reference.linear_rgb, 1e-4)), np.float32)
    after = np.asarray(np.log(np.maximum(card.linear_rgb, 1e-4)), np.float32)
    known = reference.inside
    shape = card.inside.shape
    if card.printed is None:
        before, known = _turned(before, known, after, card.inside, card.cell_mm)
    before, known = _fitted(before, known, shape)
    both = card.inside & known
    if both.mean() < 0.5 * card.inside.mean():
        raise CardNotFoundError("dry-apart", stage="rectification")
    middle = np.median(before[::4, ::4][both[::4, ::4]], axis=0).astype(np.float32)
    seen = np.where(both[..., None], before, middle)
    smooth = cv2.GaussianBlur(seen, (0, 0), SMOOTH_MM / card.cell_mm)
    light = np.asarray(np.exp(after - smooth + middle), np.float32)
    return replace(
        card,
        linear_rgb=light,
        inside=both,
        method=f"{card.method}; the same card's light before spraying divided out",
    )


def _check_same(card: RectifiedCard, clean: RectifiedCard) -> None:
    for one, which in ((card, "sprayed"), (clean, "dry")):
        if one.found_by == "none":
            raise CardNotFoundError("dry-no-sheet", stage="rectification", which=which)
    if (card.printed is None) != (clean.printed is None):
        raise CardNotFoundError("dry-other-kind", stage="rectification")
    if card.printed is not None and clean.printed is not None:
        mine, other = (
            (c.paper, c.version, c.job, c.injector) for c in (card.printed, clean.printed)
        )
        read = card.printed.label_read and clean.printed.label_read
        if mine[0] != other[0] or (read and mine != other):
            names = [" ".join(t for t in (c[0].upper(), *c[2:]) if t) for c in (other, mine)]
            raise CardNotFoundError(
                "dry-other-card", stage="rectification", found=names[0], expected=names[1]
            )
    ratio = np.array(sorted(card.size_mm)) / np.array(sorted(clean.size_mm))
    if np.abs(np.log(ratio)).max() > SIZE_TOLERANCE:
        raise CardNotFoundError(
            "dry-other-size",
            stage="rectification",
            width_mm=clean.size_mm[0],
            height_mm=clean.size_mm[1],
            other_width_mm=card.size_mm[0],
            other_height_mm=card.size_mm[1],
        )


def _turned(
    before: FloatMap, known: Mask, after: FloatMap, inside: Mask, cell_mm: float
) -> tuple[FloatMap, Mask]:
    """Turn the clean sheet by quarters until its marks agree with the sprayed sheet's."""
    best = -np.inf
    chosen = (before, known)
    for quarter in range(4):
        turned, mask = np.rot90(before, quarter), np.rot90(known, quarter)
        # Quarter turns that leave the sheet lying across are none.
        if abs(turned.shape[0] / turned.shape[1] / (after.shape[0] / after.shape[1]) - 1) > 0.05:
            continue
        light, valid = _fitted(
            np.ascontiguousarray(turned), np.ascontiguousarray(mask), inside.shape
        )
        both = valid & inside
        agreement = _agreement(light, after, both, cell_mm)
        if agreement > best:
            best, chosen = agreement, (light, valid)
    return chosen


def _agreement(one: FloatMap, two: FloatMap, both: Mask, cell_mm: float) -> float:
    """Correlation of what is between 1 and 10 mm large."""
    step = max(1, round(1.0 / cell_mm))
    parts = []
    for light in (one, two):
        grey = np.asarray(np.where(both, light.mean(axis=2), 0.0), np.float32)
        weight = both.astype(np.float32)
        fine = cv2.GaussianBlur(grey, (0, 0), 0.7 / cell_mm)
        wide = cv2.GaussianBlur(grey, (0, 0), 6 / cell_mm)
        share = cv2.GaussianBlur(weight, (0, 0), 6 / cell_mm)
        band = fine - wide / np.maximum(share, 0.2)
        parts.append(np.asarray(band[::step, ::step][both[::step, ::step]], float))
    if len(parts[0]) < 10 or min(float(p.std()) for p in parts) < 1e-9:
        return 0.0
    return float(np.corrcoef(parts[0], parts[1])[0, 1])


def _fitted(light: FloatMap, known: Mask, shape: tuple[int, ...]) -> tuple[FloatMap, Mask]:
    """Resample to another grid of the same sheet (a cell or two different in size)."""
    if known.shape == shape:
        return light, known
    size = (shape[1], shape[0])
    mask = cv2.resize(known.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST)
    return (
        np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_LINEAR), np.float32),
        mask.astype(bool),
    )
