"""Metrics of a photo's quality: sharpness, light, noise, view and how wet the card is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.judge.quality.gate import limitations
from spraycheck.judge.quality.light import clipped_frac, measure_light
from spraycheck.judge.quality.sharpness import edge_spread_mm
from spraycheck.judge.quality.wicking import wicking_mm
from spraycheck.judge.result import PhotoQuality
from spraycheck.spray.containers import PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measurement import Measurement

TWO_LEVELS: Final = 0.85
"""Share of the variance of log light that two levels explain, from which a card has two: flooded
drawn cards reach 0.96 and more, cards under uneven light at most 0.7."""

ALL_AROUND: Final = 0.8
"""Share of the cells around a plume that are of the darker level where it lies in it (chosen)."""

_LEVEL_CELL_MM: Final = 1.5


def measure_quality(
    found: Measurement,
    *,
    sprayed: RectifiedCard | None = None,
    reference: RectifiedCard | None = None,
    elapsed_s: float | None = None,
) -> PhotoQuality:
    """Measure how far a photo of a nozzle with holes can be trusted.

    Parameters
    ----------
    found : Measurement
        What was measured on it.
    sprayed, reference : RectifiedCard, optional
        The sprayed card as it was photographed and the same card before, where one was divided by
        the other before it was measured.
    elapsed_s : float, optional
        Time from spraying to photo; NaN when the time of spraying was given but the photo does not
        say when it was taken, None when it was not given.
    """
    card, wetness, plumes = found.card, found.wetness, found.plumes
    across, down, measured_on = edge_spread_mm(found.photo, card)
    light = measure_light(wetness, sprayed)
    # An over-exposed reference spoils what it is divided into just as well.
    clipped = max(light.clipped_frac, 0.0 if reference is None else clipped_frac(reference))
    jacobian = _jacobian(card)
    time = math.nan if elapsed_s is None else elapsed_s
    quality = PhotoQuality(
        measured_on=measured_on,
        edge_x_mm=across,
        edge_y_mm=down,
        mm_per_px=found.photo.decode_scale / math.sqrt(abs(float(np.linalg.det(jacobian)))),
        noise_frac=light.noise_frac,
        evenness_frac=light.evenness_frac,
        clipped_frac=clipped,
        glare_frac=light.glare_frac,
        outside_frac=_outside(card, found.photo.width_px, found.photo.height_px),
        view_deg=_view_deg(jacobian),
        plume_width_mm=_plume_width_mm(plumes.catalogue),
        dark_frac=dark_share(wetness, plumes.segmentation),
        fill_frac=fill(wetness, plumes.segmentation),
        elapsed_s=time,
        wicking_mm=wicking_mm(time),
    )
    return replace(quality, limitations=limitations(quality, found))


def dark_share(wet: WetnessMap, segmentation: PlumeSegmentation) -> float:
    """Share of the card in the darker of its two levels of light; 0 where it has no two.

    Flooded paper is not told from dry paper by the wetness map, which takes the commonest shade for
    the paper. Light itself falls into two levels then, which Otsu's threshold parts. Soaked paper
    cannot be wetted again: where a plume stands out from the darker level that is all around it,
    that level is a shadow, and the share is 0.

    References
    ----------
    Otsu, N. (1979), "A threshold selection method from gray-level histograms", IEEE Trans. Syst.
    Man Cybern. 9, 62-66 (from memory).
    """
    card = wet.card
    light = np.log(np.maximum(card.linear_rgb.mean(axis=2), 1e-3))
    step = max(1, round(_LEVEL_CELL_MM / card.cell_mm))
    size = (max(1, light.shape[1] // step), max(1, light.shape[0] // step))
    inside = wet.valid.astype(np.float32)
    weight = cv2.resize(inside, size, interpolation=cv2.INTER_AREA)
    total = cv2.resize((light * inside).astype(np.float32), size, interpolation=cv2.INTER_AREA)
    whole = weight > 0.99
    values = total[whole] / weight[whole]
    if len(values) < 100 or float(values.var()) < 1e-8:
        return 0.0
    count, edges = np.histogram(values, 128)
    middle = (edges[1:] + edges[:-1]) / 2
    part = count / count.sum()
    below, mean = part.cumsum(), (part * middle).cumsum()
    spare = np.maximum(below * (1 - below), 1e-9)
    between = np.where(spare > 1e-6, (mean[-1] * below - mean) ** 2 / spare, 0.0)
    best = int(between.argmax())
    if between[best] < TWO_LEVELS * float(part @ (middle - mean[-1]) ** 2):
        return 0.0
    coarse = np.where(whole, total / np.maximum(weight, 1e-6), np.inf)
    labels = cv2.resize(
        np.where(segmentation.core, segmentation.labels, 0).astype(np.float32),
        size,
        interpolation=cv2.INTER_NEAREST,
    )
    if _plume_in(coarse < edges[best + 1], coarse, labels.astype(int), float(wet.contrast)):
        return 0.0
    return float(below[best])


def _plume_in(dark: Mask, light: Float, labels: NDArray[np.int_], contrast: float) -> bool:
    """Whether a plume stands out from dark cells all around it by half of a plume's usual depth."""
    for number in range(1, int(labels.max()) + 1):
        inside = (labels == number).astype(np.uint8)
        near, far = (cv2.dilate(inside, np.ones((k, k), np.uint8)) for k in (3, 7))
        ring = (far > near) & np.isfinite(light) & (labels == 0)
        core = (inside > 0) & np.isfinite(light)
        if core.sum() < 4 or ring.sum() < 8 or dark[ring].mean() < ALL_AROUND:
            continue
        if float(np.median(light[ring]) - np.median(light[core])) > contrast / 2:
            return True
    return False


def fill(wet: WetnessMap, segmentation: PlumeSegmentation) -> float:
    """Median of the lightly filtered wetness inside plumes; NaN without any."""
    inside = wet.smooth[segmentation.core]
    return float(np.median(inside)) if len(inside) else math.nan


def _jacobian(card: RectifiedCard) -> Float:
    """Photo pixels per mm in the middle of the card, ``(2, 2)``, one column per card axis."""
    ends = card.to_photo(np.array([[-1.0, 0], [1, 0], [0, -1], [0, 1]]))
    return np.column_stack([ends[1] - ends[0], ends[3] - ends[2]]) / 2


def _view_deg(jacobian: Float) -> float:
    """Angle from square-on: a circle on the card is seen as an ellipse with axes 1 : cos."""
    long, short = np.linalg.svd(jacobian, compute_uv=False)
    return math.degrees(math.acos(min(1.0, float(short / long))))


def _outside(card: RectifiedCard, width_px: int, height_px: int) -> float:
    """Share of the sheet's grid that lies outside the photo."""
    x, y = card.map_x_px[::8, ::8], card.map_y_px[::8, ::8]
    inside = (x >= 0) & (x <= width_px - 1) & (y >= 0) & (y <= height_px - 1)
    return float(1 - inside.mean())


def _plume_width_mm(catalogue: PlumeCatalogue) -> float:
    if len(catalogue) == 0:
        return math.nan
    middle = (catalogue.near_mm + catalogue.reach_mm) / 2
    return float(np.median(np.radians(catalogue.width_deg) * middle))
