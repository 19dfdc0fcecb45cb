"""What is really on a drawn card. Names match those of a measured result where the idea is one.

Directions are clockwise from 12 o'clock on the card about the foot of the perpendicular from the
nozzle tip; positions are in mm, x right, y down, from the middle of the sheet.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.simulate.central_truth import TrueCentral

FloatMap = NDArray[np.float32]

WETNESS_THRESHOLDS = (0.15, WET_THRESHOLD_FRAC, 0.50)
"""Wetness from which a cell counts as wetted, in three readings: what a careful eye still sees, the
product's own threshold, and half full."""


@dataclass(frozen=True, kw_only=True)
class TrueHole:
    """One hole of the drawn nozzle.

    Parameters
    ----------
    hole : int
        From 1.
    state : str
        ``clear``, ``weak``, ``heavy``, ``blocked`` or ``off-line``.
    expected_deg : float
        Where a healthy hole would spray, as seen on the card about the foot, tilt of the nozzle
        included.
    direction_deg : float
        Where it sprays: direction of the impact point of its axis. NaN when blocked.
    deviation_deg : float
        Turn of the plume from its design, clockwise.
    axis_angle_deg : float
        Between the real plume's axis and the card's normal; NaN when blocked.
    flow_frac : float
        Volume over that of a healthy hole of its size.
    volume_mm3 : float
        Fluid it gave.
    impact_mm : (float, float)
        Where its axis meets the card; NaN when blocked or never.
    area_mm2 : float
        Wetted area at `WET_THRESHOLD_FRAC`, drops around the plume included.
    area_mm2_at : (3,) tuple of float
        The same at each of `WETNESS_THRESHOLDS`.
    area_frac : float
        Share of the wetted area of all holes.
    centroid_mm : (float, float)
        Of the wetted patch; NaN without one.
    near_mm, reach_mm : float
        Distance of its near and far end from the foot (1st and 99th percentile, so that one
        thrown drop does not decide).
    width_deg : float
        Angle under which the patch is seen from the foot (1st to 99th percentile).
    """

    hole: int
    state: str
    expected_deg: float
    direction_deg: float
    deviation_deg: float
    axis_angle_deg: float
    flow_frac: float
    volume_mm3: float
    impact_mm: tuple[float, float]
    area_mm2: float
    area_mm2_at: tuple[float, float, float]
    area_frac: float
    centroid_mm: tuple[float, float]
    near_mm: float
    reach_mm: float
    width_deg: float


@dataclass(frozen=True, kw_only=True)
class TrueMark:
    """Something wet that is no hole's plume.

    Parameters
    ----------
    kind : str
        ``drip``, ``splash``, ``stray`` or ``central``.
    x_mm, y_mm : float
        Where.
    area_mm2 : float
        Wetted area at `WET_THRESHOLD_FRAC`.
    volume_mm3 : float
        Fluid on the sheet.
    direction_deg : float
        Of a stray jet, as of a hole; NaN otherwise.
    """

    kind: str
    x_mm: float
    y_mm: float
    area_mm2: float
    volume_mm3: float
    direction_deg: float = math.nan


@dataclass(frozen=True, kw_only=True)
class CardTruth:
    """Everything true about a drawn card.

    Parameters
    ----------
    x_mm, y_mm : float
        The nozzle centre: foot of the perpendicular from the tip.
    height_mm, tilt_x_deg, tilt_y_deg : float
        How the nozzle stood.
    holes : tuple of TrueHole
        One per hole of the nozzle.
    marks : tuple of TrueMark
        Drips, splashes, stray jets, central sprays.
    wet_mm2 : float
        Everything wetted at `WET_THRESHOLD_FRAC`.
    sprayed_mm3, landed_mm3 : float
        Fluid that left the nozzle, and what of it is on the sheet.
    central : TrueCentral or None
        The patch of a nozzle that has nothing but a central spray.
    """

    x_mm: float
    y_mm: float
    height_mm: float
    tilt_x_deg: float
    tilt_y_deg: float
    holes: tuple[TrueHole, ...]
    marks: tuple[TrueMark, ...]
    wet_mm2: float
    sprayed_mm3: float
    landed_mm3: float
    central: TrueCentral | None = None

    @property
    def faulty(self) -> tuple[int, ...]:
        """Holes whose state is not clear."""
        return tuple(h.hole for h in self.holes if h.state != "clear")

    @property
    def flowing(self) -> tuple[TrueHole, ...]:
        """Holes that sprayed."""
        return tuple(h for h in self.holes if h.state != "blocked")

    def as_dict(self) -> dict[str, Any]:
        """Return the truth as plain values; NaN becomes None."""
        plain: dict[str, Any] = json.loads(json.dumps(asdict(self)), parse_constant=lambda _: None)
        return plain


def direction_about(foot_mm: tuple[float, float], x_mm: float, y_mm: float) -> float:
    """Return the clockwise direction of a point seen from the foot, in [0, 360)."""
    angle = math.degrees(math.atan2(x_mm - foot_mm[0], -(y_mm - foot_mm[1]))) % 360.0
    return angle % 360.0


@dataclass(frozen=True, kw_only=True)
class Patch:
    """Size and place of the wetted cells of one owner.

    Parameters
    ----------
    area_mm2_at : (3,) tuple of float
        At each of `WETNESS_THRESHOLDS`.
    centroid_mm : (float, float)
        At the middle threshold; NaN when dry.
    near_mm, reach_mm, width_deg : float
        As of `TrueHole`.
    """

    area_mm2_at: tuple[float, float, float]
    centroid_mm: tuple[float, float]
    near_mm: float
    reach_mm: float
    width_deg: float


def measure_patch(
    wetness: FloatMap,
    mine: NDArray[np.bool_],
    x_mm: NDArray[np.float64],
    y_mm: NDArray[np.float64],
    foot_mm: tuple[float, float],
) -> Patch:
    """Measure the wetted cells that belong to one owner.

    Parameters
    ----------
    wetness : (M, N) ndarray of float32
        The card.
    mine : (M, N) ndarray of bool
        Cells that the owner's fluid reached most.
    x_mm, y_mm : (N,), (M,) ndarray of float64
        Cell centres.
    foot_mm : (float, float)
        The nozzle centre.
    """
    cell2 = float((x_mm[1] - x_mm[0]) * (y_mm[1] - y_mm[0]))
    areas = [float(np.count_nonzero(mine & (wetness >= t))) * cell2 for t in WETNESS_THRESHOLDS]
    rows, cols = np.nonzero(mine & (wetness >= WET_THRESHOLD_FRAC))
    nan = math.nan
    if len(rows) == 0:
        return Patch(
            area_mm2_at=(areas[0], areas[1], areas[2]),
            centroid_mm=(nan, nan),
            near_mm=nan,
            reach_mm=nan,
            width_deg=nan,
        )
    x, y = x_mm[cols], y_mm[rows]
    cx, cy = float(x.mean()), float(y.mean())
    dx, dy = x - foot_mm[0], y - foot_mm[1]
    near, reach = np.percentile(np.hypot(dx, dy), [1, 99])
    middle = math.radians(direction_about(foot_mm, cx, cy))
    turn = np.arctan2(dx, -dy) - middle
    turn = np.degrees((turn + math.pi) % (2 * math.pi) - math.pi)
    low, high = np.percentile(turn, [1, 99])
    return Patch(
        area_mm2_at=(areas[0], areas[1], areas[2]),
        centroid_mm=(cx, cy),
        near_mm=float(near),
        reach_mm=float(reach),
        width_deg=float(high - low),
    )
