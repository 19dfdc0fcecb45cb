"""Edge points of a sheet: traced coarsely along each side, then placed to a fraction of a pixel.

Along each side the picture is sampled on short lines across it. The edge is the smoothest path
through these lines on which the light steps from paper to what lies beside it, found by dynamic
programming; a step counts for less when its inner side does not look like this sheet's paper, so
the outer rim of a cast shadow or of a thing lying over the edge does not win.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck.pattern.containers import Float, FloatMap
from spraycheck.pattern.rectification.finding import Working, sample
from spraycheck.pattern.rectification.light import LINEAR
from spraycheck.pattern.rectification.surface import EdgePoints


@dataclass(frozen=True, kw_only=True)
class SidePath:
    """An edge followed along one side.

    Parameters
    ----------
    side : int
        As in `EdgePoints`.
    points : (K, 2) ndarray of float64
        In order, pixels of the picture it was traced in.
    inward : (K, 2) ndarray of float64
        Unit vectors towards the sheet's inside.
    trust : (K,) ndarray of float64
        0 (nothing seen) to 1.
    """

    side: int
    points: Float
    inward: Float
    trust: Float


def trace_sides(working: Working, corners: Float, *, count: int = 48) -> tuple[SidePath, ...]:
    """Follow the four sides at working size, starting from straight ones.

    Parameters
    ----------
    working : Working
        From `finding.make_working`.
    corners : (4, 2) ndarray of float64
        Clockwise, working pixels.
    count : int
        Points per side.
    """
    paths = []
    for side in range(4):
        a, b = corners[side], corners[(side + 1) % 4]
        length = float(np.hypot(*(b - a)))
        if length < 8:
            continue
        inward = np.array([a[1] - b[1], b[0] - a[0]]) / length
        along = np.linspace(0.01, 0.99, count)
        points = a + (b - a) * along[:, None]
        # Curl lifts an edge off its chord by some percent of its length.
        reach = int(np.clip(round(0.05 * length), 6, 20))
        path = _follow(
            working.colour, points, np.tile(inward, (count, 1)), reach, working.noise, width=3
        )
        if path is not None:
            shift, trust = path
            paths.append(
                SidePath(
                    side=side,
                    points=points + inward * shift[:, None],
                    inward=np.tile(inward, (count, 1)),
                    trust=trust,
                )
            )
    return tuple(paths)


def place_edges(
    rgb: NDArray[np.uint8], paths: tuple[SidePath, ...], scale: float, *, count: int = 90
) -> tuple[EdgePoints, ...]:
    """Place the edge to a fraction of a pixel, in linear light.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        The decoded photo.
    paths : tuple of SidePath
        From `trace_sides`.
    scale : float
        Decoded pixels per pixel of the paths.
    count : int
        Points per side.

    Returns
    -------
    tuple of EdgePoints
        In pixels of ``rgb``.
    """
    out = []
    for path in paths:
        points, inward = _smooth_path(path, count)
        points = (points + 0.5) * scale - 0.5
        reach = int(np.ceil(1.5 * scale)) + 3
        found = _place_side(rgb, points, inward, reach)
        if found is not None:
            out.append(EdgePoints(side=path.side, points_px=found[0], weight=found[1]))
    return tuple(out)


def _smooth_path(path: SidePath, count: int) -> tuple[Float, Float]:
    """A smooth curve through a traced path and its inward normals, evenly spaced."""
    inward = path.inward[0]
    along = np.array([inward[1], -inward[0]])
    t = path.points @ along
    span = (t - t[0]) / (t[-1] - t[0]) * 2 - 1
    depth = path.points @ inward
    weight = np.maximum(path.trust, 1e-3)
    design = np.polynomial.legendre.legvander(span, 5)
    for _ in range(4):
        root = np.sqrt(weight)[:, None]
        # A little smoothing keeps the curve from swinging where nothing was seen.
        ridge = np.diag([0.0, 0.0, 0.03, 0.1, 0.3, 0.5])
        best = np.linalg.lstsq(
            np.vstack([design * root, ridge]),
            np.append(depth * root[:, 0], np.zeros(6)),
            rcond=None,
        )[0]
        off = np.abs(depth - design @ best)
        weight = np.maximum(path.trust, 1e-3) / (1 + (off / 1.0) ** 2)
    dense = np.linspace(-1, 1, count)
    fine = np.polynomial.legendre.legvander(dense, 5) @ best
    place = t[0] + (dense + 1) / 2 * (t[-1] - t[0])
    points = place[:, None] * along + fine[:, None] * inward
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    normal *= np.sign(normal @ inward)[:, None]
    return points, normal


def _place_side(
    rgb: NDArray[np.uint8], points: Float, inward: Float, reach: int
) -> tuple[Float, Float] | None:
    rows, cols = rgb.shape[:2]
    within = (
        (points[:, 0] > 2)
        & (points[:, 0] < cols - 3)
        & (points[:, 1] > 2)
        & (points[:, 1] < rows - 3)
    )
    if within.sum() < 8:
        return None
    low = np.floor(np.maximum(points.min(axis=0) - reach - 12, 0)).astype(int)
    high = np.ceil(np.minimum(points.max(axis=0) + reach + 12, [cols - 1, rows - 1])).astype(int)
    crop = rgb[low[1] : high[1] + 1, low[0] : high[0] + 1]
    strip = _strip(crop, points - low, inward, reach + 8)
    noise = _strip_noise(strip)
    found = _follow_strip(strip, reach, noise, width=3)
    if found is None:
        return None
    shift, trust = found
    fine = _sub_pixel(strip, shift, reach)
    moved = points + inward * fine[:, None]
    ok = within & np.isfinite(fine)
    return moved[ok], (trust * within)[ok]


def _strip(crop: np.ndarray, points: Float, inward: Float, reach: int) -> FloatMap:
    """Linear light across a side, ``(K, 2 reach + 1, 3)``, averaged over neighbours along it."""
    along = np.stack([inward[:, 1], -inward[:, 0]], axis=1)
    gap = float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    lanes = np.arange(-2, 3) * min(gap / 5, 2.0)
    offsets = np.arange(-reach, reach + 1)
    at = (
        points[:, None, None]
        + along[:, None, None] * lanes[:, None, None]
        + inward[:, None, None] * offsets[:, None]
    )
    values = sample(crop, at.astype(np.float32))
    steps = np.arange(256.0)
    linear = np.interp(values, steps, LINEAR)
    return np.asarray(linear.mean(axis=1), np.float32)


def _strip_noise(strip: FloatMap) -> float:
    rough = np.diff(strip, 2, axis=1)
    return max(float(np.median(np.sqrt((rough**2).sum(axis=2)))), 1e-4)


def _follow(
    colour: FloatMap, points: Float, inward: Float, reach: int, noise: float, width: int
) -> tuple[Float, Float] | None:
    rows, cols = colour.shape[:2]
    offsets = np.arange(-reach - 8, reach + 9)
    at = points[:, None] + inward[:, None] * offsets[:, None]
    strip = sample(colour, at.astype(np.float32))
    within = (
        (points[:, 0] > 3)
        & (points[:, 0] < cols - 4)
        & (points[:, 1] > 3)
        & (points[:, 1] < rows - 4)
    )
    if within.sum() < 6:
        return None
    found = _follow_strip(strip, reach, noise, width)
    if found is None:
        return None
    shift, trust = found
    return shift, trust * within


def _follow_strip(
    strip: FloatMap, reach: int, noise: float, width: int
) -> tuple[Float, Float] | None:
    """Find the edge's offset in each row of a strip that reaches ``reach + 8`` each way."""
    count, spread = strip.shape[:2]
    middle = spread // 2
    total = np.concatenate([np.zeros((count, 1, 3), np.float32), strip], axis=1).cumsum(axis=1)
    place = middle + np.arange(-reach, reach + 1)
    inner = (total[:, place + 1 + width] - total[:, place + 1]) / width
    outer = (total[:, place] - total[:, place - width]) / width
    step = inner - outer
    paper = np.median(strip[:, middle + reach :], axis=(0, 1))
    beside = np.median(strip[:, : middle - reach + 1], axis=(0, 1))
    heading = paper - beside
    contrast = float(np.linalg.norm(heading))
    size = np.sqrt((step**2).sum(axis=2))
    if contrast < 1.5 * noise:
        strongest = np.take_along_axis(step, size.argmax(axis=1)[:, None, None], axis=1)[:, 0]
        heading = np.median(strongest, axis=0)
        contrast = float(np.linalg.norm(heading))
        if contrast < 1e-6:
            return None
    heading = heading / contrast
    # The step towards the paper's side: with the sheet's usual step, and any strong one.
    gain = 0.7 * (step @ heading) + 0.3 * size
    own = np.median(strip[:, middle + reach :], axis=1)
    unlike = np.sqrt(((inner - own[:, None]) ** 2).sum(axis=2))
    scale = np.percentile(gain.max(axis=1), 50) + 1e-9
    cost = -(gain - 0.6 * unlike) / scale
    path = _smoothest(np.clip(cost, -1.5, 1.0))
    rows = np.arange(count)
    got = gain[rows, path]
    trust = np.clip(got / scale, 0, 1) * (got > 1.5 * noise)
    return (path - reach).astype(float), trust


