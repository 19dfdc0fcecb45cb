"""Lay the expected holes over the measured plumes: one turn, one optimal assignment; does it fit?

Used by the judge only; the measuring stages never see a layout.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.judge.layout import Layout
from spraycheck.judge.result import Finding, Kind
from spraycheck.spray.containers import PlumeCatalogue
from spraycheck.stats.circular import wrap_180

OUTER_BY_FACTOR = 0.8
"""Power of a hole's radial factor that a healthy plume's reach follows among unequal neighbours:
paper wicks by the same millimetres whatever the distance. Fitted to 279 healthy plumes of simulated
uneven nozzles, which then scatter by 0.09."""

AS_GOOD_DEG = 0.25
"""Turns fit alike when their cost differs by less than this for every hole (chosen: well below the
degree by which healthy plumes scatter, well above the rounding of azimuths in a drawing)."""

DEG_PER_LOG_REACH, MOST_LOG = 10.0, 0.7
"""What a difference in log reach counts as, in degrees, and the most that is counted (chosen: reach
scatters by a tenth where directions scatter by a degree; a plume half or twice as long as it should
be is odd, not evidence for another turn)."""


DEG_PER_LOG_AREA, MOST_LOG_AREA = 6.0, 1.5
"""The same for a difference in log area from the usual plume: of more plumes than holes, the one
that is left over is more likely a drop (chosen; it decides nothing else)."""

CLOSE_DEG = 6.0
"""Turns are looked at again, with the centre allowed to be wrong, where their cost per hole comes
so close to the best (chosen: a centre wrong by a tenth of the ring's radius costs 4 degrees a hole
on average; the right turn of simulated uneven nozzles was always among them)."""

DEG_PER_CENTRE_SIGMA = 1.0
"""What a shift of the centre by its standard uncertainty counts as, in degrees (chosen: as much as
the scatter of one healthy direction, which is as likely)."""


FITS_DEG = 4.0
"""Plumes within this of an even pattern are that pattern (healthy plumes stray by about 1 degree;
chosen a little below the direction limit)."""

MIRROR_DEG = 2.0
"""Mean misfit from which the mirrored layout is compared (twice what healthy plumes show); it must
then fit with less than 0.4 of it, which one off-line plume alone cannot bring about."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Match:
    """Which plume belongs to which hole.

    Parameters
    ----------
    rotation_deg : float
        Turn that lays the layout on the plumes.
    hole_of : tuple of int
        For every plume the index of its hole, -1 for none.
    deviation_deg : (K,) ndarray of float64
        For every plume its direction minus its hole's, NaN for none.
    misfit_deg : float
        Mean absolute deviation, an unmatched plume or hole counting as half the spacing.
    """

    rotation_deg: float
    hole_of: tuple[int, ...]
    deviation_deg: Float
    misfit_deg: float


