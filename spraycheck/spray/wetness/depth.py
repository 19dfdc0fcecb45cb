"""One optical depth of three colours, its noise on dry paper, and its value on saturated paper."""

from __future__ import annotations

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.constants import MAD_TO_SIGMA, PERCENT, TINY
from spraycheck.errors import SprayNotFoundError
from spraycheck.spray.settings import WetnessSettings


def matched_filter(
    depth: FloatMap, usable: Mask, cell_mm: float, settings: WetnessSettings
) -> Float:
    """Weights, ``(3,)``, of the colours that show the spray best against the sheet's own noise.

    The best linear filter for a known colour ``a`` in noise of covariance ``C`` is ``C^-1 a``; it
    is scaled so that a saturated stain keeps its mean optical depth.

    Parameters
    ----------
    depth : (M, N, 3) ndarray of float32
        Natural-log loss of light against the dry paper.
    usable : (M, N) ndarray of bool
        Cells that may speak for spray or paper.
    cell_mm : float
        Side of a cell.
    settings : WetnessSettings
        The numbers that decide.
    """
    s = settings
    step = max(1.0, s.coarse_mm / cell_mm)
    rows, cols = usable.shape
    size = (max(1, round(cols / step)), max(1, round(rows / step)))
    small = cv2.resize(depth, size, interpolation=cv2.INTER_AREA)
    whole = cv2.resize(usable.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    sample = np.asarray(small[whole > s.filter_whole_frac], float)
    alike = np.full(3, 1 / 3)
    if len(sample) < s.filter_top_cells:
        return alike
    total = sample.mean(axis=1)
    centre = float(np.median(total))
    spread = MAD_TO_SIGMA * float(np.median(np.abs(total - centre)))
    count = max(s.filter_top_cells, int(len(total) * s.filter_top_frac))
    top = float(np.sort(total)[-count:].mean())
    if top < max(centre + s.filter_spreads * spread, s.filter_least_depth):
        return alike
    wet = total > centre + s.filter_wet_frac * (top - centre)
    dry = np.abs(total - centre) < s.filter_dry_spreads * spread
    colour = np.maximum(sample[wet].mean(axis=0), TINY)
    noise = np.cov(sample[dry].T)
    noise += np.eye(3) * (s.filter_loading_frac * np.trace(noise) + TINY)
    weights = np.clip(np.linalg.solve(noise, colour), 0, None)
    return np.asarray(weights / (weights @ colour) * colour.mean())


def dry_noise(smooth: FloatMap, usable: Mask, settings: WetnessSettings) -> float:
    """Spread of the filtered map on dry paper, from its dark-free half, mirrored."""
    step = settings.noise_step_cells
    sample = smooth[::step, ::step][usable[::step, ::step]]
    below = sample[sample < 0]
    if len(below) < settings.noise_least_cells:
        # The paper model lies a hair above a sheet almost without noise: mirror its drier half.
        if len(sample) == 0:
            return 0.0
        drier = sample[sample <= np.median(sample)]
        below = drier - drier.max()
    return float(np.sqrt(np.mean(below.astype(float) ** 2)))


def saturated_depth(
    smooth: FloatMap, usable: Mask, noise: float, cell_mm: float, settings: WetnessSettings
) -> float:
    """Optical depth of saturated paper: the plateau of the darkest patches.

    Parameters
    ----------
    smooth : (M, N) ndarray of float32
        Filtered optical depth.
    usable : (M, N) ndarray of bool
        Cells that may set the scale.
    noise : float
        From `dry_noise`.
    cell_mm : float
        Side of a cell.
    settings : WetnessSettings
        The numbers that decide.

    Raises
    ------
    SprayNotFoundError
        Nothing stands out from the paper's own noise.
    """
    s = settings
    sample = smooth[::2, ::2][usable[::2, ::2]]  # a quarter of the cells tells as much
    need = max(s.pattern_least_cells, round(s.pattern_mm2 / (2 * cell_mm) ** 2))
    if len(sample) <= need:
        raise SprayNotFoundError("too-little-card", stage="wetness")
    top = float(np.partition(sample, -need)[-need])
    if top < max(s.least_noises * noise, s.least_depth):
        raise SprayNotFoundError(
            "no-spray",
            stage="wetness",
            darker_percent=PERCENT * -np.expm1(-top),
            noise_percent=PERCENT * noise,
        )
    plateau = sample[sample > s.plateau_frac * top]
    return float(np.percentile(plateau, s.plateau_percentile))
