"""Stage 5: numbers for every plume, each with its uncertainty.

The budget follows the GUM (JCGM 100:2008): every source has a standard uncertainty and a
sensitivity, variances add, and the expanded value is 1.96 times the root. All directions share the
error of the centre, so its covariance is carried through each plume's own lever arm and what turns
the whole pattern is taken out of the relative uncertainty.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.constants import COVERAGE_FACTOR_95, WET_THRESHOLD_FRAC
from spraycheck.flags import Flags
from spraycheck.spray.area_uncertainty import LEVELS, PlumeAreas, area_uncertainty
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.patches import weighted_sum
from spraycheck.stats.circular import wrap_180, wrap_360

OWN_DIRECTION_DEG = 0.12
"""Standard scatter of a plume's centroid about its hole's direction, from the randomness of the
spray and the paper (simulated cards with the true centre show 0.10 to 0.15)."""

SOLID = 0.75
"""Share of its hull that a plume's largest piece fills at least (chosen: healthy and weak plumes of
simulated cards fill 0.8 to 0.97). One that fills less is hollowed by sheen on the wet paper, or a
part of it is missing: what lacks to the hull is uncertain."""

CUT_DIRECTION_DEG, MERGED_DIRECTION_DEG = 0.8, 3.0
"""Standard uncertainty of direction of a plume cut from its neighbour, and of two in one (chosen:
a tenth of a 10-degree wide plume's flank, and a quarter of a neighbour's distance)."""


class _Row(NamedTuple):
    """One plume, before shares and uncertainties."""

    x: float
    y: float
    radius: float
    direction: float
    width: float
    near: float
    reach: float
    area: float
    slope: float  # d area / d threshold, mm2 per unit of wetness
    axis: float
    raggedness: float
    drops: float
    hollow: float  # what lacks to the hull of a plume that is not solid, mm2
    peak: float
    flags: Flags
    outline: Float
    levels: Float  # area at each of LEVELS, mm2


def measure_plumes(
    wet: WetnessMap,
    plumes: PlumeSegmentation,
    centre: NozzleCentre,
    *,
    threshold: float = WET_THRESHOLD_FRAC,
) -> PlumeCatalogue:
    """Measure direction, width, reach, area and shape of every plume.

    Directions and centroids are weighed with the unfiltered wetness. Areas are counted on the
    lightly filtered map: on the unfiltered one noise would push dry cells over the threshold and
    wet ones under it, and not equally often.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    plumes : PlumeSegmentation
        From stage 4.
    centre : NozzleCentre
        From stage 3.
    threshold : float
        Wetness from which paper counts as wetted.

    Returns
    -------
    PlumeCatalogue
        One row per label, in the order of the labels; zero rows when there are none.
    """
    rows = [
        _measure(wet, plumes, centre, number, threshold) for number in range(1, plumes.count + 1)
    ]
    n = len(rows)
    column = {
        name: np.array([getattr(row, name) for row in rows], float).reshape(n)
        for name in _Row._fields
        if name not in ("flags", "outline", "levels")
    }
    cut = np.isin(np.arange(1, n + 1), plumes.cut)
    relative, rotation = _direction_uncertainty(wet, centre, column, rows, cut)
    areas = PlumeAreas(
        x_mm=column["x"],
        y_mm=column["y"],
        area_mm2=column["area"],
        slope=column["slope"],
        peak=column["peak"],
        hollow_mm2=column["hollow"],
        levels_mm2=np.array([row.levels for row in rows]).reshape(n, len(LEVELS)),
        cut=cut,
        flags=[row.flags for row in rows],
    )
    area_u = area_uncertainty(wet, plumes, areas, threshold)
    share, share_u = _shares(column["area"], area_u)
    centroid = np.column_stack([column["x"], column["y"]]).reshape(n, 2)
    return PlumeCatalogue(
        direction_deg=column["direction"],
        direction_u_deg=COVERAGE_FACTOR_95 * relative,
        width_deg=column["width"],
        near_mm=column["near"],
        reach_mm=column["reach"],
        area_mm2=column["area"],
        area_u_mm2=COVERAGE_FACTOR_95 * area_u,
        area_frac=share,
        area_u_frac=COVERAGE_FACTOR_95 * share_u,
        centroid_mm=centroid,
        centroid_px=wet.card.to_photo(centroid),
        axis_deg=column["axis"],
        raggedness=column["raggedness"],
        drops_frac=column["drops"],
        peak=column["peak"],
        label=np.arange(1, n + 1, dtype=np.int32),
        flags=tuple(row.flags for row in rows),
        rotation_u_deg=COVERAGE_FACTOR_95 * rotation,
        outlines_px=tuple(wet.card.to_photo(row.outline) for row in rows),
    )


def _measure(
    wet: WetnessMap,
    plumes: PlumeSegmentation,
    centre: NozzleCentre,
    number: int,
    threshold: float,
) -> _Row:
    """Measure one plume inside its bounding box."""
    card = wet.card
    cell = card.cell_mm
    domain_rows = np.flatnonzero((plumes.labels == number).any(axis=1))
    domain_cols = np.flatnonzero((plumes.labels == number).any(axis=0))
    box = np.s_[domain_rows[0] : domain_rows[-1] + 1, domain_cols[0] : domain_cols[-1] + 1]
    domain = plumes.labels[box] == number
    core = plumes.core[box] & domain
    smooth = wet.smooth[box]
    y, x = np.nonzero(domain)
    x_mm = (x + domain_cols[0]) * cell + card.x0_mm - centre.x_mm
    y_mm = (y + domain_rows[0]) * cell + card.y0_mm - centre.y_mm
    weight = wet.wetness[box][domain].astype(float)
    # The halo helps the axis but not where the paper's own noise is all there is.
    weight = np.where(smooth[domain] > 0.15, np.minimum(weight, 1.2), 0)
    total = max(float(weight.sum()), 1e-6)
    mx, my = weighted_sum(weight, x_mm) / total, weighted_sum(weight, y_mm) / total
    direction = wrap_360(math.degrees(math.atan2(mx, -my)))

    inner = core[domain]
    radius = np.hypot(x_mm, y_mm)
    angle = wrap_180(np.degrees(np.arctan2(x_mm, -y_mm)) - direction)
    if inner.any():
        near, reach = np.percentile(radius[inner], [1, 99])
        low, high = np.percentile(angle[inner], [1, 99])
        peak = float(np.percentile(smooth[core], 90))
    else:
        near = reach = math.hypot(mx, my)
        low = high = peak = 0.0
    step = 0.06
    values = smooth[domain]
    more, less = (values >= threshold - step).sum(), (values >= threshold + step).sum()

    dx, dy = x_mm - mx, y_mm - my
    xx = weighted_sum(weight, dx * dx) / total
    yy = weighted_sum(weight, dy * dy) / total
    xy = weighted_sum(weight, dx * dy) / total
    axis = math.degrees(0.5 * math.atan2(2 * xy, xx - yy)) + 90.0  # from x to clockwise from up
    if abs(wrap_180(axis - direction)) > 90:
        axis += 180.0
    outline, raggedness, main, hull = _outline(core)
    found = []
    if number in plumes.merged:
        found.append(flag.MERGED)
    if _touches_border(wet, box, core):
        found.append(flag.AT_SHEET_EDGE)
    if abs(wrap_180(axis - direction)) > 15:
        found.append(flag.OFF_RADIAL)
    area = float(core.sum()) * cell**2
    return _Row(
        x=mx + centre.x_mm,
        y=my + centre.y_mm,
        radius=math.hypot(mx, my),
        direction=direction,
        width=float(high - low),
        near=float(near),
        reach=float(reach),
        area=area,
        slope=float(more - less) * cell**2 / (2 * step),
        axis=wrap_360(axis),
        raggedness=raggedness,
        drops=(1 - main / max(int(core.sum()), 1)) if area > 0 else 0.0,
        hollow=(hull - main) * cell**2 if main < SOLID * hull else 0.0,
        peak=peak,
        flags=tuple(found),
        outline=card.to_mm(outline + [domain_cols[0], domain_rows[0]]),
        levels=(len(values) - np.searchsorted(np.sort(values), LEVELS)) * cell**2,
    )


def _outline(core: np.ndarray) -> tuple[Float, float, int, float]:
    """Outline of the largest piece (column, row), its raggedness, its cell count and its hull's."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(core.astype(np.uint8))
    if count < 2:
        return np.zeros((1, 2)), math.nan, 0, 0.0
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    mask = (labels == largest).astype(np.uint8)
    pieces, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(pieces, key=len)
    moments = cv2.moments(mask, binaryImage=True)
    m00 = max(moments["m00"], 1.0)
    mean = (moments["mu20"] + moments["mu02"]) / (2 * m00)
    half = math.hypot((moments["mu20"] - moments["mu02"]) / 2, moments["mu11"]) / m00
    a, b = 2 * math.sqrt(mean + half), 2 * math.sqrt(max(mean - half, 1e-9))
    # Ramanujan's first formula for the circumference of an ellipse (from memory; exact to 1e-4 for
    # axis ratios below 3).
    ellipse = math.pi * (3 * (a + b) - math.sqrt((3 * a + b) * (a + 3 * b)))
    smooth = cv2.approxPolyDP(outline, 0.75, True)  # the staircase of the cells is not roughness
    ratio = cv2.arcLength(smooth, True) / max(ellipse, 1e-6)
    hull = cv2.contourArea(cv2.convexHull(outline))
    return outline.reshape(-1, 2).astype(float), float(ratio), int(mask.sum()), float(hull)