def match_layout(
    direction_deg: Float,
    azimuth_deg: Float,
    *,
    log_reach: Float | None = None,
    log_radial_factor: Float | None = None,
    log_area: Float | None = None,
    lined_up: bool = False,
    centre_u: float = 0.0,
) -> Match:
    """Find the turn and the assignment that fit best.

    Every turn that lays one hole exactly on one plume is tried; the cost of a pair is its distance,
    held at half the mean spacing, so that one plume far off its line neither drags the turn nor
    takes another's hole. The best turn is then moved to the median deviation.

    Parameters
    ----------
    direction_deg : (K,) ndarray of float64
        Measured directions.
    azimuth_deg : (n,) ndarray of float64
        The layout.
    log_reach : (K,) ndarray of float64, optional
        Logarithm of each plume's reach. The azimuths of a slanted nozzle are nearly even, so that
        several turns fit them alike; how far each hole throws tells the right one.
    log_radial_factor : (n,) ndarray of float64, optional
        Logarithm of how far each hole should reach; needed with ``log_reach``.
    log_area : (K,) ndarray of float64, optional
        Logarithm of each plume's wetted area; helps to choose where there are more plumes than
        holes.
    lined_up : bool
        The card was lined up with the feature the layout counts from: of turns that fit alike, as
        those of a nozzle with two like halves do, the one nearest to none is taken.
    centre_u : float
        Standard uncertainty of the centre's place over a plume's usual distance from it; counts
        with ``log_reach`` only.
    """
    from scipy.optimize import linear_sum_assignment  # heavy import, only needed here

    k, n = len(direction_deg), len(azimuth_deg)
    cap = 180.0 / n
    if k == 0:
        return Match(rotation_deg=0.0, hole_of=(), deviation_deg=np.zeros(0), misfit_deg=cap)

    apart = np.zeros((k, n))
    if log_reach is not None and log_radial_factor is not None:
        reach, throw = (
            log_reach - np.median(log_reach),
            log_radial_factor - np.median(log_radial_factor),
        )
        apart = np.minimum(np.abs(reach[:, None] - throw[None, :]), MOST_LOG)
    odd = np.zeros(k)
    if log_area is not None:
        odd = DEG_PER_LOG_AREA * np.minimum(np.abs(log_area - np.median(log_area)), MOST_LOG_AREA)

    def assign(turn: float) -> tuple[float, np.ndarray, np.ndarray, Float]:
        gap = wrap_180(direction_deg[:, None] - azimuth_deg[None, :] - turn)
        cost = np.minimum(np.abs(gap), cap) + DEG_PER_LOG_REACH * apart + odd[:, None]
        rows, cols = linear_sum_assignment(cost)
        return float(cost[rows, cols].sum()), rows, cols, gap

    turns = np.unique(np.round((direction_deg[:, None] - azimuth_deg[None, :]).ravel() % 360.0, 6))
    # Equal fits (an even layout has n of them): the smallest turn wins, so the answer is stable.
    fits = [assign(float(turn)) for turn in turns]
    costs = np.array([fit[0] for fit in fits])
    if log_reach is not None and log_radial_factor is not None and centre_u > 0:
        # A wrong centre bends directions and reaches together, which can make a wrong turn of a
        # nearly even nozzle the better one; what a likely shift explains does not count.
        far = np.exp(log_reach - np.median(log_reach))
        for i in np.flatnonzero(costs <= costs.min() + CLOSE_DEG * n):
            _, rows, cols, gap = fits[i]
            costs[i] = _cost_shifted(
                gap[rows, cols],
                (reach[:, None] - throw[None, :])[rows, cols],
                direction_deg[rows],
                far[rows],
                cap,
                centre_u,
            )
        costs[costs > costs.min() + CLOSE_DEG * n] += CLOSE_DEG * n
    alike = turns[costs <= costs.min() + (AS_GOOD_DEG * n if lined_up else 1e-6)]
    turn = float(alike[np.argmin(np.abs(wrap_180(alike)))] if lined_up else alike[0])
    for _ in range(3):
        _, rows, cols, gap = assign(turn)
        pair = gap[rows, cols]
        near = np.abs(pair) < cap
        if not near.any():
            break
        turn += _middle(pair[near])
    _, rows, cols, gap = assign(turn)
    total = float(np.minimum(np.abs(gap[rows, cols]), cap).sum()) + cap * abs(k - n)
    hole_of = [-1] * k
    deviation = np.full(k, np.nan)
    for r, c in zip(rows, cols, strict=True):
        if abs(gap[r, c]) < cap:
            hole_of[r] = int(c)
            deviation[r] = gap[r, c]
    return Match(
        rotation_deg=turn % 360.0,
        hole_of=tuple(hole_of),
        deviation_deg=deviation,
        misfit_deg=total / max(k, n),
    )


def _cost_shifted(
    gap_deg: Float, apart: Float, direction_deg: Float, far: Float, cap_deg: float, centre_u: float
) -> float:
    """Cost of an assignment once turn, common reach and centre are moved to where it is least.

    Lengths over the usual distance from the centre. A centre that moves by ``s`` turns a plume at
    the distance ``r`` by ``-s.t / r``, and shortens it by ``s.u``, with ``t`` clockwise across it
    and ``u`` along it. Least absolute residuals, by reweighted least squares: one plume off its
    line must not drag the centre.
    """
    turn = np.radians(direction_deg)
    along = np.column_stack([np.sin(turn), -np.cos(turn)]) / far[:, None]
    across = np.column_stack([np.cos(turn), np.sin(turn)]) / far[:, None]
    k = len(far)
    none = np.zeros((k, 1))
    # Unknowns: turn, common reach, and the centre's shift in units of its uncertainty.
    design = np.vstack(
        [
            np.hstack([none + 1.0, none, -np.degrees(centre_u) * across]),
            np.hstack([none, none + 1.0, -centre_u * along]) * DEG_PER_LOG_REACH,
            np.hstack([np.zeros((2, 2)), np.eye(2)]) * DEG_PER_CENTRE_SIGMA,
        ]
    )
    seen = np.concatenate([gap_deg, DEG_PER_LOG_REACH * apart, np.zeros(2)])
    weight = np.ones(len(seen))
    for _ in range(6):
        root = np.sqrt(weight)
        found = np.linalg.lstsq(design * root[:, None], seen * root, rcond=None)[0]
        rest = np.abs(seen - design @ found)
        weight = 1 / np.maximum(rest, 0.2)
        weight[2 * k :] = 1.0
    direction = np.minimum(rest[:k], cap_deg).sum()
    reach = np.minimum(rest[k : 2 * k], DEG_PER_LOG_REACH * MOST_LOG).sum()
    return float(direction + reach + np.hypot(*rest[2 * k :]))


