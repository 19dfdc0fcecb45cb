"""Stage 5: numbers for every plume, each with its uncertainty.

The budget follows the GUM (JCGM 100:2008): every source has a standard uncertainty and a
sensitivity, variances add, and the expanded value is 1.96 times the root. All directions share the
error of the centre, so its covariance is carried through each plume's own lever arm and what turns
the whole pattern is taken out of the relative uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.constants import COVERAGE_FACTOR_95, TINY
from spraycheck.flags import Flags
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.patches import Moments
from spraycheck.spray.settings import MEASURE, MeasureSettings
from spraycheck.stats.circular import wrap_180, wrap_360


@dataclass(frozen=True, kw_only=True)
class _Row:
    """One plume, before shares and uncertainties; mm and degrees as in `PlumeCatalogue`."""

    x: float
    y: float
    radius: float
    direction: float
    width: float
    inner: float
    outer: float
    area: float
    slope: float  # what the area loses per unit of threshold, mm2
    axis: float
    raggedness: float
    drops: float
    peak: float
    background: float  # scatter of the filtered wetness on the dry paper around
    fuller: float  # area at the higher threshold
    hollow: float  # what a piece that is not solid lacks to its hull, mm2
    flags: Flags
    outline: Float


def measure_plumes(
    wet: WetnessMap,
    plumes: PlumeSegmentation,
    centre: NozzleCentre | None = None,
    *,
    settings: MeasureSettings = MEASURE,
) -> PlumeCatalogue:
    """Measure direction, width, distance, area and shape of every plume.

    Directions and centroids are weighed with the unfiltered wetness. Areas are counted on the
    lightly filtered map: on the unfiltered one noise would push dry cells over the threshold and
    wet ones under it, and not equally often.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    plumes : PlumeSegmentation
        From stage 4; its threshold is the one areas are counted at.
    centre : NozzleCentre, optional
        The segmentation's own when not given.
    settings : MeasureSettings
        The numbers that decide.

    Returns
    -------
    PlumeCatalogue
        One row per label, in the order of the labels; zero rows when there are none.
    """
    s = settings
    at = centre or plumes.centre
    boxes = _boxes(plumes)
    rows = [_measure(wet, plumes, at, k, box, s) for k, box in enumerate(boxes, start=1)]

    def column(name: str) -> Float:
        return np.array([getattr(row, name) for row in rows], float)

    x, y, area = column("x"), column("y"), column("area")
    cut = np.isin(np.arange(1, len(rows) + 1), plumes.cut)
    of_flag = {
        name: np.array([name in row.flags for row in rows], bool)
        for name in (flag.MERGED, flag.AT_SHEET_EDGE)
    }
    relative, rotation = _direction_uncertainty(
        wet,
        at,
        radius_mm=column("radius"),
        direction_deg=column("direction"),
        area_mm2=area,
        cut=cut,
        merged=of_flag[flag.MERGED],
        settings=s,
    )
    area_u = area_uncertainty(
        area_mm2=area,
        slope_mm2=column("slope"),
        fuller_mm2=column("fuller"),
        hollow_mm2=column("hollow"),
        background=column("background"),
        noise=wet.noise,
        cut=cut,
        merged=of_flag[flag.MERGED],
        at_edge=of_flag[flag.AT_SHEET_EDGE],
        settings=s,
    )
    share, share_u = _shares(area, area_u)
    centroid = np.column_stack([x, y])
    return PlumeCatalogue(
        direction_deg=column("direction"),
        direction_u_deg=COVERAGE_FACTOR_95 * relative,
        width_deg=column("width"),
        inner_mm=column("inner"),
        outer_mm=column("outer"),
        area_mm2=area,
        area_u_mm2=COVERAGE_FACTOR_95 * area_u,
        area_frac=share,
        area_u_frac=COVERAGE_FACTOR_95 * share_u,
        centroid_mm=centroid,
        centroid_px=wet.card.to_photo(centroid),
        axis_deg=column("axis"),
        raggedness=column("raggedness"),
        drops_frac=column("drops"),
        peak=column("peak"),
        label=np.arange(1, len(rows) + 1, dtype=np.int32),
        flags=tuple(row.flags for row in rows),
        rotation_u_deg=COVERAGE_FACTOR_95 * rotation,
        outlines_px=tuple(wet.card.to_photo(row.outline) for row in rows),
    )


def _boxes(plumes: PlumeSegmentation) -> list[tuple[slice, slice]]:
    """Rows and columns that just hold each plume."""
    rows, cols = np.nonzero(plumes.labels)
    number = plumes.labels[rows, cols] - 1
    ends = []
    for at in (rows, cols):
        low = np.full(plumes.count, max(plumes.labels.shape))
        high = np.zeros(plumes.count, int)
        np.minimum.at(low, number, at)
        np.maximum.at(high, number, at)
        ends += [low, high + 1]
    return [
        (slice(int(top), int(bottom)), slice(int(left), int(right)))
        for top, bottom, left, right in zip(*ends, strict=True)
    ]


def _measure(
    wet: WetnessMap,
    plumes: PlumeSegmentation,
    centre: NozzleCentre,
    number: int,
    box: tuple[slice, slice],
    settings: MeasureSettings,
) -> _Row:
    """Measure one plume inside its bounding box."""
    s = settings
    card, cell, threshold = wet.card, wet.card.cell_mm, plumes.threshold_frac
    support = plumes.labels[box] == number
    mask = plumes.mask[box] & support
    smooth = wet.smooth[box][support]
    down, right = np.nonzero(support)
    x = (right + box[1].start) * cell + card.x0_mm - centre.x_mm
    y = (down + box[0].start) * cell + card.y0_mm - centre.y_mm
    weight = np.minimum(wet.wetness[box][support].astype(float), s.most_weight)
    m = Moments.of(x, y, np.where(smooth > s.halo_frac, weight, 0.0))
    direction = wrap_360(math.degrees(math.atan2(m.x, -m.y)))
    axis = math.degrees(m.angle_rad) + 90.0  # from x to clockwise from up
    if abs(wrap_180(axis - direction)) > 90:
        axis += 180.0

    wetted = mask[support]
    inner = outer = math.hypot(m.x, m.y)
    low = high = peak = 0.0
    if wetted.any():
        ends = [s.end_percentile, 100.0 - s.end_percentile]
        inner, outer = np.percentile(np.hypot(x, y)[wetted], ends)
        angle = wrap_180(np.degrees(np.arctan2(x, -y)) - direction)
        low, high = np.percentile(angle[wetted], ends)
        peak = float(np.percentile(smooth[wetted], s.peak_percentile))

    def area_at(level: float) -> float:
        return float((smooth >= level).sum()) * cell**2

    area = float(wetted.sum()) * cell**2
    slope = area_at(threshold - s.slope_step_frac) - area_at(threshold + s.slope_step_frac)
    outline, raggedness, main, hull = _outline(mask, s)
    found = []
    if number in plumes.merged:
        found.append(flag.MERGED)
    if _touches_border(wet, box, mask, s):
        found.append(flag.AT_SHEET_EDGE)
    if abs(wrap_180(axis - direction)) > s.off_radial_deg:
        found.append(flag.OFF_RADIAL)
    return _Row(
        x=m.x + centre.x_mm,
        y=m.y + centre.y_mm,
        radius=math.hypot(m.x, m.y),
        direction=direction,
        width=float(high - low),
        inner=float(inner),
        outer=float(outer),
        area=area,
        slope=slope / (2 * s.slope_step_frac),
        axis=wrap_360(axis),
        raggedness=raggedness,
        drops=1 - main * cell**2 / area if area > 0 else 0.0,
        peak=peak,
        background=_background(wet, plumes, number, box, s),
        fuller=area_at(s.fuller_frac),
        hollow=(hull - main) * cell**2 if main < s.solid_frac * hull else 0.0,
        flags=tuple(found),
        outline=card.to_mm(outline + [box[1].start, box[0].start]),
    )


def _outline(mask: Mask, settings: MeasureSettings) -> tuple[Float, float, int, float]:
    """Outline of the largest piece (column, row), its raggedness, its size and its hull's.

    Sizes are in cells.
    """
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    if count < 2:
        return np.zeros((1, 2)), math.nan, 0, 0.0
    largest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    piece = (labels == largest).astype(np.uint8)
    outlines, _ = cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(outlines, key=len)
    y, x = np.nonzero(piece)
    m = Moments.of(x.astype(float), y.astype(float), np.ones(len(x)))
    a, b = 2 * m.along, 2 * m.across  # half axes of the ellipse of equal second moments
    # Ramanujan's first formula for the circumference of an ellipse (from memory; exact to 1e-4 for
    # axis ratios below 3).
    product = (3 * a + b) * (a + 3 * b)
    ellipse = math.pi * (3 * (a + b) - math.sqrt(product))
    smooth = cv2.approxPolyDP(outline, settings.outline_cells, closed=True)
    ratio = cv2.arcLength(smooth, closed=True) / max(ellipse, TINY)
    hull = cv2.contourArea(cv2.convexHull(outline))
    return outline.reshape(-1, 2).astype(float), float(ratio), len(x), float(hull)


def _touches_border(
    wet: WetnessMap, box: tuple[slice, slice], mask: Mask, settings: MeasureSettings
) -> bool:
    """Whether a fair part of the mask lies against the border of what can be judged."""
    # The border lies just outside the box of a plume that runs into it; beyond the grid is outside.
    valid = np.pad(wet.valid, 1)[box[0].start : box[0].stop + 2, box[1].start : box[1].stop + 2]
    grown = cv2.dilate(np.pad(mask.astype(np.uint8), 1), np.ones((3, 3), np.uint8)).astype(bool)
    return bool((grown & ~valid).sum() > settings.border_cells)


def _background(
    wet: WetnessMap,
    plumes: PlumeSegmentation,
    number: int,
    box: tuple[slice, slice],
    settings: MeasureSettings,
) -> float:
    """Standard deviation of the filtered wetness on the dry paper around a plume; 0 without any."""
    s = settings
    step = max(1, round(s.around_cell_mm / wet.card.cell_mm))
    near, far = (mm / (wet.card.cell_mm * step) for mm in s.around_mm)
    room = (math.ceil(far) + 1) * step
    wide = tuple(slice(max(0, part.start - room), part.stop + room, step) for part in box)
    labels = plumes.labels[wide]
    away = cv2.distanceTransform((labels != number).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_3)
    around = (away > near) & (away <= far) & (labels == 0) & wet.valid[wide]
    values = wet.smooth[wide][around]
    return float(values.std()) if len(values) >= s.around_least_cells else 0.0


def _direction_uncertainty(
    wet: WetnessMap,
    centre: NozzleCentre,
    *,
    radius_mm: Float,
    direction_deg: Float,
    area_mm2: Float,
    cut: Mask,
    merged: Mask,
    settings: MeasureSettings,
) -> tuple[Float, float]:
    """Return the standard uncertainty relative to the other plumes and of the common turn."""
    s = settings
    n = len(radius_mm)
    if n == 0:
        return np.zeros(0), 0.0
    radius = np.maximum(radius_mm, TINY)
    angle = np.radians(direction_deg)
    # A centre shifted by (dx, dy) turns a plume at radius r by -(n . d) / r, n pointing clockwise.
    lever = np.column_stack([np.cos(angle), np.sin(angle)]) / radius[:, None]
    common = lever.mean(axis=0)
    covariance = centre.covariance_mm2
    from_centre = np.einsum("ij,jk,ik->i", lever - common, covariance, lever - common)
    few_drops = np.sqrt(1 + s.few_drops_mm2 / np.maximum(area_mm2, 1.0))
    own = np.radians(s.own_direction_deg) * few_drops
    own = np.where(cut, np.hypot(own, math.radians(s.cut_direction_deg)), own)
    own = np.where(merged, math.radians(s.merged_direction_deg), own)
    warp = s.warp_frac * wet.card.geometry_u_mm / radius
    # A wrong aspect ratio a turns a ray at angle t by (a / 2) sin 2t.
    aspect = wet.card.aspect_u_frac / 2 * np.abs(np.sin(2 * angle))
    relative = np.sqrt(from_centre + own**2 + warp**2 + aspect**2)
    turn = float(common @ covariance @ common) + float((own**2).mean()) / n
    turn += math.radians(s.edge_turn_deg) ** 2
    return np.degrees(relative), math.degrees(math.sqrt(turn))


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
    """Standard uncertainty of each wetted area, without what all plumes share.

    Four sources: the paper's texture and what cuts a plume short; the error of the wetness under
    it, by what another threshold would change (the edge of a shadow or a veil of light make that
    much); something pale that is joined to a plume, which makes it large beside the others at this
    threshold and not so at a higher one; and what a plume lacks that is not solid.

    Parameters
    ----------
    area_mm2, slope_mm2, fuller_mm2, hollow_mm2 : (K,) ndarray of float64
        Area, what it loses per unit of threshold, what is left of it at a higher one, and what it
        lacks to its hull if it is not solid.
    background : (K,) ndarray of float64
        Scatter of the filtered map on the dry paper around: print, grain or the edge of a shadow
        show there what they do under the plume.
    noise : float
        Of the filtered map on the whole card.
    cut, merged, at_edge : (K,) ndarray of bool
        Cut from a neighbour, two in one, over the border of what can be judged.
    settings : MeasureSettings
        The numbers that decide.

    Returns
    -------
    (K,) ndarray of float64
        In mm2.
    """
    s = settings
    if len(area_mm2) == 0:
        return np.zeros(0)
    texture = np.select(
        [merged, at_edge, cut], [s.merged_frac, s.edge_frac, s.cut_frac], default=s.texture_frac
    )
    excess = np.maximum(background**2 - s.usual_background**2 - noise**2, 0)
    level = np.sqrt(
        s.level_floor_frac**2 + (s.level_by_noise * noise) ** 2 + s.level_by_background**2 * excess
    )
    larger, fuller = (_above_middle(area) for area in (area_mm2, fuller_mm2))
    pale = np.maximum(larger - fuller - s.usual_pale, 0)
    parts = (area_mm2 * texture, slope_mm2 * level, area_mm2 * pale, hollow_mm2)
    return np.asarray(np.sqrt(sum(part**2 for part in parts)))


def _above_middle(area: Float) -> Float:
    """Log ratio of each area to the median where it is larger, else 0."""
    return np.maximum(np.log(np.maximum(area, 1.0) / max(float(np.median(area)), 1.0)), 0)


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
