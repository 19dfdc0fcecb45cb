"""What the card lies on, and what lies about."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.checks import check_choice, check_range
from spraycheck.simulate.textures import cloud_field, noise_field

FloatMap = NDArray[np.float32]

# Linear reflectance, grain (streak direction factor, fine, coarse contrast): typical, by eye.
SURFACES: Final[dict[str, tuple[tuple[float, float, float], float, float, float]]] = {
    "wood": ((0.30, 0.16, 0.07), 14.0, 0.22, 0.15),
    "dark wood": ((0.12, 0.06, 0.03), 14.0, 0.30, 0.20),
    "steel": ((0.30, 0.31, 0.32), 25.0, 0.12, 0.06),
    "concrete": ((0.26, 0.25, 0.22), 1.0, 0.12, 0.16),
    "oily tray": ((0.12, 0.12, 0.13), 1.0, 0.20, 0.42),
    "blue mat": ((0.03, 0.07, 0.19), 1.0, 0.10, 0.06),
    "rubber": ((0.035, 0.035, 0.037), 1.0, 0.18, 0.10),
    "white bench": ((0.78, 0.78, 0.77), 1.0, 0.01, 0.02),
    "cardboard": ((0.42, 0.30, 0.18), 8.0, 0.05, 0.06),
}
"""Surface by name: colour, streakiness, fine and coarse unevenness."""


@dataclass(frozen=True, kw_only=True)
class Table:
    """The background.

    Parameters
    ----------
    surface : str
        One of `SURFACES`.
    brightness : float
        Factor on its colour.
    clutter : int
        Number of things lying about: tools, tubes, rags, washers.
    covering : bool
        Whether one of them lies over an edge of the sheet.

    Raises
    ------
    InputError
        An unknown surface or a value out of range.
    """

    surface: str = "wood"
    brightness: float = 1.0
    clutter: int = 0
    covering: bool = False

    def __post_init__(self) -> None:
        check_choice("surface", self.surface, tuple(SURFACES))
        check_range("brightness", self.brightness, 0.1, 3)
        check_range("clutter", self.clutter, 0, 40)

    @property
    def colour(self) -> tuple[float, float, float]:
        """Mean linear reflectance, red, green and blue."""
        r, g, b = (min(0.95, c * self.brightness) for c in SURFACES[self.surface][0])
        return r, g, b


@dataclass(frozen=True, kw_only=True)
class TableTop:
    """A drawn table.

    Parameters
    ----------
    rgb : (M, N, 3) ndarray of float32
        Linear reflectance.
    cover : (M, N) ndarray of float32
        Where things lie that hide the sheet, 0 to 1.
    x0_mm, y0_mm, cell_mm : float
        Place of the centre of cell ``[0, 0]`` and side of a cell.
    """

    rgb: FloatMap
    cover: FloatMap
    x0_mm: float
    y0_mm: float
    cell_mm: float


def draw_table(
    table: Table,
    bounds_mm: tuple[float, float, float, float],
    sheet_mm: tuple[float, float],
    rng: np.random.Generator,
    *,
    max_cells: int = 900,
) -> TableTop:
    """Draw what is seen of the table.

    Parameters
    ----------
    table : Table
        What it is.
    bounds_mm : (float, float, float, float)
        Left, top, right and bottom of what is seen.
    sheet_mm : (float, float)
        Size of the sheet at the origin, which things keep off unless covering.
    rng : numpy.random.Generator
        Where the randomness comes from.
    max_cells : int
        Cells along the longer side.

    Returns
    -------
    TableTop
    """
    left, top, right, bottom = bounds_mm
    cell = max(right - left, bottom - top) / max_cells
    shape = (max(2, math.ceil((bottom - top) / cell)), max(2, math.ceil((right - left) / cell)))
    _, streak, fine, coarse = SURFACES[table.surface]
    grain = noise_field(shape, max(0.5 / cell, 0.0), rng, stretch=streak)
    cloud = cloud_field(shape, tuple(s / cell for s in (3.0, 8.0, 20.0)), rng)
    if streak > 1:
        cloud = 0.5 * cloud + noise_field(shape, 4.0 / cell, rng, stretch=streak)
    tone = np.exp(np.clip(fine * grain + coarse * cloud, -1.5, 1.2))
    rgb = tone[..., None] * np.array(table.colour, np.float32)
    cover = np.zeros(shape, np.float32)
    for k in range(int(table.clutter)):
        over = table.covering and k == 0
        _put_thing(rgb, cover, cell, (left, top), bounds_mm, sheet_mm, over, rng)
    return TableTop(
        rgb=np.minimum(rgb, 0.97).astype(np.float32),
        cover=cover,
        x0_mm=left,
        y0_mm=top,
        cell_mm=cell,
    )


def _put_thing(
    rgb: FloatMap,
    cover: FloatMap,
    cell: float,
    origin: tuple[float, float],
    bounds: tuple[float, float, float, float],
    sheet_mm: tuple[float, float],
    over: bool,
    rng: np.random.Generator,
) -> None:
    """Draw one thing and its shadow."""
    half = np.array(sheet_mm) / 2
    kind = "rod" if over else str(rng.choice(["rod", "rod", "washer", "rag"]))
    size = float(rng.uniform(8, 26))
    for _ in range(40):
        at = np.array([rng.uniform(bounds[0], bounds[2]), rng.uniform(bounds[1], bounds[3])])
        if over:
            side = rng.integers(4)
            at = np.array([half[0] * (1 if side == 0 else -1), rng.uniform(-0.8, 0.8) * half[1]])
            if side > 1:
                at = np.array(
                    [rng.uniform(-0.8, 0.8) * half[0], half[1] * (1 if side == 2 else -1)]
                )
            at += np.sign(at) * size * 0.2
            break
        clear = np.abs(at) - half
        if clear.max() > size * (3.2 if kind == "rod" else 1.2):
            break
    else:
        return
    tone = float(np.exp(rng.uniform(math.log(0.03), math.log(0.6))))
    colour = tone * np.array([1.0, rng.uniform(0.8, 1.05), rng.uniform(0.6, 1.1)])
    # Only the block that can hold the thing and its shadow is touched.
    reach = 3.2 * size + 12
    low = np.floor((at - reach - np.array(origin)) / cell).astype(int)
    high = np.ceil((at + reach - np.array(origin)) / cell).astype(int)
    rows = slice(max(0, int(low[1])), max(0, int(high[1])))
    cols = slice(max(0, int(low[0])), max(0, int(high[0])))
    rgb, cover = rgb[rows, cols], cover[rows, cols]
    if cover.size == 0:
        return
    ys, xs = np.mgrid[: cover.shape[0], : cover.shape[1]].astype(np.float32)
    x = (xs + cols.start) * cell + origin[0] - at[0]
    y = (ys + rows.start) * cell + origin[1] - at[1]
    turn = (
        rng.uniform(0, math.pi) if not over else math.atan2(at[1], at[0]) + rng.uniform(-0.5, 0.5)
    )
    c, s = np.float32(math.cos(turn)), np.float32(math.sin(turn))
    u, v = c * x + s * y, -s * x + c * y
    if kind == "rod":
        wide = size * 0.35
        body = np.maximum(np.abs(u) - size * 2.2, np.abs(v) - wide)
        shade = np.sqrt(np.maximum(0.05, 1 - (v / wide) ** 2))
    elif kind == "washer":
        r = np.hypot(u, v)
        body = np.maximum(r - size, size * 0.45 - r)
        shade = np.full_like(u, 0.9)
    else:
        r = np.hypot(u, v * 1.4) * (1 + 0.15 * np.sin(3 * np.arctan2(v, u) + turn))
        body = r - size * 1.6
        shade = 0.9 + 0.1 * noise_field(u.shape, 4 / cell, rng)
    mask = np.clip(0.5 - body / cell, 0, 1).astype(np.float32)
    dark = cv2.GaussianBlur(mask, (0, 0), max(0.6, 4.0 / cell))
    dark = np.roll(dark, (round(3 / cell), round(2 / cell)), axis=(0, 1))
    rgb *= (1 - 0.55 * dark * (1 - mask))[..., None]
    rgb *= (1 - mask)[..., None]
    rgb += mask[..., None] * shade[..., None] * colour.astype(np.float32)
    if over:
        np.maximum(cover, mask, out=cover)
