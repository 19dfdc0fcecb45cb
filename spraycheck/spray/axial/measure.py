"""The central patch in numbers: outline, amount by angle and by distance, what lies beside it.

The outline and everything counted come from the filtered wetness, every sum from the unfiltered
one, as for the plumes of a multi-hole nozzle.
"""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95, WET_THRESHOLD_FRAC
from spraycheck.spray.axial.containers import QUANTITIES, Aim, AxialPatch, SidePatch
from spraycheck.spray.axial.finding import find_patch
from spraycheck.spray.axial.region import (
    PROFILE_REACH,
    RINGS,
    STREAK_ORDERS,
    Region,
    region_properties,
)
from spraycheck.spray.axial.uncertainty import SPOT_MM2, VECTOR, vector_covariance, vector_of
from spraycheck.spray.containers import WetnessMap
from spraycheck.stats.circular import wrap_360
from spraycheck.stats.uncertainty import numerical_jacobian, propagate

ANGLE_STEPS: Final = 72
"""Directions of the profile that is drawn."""

OPENS, FRAYS = 0.2, 0.25
"""A disturbance that changes the outline's radius by more than the first as a share, or its
form_factor by more than the second, opened or closed it (chosen: disturbances move an outline by a
few percent; a ring that opens loses half of its form_factor)."""

SOAKED: Final = 0.85
"""From this wetness on paper counts as full (chosen: mottled saturated paper shows 0.85 to 1.1)."""


def measure_axial(
    wet: WetnessMap,
    aim: Aim,
    *,
    threshold: float = WET_THRESHOLD_FRAC,
    bridge_mm: float = 1.5,
    outline_blur_mm: float = 0.7,
) -> AxialPatch:
    """Measure the central patch of a card.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    aim : Aim
        Where the nozzle's axis was set over.
    threshold : float
        Wetness from which paper counts as wetted.
    bridge_mm : float
        Gaps up to twice this are closed when the outline is drawn.
    outline_blur_mm : float
        Gaussian sigma by which the outline's corners are rounded before its length is taken.

    Returns
    -------
    AxialPatch

    Raises
    ------
    SprayNotFoundError
        No wet patch that is large enough.
    """
    card = wet.card
    cell = card.cell_mm
    near = (aim.x_mm, aim.y_mm) if aim.known else (0.0, 0.0)
    found = find_patch(wet, threshold=threshold, bridge_mm=bridge_mm, near_mm=near)
    box = found.box
    raw, smooth = wet.wetness[box], wet.smooth[box]
    sure, doubtful = (
        float(sum(m.sum() for m in masks)) * cell**2 for masks in (found.sides, found.doubtful)
    )

    def numbers(raw: FloatMap, smooth: FloatMap) -> Region:
        return region_properties(
            raw,
            smooth,
            found.zone[box],
            threshold=threshold,
            level=found.level,
            reach=bridge_mm / cell,
            blur=outline_blur_mm / cell,
            noise=wet.noise,
            spot=SPOT_MM2 / cell**2,
        )

    def again(raw: FloatMap, smooth: FloatMap) -> Float | None:
        try:
            out = vector_of(numbers(raw, smooth), sure, cell)
        except ValueError:
            return None
        # What comes and goes with a disturbance has no derivative there: it stays as it was. A ring
        # that opens or closes changes its whole outline.
        if abs(out[1] / vector[1] - 1) > OPENS or abs(out[5] - vector[5]) > FRAYS:
            return None
        return np.where(np.isfinite(out), out, vector)

    n = numbers(raw, smooth)
    vector = vector_of(n, sure, cell)
    inner, grows, lost = vector_covariance(
        wet,
        vector,
        again,
        raw,
        smooth,
        slope=_slope(n, cell),
        crest=n.crest,
        mean=float(raw[n.filled].mean()),
    )
    origin = np.array([card.x0_mm + box[1].start * cell, card.y0_mm + box[0].start * cell])
    middle = origin + vector[2:4]
    off = middle - [aim.x_mm, aim.y_mm]
    values, covariance = _quantities(vector, inner, off, aim)
    return AxialPatch(
        x_mm=float(middle[0]),
        y_mm=float(middle[1]),
        centre_u_mm=COVERAGE_FACTOR_95 * math.sqrt(max(inner[2, 2], inner[3, 3])),
        area_mm2=float(vector[0]),
        area_u_mm2=COVERAGE_FACTOR_95 * math.sqrt(inner[0, 0]),
        diameter_mm=2 * float(vector[1]),
        diameter_u_mm=2 * COVERAGE_FACTOR_95 * math.sqrt(inner[1, 1]),
        **dict(zip(QUANTITIES, values, strict=True)),
        heavy_side_deg=wrap_360(math.degrees(np.angle(n.heavy))),
        offset_deg=wrap_360(math.degrees(math.atan2(off[0], -off[1]))) if aim.known else math.nan,
        covariance=covariance,
        grows_u=_of_quantities(grows),
        lost_u=_of_quantities(lost),
        crest=n.crest,
        doubtful_frac=doubtful / (doubtful + sure + float(vector[0])),
        soaked_frac=_soaked(smooth, n),
        aim=aim,
        profile=n.profile,
        by_angle=_by_angle(raw, n),
        sides=tuple(
            _side(card, mask, middle, sure)
            for masks, sure in ((found.sides, True), (found.doubtful, False))
            for mask in masks
        ),
        outline_px=card.to_photo(n.outline * cell + origin),
        hollow_px=card.to_photo(n.hollow * cell + origin),
        flags=(flag.AT_SHEET_EDGE,) if found.at_edge else (),
        method=f"outline at {found.level:.2f} of saturation, gaps to {2 * bridge_mm:g} mm closed",
    )


