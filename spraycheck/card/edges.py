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

from spraycheck.arrays import Float, FloatMap
from spraycheck.card.outline import Working
from spraycheck.card.sampling import sample, sample_light
from spraycheck.card.surface_fit import EdgePoints


@dataclass(frozen=True, kw_only=True)
class EdgeSettings:
    """How sides are followed.

    Parameters
    ----------
    coarse, fine : int
        Places looked at along each side at working size and at the photo's own.
    curl_frac : float
        Curl lifts an edge off its chord by up to this share of the longest side (chosen: the sheets
        of `surface_fit`); so far to either side it is looked for.
    reach_px : (int, int)
        Least and most of it, working pixels (chosen).
    beside_px : int
        Paper and table are looked at this much further in and out.
    step_px, fine_step_px : int
        A step is the mean of so many pixels within against so many without; the finer one places
        it between pixels.
    side_share : float
        How far a step counts by going the side's own way, against by its strength alone (chosen:
        a side in a shadow steps less, a thing over the edge steps another way).
    unlike_share : float
        What an inner side unlike the sheet's paper costs, of its colour difference (chosen).
    far_share : float
        What a step at the end of the reach costs, of a usual step: of two edges alike the nearer
        one (chosen).
    bend_toll : float
        What a path pays for a pixel sideways from place to place, of a usual step (chosen).
    least_noise : float
        Steps below this many times the noise are none: one in seven of pure noise is more.
    other_step : float
        Steps that differ from the side's usual by this share of it count a quarter (chosen).
    least_trust : float
        Places trusted less are not seen: what lies beyond the photo reaches a millionth, what is
        seen a third and more.
    least_seen : float
        Least share of places seen of a side that is one (chosen).
    """

    coarse: int = 48
    fine: int = 36
    curl_frac: float = 0.05
    reach_px: tuple[int, int] = (6, 20)
    beside_px: int = 8
    step_px: int = 3
    fine_step_px: int = 2
    side_share: float = 0.7
    unlike_share: float = 0.8
    far_share: float = 0.3
    bend_toll: float = 0.25
    least_noise: float = 1.5
    other_step: float = 0.6
    least_trust: float = 0.05
    least_seen: float = 0.15


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


def trace_sides(working: Working, corners: Float, settings: EdgeSettings) -> tuple[SidePath, ...]:
    """Follow the four sides at working size, starting from straight ones.

    Parameters
    ----------
    working : Working
        From `outline.make_working`.
    corners : (4, 2) ndarray of float64
        Clockwise, working pixels.
    settings : EdgeSettings
        How.
    """
    ends = np.roll(corners, -1, axis=0)
    length = np.linalg.norm(ends - corners, axis=1)
    way = (ends - corners) / np.maximum(length, 1)[:, None]
    inward = np.stack([-way[:, 1], way[:, 0]], axis=1)
    inward = np.repeat(inward[:, None], settings.coarse, axis=1)
    along = np.linspace(0.01, 0.99, settings.coarse)
    points = corners[:, None] + (ends - corners)[:, None] * along[:, None]
    reach = int(np.clip(round(settings.curl_frac * length.max()), *settings.reach_px))
    strip = sample(working.colour, _across(points, inward, reach + settings.beside_px))
    visible = _within(points, working.colour.shape, 3)
    shift, trust = _follow(strip, visible, reach, np.full(4, working.noise), settings)
    traced = points + inward * shift[..., None]
    return tuple(
        SidePath(side=side, points=traced[side], inward=inward[side], trust=trust[side])
        for side in range(4)
        if (trust[side] > settings.least_trust).mean() >= settings.least_seen
    )


