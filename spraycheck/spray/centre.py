"""Stage 3: where the nozzle stood over the card.

Two independent cues. *Axes*: every plume flies straight from the tip, so its streak on the card
points at the foot of the perpendicular from the tip, whatever the nozzle's tilt. *Ring*: holes at
equal angles from the nozzle's axis land on a ring about the foot, but only if the nozzle stands
square: a tilt ``t`` moves the ring by ``H t / cos(a)**2`` (first order; height H, hole angle a),
which at 60 to 70 degrees is 2 to 3.5 ring radii per radian and a metre more than the axes move.

So the ring may only help as far as the tilt is known. Its offset from the foot is an unknown with
a prior of three parts (square nozzle, ordinary tilt, no ring at all); the data weigh the parts and
the axes decide where the two disagree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95, WET_THRESHOLD_FRAC
from spraycheck.errors import CentreNotFoundError, InputError, SprayNotFoundError
from spraycheck.spray.containers import NozzleCentre, WetnessMap
from spraycheck.spray.patches import (
    Patch,
    away_from_edge,
    cut_touching,
    find_patches,
    leans_on_edge,
)
from spraycheck.stats.robust import common_origin, fit_circle, robust_weights

RING_PRIOR = ((0.45, 0.004), (0.45, 0.035), (0.10, 0.20))
"""Weight and standard offset (in ring radii, per coordinate) of the three parts of the prior.

