"""Stage 2: how wet is the paper, cell by cell.

The dry sheet is modelled from the sheet itself, so that fall-off of light, shadows, stock colour,
print and handwriting do not read as wet:

1. thin ink is found by a morphological black-hat and filled from the paper beside it;
2. the dry paper under the spray is carried in from the dry paper around it, colour by colour, in
   log light (where uneven light is an added surface);
3. the loss of light in the three colours is combined into one optical depth by the matched filter
   of the spray's own colour against the sheet's own noise;
4. optical depth becomes wetness by the Yule-Nielsen law;
5. what lies on the card or over its edge, and is no spray, is not judged.

References
----------
Yule, J. A. C. & Nielsen, W. J. (1951), "The penetration of light into paper and its effect on
halftone reproduction", TAGA Proc. 3, 65-76 (from memory): light wanders sideways in paper before
it comes out, so a partly wet spot reflects ``R^(1/n) = (1-w) R_dry^(1/n) + w R_wet^(1/n)`` with
``n`` between 1 (none) and 2 (fully mixed).
"""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import NOT_JUDGED, CellFlag, WetnessMap
from spraycheck.spray.settings import WETNESS, WetnessSettings
from spraycheck.spray.wetness.depth import dry_noise, matched_filter, saturated_depth
from spraycheck.spray.wetness.dry_paper import model_dry_paper
from spraycheck.spray.wetness.foreign import dark_objects, objects_over_edge
from spraycheck.spray.wetness.ink import remove_thin_ink
from spraycheck.spray.wetness.light import check_exposure, mirrored_lamps

__all__ = ["CLIPPED_LINEAR", "map_wetness"]

CLIPPED_LINEAR = WetnessSettings.clipped_linear
"""From here on a channel counts as over-exposed; see `WetnessSettings`."""

_DARKEST_LINEAR = np.float32(1e-3)
"""Light below this has no logarithm worth having: a third of an 8-bit step."""


def map_wetness(
    card: RectifiedCard, *, photo: Photo | None = None, settings: WetnessSettings = WETNESS
) -> WetnessMap:
    """Model the dry sheet and turn what is missing of its light into wetness.

    Parameters
    ----------
    card : RectifiedCard
        From stage 1.
    photo : Photo, optional
        The photo itself: what lies over the sheet's edge is told from spray by what lies beyond
        the edge, where the card's grid ends. Without it nothing is.
    settings : WetnessSettings
        The numbers that decide.

    Returns
    -------
    WetnessMap
        On the same grid as ``card``.

    Raises
    ------
    PhotoQualityError
        The sheet is too dark, or too over-exposed, to tell wet from dry.
    SprayNotFoundError
        Nothing on the sheet is darker than its own paper.
    """
    s = settings
    edge = ~_trimmed(card, s.edge_margin_mm)
    notes = check_exposure(card, ~edge, s)
    glare = mirrored_lamps(card, ~edge, s)
    if glare.sum() > s.glare_noted_frac * (~edge).sum():
        notes.append(flag.GLARE)
    cells = np.where(edge, np.uint8(CellFlag.EDGE), np.uint8(0))
    cells[glare] |= np.uint8(CellFlag.GLARE)

    log_light = np.asarray(cv2.log(np.maximum(card.linear_rgb, _DARKEST_LINEAR)), np.float32)
    ink = remove_thin_ink(log_light, ~edge & ~glare, card.cell_mm, settings=s)
    cells[ink.mask] |= np.uint8(CellFlag.INK)
    paper = model_dry_paper(ink.log_light, ~edge & ~glare, card.cell_mm, settings=s)
    cells[paper.shadow] |= np.uint8(CellFlag.SHADOW)
    valid = _judged(cells)
    reference = valid & ~paper.foreign  # what lies over the border sets no scale

    # A weighted sum is one pass as a 1 x 3 colour transform.
    kernel = matched_filter(paper.depth, reference, card.cell_mm, s).astype(np.float32)
    single = np.asarray(cv2.transform(paper.depth, kernel.reshape(1, 3)), np.float32)
    single[~valid] = 0
    smooth = np.asarray(cv2.GaussianBlur(single, (0, 0), s.detect_mm / card.cell_mm), np.float32)
    smooth[~valid] = 0
    noise = dry_noise(smooth, reference, s)
    if s.dark_objects:
        lying = dark_objects(smooth, reference, noise, card.cell_mm, s)
        if lying.any():
            notes.append(flag.THING_ON_CARD)
            cells[lying] |= np.uint8(CellFlag.FOREIGN_OBJECT)
            reference &= ~lying
    contrast = saturated_depth(smooth, reference, noise, card.cell_mm, s)

    scale = 1 / -np.expm1(-contrast / s.yule_nielsen_n)
    wetness = _yule_nielsen(single, scale, s.yule_nielsen_n)
    filtered = _yule_nielsen(smooth, scale, s.yule_nielsen_n)
    over = objects_over_edge((filtered >= s.object_wet_frac) & _judged(cells), card, photo, s)
    if over.any():
        notes.append(flag.THING_OVER_EDGE)
        cells[over] |= np.uint8(CellFlag.FOREIGN_OBJECT)
    hidden = ~_judged(cells)
    wetness[hidden] = 0
    filtered[hidden] = 0
    noise_frac = float(noise / s.yule_nielsen_n * scale)
    if noise_frac > s.faint_noise_frac:
        notes.append(flag.FAINT)
    return WetnessMap(
        card=card,
        wetness=wetness,
        smooth=filtered,
        cell_flags=cells,
        noise=noise_frac,
        contrast=contrast,
        threshold_u=float(np.hypot(s.scale_u_frac, noise_frac)),
        flags=tuple(notes),
        method=(
            f"dry paper carried in over {s.background_mm:g} mm, thin ink up to {s.ink_width_mm:g} "
            f"mm filled, matched colour filter, Yule-Nielsen n={s.yule_nielsen_n:g}"
        ),
    )


def _judged(cells: np.ndarray) -> Mask:
    return np.asarray((cells & np.uint8(NOT_JUDGED)) == 0)


def _yule_nielsen(depth: FloatMap, scale: float, n: float) -> FloatMap:
    """Wetness of an optical depth; see the module's reference."""
    out = np.asarray(cv2.exp(depth * np.float32(-1 / n)), np.float32)
    out *= np.float32(-scale)
    out += np.float32(scale)
    return out


def _trimmed(card: RectifiedCard, margin_mm: float) -> Mask:
    """Cells inside the sheet, a rim left out."""
    steps = max(1, round(margin_mm / card.cell_mm))
    padded = np.pad(card.inside.astype(np.uint8), 1)  # beyond the grid is outside
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_3)[1:-1, 1:-1]
    return np.asarray(distance > steps)
