"""Stage 2: how wet is the paper, cell by cell.

The dry sheet is modelled from the sheet itself, so that fall-off of light, shadows, stock colour,
print and handwriting do not read as wet:

1. thin ink is found by a morphological black-hat and filled from the paper beside it;
2. the dry paper under the spray is carried in from the dry paper around it, colour by colour, in
   log light (where uneven light is an added surface);
3. the loss of light in the three colours is combined into one optical depth by the matched filter
   of the spray's own colour against the sheet's own noise;
4. optical depth becomes wetness by the Yule-Nielsen law.

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
from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.errors import PhotoQualityError, SprayNotFoundError
from spraycheck.spray.containers import WetnessMap
from spraycheck.spray.wetness.ink import least, remove_thin_ink
from spraycheck.spray.wetness.paper import model_dry_paper

__all__ = ["map_wetness"]

YULE_NIELSEN_N = 2.0
"""Full mixing of light between wet and dry fibres (reference above)."""

DARK_LINEAR = 0.02
"""Below this linear light on paper the sensor's noise swallows the spray (chosen because an 8-bit
sRGB value of 38 then spans the whole contrast of a clear stain in under ten steps)."""

CLIPPED_LINEAR = 0.985
"""From here on a channel counts as over-exposed (sRGB value 253 of 255)."""

LEAST_DEPTH = 0.07
"""A spray darkens its paper by at least this optical depth. Clear test oil on thin white paper over
a white bench, the faintest case simulated, gives 0.09; clouds in dry paper reach 0.05."""

TOO_DARK, LARGE_MM2 = 1.7, 60.0
"""Depth, over the middle patch's, from which a patch is a thing and not soaked paper; and the least
area of a patch that is compared (chosen: soaked patches of one card differ by up to a third, also
where one lies in flat light; 60 mm2 is a fifth of a small plume)."""

MOST_THINGS = 2
"""More dark patches than this are no things on the card (chosen: a tool and its shadow)."""

_MAD_TO_SIGMA = 1.4826  # normal distribution


def map_wetness(
    card: RectifiedCard,
    *,
    margin_mm: float = 1.5,
    ink_width_mm: float = 1.8,
    ink_length_mm: float = 7.0,
    background_mm: float = 14.0,
    coarse_mm: float = 1.6,
    windows_mm: tuple[float, ...] = (110.0, 80.0, 50.0, 36.0),
    detect_mm: float = 0.7,
    too_dark: float = TOO_DARK,
) -> WetnessMap:
    """Model the dry sheet and turn what is missing of its light into wetness.

    Parameters
    ----------
    card : RectifiedCard
        From stage 1.
    margin_mm : float
        Rim of the sheet that is not judged (edge shadow, resampling).
    ink_width_mm, ink_length_mm : float
        Dark lines up to this width and from this length are print or handwriting; shorter thin
        things may be drops and are kept.
    background_mm : float
        Distance (Gaussian sigma) over which the dry paper is carried in under the spray.
    coarse_mm : float
        Cell of the coarse grid on which the dry paper is modelled.
    windows_mm : tuple of float
        Widths of the running median that follows shadow edges, round by round.
    detect_mm : float
        Gaussian sigma of the filtered map used for detection.
    too_dark : float
        What is this many times darker than the middle patch lies on the card and is no spray;
        infinite where a single patch is expected, which nothing can be compared with.

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
    inside = _trimmed(card, margin_mm)
    notes = _exposure(card, inside)
    log_light = np.asarray(cv2.log(np.maximum(card.linear_rgb, np.float32(1e-3))), np.float32)
    glare = _glare(card, inside)
    if glare.sum() > 0.01 * inside.sum():  # below a hundredth of the card it hides nothing
        notes.append(flag.GLARE)
    usable = inside & ~glare
    ink = remove_thin_ink(
        log_light, usable, card.cell_mm, width_mm=ink_width_mm, length_mm=ink_length_mm
    )
    paper = model_dry_paper(
        ink.log_light,
        usable,
        card.cell_mm,
        coarse_mm=coarse_mm,
        windows_mm=windows_mm,
        background_mm=background_mm,
    )
    usable &= ~paper.shadow
    judged = usable & ~paper.foreign
    weights = _matched_filter(paper.depth, judged, card.cell_mm)
    # A weighted sum is one pass as a 1 x 3 colour transform.
    kernel = weights.astype(np.float32).reshape(1, 3)
    single = np.asarray(cv2.transform(paper.depth, kernel), np.float32)
    single[~usable] = 0
    smooth = np.asarray(cv2.GaussianBlur(single, (0, 0), detect_mm / card.cell_mm), np.float32)
    smooth[~usable] = 0

    noise = _dry_noise(smooth, judged)
    thing = _too_dark_for_spray(smooth, judged, noise, card.cell_mm, too_dark)
    if thing.any():
        notes.append(flag.THING_ON_CARD)
    usable &= ~thing
    judged &= ~thing
    single[thing] = 0
    smooth[thing] = 0
    contrast = _saturated_depth(smooth, judged, noise, card.cell_mm)
    scale = 1 / -np.expm1(-contrast / YULE_NIELSEN_N)
    wetness = _yule_nielsen(single, scale)
    filtered = _yule_nielsen(smooth, scale)
    noise_wet = float(noise / YULE_NIELSEN_N * scale)
    if noise_wet > 0.08:
        notes.append(flag.FAINT)
    return WetnessMap(
        card=card,
        wetness=wetness,
        smooth=filtered,
        valid=usable,
        noise=noise_wet,
        contrast=float(contrast),
        threshold_u=float(np.hypot(0.05, noise_wet)),
        flags=tuple(notes),
        method=(
            f"dry paper carried in over {background_mm:g} mm, thin ink up to {ink_width_mm:g} mm "
            f"filled, matched colour filter, Yule-Nielsen n={YULE_NIELSEN_N:g}"
        ),
        paper=paper.log_light,
    )


