"""How certain a plume's wetted area is, in four terms that the card itself shows."""

from __future__ import annotations

import numpy as np

from spraycheck.arrays import Float, Mask
from spraycheck.spray.settings import MeasureSettings


def area_uncertainty(
    *,
    area_mm2: Float,
    slope_mm2: Float,
    fuller_mm2: Float,
    hollow_mm2: Float,
    background: Float,
    noise: float,
    cut: Mask,
    merged: Mask,
    at_edge: Mask,
    settings: MeasureSettings,
) -> Float:
    """Standard uncertainty of each wetted area, ``(K,)`` in mm2, without what all plumes share."""
    s = settings
    if len(area_mm2) == 0:
        return np.zeros(0)
    extra = np.maximum(np.nan_to_num(background) ** 2 - s.usual_background**2 - noise**2, 0)
    level = np.sqrt(
        s.level_floor_frac**2 + (s.level_by_noise * noise) ** 2 + s.level_by_background**2 * extra
    )
    texture = np.where(cut, s.cut_frac, s.texture_frac)
    texture = np.where(at_edge, s.edge_frac, texture)
    texture = np.where(merged, s.merged_frac, texture)
    log = np.log(np.maximum(area_mm2, 1.0)) - np.log(np.maximum(fuller_mm2, 1.0))
    pale = s.pale_frac * np.maximum(np.abs(log - np.median(log)) - s.usual_pale, 0)
    parts = (slope_mm2 * level, area_mm2 * texture, area_mm2 * pale, hollow_mm2)
    return np.asarray(np.sqrt(sum(part**2 for part in parts)))