def place_edges(
    rgb: NDArray[np.uint8], paths: tuple[SidePath, ...], scale: float, settings: EdgeSettings
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
    settings : EdgeSettings
        How.

    Returns
    -------
    tuple of EdgePoints
        In pixels of ``rgb``.
    """
    if not paths:
        return ()
    smooth = [_smooth_path(path, settings.fine) for path in paths]
    points = (np.stack([path[0] for path in smooth]) + 0.5) * scale - 0.5
    inward = np.stack([path[1] for path in smooth])
    # Twice the coarse path's own doubt, and the blur of a coarse pixel.
    reach = int(np.ceil(1.5 * scale)) + 3
    strip = np.stack(
        [
            _light_across(rgb, p, n, reach + settings.beside_px)
            for p, n in zip(points, inward, strict=True)
        ]
    )
    visible = _within(points, rgb.shape, 2)
    shift, trust = _follow(strip, visible, reach, _noise(strip), settings)
    placed = points + inward * _sub_pixel(strip, shift, settings.fine_step_px)[..., None]
    trust = trust * _within(placed, rgb.shape, 2)
    out = []
    for path, where, weight in zip(paths, placed, trust, strict=True):
        seen = weight > settings.least_trust
        if seen.mean() >= settings.least_seen:
            out.append(EdgePoints(side=path.side, points_px=where[seen], weight=weight[seen]))
    return tuple(out)


def _within(points: Float, shape: tuple[int, ...], margin: int) -> NDArray[np.bool_]:
    rows, cols = shape[:2]
    return np.asarray(
        ((points > margin) & (points < np.array([cols, rows]) - 1 - margin)).all(axis=-1)
    )


def _across(points: Float, inward: Float, reach: int) -> NDArray[np.float32]:
    """Positions on lines across a side, from outside to inside."""
    offsets = np.arange(-reach, reach + 1)[:, None]
    return (points[..., None, :] + inward[..., None, :] * offsets).astype(np.float32)


def _smooth_path(path: SidePath, count: int) -> tuple[Float, Float]:
    """A smooth curve through a traced path and its inward normals, evenly spaced."""
    inward = path.inward[0]
    along = np.array([inward[1], -inward[0]])
    t = path.points @ along
    span = (t - t[0]) / (t[-1] - t[0]) * 2 - 1
    depth = path.points @ inward
    trust = np.maximum(path.trust, 1e-3)
    # A plain arc first: what lies over the edge for a stretch stands off it and loses its weight
    # before the curve may bend to it.
    weight, best = trust, np.zeros(6)
    for order, reach in ((2, 4.0), (2, 3.0), (2, 2.0), (5, 1.5), (5, 1.0), (5, 1.0)):
        design = np.polynomial.legendre.legvander(span, order)
        root = np.sqrt(weight)
        # A little smoothing keeps the curve from swinging where nothing was seen.
        ridge = np.diag([0.0, 0.0, 0.03, 0.1, 0.3, 0.5][: order + 1])
        best = np.linalg.lstsq(
            np.vstack([design * root[:, None], ridge]),
            np.append(depth * root, np.zeros(order + 1)),
            rcond=None,
        )[0]
        weight = trust / (1 + ((depth - design @ best) / reach) ** 2) ** 2
    dense = np.linspace(-1, 1, count)
    fine = np.polynomial.legendre.legvander(dense, 5) @ best
    place = t[0] + (dense + 1) / 2 * (t[-1] - t[0])
    points = place[:, None] * along + fine[:, None] * inward
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    normal *= np.sign(normal @ inward)[:, None]
    return points, normal


def _light_across(rgb: NDArray[np.uint8], points: Float, inward: Float, reach: int) -> FloatMap:
    """Linear light across one side, ``(K, 2 reach + 1, 3)``, averaged over neighbours along it."""
    low = np.floor(np.maximum(points.min(axis=0) - reach - 4, 0)).astype(int)
    high = np.ceil(points.max(axis=0) + reach + 5).astype(int)
    low = np.minimum(low, [rgb.shape[1] - 1, rgb.shape[0] - 1])
    high = np.maximum(high, low + 1)
    crop = rgb[low[1] : high[1], low[0] : high[0]]
    along = np.stack([inward[:, 1], -inward[:, 0]], axis=1)
    gap = float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))
    lanes = np.arange(-2, 3)[:, None, None] * min(gap / 5, 2.0)
    at = _across(points - low + along * lanes, np.broadcast_to(inward, (5, *inward.shape)), reach)
    # Light is averaged, not sRGB values: an edge then stays where half the light is.
    return np.asarray(sample_light(crop, at).mean(axis=0), np.float32)


def _noise(strip: FloatMap) -> Float:
    rough = np.diff(strip, 2, axis=2)
    return np.asarray(np.maximum(np.median(np.sqrt((rough**2).sum(axis=3)), axis=(1, 2)), 1e-4))


def _follow(
    strip: FloatMap,
    visible: NDArray[np.bool_],
    reach: int,
    noise: Float,
    settings: EdgeSettings,
) -> tuple[Float, Float]:
    """Find the edge's offset and trust in each row of strips ``(S, K, 2 (reach + beside) + 1, 3)``.

    What is usual of a side is taken from its visible rows alone.
    """
    sides, count, spread = strip.shape[:3]
    middle, width = spread // 2, settings.step_px
    place = middle + np.arange(-reach, reach + 1)
    total = np.zeros((sides, count, spread + 1, 3), np.float32)
    np.cumsum(strip, axis=2, out=total[:, :, 1:])
    inner = (total[:, :, place + 1 + width] - total[:, :, place + 1]) / width
    outer = (total[:, :, place] - total[:, :, place - width]) / width
    step = inner - outer
    size = np.sqrt((step**2).sum(axis=3))
    own = np.median(strip[:, :, middle + reach :], axis=2)
    beside = np.median(strip[:, :, : middle - reach + 1], axis=2)
    heading = _usual(own, visible) - _usual(beside, visible)
    contrast = np.linalg.norm(heading, axis=1)
    strongest = np.take_along_axis(step, size.argmax(axis=2)[:, :, None, None], axis=2)[:, :, 0]
    doubtful = contrast < settings.least_noise * noise
    heading = np.where(doubtful[:, None], _usual(strongest, visible), heading)
    heading /= np.linalg.norm(heading, axis=1, keepdims=True) + 1e-12
    share = settings.side_share
    gain = share * np.einsum("skoc,sc->sko", step, heading) + (1 - share) * size
    unlike = np.sqrt(((inner - own[:, :, None]) ** 2).sum(axis=3))
    scale = _usual(gain.max(axis=2), visible)[:, None] + 1e-9
    far = settings.far_share * (np.arange(-reach, reach + 1) / reach) ** 2
    cost = -(gain - settings.unlike_share * unlike) / scale[..., None]
    # One bright or dark line may not outbid the rest of a side.
    path = _smoothest(np.clip(cost, -1.5, 1.0) + far, settings.bend_toll)
    got = np.take_along_axis(gain, path[..., None], axis=2)[..., 0]
    trust = np.clip(got / scale, 0, 1) * (got > settings.least_noise * noise[:, None]) * visible
    # The side's own step, whatever its strength in a shadow, is trusted; another colour's is not.
    taken = np.take_along_axis(step, path[..., None, None], axis=2)[:, :, 0]
    common = _usual(taken, visible)[:, None]
    off = ((taken - common) ** 2).sum(axis=2)
    off /= settings.other_step**2 * (common**2).sum(axis=2) + 1e-12
    return (path - reach).astype(float), trust / (1 + off) ** 2


def _usual(values: Float, visible: NDArray[np.bool_]) -> Float:
    """Median of each side's visible rows, ``(S, ...)``; of a hidden side's all rows."""
    return np.stack(
        [
            np.median(side[seen] if seen.any() else side, axis=0)
            for side, seen in zip(values, visible, strict=True)
        ]
    )


def _smoothest(cost: Float, bend: float) -> NDArray[np.int64]:
    """Cheapest path down the rows of each side that moves at most two columns a row."""
    sides, count, width = cost.shape
    moves = np.arange(-2, 3)
    toll = bend * np.abs(moves)[:, None, None]
    back = np.zeros((count, sides, width), np.int64)
    padded = np.full((sides, width + 4), np.inf)
    reached = np.lib.stride_tricks.sliding_window_view(padded, width, axis=1).transpose(1, 0, 2)
    total = cost[:, 0].copy()
    for row in range(1, count):
        padded[:, 2:-2] = total
        offer = reached + toll
        back[row] = offer.argmin(axis=0)
        total = offer.min(axis=0) + cost[:, row]
    path = np.empty((sides, count), np.int64)
    path[:, -1] = total.argmin(axis=1)
    every = np.arange(sides)
    for row in range(count - 1, 0, -1):
        path[:, row - 1] = path[:, row] + back[row, every, path[:, row]] - 2
    return path


def _sub_pixel(strip: FloatMap, shift: Float, width: int) -> Float:
    """Place the steepest point of the step near ``shift`` by a parabola."""
    spread = strip.shape[2]
    middle = spread // 2
    around = middle + shift.astype(int)[..., None] + np.arange(-2 - width, 3 + width)
    near = np.take_along_axis(strip, around[..., None], axis=2)
    total = np.cumsum(near, axis=2)
    zero = np.zeros_like(total[:, :, :1])
    total = np.concatenate([zero, total], axis=2)
    at = np.arange(5) + width
    step = (total[:, :, at + 1 + width] - total[:, :, at + 1]) - (
        total[:, :, at] - total[:, :, at - width]
    )
    heading = np.median(step[:, :, 2], axis=1)
    heading /= np.linalg.norm(heading, axis=1, keepdims=True) + 1e-12
    gain = np.einsum("skoc,sc->sko", step, heading)
    pick = np.clip(gain.argmax(axis=2), 1, 3)
    left, here, right = (
        np.take_along_axis(gain, (pick + k)[..., None], axis=2)[..., 0] for k in (-1, 0, 1)
    )
    curve = np.minimum(left - 2 * here + right, -1e-12)
    return np.asarray(shift + pick - 2 + np.clip(0.5 * (left - right) / curve, -1, 1))