def _quantities(vector: Float, inner: Float, off: Float, aim: Aim) -> tuple[list[float], Float]:
    """Values of `QUANTITIES` and their covariance, from those of the budget's vector."""

    def model(v: NDArray[np.float64]) -> NDArray[np.float64]:
        area, radius, x, y, ellipse_ratio, form_factor, heavy, streak, core, hx, hy, side = v[:12]
        away = off + [x - vector[2] - v[12], y - vector[3] - v[13]]
        return np.array(
            [
                *(ellipse_ratio, form_factor, heavy, streak, core),
                math.hypot(hx, hy) / (2 * radius),
                math.hypot(away[0], away[1]) / (2 * radius),
                side / (side + area),
            ]
        )

    # The place of the aim is two more inputs.
    u_aim = aim.u_mm if aim.known else 0.0
    at = np.concatenate([vector, [0.0, 0.0]])
    spread = np.zeros((len(at), len(at)))
    spread[: len(vector), : len(vector)] = inner
    spread[-2:, -2:] = np.eye(2) * u_aim**2
    values = model(at)
    gone = ~np.isfinite(values)
    known = np.nan_to_num(at)
    off = np.nan_to_num(off)
    steps = np.maximum(np.sqrt(np.nan_to_num(np.diag(spread))), 1e-6)
    covariance = propagate(numerical_jacobian(model, known, steps), np.nan_to_num(spread))
    # A distance near nought has no derivative: its uncertainty is never below that of its parts.
    for name, first in (("hollow_offset_ratio", 9), ("offset_ratio", 2)):
        k = QUANTITIES.index(name)
        parts = float(np.diag(spread)[first : first + 2].mean())
        parts += u_aim**2 if name == "offset_ratio" else 0.0
        covariance[k, k] = max(float(covariance[k, k]), parts / (2 * float(vector[1])) ** 2)
    covariance[gone], covariance[:, gone] = math.nan, math.nan
    return [float(v) for v in values], covariance


def _of_quantities(parts: Float) -> tuple[float, ...]:
    """Pick what `QUANTITIES` share with the budget's vector; 0 for the others."""
    names = {"heavy_side_frac": "heavy", "streak_frac": "streak"}
    return tuple(
        float(parts[VECTOR.index(names[name])]) if name in names else 0.0 for name in QUANTITIES
    )


def _slope(n: Region, cell_mm: float) -> float:
    """How fast the mean wetness falls at the outline, per mm."""
    step = PROFILE_REACH / RINGS
    at = round(1 / step)
    return float(n.profile[at - 3] - n.profile[at + 2]) / (5 * step * n.radius * cell_mm)


def _soaked(smooth: FloatMap, n: Region) -> float:
    """Share of the filled outline that is as wet as the paper gets."""
    return float((smooth[n.filled] >= SOAKED).mean())


def _by_angle(raw: FloatMap, n: Region) -> Float:
    """Wetness by direction over its mean, `ANGLE_STEPS` from 12 o'clock on.

    Summed from the harmonics that count: bins of a small patch show the cells' own pattern.
    """
    rows, cols = np.nonzero(n.filled)
    weight = raw[n.filled].astype(float)
    turn = np.arctan2(cols - n.x, n.y - rows)
    to = (np.arange(ANGLE_STEPS) + 0.5) * (2 * math.pi / ANGLE_STEPS)
    out = np.ones(ANGLE_STEPS)
    for k in range(1, STREAK_ORDERS.stop):
        c = (weight * np.exp(1j * k * turn)).sum() / max(float(weight.sum()), 1e-9)
        out += 2 * (c * np.exp(-1j * k * to)).real
    return out


def _side(card: RectifiedCard, mask: Mask, middle: Float, sure: bool) -> SidePatch:
    rows, cols = np.nonzero(mask)
    x, y = card.to_mm(np.array([[cols.mean(), rows.mean()]]))[0]
    pieces, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(pieces, key=len).reshape(-1, 2).astype(float)
    return SidePatch(
        x_mm=float(x),
        y_mm=float(y),
        direction_deg=wrap_360(math.degrees(math.atan2(x - middle[0], middle[1] - y))),
        area_mm2=float(mask.sum()) * card.cell_mm**2,
        outline_px=card.to_photo(card.to_mm(outline)),
        sure=sure,
    )