def _touches_border(wet: WetnessMap, box: tuple[slice, slice], core: np.ndarray) -> bool:
    """Whether a fair part of the core lies against the border of what can be judged."""
    # The border lies just outside the box of a plume that runs into it; beyond the grid is outside.
    valid = np.pad(wet.valid, 1)[box[0].start : box[0].stop + 2, box[1].start : box[1].stop + 2]
    grown = cv2.dilate(np.pad(core.astype(np.uint8), 1), np.ones((3, 3), np.uint8)).astype(bool)
    return bool((grown & ~valid).sum() > 4)


def _direction_uncertainty(
    wet: WetnessMap,
    centre: NozzleCentre,
    column: dict[str, Float],
    rows: list[_Row],
    cut: Mask,
) -> tuple[Float, float]:
    """Return the standard uncertainty relative to the other plumes and of the common turn."""
    n = len(rows)
    if n == 0:
        return np.zeros(0), 0.0
    radius = np.maximum(column["radius"], 1e-3)
    angle = np.radians(column["direction"])
    # A centre shifted by (dx, dy) turns a plume at radius r by -(n . d) / r, n pointing clockwise.
    lever = np.column_stack([np.cos(angle), np.sin(angle)]) / radius[:, None]
    common = np.average(lever, axis=0)
    inner = lever - common
    from_centre = np.einsum("ij,jk,ik->i", inner, centre.covariance_mm2, inner)
    small = 60.0 / np.maximum(column["area"], 1.0)  # few drops: the centroid is less sure
    own = np.radians(OWN_DIRECTION_DEG) * np.sqrt(1 + small)
    own = np.where(cut, np.hypot(own, math.radians(CUT_DIRECTION_DEG)), own)
    merged = np.array([flag.MERGED in row.flags for row in rows])
    own = np.where(merged, math.radians(MERGED_DIRECTION_DEG), own)
    warp = 0.3 * wet.card.geometry_u_mm / radius  # the part of the geometry that is not a shift
    # A wrong aspect ratio a turns a ray at angle t by (a / 2) sin 2t.
    aspect = 0.5 * wet.card.aspect_u_frac * np.abs(np.sin(2 * angle))
    relative = np.sqrt(from_centre + own**2 + warp**2 + aspect**2)
    turn = float(common @ centre.covariance_mm2 @ common) + float((own**2).mean()) / n
    turn += math.radians(0.15) ** 2  # the sheet's own edges as a reference
    return np.degrees(relative), math.degrees(math.sqrt(turn))


def _shares(area: Float, area_u: Float) -> tuple[Float, Float]:
    """Share of the total and its standard uncertainty, for independent areas."""
    total = float(area.sum())
    if total <= 0:
        return np.zeros_like(area), np.zeros_like(area)
    share = area / total
    variance = area_u**2 / total**2
    # d share_i / d A_i = (1 - share_i) / total; d share_i / d A_j = -share_i / total.
    own = (1 - share) ** 2 * variance
    others = share**2 * (variance.sum() - variance)
    return share, np.sqrt(own + others)
