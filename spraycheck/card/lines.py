"""Straight edges of a photo at working size, and how four of them make a sheet."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap

MOST_PIXELS = 5000
"""Edge pixels that vote: enough for every side of a sheet, few enough for textured ground."""

LEAST_SLOPE = 0.15
"""Least gradient of an edge, colour units per px: a third of the least noise over two px."""

# A line is (nx, ny, c): points with nx x + ny y = c; nx, ny of length 1.


def find_lines(colour: FloatMap, count: int = 14) -> Float:
    """Find the strongest straight edges, ``(K, 3)``.

    A Hough transform over edge pixels that vote only near their own direction; the gradient is
    that of all three colour channels together.

    References
    ----------
    Di Zenzo, S. (1986), "A note on the gradient of a multi-image", Computer Vision, Graphics, and
    Image Processing 33, 116-125, doi:10.1016/0734-189X(86)90223-9.
    """
    rows, cols = colour.shape[:2]
    gx = cv2.Scharr(colour, cv2.CV_32F, 1, 0) / 32
    gy = cv2.Scharr(colour, cv2.CV_32F, 0, 1) / 32
    ones = np.ones((1, 3), np.float32)
    xx, yy, xy = (
        np.asarray(cv2.transform(a * b, ones), np.float32)
        for a, b in ((gx, gx), (gy, gy), (gx, gy))
    )
    strength = np.sqrt(xx + yy)
    row, col = np.nonzero(_ridges(strength, xx, yy, xy))
    if len(row) < 20:
        return np.empty((0, 3))
    # Beside a strong edge or on rough ground a weak one says little; on a calm table it says much.
    around = cv2.blur(strength, (41, 41))
    worth = strength[row, col] / (around[row, col] + LEAST_SLOPE)
    if len(row) > MOST_PIXELS:
        strongest = np.argpartition(worth, -MOST_PIXELS)[-MOST_PIXELS:]
        row, col, worth = row[strongest], col[strongest], worth[strongest]
    x, y, at = col.astype(float), row.astype(float), (row, col)
    angle = 0.5 * np.arctan2(2 * xy[at], xx[at] - yy[at])  # of the gradient
    vote = worth / (worth + 2)
    bins, rho_step = 120, 2.0
    width = np.pi / bins
    reach = int(np.hypot(rows, cols) / rho_step) + 2
    middle = np.array([cols / 2, rows / 2])
    table = np.zeros((bins, 2 * reach + 1))
    base = np.round(angle / width).astype(int)
    for shift in (-2, -1, 0, 1, 2):
        k = base + shift
        way = k * width
        rho = (x - middle[0]) * np.cos(way) + (y - middle[1]) * np.sin(way)
        flip = (k // bins) % 2 == 1
        rho = np.where(flip, -rho, rho)
        cell = (k % bins) * table.shape[1] + np.round(rho / rho_step).astype(int) + reach
        table += np.bincount(cell, vote, table.size).reshape(table.shape)
    padded = np.concatenate([table[-4:, ::-1], table, table[:4, ::-1]])
    smooth = cv2.GaussianBlur(padded, (0, 0), 0.8)
    top = cv2.dilate(smooth, np.ones((9, 9)))
    peaks = (smooth >= top)[4:-4] & (smooth[4:-4] > 4)
    k, r = np.nonzero(peaks)
    order = np.argsort(smooth[4:-4][k, r])[::-1][:count]
    lines = []
    for a, b in zip(k[order] * width, (r[order] - reach) * rho_step, strict=True):
        lines.append(_sharpen(np.array([np.cos(a), np.sin(a), 0.0]), b, middle, x, y, angle, vote))
    return np.array(lines).reshape(-1, 3)


def _ridges(strength: FloatMap, xx: FloatMap, yy: FloatMap, xy: FloatMap) -> NDArray[np.bool_]:
    """Pixels whose gradient is the largest along its own direction (to the nearest 45 degrees)."""
    here = strength[3:-3, 3:-3]

    def beyond(dy: int, dx: int) -> NDArray[np.bool_]:
        rows, cols = strength.shape
        a = strength[3 + dy : rows - 3 + dy, 3 + dx : cols - 3 + dx]
        b = strength[3 - dy : rows - 3 - dy, 3 - dx : cols - 3 - dx]
        return np.asarray((here >= a) & (here > b))

    difference = (xx - yy)[3:-3, 3:-3]
    mixed = 2 * xy[3:-3, 3:-3]
    straight = np.abs(difference) > np.abs(mixed)
    top = np.where(
        straight,
        np.where(difference > 0, beyond(0, 1), beyond(1, 0)),
        np.where(mixed > 0, beyond(1, 1), beyond(1, -1)),
    )
    out = np.zeros(strength.shape, bool)
    out[3:-3, 3:-3] = top & (here > LEAST_SLOPE)
    return out


def _sharpen(
    line: Float, rho: float, middle: Float, x: Float, y: Float, angle: Float, vote: Float
) -> Float:
    """Fit a line again to the edge pixels near it."""
    nx, ny = line[0], line[1]
    away = (x - middle[0]) * nx + (y - middle[1]) * ny - rho
    turn = np.abs((angle - np.arctan2(ny, nx) + np.pi / 2) % np.pi - np.pi / 2)
    near = (np.abs(away) < 4) & (turn < 0.2)
    if near.sum() >= 10:
        w = vote[near]
        mx, my = np.average(x[near], weights=w), np.average(y[near], weights=w)
        dx, dy = x[near] - mx, y[near] - my
        spread = np.array(
            [[(w * dx * dx).sum(), (w * dx * dy).sum()], [(w * dx * dy).sum(), (w * dy * dy).sum()]]
        )
        normal = np.linalg.eigh(spread)[1][:, 0]
        if abs(normal @ [nx, ny]) > 0.98:
            return np.array([normal[0], normal[1], normal @ [mx, my]])
    return np.array([nx, ny, rho + nx * middle[0] + ny * middle[1]])


def lines_of_outline(outline: Float, shape: tuple[int, ...]) -> Float:
    """The long straight runs of a hull that are not the photo's border, ``(K, 3)``."""
    rows, cols = shape
    size = cv2.arcLength(outline.astype(np.float32), True)
    corners = cv2.approxPolyDP(outline.astype(np.float32), 0.012 * size, True).reshape(-1, 2)
    out = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        if length < 0.07 * size:
            continue
        both = np.array([a, b])
        on_border = (
            (both[:, 0] < 4).all()
            or (both[:, 0] > cols - 5).all()
            or (both[:, 1] < 4).all()
            or (both[:, 1] > rows - 5).all()
        )
        if not on_border:
            normal = np.array([b[1] - a[1], a[0] - b[0]]) / length
            out.append([normal[0], normal[1], normal @ a])
    return np.array(out).reshape(-1, 3)