def _yule_nielsen(depth: FloatMap, scale: float) -> FloatMap:
    """Wetness of an optical depth; see the module's reference."""
    passed = np.asarray(cv2.exp(depth * np.float32(-1 / YULE_NIELSEN_N)), np.float32)
    return np.asarray((1 - passed) * np.float32(scale), np.float32)


def _trimmed(card: RectifiedCard, margin_mm: float) -> Mask:
    """Cells inside the sheet, a rim left out."""
    steps = max(1, round(margin_mm / card.cell_mm))
    padded = np.pad(card.inside.astype(np.uint8), 1)  # beyond the grid is outside
    distance = cv2.distanceTransform(padded, cv2.DIST_L2, 3)[1:-1, 1:-1]
    return np.asarray(distance > steps)


def _exposure(card: RectifiedCard, inside: Mask) -> list[str]:
    """Flag a dark or over-exposed sheet; raise when nothing can be told."""
    sample = card.linear_rgb[::4, ::4][inside[::4, ::4]]
    if len(sample) < 100:
        raise PhotoQualityError(
            "almost none of the sheet lies in the photo",
            stage="wetness",
            hint="photograph the whole card, square-on",
        )
    paper = np.percentile(sample, 60, axis=0)
    notes: list[str] = []
    if paper.max() < DARK_LINEAR:
        raise PhotoQualityError(
            f"the card is too dark: its paper reflects {100 * paper.max():.1f} % of full scale, "
            f"expected at least {100 * DARK_LINEAR:.0f} %",
            stage="wetness",
            hint="photograph it again in more light, or with a longer exposure",
        )
    if paper.max() < 4 * DARK_LINEAR:
        notes.append(flag.DARK)
    clipped = float((sample > CLIPPED_LINEAR).all(axis=1).mean())
    if clipped > 0.5:
        raise PhotoQualityError(
            f"{100 * clipped:.0f} % of the card is over-exposed, expected below 50 %",
            stage="wetness",
            hint="photograph it again with less light or a shorter exposure",
        )
    if clipped > 0.02:
        notes.append(flag.CLIPPED)
    return notes


def _glare(card: RectifiedCard, inside: Mask) -> Mask:
    """Cells where a lamp is mirrored: clipped in every colour and clearly above the sheet."""
    blown = (least(card.linear_rgb) > CLIPPED_LINEAR) & inside
    if not blown.any():
        return np.zeros_like(inside)
    paper = np.percentile(card.linear_rgb[::4, ::4][inside[::4, ::4]], 60, axis=0).min()
    if paper > 0.75 * CLIPPED_LINEAR:  # white paper near full scale: not a mirrored lamp
        return np.zeros_like(inside)
    kernel = np.ones((5, 5), np.uint8)
    return cv2.dilate(blown.astype(np.uint8), kernel).astype(bool) & inside