def _smoothest(cost: Float, bend: float = 0.25) -> np.ndarray:
    """Cheapest path down the rows that moves at most two columns a row."""
    count, width = cost.shape
    moves = np.array([-2, -1, 0, 1, 2])
    toll = bend * np.abs(moves)
    back = np.zeros((count, width), np.int64)
    total = cost[0].copy()
    padded = np.full(width + 4, np.inf)
    for row in range(1, count):
        padded[2:-2] = total
        reached = np.stack([padded[2 + m : 2 + m + width] for m in moves]) + toll[:, None]
        pick = reached.argmin(axis=0)
        back[row] = np.arange(width) + moves[pick]
        total = reached[pick, np.arange(width)] + cost[row]
    path = np.empty(count, np.int64)
    path[-1] = int(total.argmin())
    for row in range(count - 1, 0, -1):
        path[row - 1] = back[row, path[row]]
    return path


def _sub_pixel(strip: FloatMap, shift: Float, reach: int, width: int = 2) -> Float:
    """Place the steepest point of the step near ``shift`` by a parabola."""
    count, spread = strip.shape[:2]
    middle = spread // 2
    rows = np.arange(count)
    total = np.concatenate([np.zeros((count, 1, 3), np.float32), strip], axis=1).cumsum(axis=1)

    def slope(place: np.ndarray) -> Float:
        inner = total[rows[:, None], place + 1 + width] - total[rows[:, None], place + 1]
        outer = total[rows[:, None], place] - total[rows[:, None], place - width]
        return np.asarray((inner - outer) / width)

    around = middle + shift.astype(int)[:, None] + np.arange(-2, 3)
    around = np.clip(around, width, spread - width - 2)
    step = slope(around)
    heading = np.median(step[:, 2], axis=0)
    heading /= np.linalg.norm(heading) + 1e-12
    gain = step @ heading
    pick = np.clip(gain.argmax(axis=1), 1, 3)
    left, here, right = gain[rows, pick - 1], gain[rows, pick], gain[rows, pick + 1]
    curve = left - 2 * here + right
    part = np.where(curve < -1e-12, 0.5 * (left - right) / np.where(curve == 0, 1, curve), 0.0)
    return shift + pick - 2 + np.clip(part, -1, 1)