def corners_of(lines: Float, quads: np.ndarray) -> Float:
    """Corners of quadrilaterals given as four line numbers in order round, ``(K, 4, 2)``."""
    a = lines[quads]
    b = lines[np.roll(quads, -1, axis=1)]
    det = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    det = np.where(np.abs(det) < 1e-6, 1e-6, det)
    x = (a[..., 2] * b[..., 1] - a[..., 1] * b[..., 2]) / det
    y = (a[..., 0] * b[..., 2] - a[..., 2] * b[..., 0]) / det
    return np.stack([x, y], axis=2)


def group_lines(
    lines: Float, colour: FloatMap, noise: float, min_area_frac: float, keep: int = 40
) -> Float:
    """Quadrilaterals made of four lines that show edges along their sides, ``(K, 4, 2)``."""
    rows, cols = colour.shape[:2]
    lines = _unlike(lines, rows, cols)
    border = np.array([[1, 0, 0], [1, 0, cols - 1], [0, 1, 0], [0, 1, rows - 1]], float)
    every = np.concatenate([lines, border])
    count = len(every)
    if count < 4:
        return np.empty((0, 4, 2))
    way = np.arctan2(every[:, 1], every[:, 0])
    i, j = np.triu_indices(count, 1)
    between = np.abs((way[i] - way[j] + np.pi / 2) % np.pi - np.pi / 2)
    like = between < np.radians(40)
    i, j = i[like], j[like]
    p, q = np.triu_indices(len(i), 1)
    mean = way[i] + ((way[j] - way[i] + np.pi / 2) % np.pi - np.pi / 2) / 2
    across = np.abs((mean[p] - mean[q] + np.pi / 2) % np.pi - np.pi / 2)
    ok = across > np.radians(45)
    p, q = p[ok], q[ok]
    quads = np.stack([i[p], i[q], j[p], j[q]], axis=1)
    quads = quads[(quads >= count - 4).sum(axis=1) <= 2]
    corners = corners_of(every, quads)
    margin = 0.5 * max(rows, cols)
    x, y = corners[..., 0], corners[..., 1]
    within = ((x > -margin) & (x < cols + margin) & (y > -margin) & (y < rows + margin)).all(axis=1)
    e = np.roll(corners, -1, axis=1) - corners
    f = np.roll(e, -1, axis=1)
    turn = e[..., 0] * f[..., 1] - e[..., 1] * f[..., 0]
    convex = (turn > 0).all(axis=1) | (turn < 0).all(axis=1)
    area = np.abs((x * np.roll(y, -1, axis=1) - np.roll(x, -1, axis=1) * y).sum(axis=1)) / 2
    ok = within & convex & (area > min_area_frac * rows * cols)
    quads, corners, area = quads[ok], corners[ok], area[ok]
    if len(quads) == 0:
        return np.empty((0, 4, 2))
    evidence, seen = _edge_sums(every, colour, noise)
    total = np.zeros(len(quads))
    weakest = np.full(len(quads), np.inf)
    for side in range(4):
        line = quads[:, side]
        a, b = corners[:, side - 1], corners[:, side]
        along = np.stack([-every[line, 1], every[line, 0]], axis=1)
        middle = np.array([cols / 2, rows / 2])
        ta = ((a - middle) * along).sum(axis=1)
        tb = ((b - middle) * along).sum(axis=1)
        half = evidence.shape[1] // 2
        lo = np.clip(np.round(np.minimum(ta, tb)).astype(int) + half, 0, evidence.shape[1] - 1)
        hi = np.clip(np.round(np.maximum(ta, tb)).astype(int) + half, 0, evidence.shape[1] - 1)
        part = np.abs(evidence[line, hi] - evidence[line, lo])
        visible = seen[line, hi] - seen[line, lo]
        length = np.abs(tb - ta) + 1
        mean_seen = np.where(line >= count - 4, 0.25, part / np.maximum(visible, 8))
        total += mean_seen * np.where(line >= count - 4, 1, 0.5 + 0.5 * visible / length)
        weakest = np.minimum(weakest, mean_seen)
    score = total / 4 + 0.5 * weakest + 0.1 * np.sqrt(np.clip(area / rows / cols, 0, 1))
    return np.asarray(corners[np.argsort(score)[::-1][:keep]])


