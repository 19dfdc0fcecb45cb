"""How much a quadrilateral looks like a sheet of paper: one measure for every candidate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap
from spraycheck.card.sampling import sample

REACH = 8
"""How far from a side the colour is looked at, px."""

BEYOND = 6
"""Places looked at beyond each end of a side."""


@dataclass(frozen=True, kw_only=True)
class ScoreSettings:
    """What makes a quadrilateral a sheet.

    On 378 photographs (drawn cards and practice photos) the best candidate by this score is the
    sheet in 370; with a term for size, one for unlikely shapes and rules for one candidate within
    another it was in 368. Leaving out any of the terms below loses more.

    Parameters
    ----------
    places : int
        Looked at along each side.
    own_step : float
        A place shows the side's edge when it steps by at least this share of the side's usual step
        (chosen: a shadow leaves half).
    noise_step : float
        And by this many times the noise.
    clear_noise : float
        A step of this many times the noise counts half (chosen).
    light_share : float
        How far a difference in lightness from side to side counts as another paper: light may
        differ, the paper's colour hardly does (chosen).
    weakest : float
        What the weakest side counts beside the mean of all: a sheet has four.
    hidden_cost, runs_on_cost : float
        What a side beyond the photo costs, of four; and a side that goes on beyond its corner, as
        the rim of a shadow, a table's edge and a line of print do.
    """

    places: int = 32
    own_step: float = 0.4
    noise_step: float = 1.5
    clear_noise: float = 3.0
    light_share: float = 0.2
    weakest: float = 0.35
    hidden_cost: float = 0.1
    runs_on_cost: float = 0.12


def score_quads(
    colour: FloatMap, noise: float, quads: Float, settings: ScoreSettings
) -> tuple[Float, Float]:
    """Score quadrilaterals by the paper edge along their sides.

    A side of a sheet shows the same step of colour from end to end, away from one paper colour,
    and stops at its corners.

    Parameters
    ----------
    colour : (H, W, 3) ndarray of float32
        Opponent colours at working size.
    noise : float
        See `outline.Working`.
    quads : (K, 4, 2) ndarray of float64
        Clockwise as seen.
    settings : ScoreSettings
        Weights.

    Returns
    -------
    scores : (K,) ndarray
        About 1.3 for a sheet that stands out on all four sides, 0 for nothing.
    support : (K, 4) ndarray
        Share of each side that shows the edge; NaN for a side along or beyond the photo's border.
    """
    count = settings.places
    rows, cols = colour.shape[:2]
    way = np.roll(quads, -1, axis=1) - quads
    length = np.linalg.norm(way, axis=2, keepdims=True) + 1e-9
    inward = np.stack([-way[..., 1], way[..., 0]], axis=2) / length
    before = np.linspace(-0.20, -0.06, BEYOND)
    along = np.concatenate([before, np.linspace(0.03, 0.97, count), 1 - before])
    points = quads[:, :, None] + way[:, :, None] * along[:, None]
    visible = ((points > 4) & (points < np.array([cols, rows]) - 5)).all(axis=3)
    offsets = np.arange(-REACH, REACH + 1)[:, None]
    at = points[:, :, :, None] + inward[:, :, None, None] * offsets
    strip = sample(colour, at.astype(np.float32))
    best = _strongest_step(strip, noise)

    between = slice(BEYOND, -BEYOND)
    on_side, seen_side = best[:, :, between], visible[:, :, between]
    seen = seen_side.sum(axis=2)
    usual = _robust_mean(on_side, seen_side)
    strength = np.linalg.norm(usual, axis=2)
    heading = usual / (strength[..., None] + 1e-9)
    gain = (best * heading[:, :, None]).sum(axis=3)
    need = np.maximum(settings.own_step * strength, settings.noise_step * noise)[..., None]
    shows = (gain > need) & visible
    support = np.where(
        seen >= count // 4, shows[:, :, between].sum(axis=2) / np.maximum(seen, 1), np.nan
    )
    runs_on = np.zeros(len(quads))
    for end in (slice(None, BEYOND), slice(-BEYOND, None)):
        looked = visible[:, :, end].sum(axis=2)
        going = shows[:, :, end].sum(axis=2) / np.maximum(looked, 1)
        runs_on += ((looked >= 3) * np.clip(2 * going - 0.6, 0, 1)).sum(axis=1)

    inside = strip[:, :, between, REACH + 4 :: 2]
    own = np.median(inside, axis=(2, 3))
    paper = np.median(own, axis=1)
    # Light may differ from side to side; the paper's colour hardly does.
    unlike = np.linalg.norm((own - paper[:, None]) * [settings.light_share, 1, 1], axis=2)
    clear = strength / (strength + settings.clear_noise * noise)
    same = strength / (strength + unlike + 1e-9)
    share = seen / count
    side = np.where(np.isnan(support), 0.0, support**2 * clear * same) * share
    worst = np.where(share > 0.5, side / np.maximum(share, 0.5), 1).min(axis=1)
    hidden = (1 - share).mean(axis=1)
    score = side.mean(axis=1) + settings.weakest * worst
    score -= settings.hidden_cost * hidden + settings.runs_on_cost * runs_on
    return score, support


def _strongest_step(strip: FloatMap, noise: float) -> FloatMap:
    """Mean of 4 px inside minus mean of 4 px outside, at the best of the shifts from -3 to 3."""
    total = np.cumsum(strip, axis=3)
    total = np.concatenate([np.zeros_like(total[:, :, :, :1]), total], axis=3)
    shifts = np.arange(-3, 4)
    at = REACH + shifts
    step = (total[:, :, :, at + 5] - total[:, :, :, at + 1]) - (
        total[:, :, :, at] - total[:, :, :, at - 4]
    )
    step = step / 4
    size = np.sqrt((step**2).sum(axis=4)) - (0.1 * noise * np.abs(shifts)).astype(np.float32)
    pick = size.argmax(axis=3)
    return np.asarray(np.take_along_axis(step, pick[..., None, None], axis=3)[..., 0, :])


def _robust_mean(steps: FloatMap, seen: NDArray[np.bool_]) -> Float:
    """Mean step along each side, those unlike the others counting less."""
    weight = seen.astype(float)
    mean = np.zeros((*steps.shape[:2], 3))
    for _ in range(3):
        mean = (steps * weight[..., None]).sum(axis=2) / (weight.sum(axis=2)[..., None] + 1e-9)
        off = ((steps - mean[:, :, None]) ** 2).sum(axis=3)
        weight = seen / (1 + off / ((mean**2).sum(axis=2)[..., None] / 4 + 1e-9))
    return mean


def area_of(quads: Float) -> Float:
    """Area of quadrilaterals, positive when clockwise as seen."""
    x, y = quads[..., 0], quads[..., 1]
    return np.asarray((x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1) / 2)