def _matched_filter(depth: FloatMap, usable: Mask, cell_mm: float) -> Float:
    """Weights of the three colours that show the spray best against the sheet's own noise.

    The best linear filter for a known colour ``a`` in noise of covariance ``C`` is ``C^-1 a``; it
    is scaled so that a saturated stain keeps its mean optical depth. The covariance is loaded
    with a tenth of its own trace, so that colours that agree closely are not played against each
    other.
    """
    step = max(1.0, 1.6 / cell_mm)
    rows, cols = usable.shape
    size = (max(8, round(cols / step)), max(8, round(rows / step)))
    small = cv2.resize(depth, size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.99
    sample = np.asarray(small[whole], float)
    total = sample.mean(axis=1)
    centre = float(np.median(total))
    spread = _MAD_TO_SIGMA * float(np.median(np.abs(total - centre)))
    top = np.sort(total)[-max(20, len(total) // 200) :].mean()
    if top < centre + 5 * spread or top < 0.02:
        return np.full(3, 1 / 3)
    wet = total > centre + 0.5 * (top - centre)
    dry = np.abs(total - centre) < 3 * spread
    colour = np.maximum(sample[wet].mean(axis=0), 1e-3)
    noise = np.cov(sample[dry].T)
    noise += np.eye(3) * (0.1 * np.trace(noise) + 1e-6)
    weights = np.clip(np.linalg.solve(noise, colour), 0, None)
    return np.asarray(weights / (weights @ colour) * colour.mean())


def _dry_noise(smooth: FloatMap, usable: Mask) -> float:
    """Spread of the filtered map on dry paper, from its dark-free half, mirrored."""
    sample = smooth[::3, ::3][usable[::3, ::3]]
    below = sample[sample < 0]
    if len(below) < 50:
        # The paper model lies a hair above a sheet almost without noise: mirror its drier half.
        drier = sample[sample <= np.median(sample)]
        return float(np.sqrt(np.mean((drier.astype(float) - float(drier.max())) ** 2)))
    return float(np.sqrt(np.mean(below.astype(float) ** 2)))


def _too_dark_for_spray(
    smooth: FloatMap, usable: Mask, noise: float, cell_mm: float, too_dark: float
) -> Mask:
    """Find patches much darker than the others: something lying on the card, never wet paper.

    Soaked paper has one depth. A patch from ``too_dark`` times the middle patch (by area) is no
    part of the spray, and must not set its scale either.
    """
    small = np.ascontiguousarray(smooth[::2, ::2])
    known = usable[::2, ::2]
    deepest = float(np.percentile(small[known], 99.5)) if known.any() else 0.0
    dark = known & (small > max(6 * noise, LEAST_DEPTH, 0.12 * deepest))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(dark.astype(np.uint8))
    cells = stats[:, cv2.CC_STAT_AREA]
    large = [k for k in range(1, count) if cells[k] * (2 * cell_mm) ** 2 >= LARGE_MM2]
    nothing = np.zeros_like(usable)
    if len(large) < 3:
        return nothing
    plateau = np.array([np.percentile(small[labels == k], 75) for k in large])
    # A patch along the border is a shadow or a thing more often than spray: the others compare.
    inner = cv2.erode(
        known.astype(np.uint8),
        np.ones((3, 3), np.uint8),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    rim = known & (inner == 0)
    free = np.bincount(labels[rim], minlength=count)[large] == 0
    if free.sum() < 3:
        free[:] = True
    order = np.argsort(plateau[free])
    heavier = np.cumsum(cells[large][free][order]) >= 0.5 * cells[large][free].sum()
    middle = float(plateau[free][order][np.argmax(heavier)])
    things = [k for k, depth in zip(large, plateau, strict=True) if depth > too_dark * middle]
    # Several that are alike are the spray, and what they were compared with is a shadow.
    if not things or len(things) > MOST_THINGS:
        return nothing
    found = np.isin(labels, things).astype(np.uint8)
    reach = 2 * round(1.5 / (2 * cell_mm)) + 1  # its blurred rim would look like wet paper
    grown = cv2.dilate(found, np.ones((reach, reach), np.uint8))
    whole = cv2.resize(grown, smooth.shape[::-1], interpolation=cv2.INTER_NEAREST)
    return np.asarray(whole.astype(bool) & usable)


def _saturated_depth(smooth: FloatMap, usable: Mask, noise: float, cell_mm: float) -> float:
    """Optical depth of saturated paper: the plateau of the darkest patches.

    Raises
    ------
    SprayNotFoundError
        Nothing stands out from the paper's own noise.
    """
    sample = np.sort(smooth[::2, ::2][usable[::2, ::2]])  # a quarter of the cells tells as much
    # 30 mm2 is a tenth of one small plume: less than that at the top cannot be a pattern.
    need = max(10, round(30 / (2 * cell_mm) ** 2))
    if len(sample) <= need:
        raise SprayNotFoundError(
            "too little of the card can be judged",
            stage="wetness",
            hint="photograph the whole card without glare",
        )
    top = float(sample[-need])
    if top < max(6 * noise, LEAST_DEPTH):
        raise SprayNotFoundError(
            f"no spray found: the darkest patch is only {100 * -np.expm1(-top):.0f} % darker than "
            f"the paper around it, with the paper's own noise at {100 * noise:.1f} %",
            stage="wetness",
            hint="check that this is the sprayed side, sprayed less than a few minutes ago, and "
            "photograph it in even light",
        )
    half = sample[sample > 0.5 * top]
    return float(np.percentile(half, 75))