def _edge_sums(lines: Float, colour: FloatMap, noise: float) -> tuple[Float, Float]:
    """Running sums along each line of signed edge evidence (-1 to 1) and of being in the photo."""
    rows, cols = colour.shape[:2]
    half = int(np.hypot(rows, cols))
    t = np.arange(-half, half + 1, dtype=float)
    middle = np.array([cols / 2, rows / 2])
    normal = lines[:, :2]
    along = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    foot = middle + normal * (lines[:, 2] - normal @ middle)[:, None]
    at = foot[:, None] + along[:, None] * t[:, None]
    inside = (at[..., 0] > 4) & (at[..., 0] < cols - 5) & (at[..., 1] > 4) & (at[..., 1] < rows - 5)
    steps = []
    for sign in (1, -1):
        where = (at + sign * 4 * normal[:, None]).astype(np.float32)
        steps.append(
            cv2.remap(
                colour,
                where[..., 0],
                where[..., 1],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )
        )
    step = (steps[0] - steps[1]) * inside[..., None]
    size = np.sqrt((step**2).sum(axis=2))
    heading = np.einsum("lnc,ln->lc", step, size)
    # A line may be a paper edge in one part only; the direction is that of its strongest steps.
    heading /= np.linalg.norm(heading, axis=1, keepdims=True) + 1e-9
    signed = np.einsum("lnc,lc->ln", step, heading) / (size + 2 * noise)
    return np.cumsum(signed, axis=1), np.cumsum(inside, axis=1)


def _unlike(lines: Float, rows: int, cols: int) -> Float:
    """Leave out lines that repeat a stronger one."""
    middle = np.array([cols / 2, rows / 2])
    kept: list[Float] = []
    for line in lines:
        rho = line[2] - line[:2] @ middle
        for other in kept:
            same = float(line[:2] @ other[:2])
            gap = abs(rho - np.sign(same) * (other[2] - other[:2] @ middle))
            if abs(same) > np.cos(np.radians(2.0)) and gap < 4:
                break
        else:
            kept.append(line)
    return np.array(kept[:26]).reshape(-1, 3)
