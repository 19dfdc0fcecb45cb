"""How paper takes up fluid: it fills, the excess runs outward, and then it creeps.

Two steps, both of which keep the volume:

1. *Overflow.* What a cell cannot hold runs over the surface to its neighbours, until no cell is
   over-full. This is quick next to the second step.
2. *Wicking.* Fluid creeps along the fibres from wetter to drier paper. Pores draw only where
   there is fluid to draw, so the diffusivity falls with saturation and is nil below the immobile
   one: ``dw/dt = div(D(w) grad w)``, ``D = D0 ((w - wi) / (1 - wi))^2`` (Richards' equation with a
   power law), solved as ``dw/dt = laplace(F(w))``, ``F`` the integral of ``D``. With a saturated
   edge the front then advances as ``c sqrt(t)`` whatever the power (Boltzmann's similarity), which
   is Washburn's law; a finite dose stops for good when nothing above ``wi`` is left.

References
----------
Washburn, E. W. (1921), Phys. Rev. 17, 273 (from memory). Richards, L. A. (1931), Physics 1, 318
(from memory). Meyer, C. D., Balsara, D. S. & Aslam, T. D. (2012), MNRAS 422, 2102 (from memory):
the first-order Runge-Kutta-Legendre steps used for the second.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

FloatMap = NDArray[np.float32]


def front_factor(immobile_frac: float) -> float:
    """Return ``x / sqrt(D0 t)`` of a strip fed at saturation, x where it is half full.

    A parabola through three runs of this scheme on a strip of fine cells (immobile 0, 0.25, 0.4);
    a test holds the front to the Washburn constant within 10 %.
    """
    return 0.85 - 0.16 * immobile_frac - 0.41 * immobile_frac**2


_POOL_MM = 0.75  # cell on which pools are settled
_RUN_MM = 1.1  # how far excess runs in one turn; the fronts it leaves are this soft
_STAGES = 7  # of a Runge-Kutta-Legendre step, worth (s^2 + s) / 2 = 28 explicit ones


def overflow(volume: FloatMap, capacity: FloatMap, cell_mm: float) -> FloatMap:
    """Move what paper cannot hold outward until every cell holds it.

    Parameters
    ----------
    volume : (M, N) ndarray of float32
        Fluid per cell, mm3.
    capacity : (M, N) ndarray of float32
        What each cell holds, mm3.
    cell_mm : float
        Side of a cell.

    Returns
    -------
    (M, N) ndarray of float32
        Fluid per cell. Same total: fluid that reaches the rim of the sheet stays on it. A sheet
        that cannot hold it all is evenly over-full; single cells may be by some percent.
    """
    out = np.minimum(volume, capacity)
    excess = volume - out
    spare = float(excess.sum(dtype=np.float64))
    room = capacity - out
    if spare <= 0:
        return out
    if spare >= 0.98 * float(room.sum(dtype=np.float64)):
        total = float(volume.sum(dtype=np.float64))
        return capacity * np.float32(total / float(capacity.sum(dtype=np.float64)))
    step = max(1, round(_POOL_MM / cell_mm))
    # Pools are settled on coarse cells, where they cost little ...
    taken = _settle(_pool(excess, step), _pool(room, step), cell_mm * step)
    share = taken / np.maximum(_pool(room, step), np.float32(1e-12))
    share = np.repeat(np.repeat(share, step, axis=0), step, axis=1)
    added = share[: out.shape[0], : out.shape[1]] * room
    added *= np.float32(spare / float(added.sum(dtype=np.float64)))
    # ... whose steps along the fronts are then smoothed away. That over-fills single cells by some
    # percent, which the creeping that follows evens out.
    return out + np.asarray(
        cv2.GaussianBlur(added, (0, 0), 0.6 * step, borderType=cv2.BORDER_REFLECT)
    )


def _pool(field: FloatMap, step: int) -> FloatMap:
    """Sum blocks of ``step`` x ``step`` cells; the last ones may be partial."""
    rows, cols = field.shape
    padded = np.pad(field, ((0, -rows % step), (0, -cols % step)))
    shape = (padded.shape[0] // step, step, padded.shape[1] // step, step)
    return np.asarray(padded.reshape(shape).sum(axis=(1, 3)), np.float32)


def _settle(excess: FloatMap, room: FloatMap, cell_mm: float) -> FloatMap:
    """Let excess run until it has found room; return how much each cell took up."""
    taken = np.zeros_like(room)
    left = excess
    enough = 1e-5 * float(excess.sum(dtype=np.float64))
    sigma = max(_RUN_MM / cell_mm, 0.6)
    for turn in range(600):
        # Mirror borders keep the volume; a longer run now and then settles large pools sooner.
        run = sigma * (3.0 if turn % 4 == 3 else 1.0)
        left = np.asarray(cv2.GaussianBlur(left, (0, 0), run, borderType=cv2.BORDER_REFLECT))
        fits = np.minimum(left, room - taken)
        taken += fits
        left = left - fits
        if float(left.sum(dtype=np.float64)) <= enough:
            break
    return taken


def wick(
    volume: FloatMap,
    capacity: FloatMap,
    cell_mm: float,
    *,
    seconds: float,
    wick_mm_per_rt_s: float,
    immobile_frac: float,
    source: NDArray[np.bool_] | None = None,
    suction: FloatMap | None = None,
) -> FloatMap:
    """Let fluid creep through the paper for a while.

    Parameters
    ----------
    volume, capacity : (M, N) ndarray of float32
        Fluid per cell and what it holds, mm3.
    cell_mm : float
        Side of a cell.
    seconds : float
        How long.
    wick_mm_per_rt_s : float
        Washburn constant of a fed strip.
    immobile_frac : float
        Saturation below which nothing moves.
    source : (M, N) ndarray of bool, optional
        Cells kept full from outside.
    suction : (M, N) ndarray of float32, optional
        How readily each place gives its fluid away, mean 1: wide pores give to narrow ones, which
        is what makes edges ragged and stains mottled.

    Returns
    -------
    (M, N) ndarray of float32
        Fluid per cell; the same total unless there is a source.
    """
    out = np.array(volume, np.float32)
    d0 = (wick_mm_per_rt_s / front_factor(immobile_frac)) ** 2
    if seconds <= 0 or d0 <= 0:
        return out
    top = float(suction.max()) if suction is not None else 1.0
    # Explicit steps are stable below cell^2 / (4 D); capacity that varies needs some room.
    explicit = 0.2 * cell_mm**2 / (d0 * top)
    gain = (_STAGES**2 + _STAGES) / 2
    steps = max(1, math.ceil(seconds / (explicit * gain)))
    rate = d0 * (seconds / steps) / cell_mm**2 * (1 - immobile_frac) / 3
    wet = out > capacity * np.float32(immobile_frac)
    if source is not None:
        wet |= source
    margin = 3 + math.ceil(1.5 * wick_mm_per_rt_s * math.sqrt(seconds) / cell_mm)
    mean = np.float32(capacity.mean())
    for rows, cols in _regions(wet, margin):
        room = capacity[rows, cols]
        w = out[rows, cols] / room
        ease = np.float32(rate) if suction is None else suction[rows, cols] * np.float32(rate)
        tap = None if source is None else source[rows, cols]
        if tap is not None:
            w[tap] = 1.0
        for _ in range(steps):
            w = _creep(w, mean / room, ease, immobile_frac)
            if tap is not None:
                w[tap] = 1.0
        out[rows, cols] = w * room
    return out


def _creep(w: FloatMap, loss: FloatMap, ease: FloatMap | np.float32, immobile: float) -> FloatMap:
    """Advance saturation by one Runge-Kutta-Legendre step; what leaves a cell enters the next."""

    def change(now: FloatMap) -> FloatMap:
        x = (now - np.float32(immobile)) * np.float32(1 / (1 - immobile))
        np.clip(x, 0, 1.2, out=x)
        potential = x * x
        potential *= x
        potential = np.multiply(potential, ease)
        # Mirror borders: nothing leaves the block.
        flow = cv2.Laplacian(potential, cv2.CV_32F, ksize=1, borderType=cv2.BORDER_REFLECT)
        return np.asarray(np.multiply(flow, loss), np.float32)

    weight = 2.0 / (_STAGES**2 + _STAGES)
    before, now = w, w + np.float32(weight) * change(w)
    for j in range(2, _STAGES + 1):
        mu, nu = (2 * j - 1) / j, (1 - j) / j
        after = np.float32(mu * weight) * change(now)
        after += np.float32(mu) * now
        after += np.float32(nu) * before
        before, now = now, after
    return now


def _regions(mask: NDArray[np.bool_], margin: int) -> list[tuple[slice, slice]]:
    """Return non-overlapping blocks that hold every True cell and ``margin`` cells around it."""
    if not mask.any():
        return []
    seen = mask.astype(np.uint8)
    grow = 2 * margin + 1
    seen = np.asarray(cv2.dilate(seen, np.ones((grow, grow), np.uint8)))
    while True:
        _, _, stats, _ = cv2.connectedComponentsWithStats(seen, connectivity=8)
        boxes = [tuple(int(v) for v in row[:4]) for row in stats[1:]]
        filled = np.zeros_like(seen)
        for x, y, w, h in boxes:
            filled[y : y + h, x : x + w] += 1
        if int(filled.max()) <= 1:
            return [(slice(y, y + h), slice(x, x + w)) for x, y, w, h in boxes]
        # Boxes that overlap are joined by filling them, until none do.
        seen = (filled > 0).astype(np.uint8)