def match_plumes(
    catalogue: PlumeCatalogue,
    layout: Layout,
    *,
    lined_up: bool = False,
    centre_shift: bool = True,
) -> Match:
    """Lay a layout over measured plumes, by direction and by reach; see `match_layout`.

    ``centre_shift`` lets the centre be wrong where turns fit about alike.
    """
    return match_layout(
        catalogue.direction_deg,
        np.array(layout.azimuth_deg),
        log_reach=np.log(np.maximum(catalogue.reach_mm, 1e-3)),
        log_radial_factor=OUTER_BY_FACTOR * layout.log_radial_factor(),
        log_area=np.log(np.maximum(catalogue.area_mm2, 1e-3)),
        lined_up=lined_up,
        centre_u=_centre_u(catalogue) if centre_shift else 0.0,
    )


def _centre_u(catalogue: PlumeCatalogue) -> float:
    """Standard uncertainty of the centre over a plume's usual distance, from its directions'."""
    u = catalogue.direction_u_deg[np.isfinite(catalogue.direction_u_deg)]
    return math.radians(float(np.median(u)) / COVERAGE_FACTOR_95) if len(u) else 0.0


def _middle(values: Float) -> float:
    """Robust middle: the mean of what lies within 4 degrees of the median.

    The median alone ignores how the others lie; the mean alone follows a plume that is off-line.
    Chosen because healthy plumes scatter by about a degree.
    """
    median = float(np.median(values))
    near = np.abs(values - median) <= 4.0
    return float(np.mean(values[near])) if near.any() else median


def even_pattern(direction_deg: Float, largest: int = 16) -> tuple[int, float]:
    """Return the evenly spread hole count that explains the plumes best, and its misfit.

    Only patterns with at most one hole missing are considered: the fewer holes missing, the
    likelier.
    """
    k = len(direction_deg)
    best = (k, float("inf"))
    for n in range(max(k, 3), min(k + 1, largest) + 1):
        azimuth = 360.0 * np.arange(n) / n
        match = match_layout(direction_deg, azimuth)
        if -1 in match.hole_of:
            continue
        misfit = float(np.abs(match.deviation_deg).max())
        if misfit < best[1]:
            best = (n, misfit)
    return best


def layout_misfit(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> list[Finding]:
    """Return findings that keep every hole from being judged: a wrong count or layout."""
    direction = catalogue.direction_deg
    n, k = len(layout), len(direction)
    matched = [d for d in match.deviation_deg.tolist() if math.isfinite(d)]
    gone = n - len(matched)
    extra = k - len(matched)
    if not layout.even:
        other = match_plumes(catalogue, layout.mirrored())
        if match.misfit_deg > MIRROR_DEG and other.misfit_deg < 0.4 * match.misfit_deg:
            fits = {"as_given_deg": match.misfit_deg, "mirrored_deg": other.misfit_deg}
            return [Finding(kind=Kind.MIRRORED_LAYOUT, fields=fits)]
    off = sum(abs(d) > 2 * FITS_DEG for d in matched)
    wrong = gone + extra > n / 2 or gone + extra + off > max(n / 2, 2)
    if layout.even and not wrong and k != n and k >= 3:
        # Would another even count explain the plumes with nothing missing?
        count, apart = even_pattern(direction)
        worst = max((abs(d) for d in matched), default=0.0)
        wrong = count == k and apart < FITS_DEG and (extra > 0 or worst > 2 * FITS_DEG)
    if layout.even and not wrong and k >= 3 and gone > 1:
        count, apart = even_pattern(direction)
        wrong = count == k and apart < FITS_DEG
    if wrong:
        return [Finding(kind=Kind.COUNT_DOES_NOT_FIT, fields={"expected": n, "found": k})]
    return []
