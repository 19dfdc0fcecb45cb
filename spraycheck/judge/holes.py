"""What every expected hole of a nozzle is held against, or why nothing can be said of it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from spraycheck import flags as flag
from spraycheck.arrays import Float, Mask
from spraycheck.constants import COVERAGE_FACTOR_95, WET_THRESHOLD_FRAC
from spraycheck.flags import Flags
from spraycheck.judge.checks import Group, check_limit, check_plume
from spraycheck.judge.illumination import fades_towards
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import Limits
from spraycheck.judge.result import Doubt, Hole, HoleState, LimitCheck
from spraycheck.judge.values import PatternValues, Ratios
from spraycheck.spray.containers import PlumeCatalogue
from spraycheck.spray.measurement import Measurement
from spraycheck.stats.circular import wrap_180

SEEN_SHARE = 0.6
"""A missing plume is blocked only where this share of its place could be seen (chosen: with less
than half a plume hidden, enough of it would show)."""

FAINTEST_NOISE = 0.12
"""Noise of the wetness map up to which a weak plume would still show: its wetness of about 0.5 is
then four standard deviations."""

HIDING = frozenset({flag.CLIPPED, flag.TOO_WET, flag.WEAK_STROKE, flag.FAINT})
"""Limits of photo quality beyond which plumes were lost (`photo_quality.py` in the benchmarks)."""

WET_SHARE = 0.3
"""Where more than this share of a missing plume's ray is wet with something else, that may be the
plume (chosen: plumes that ran together over a drip at the centre were one mark there)."""

COVERING = 0.5
"""A stain from this fraction of a plume's area may be that plume (chosen because below it no
healthy hole is left; smaller ones are drops and splashes)."""

WIDE = 1.6
"""A plume this much wider than the others may be two (chosen: healthy ones differ by a third)."""

RAY_POINTS = 12
"""Places along a missing plume's ray that are looked at."""

OWN_PART, SHEET_PART, NOISY = 0.7, 0.5, 0.03
"""A doubt is settled by a better photo where a plume's own part is less than the first of a
direction's uncertainty and the sheet's place more than the second of the centre's, or where the
plume's own part is more than the first of its area's on a map noisier than the third (chosen)."""

SHAPES = ("area", "width", "reach")
RATIOS = tuple(f"{what}_{side}_ratio" for what in SHAPES for side in ("low", "high"))
HOLE_LIMITS = ("direction_deg", *RATIOS)
"""Limits of a single hole, in the order in which its faults are named."""


def hole_checks(
    hole: int,
    at: int,
    values: PatternValues,
    limits: Limits,
    doubts: Sequence[Doubt] = (),
    *,
    better_photo: Doubt | None = None,
    noisy: bool = False,
) -> list[LimitCheck]:
    """Hold one hole's values against their limits.

    Parameters
    ----------
    hole, at : int
        Its number in the result, and its place in ``values``.
    values : PatternValues
        Of all holes.
    limits : Limits
        What is tolerated.
    doubts : sequence of Doubt
        About this hole.
    better_photo : Doubt, optional
        What a better photo would settle, where the centre is mostly unsure by the sheet's place.
    noisy : bool
        Whether the photo's noise counts in an area.
    """
    own, whole = float(values.residuals.own_deg[at]), float(values.residuals.sigma_deg[at])
    why = (better_photo,) if better_photo is not None and own < OWN_PART * whole else ()
    turn = float(values.residuals.value_deg[at])
    checks = [check_limit("direction_deg", turn, whole, limits, hole=hole, doubts=(*doubts, *why))]
    for what in SHAPES:
        ratios: Ratios = getattr(values, what)
        value, sigma = float(ratios.ratio[at]), float(ratios.sigma[at])
        by_photo = what == "area" and noisy and float(ratios.own[at]) > OWN_PART * sigma
        own_doubts = (*doubts, Doubt.NOISE) if by_photo else doubts
        checks += [
            check_limit(name, value, sigma, limits, hole=hole, doubts=own_doubts)
            for name in (f"{what}_low_ratio", f"{what}_high_ratio")
        ]
    return checks


def better_photo_settles(measurement: Measurement) -> Doubt | None:
    """Return what of the centre a better photo would settle, where that is most of its doubt."""
    covariance = measurement.plumes.centre.covariance_mm2
    sheet = measurement.card.geometry_u_mm**2 / max(float(np.trace(covariance)) / 2, 1e-12)
    if sheet <= SHEET_PART:
        return None
    return Doubt.MARKERS if measurement.card.printed else Doubt.SHEET_EDGES


