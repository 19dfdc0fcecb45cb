"""What people print and write on a sheet, drawn at random."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate.paper import Artwork


def random_artwork(
    family: str, sheet: tuple[float, float], rng: np.random.Generator
) -> tuple[Artwork, ...]:
    """Print or write something on a sheet at random: nothing, a cross, rings, squares, handwriting.

    Parameters
    ----------
    family : str
        Sort of scene, see `scene`; a bench sheet is plainer.
    sheet : (float, float)
        Width and height in mm.
    rng : numpy.random.Generator
        Where the randomness comes from.
    """
    kinds = ["none", "cross", "rings", "squared", "writing", "marker"]
    odds = {"bench": [6, 3, 0, 0, 1, 0]}.get(family, [4, 3, 2, 1, 2, 0.7])
    p = np.array(odds, float)
    kind = str(rng.choice(kinds, p=p / p.sum()))
    if kind == "none":
        return ()
    per_mm = 8.0
    size = (int(sheet[0] * per_mm), int(sheet[1] * per_mm))
    art: NDArray[np.uint8] = np.full((size[1], size[0], 3), 255, np.uint8)
    mid = (size[0] // 2 + int(rng.normal(0, 8)), size[1] // 2 + int(rng.normal(0, 8)))
    ink = tuple(int(v) for v in rng.integers(20, 110, 3))
    thick = max(2, round(rng.uniform(0.25, 0.5) * per_mm))

    def line(a: tuple[int, int], b: tuple[int, int], colour: Any = ink, wide: int = thick) -> None:
        cv2.line(art, a, b, colour, wide, cv2.LINE_AA)

    if kind in ("cross", "rings"):
        arm = int(rng.uniform(6, 12) * per_mm)
        line((mid[0] - arm, mid[1]), (mid[0] + arm, mid[1]))
        line((mid[0], mid[1] - arm), (mid[0], mid[1] + arm))
    if kind == "rings":
        step = rng.uniform(14, 22)
        for k in range(1, int(0.46 * min(sheet) / step) + 1):
            cv2.circle(art, mid, int(k * step * per_mm), ink, thick, cv2.LINE_AA)
    if kind == "squared":
        return (squared_ruling(sheet),)
    if kind in ("writing", "marker"):
        _scribble(art, per_mm, thick, rng)
    return (Artwork(rgb=art, width_mm=sheet[0], height_mm=sheet[1]),)


def squared_ruling(sheet: tuple[float, float]) -> Artwork:
    """Rule a sheet in 5 mm squares, pale blue, as exercise paper is.

    Parameters
    ----------
    sheet : (float, float)
        Width and height in mm.
    """
    per_mm, blue = 8.0, (150, 175, 215)
    cols, rows = int(sheet[0] * per_mm), int(sheet[1] * per_mm)
    art: NDArray[np.uint8] = np.full((rows, cols, 3), 255, np.uint8)
    for x in np.arange(0, cols, 5 * per_mm):
        cv2.line(art, (int(x), 0), (int(x), rows), blue, 2, cv2.LINE_AA)
    for y in np.arange(0, rows, 5 * per_mm):
        cv2.line(art, (0, int(y)), (cols, int(y)), blue, 2, cv2.LINE_AA)
    return Artwork(rgb=art, width_mm=sheet[0], height_mm=sheet[1])


def _scribble(art: NDArray[np.uint8], per_mm: float, thick: int, rng: np.random.Generator) -> None:
    """Write something illegible along one edge, sometimes across a corner."""
    rows, cols = art.shape[:2]
    for _ in range(int(rng.integers(1, 4))):
        x = rng.uniform(0.06, 0.4) * cols
        y = float(rng.choice([rng.uniform(0.04, 0.14), rng.uniform(0.86, 0.96)])) * rows
        n = int(rng.integers(25, 70))
        step = rng.uniform(0.8, 1.6) * per_mm
        t = np.arange(n)
        wave = rng.normal(0, 1.6 * per_mm, n)
        pts = np.column_stack([x + step * t + 0.5 * wave[::-1], y + wave]).astype(np.int32)
        cv2.polylines(art, [pts.reshape(-1, 1, 2)], False, (40, 40, 90), thick, cv2.LINE_AA)