Offset per degree of tilt is 0.047 radii at a hole angle of 63 degrees (see above). Square: a
nozzle in a jig, 0.1 degree. Ordinary: held by hand or a worn clamp, 0.75 degree. Last: unequal hole
angles, where "the ring" says little. Weights chosen because no survey is known to the project.
"""

RING_SCATTER = 0.013
"""Healthy scatter of plume radii about their ring, as a fraction of the radius (chosen because
simulated cards of square nozzles show 0.010 to 0.017)."""

RING_PRIOR_THREE = ((0.25, 0.004), (0.35, 0.035), (0.40, 0.20))
"""The same for three plumes: any three points lie on a circle, so the ring cannot be tested."""

AXIS_FLOOR_DEG, AXIS_AREA_DEG_MM2 = 0.36, 380.0
"""Scatter of a plume's own axis about its ray: a floor, and a part that falls with the wetted area
(few drops, and paper that wicks by a millimetre whatever the plume's size). Simulated cards show
1.2 degrees at 270 mm2, 1.1 at 410, 0.6 at 580 and 0.5 at 960. With a floor of 0.3, nine of ten
intervals held the centre of 1018 cards where plumes were larger than 700 mm2, and 97 of 100 where
they were smaller; with 0.42 they were wider than needed on photographs with known truth."""

UNKNOWN_SCALE = 0.57
"""Areas in assumed mm count at this fraction: a sheet of unknown size is taken as A4, and A5 or a
200 mm square have half its area (with 0.65, 88 of 100 intervals held the centre on such sheets)."""

AGREEING = 0.8
"""Share of the axes that should agree on a centre; below it another first guess is tried (chosen:
sound patterns reach 0.85 and more, patterns with touching plumes cut about a wrong centre 0.6)."""

RING_WEAK = 0.06
"""What a plume of e times less area than the usual one adds to that scatter (chosen)."""

SHORTEST_LEVER_MM = 3.0
"""A patch nearer to the centre than this is weighed as if it lay so far off (chosen: a drip)."""

PRIOR_FREEDOM = 4.0
"""Degrees of freedom that the scatters above are worth beside a card's own: cards differ in how
well their axes agree (chosen: with 0 three plumes alone would decide, with dozens all cards would
scatter alike; with 4 the interval holds on simulated cards of three plumes and of eight)."""

CUT_FACTOR = 4.0
"""A plume cut from its neighbour has lost one flank: its axis leans away by several degrees
(simulated pairs that touch show 7 to 9)."""


@dataclass(frozen=True, kw_only=True)
class _Streak:
    """A patch reduced to what the centre needs."""

    x: float
    y: float
    ux: float
    uy: float
    sigma_rad: float
    area: float
    reach: float


def locate_centre(
    wet: WetnessMap,
    *,
    threshold: float = WET_THRESHOLD_FRAC,
    min_share: float = 0.04,
    rounds: int = 3,
) -> NozzleCentre:
    """Find the foot of the perpendicular from the nozzle's tip to the card.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    threshold : float
        Wetness from which paper counts as wetted.
    min_share : float
        Patches below this fraction of the larger ones' area are drops, not plumes.
    rounds : int
        Rounds of "locate, cut touching plumes along rays, locate again".

    Returns
    -------
    NozzleCentre
        With its covariance.

    Raises
    ------
    SprayNotFoundError
        No patch looks like a plume.
    CentreNotFoundError
        Fewer than two plumes, or plumes that do not point at a common place.
    """
    patches = find_patches(wet, threshold=threshold)
    plumes = _plume_like(patches, min_share)
    if not plumes:
        raise SprayNotFoundError(
            f"no spray plume found among {len(patches)} wet patches",
            stage="centre",
            hint="check that the card was sprayed and photographed on the sprayed side",
        )
    soak = 1.0 if wet.card.scale_known else UNKNOWN_SCALE

    def settle(start: Float) -> tuple[Float, list[_Streak], float]:
        """Locate, cut, locate again; also how many axes agree."""
        streaks: list[_Streak] = []
        agree = 0.0
        for _ in range(rounds):
            pieces = cut_touching(plumes, start, threshold=threshold, cell_mm=wet.card.cell_mm)
            streaks = [_streak(piece, start, soak) for piece in _plume_like(pieces, min_share)]
            streaks = [s for s in streaks if math.isfinite(s.sigma_rad)]
            if len(streaks) < 2:
                return start, streaks, 0.0
            start, _, miss = _axes_centre(streaks, start)
            agree = float(robust_weights(miss).sum())
        return start, streaks, agree

    start, streaks, agree = settle(_start(plumes))
    if agree < AGREEING * len(streaks) or len(streaks) < 2:
        # Plumes that touch have axes of their own making; the middle of all that is wet has none.
        areas = np.array([p.area_mm2 for p in plumes])
        middles = np.array([p.centroid for p in plumes])
        other = settle(np.average(middles, axis=0, weights=areas))
        if other[2] > agree:
            start, streaks, agree = other
    if len(streaks) < 2:
        raise CentreNotFoundError(
            f"only {len(streaks)} plume with a clear direction found, expected at least 2",
            stage="centre",
            hint="the centre is where the plumes point back to: spray a fresh card with one brisk "
            "full stroke",
        )
    return _combine(streaks, start, wet)


def _plume_like(patches: list[Patch], min_share: float) -> list[Patch]:
    """Patches large enough to be plumes and not lying over the sheet's edge."""
    free = [p for p in patches if not leans_on_edge(p)] or patches
    if not free:
        return []
    free = away_from_edge(free)
    areas = np.array([p.area_mm2 for p in free])
    large = float(np.median(areas[areas >= 0.25 * areas.max()]))
    return [p for p in free if p.area_mm2 >= min_share * large]


def _streak(patch: Patch, centre: Float, soak: float) -> _Streak:
    """Reduce a patch to centroid, axis and the axis' standard uncertainty.

    ``soak`` turns its area into real mm2.
    """
    x, y = patch.centroid
    along, across, angle = patch.spread()
    ratio = along / across
    reach = math.hypot(x - centre[0], y - centre[1])
    if ratio < 1.12 or reach < 2 * across:  # round, or on the centre: no direction to use
        sigma = math.inf
    else:
        # The axis of an ellipse of axis ratio q is the vaguer the rounder it is: q / (q^2 - 1)
        # (ratio of its own second moments), 2/3 at an elongation of 2.
        vague = max(1.0, math.sqrt(ratio / (ratio**2 - 1) / (2 / 3)))
        drops = AXIS_AREA_DEG_MM2 / max(patch.area_mm2 * soak, 10.0)
        sigma = math.radians(math.hypot(AXIS_FLOOR_DEG, drops)) * vague
        sigma *= CUT_FACTOR if patch.cut else 1.0
    return _Streak(
        x=float(x),
        y=float(y),
        ux=math.cos(angle),
        uy=math.sin(angle),
        sigma_rad=sigma,
        area=patch.area_mm2,
        reach=reach,
    )


def _start(plumes: list[Patch]) -> Float:
    """First guess: the place most pairs of axes agree on; the middle of all wet when none do."""
    weights = np.array([p.area_mm2 for p in plumes])
    middles = np.array([p.centroid for p in plumes])
    middle = np.average(middles, axis=0, weights=weights)
    if len(plumes) < 3:
        extent = 40.0
    else:
        extent = float(np.median(np.hypot(*(middles - middle).T))) + 1.0
    lines = [p.spread() for p in plumes]
    points = []
    for i in range(len(plumes)):
        for j in range(i):
            ai, aj = lines[i][2], lines[j][2]
            cross = math.sin(aj - ai)
            if abs(cross) < math.sin(math.radians(12)):
                continue
            if min(lines[i][0] / lines[i][1], lines[j][0] / lines[j][1]) < 1.15:
                continue
            d = middles[j] - middles[i]
            step = (d[0] * math.sin(aj) - d[1] * math.cos(aj)) / cross
            points.append(middles[i] + step * np.array([math.cos(ai), math.sin(ai)]))
    if not points:
        return np.asarray(middle)
    cloud = np.array(points)
    # The densest place: mean-shift with a kernel of a quarter of the pattern's size, from the best.
    width = 0.25 * extent
    density = np.exp(-((cloud[:, None] - cloud[None]) ** 2).sum(axis=2) / (2 * width**2)).sum(
        axis=1
    )
    at = cloud[int(np.argmax(density))]
    for _ in range(20):
        near = np.exp(-((cloud - at) ** 2).sum(axis=1) / (2 * width**2))
        at = near @ cloud / near.sum()
    return np.asarray(at)


def _axes_centre(streaks: list[_Streak], start: Float) -> tuple[Float, Float, Float]:
    """Common origin of the axes: robust weighted least squares.

    Returns the centre, its covariance and each axis' miss in standard deviations.
    """
    found = common_origin(
        np.array([[s.x, s.y] for s in streaks]),
        np.array([math.atan2(s.uy, s.ux) for s in streaks]),
        np.array([s.sigma_rad for s in streaks]),
        start,
        shortest_lever=SHORTEST_LEVER_MM,
    )
    return (
        found.at,
        found.covariance * _spread(found.squares, len(streaks) - 2),
        found.residuals,
    )


def _spread(squares: float, spare: int) -> float:
    """Factor on a covariance: the assumed scatter weighed against what this card shows.

    The posterior mean of a scaled inverse chi-squared prior, widened so that 1.96 standard
    deviations are Student's 97.5 % quantile for the degrees of freedom behind it (JCGM 100:2008,
    G.3 and G.6.4).
    """
    freedom = PRIOR_FREEDOM + spare
    student = float(special.stdtrit(freedom, 0.975)) / COVERAGE_FACTOR_95
    return (PRIOR_FREEDOM + squares) / freedom * student**2


def _ring(streaks: list[_Streak]) -> tuple[Float, float, Float, float]:
    """Fit a circle to the plume centroids: centre, radius, covariance, relative scatter.

    Weak plumes wet less of their far end, so their radius counts less: the logarithm of the area
    ratio widens their scatter.
    """
    xy = np.array([[s.x, s.y] for s in streaks])
    area = np.array([s.area for s in streaks])
    relative = np.abs(np.log(np.maximum(area, 1.0) / np.median(area)))
    usual = float(np.hypot(*(xy - xy.mean(axis=0)).T).mean())
    try:
        found = fit_circle(xy, usual * np.hypot(RING_SCATTER, RING_WEAK * relative))
    except InputError:  # all on one line: no ring
        return xy.mean(axis=0), math.nan, np.full((2, 2), math.nan), math.nan
    spread = _spread(found.squares, len(xy) - 3)
    scatter = float(np.sqrt(np.mean(found.misses**2)) / found.radius)
    return np.array([found.x, found.y]), found.radius, found.covariance[:2, :2] * spread, scatter


def _combine(streaks: list[_Streak], start: Float, wet: WetnessMap) -> NozzleCentre:
    """Weigh axes and ring; see the module's introduction."""
    axes, axes_cov, _ = _axes_centre(streaks, start)
    size = float(np.median([s.reach for s in streaks]))
    notes: list[str] = []
    parallel = math.sqrt(float(np.linalg.eigvalsh(axes_cov)[-1]))
    if len(streaks) < 3:
        notes.append(flag.FEW_PLUMES)
        if parallel > 0.25 * size:  # two plumes in one line: only "half way between" is left
            axes = np.mean([[s.x, s.y] for s in streaks], axis=0)
            axes_cov = np.eye(2) * (0.15 * size) ** 2
        cov = axes_cov + np.eye(2) * wet.card.geometry_u_mm**2
        return _answer(axes, cov, math.nan, (math.nan, math.nan), "axes", notes, size)

    ring, radius, ring_cov, scatter = _ring(streaks)
    holds = 0 < radius < 3 * size and (len(streaks) == 3 or scatter < 4 * RING_SCATTER)
    if not holds:
        notes.append(flag.RING_DROPPED)
        cov = axes_cov + np.eye(2) * wet.card.geometry_u_mm**2
        return _answer(axes, cov, math.nan, (math.nan, math.nan), "axes", notes, size)

    gap = ring - axes
    parts = []
    for share, offset in RING_PRIOR_THREE if len(streaks) == 3 else RING_PRIOR:
        loose = ring_cov + np.eye(2) * (offset * radius) ** 2
        spread = axes_cov + loose
        likelihood = share * math.exp(-0.5 * float(gap @ np.linalg.solve(spread, gap)))
        likelihood /= math.sqrt(float(np.linalg.det(spread)))
        gain = axes_cov @ np.linalg.inv(spread)
        parts.append((likelihood, axes + gain @ gap, axes_cov - gain @ axes_cov))
    total = sum(p[0] for p in parts) or 1e-300
    mean = sum((p[0] / total * p[1] for p in parts), np.zeros(2))
    cov = sum(
        (p[0] / total * (p[2] + np.outer(p[1] - mean, p[1] - mean)) for p in parts),
        np.zeros((2, 2)),
    )
    cov = cov + np.eye(2) * wet.card.geometry_u_mm**2
    dropped = parts[2][0] / total > 0.5
    if dropped:
        notes.append(flag.RING_DROPPED)
        return _answer(mean, cov, math.nan, (math.nan, math.nan), "axes", notes, size)
    offset_mm = (float(ring[0] - mean[0]), float(ring[1] - mean[1]))
    return _answer(mean, cov, radius, offset_mm, "axes+ring", notes, size)


def _answer(
    at: Float,
    cov: Float,
    radius: float,
    offset: tuple[float, float],
    found_by: str,
    notes: list[str],
    size: float,
) -> NozzleCentre:
    if math.sqrt(float(np.linalg.eigvalsh(cov)[-1])) > 0.05 * size:
        notes.append(flag.CENTRE_WIDE)
    return NozzleCentre(
        x_mm=float(at[0]),
        y_mm=float(at[1]),
        covariance_mm2=np.array((cov + cov.T) / 2),
        ring_radius_mm=float(radius),
        ring_offset_mm=offset,
        found_by=found_by,
        flags=tuple(notes),
    )