def hole_groups(values: PatternValues, limits: Limits) -> tuple[Group, ...]:
    """Return what hangs together: directions through the centre, areas and shapes by their scale.

    Directions, areas, widths and reaches do not hang together with one another.
    """
    turns = values.residuals
    return (
        Group.alike(turns.value_deg, turns.covariance_deg2, limits, ("direction_deg",)),
        *(
            Group.alike(
                ratios.log,
                ratios.covariance,
                limits,
                (f"{what}_low_ratio", f"{what}_high_ratio"),
            )
            for what, ratios in ((w, getattr(values, w)) for w in SHAPES)
        ),
    )


def row_of(
    number: int,
    at: int,
    expected_deg: float,
    plume: int,
    values: PatternValues,
    shares: Float,
    spacing_deg: float,
    checks: Sequence[LimitCheck],
) -> Hole:
    """Make the row of a hole, without its state.

    Parameters
    ----------
    number, at : int
        The hole's number in the result, and its place in ``values``.
    expected_deg : float
        Where it should spray.
    plume : int
        Row of the catalogue; -1 for none. Where plumes run together it may be another hole's.
    values : PatternValues
        Of all holes.
    shares : (K,) ndarray of float64
        Of each plume in the wetted area.
    spacing_deg : float
        To the next plume clockwise.
    checks : sequence of LimitCheck
        Of this hole.
    """
    if plume < 0:
        blocked = not any(check.doubts for check in checks)
        nothing = 0.0 if blocked else math.nan
        return Hole(
            hole=number,
            expected_deg=expected_deg,
            plume=None,
            state=HoleState.UNSURE,
            deviation_deg=math.nan,
            spacing_deg=math.nan,
            area_frac=0.0,
            area_ratio=nothing,
            deviation_u_deg=math.nan,
            area_ratio_u=math.nan,
            probability=nothing,
        )
    owner = np.flatnonzero(values.plume == plume)
    turn, turn_u = values.residuals.value_deg, COVERAGE_FACTOR_95 * values.residuals.sigma_deg
    known = math.isfinite(turn[at])
    ratio, ratio_u = math.nan, math.nan
    if len(owner):
        ratio = float(values.area.ratio[owner[0]])
        ratio_u = COVERAGE_FACTOR_95 * ratio * float(values.area.sigma[owner[0]])
    return Hole(
        hole=number,
        expected_deg=expected_deg,
        plume=plume + 1,
        state=HoleState.UNSURE,
        deviation_deg=float(turn[at]),
        spacing_deg=spacing_deg,
        area_frac=float(shares[plume]),
        area_ratio=ratio,
        deviation_u_deg=float(turn_u[at]) if known else math.nan,
        area_ratio_u=ratio_u,
        probability=_keeps_all(checks),
    )


def _keeps_all(checks: Sequence[LimitCheck]) -> float:
    """Probability that one hole keeps all its limits; NaN when one cannot be told."""
    by_limit = {check.limit: check.probability for check in checks}
    if "direction_deg" not in by_limit:
        return math.nan
    both = (
        max(0.0, by_limit[f"{w}_low_ratio"] + by_limit[f"{w}_high_ratio"] - 1.0) for w in SHAPES
    )
    return by_limit["direction_deg"] * math.prod(both)


def plume_doubts(own: Flags) -> tuple[Doubt, ...]:
    """Return what a plume's flags take away from its hole's checks.

    What runs over the edge has lost a part there, or has a shadow or an object joined to it, which
    draws its direction, too.
    """
    table = {
        flag.MERGED: Doubt.RUNS_INTO_ANOTHER,
        flag.AT_SHEET_EDGE: Doubt.OVER_EDGE,
    }
    return tuple(table[name] for name in table if name in own)


def missing_plume(
    hole: int,
    found: Measurement,
    expected_deg: float,
    radial_factor: float,
    *,
    exceeded: Flags = (),
    of_holes: Mask | None = None,
) -> LimitCheck:
    """Check a hole without a plume: blocked only if a plume there would have been seen.

    Parameters
    ----------
    hole : int
        Its number.
    found : Measurement
        What was measured.
    expected_deg : float
        Where the hole should spray.
    radial_factor : float
        How far out it lands, over the others.
    exceeded : tuple of str
        Flags of the limits of photo quality that were passed.
    of_holes : (K,) ndarray of bool, optional
        Plumes that belong to a hole, where fading light is asked about.
    """
    rows = found.plumes.catalogue
    if len(rows) == 0:
        return check_plume(hole, 0, (Doubt.NOTHING_TO_COMPARE,))
    reach, near = np.sort(rows.reach_mm) * radial_factor, np.sort(rows.near_mm) * radial_factor
    seen, wet = _along_ray(found, expected_deg, float(np.median(near)), float(np.median(reach)))
    stained = wet > WET_SHARE or _covered(found, expected_deg, float(near[0]), float(reach[-1]))
    excuses = (
        (Doubt.OUT_OF_VIEW, seen < SEEN_SHARE),
        (Doubt.TOO_FAINT, found.wetness.noise > FAINTEST_NOISE),
        (Doubt.MAY_LOOK_DRY, bool(HIDING.intersection(exceeded))),
        (Doubt.OBJECT_LEFT_OUT, flag.THING_ON_CARD in found.wetness.flags),
        (
            Doubt.FADING_LIGHT,
            of_holes is not None and fades_towards(rows, expected_deg, of_holes),
        ),
        (Doubt.UNDER_STAIN, stained),
    )
    return check_plume(hole, 0, tuple(doubt for doubt, holds in excuses if holds))


def _along_ray(
    found: Measurement, expected_deg: float, near_mm: float, reach_mm: float
) -> tuple[float, float]:
    """Shares of a ray that could be seen, and that are wet with what is no plume."""
    angle = math.radians(expected_deg)
    radii = np.linspace(near_mm, reach_mm, RAY_POINTS)
    centre, wetness = found.plumes.centre, found.wetness
    points = np.column_stack(
        [centre.x_mm + radii * math.sin(angle), centre.y_mm - radii * math.cos(angle)]
    )
    cells = np.round(found.card.to_cells(points)).astype(int)
    rows, cols = wetness.valid.shape
    on = (cells[:, 0] >= 0) & (cells[:, 0] < cols) & (cells[:, 1] >= 0) & (cells[:, 1] < rows)
    at = cells[on, 1], cells[on, 0]
    spare = (wetness.smooth[at] >= WET_THRESHOLD_FRAC) & (found.plumes.segmentation.labels[at] == 0)
    return float(wetness.valid[at].sum()) / RAY_POINTS, float(spare.sum()) / RAY_POINTS


def _covered(found: Measurement, expected_deg: float, near: float, reach: float) -> bool:
    """Whether something as large as a plume, but not one, lies where a plume is missing."""
    rows, centre = found.plumes.catalogue, found.plumes.centre
    least = COVERING * float(np.median(rows.area_mm2))
    for mark in found.plumes.segmentation.marks:
        dx, dy = mark.x_mm - centre.x_mm, mark.y_mm - centre.y_mm
        far = math.hypot(dx, dy)
        off = wrap_180(math.degrees(math.atan2(dx, -dy)) - expected_deg)
        # Two plumes that ran together are one mark between both places: its own size counts too.
        half = math.degrees(math.atan2(math.sqrt(mark.area_mm2 / math.pi), far))
        there = near < far < reach and abs(off) < float(np.median(rows.width_deg)) + half
        if there and mark.area_mm2 > least:
            return True
    return False


def merged_holes(
    rows: PlumeCatalogue, expected_deg: Float, plume: NDArray[np.int_]
) -> dict[int, int]:
    """Hole index to plume index for holes whose plumes run together."""
    if len(rows) == 0:
        return {}
    typical = float(np.median(rows.width_deg))
    found: dict[int, int] = {}
    owner = {int(row): hole for hole, row in enumerate(plume) if row >= 0}
    for row in range(len(rows)):
        width = float(rows.width_deg[row])
        flagged = flag.MERGED in rows.flags[row]
        if not flagged and width < WIDE * typical:
            continue
        gap = wrap_180(expected_deg - rows.direction_deg[row])
        under = np.flatnonzero(np.abs(gap) < 0.5 * width).tolist()
        covered = [h for h in under if h == owner.get(row) or plume[h] < 0]
        if len(covered) >= 2 or flagged:
            found.update(dict.fromkeys(covered, row))
    return found


def spacing_after(rows: PlumeCatalogue, plume: int) -> float:
    """Angle to the next plume clockwise; the catalogue is sorted clockwise."""
    direction = rows.direction_deg
    if plume < 0 or len(direction) < 2:
        return 360.0
    return float((direction[(plume + 1) % len(direction)] - direction[plume]) % 360.0)


def radial_factor_beside(layout: Layout, plume: NDArray[np.int_], hole: int) -> float:
    """How far out a hole lands, over those whose plumes were found."""
    log = layout.log_radial_factor()
    found = log[plume >= 0]
    return math.exp(float(log[hole] - np.median(found))) if len(found) else 1.0
