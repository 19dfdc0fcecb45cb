"""The flattened sheet on a regular grid: where each cell lies in the photo, its linear light."""

from __future__ import annotations

import math

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float, FloatMap
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.sheet.fitting import ASSUMED_LONG_MM, Sheet
from spraycheck.card.sheet.light import sample_linear
from spraycheck.card.sheet.surface import Surface, side_positions
from spraycheck.flags import Flags
from spraycheck.photo.containers import Photo

FINEST_MM = 0.4
"""Finest cell: the edge of a wet patch is blurred over more by the paper itself (chosen)."""

MAX_CELLS = 1.2e6
"""Most cells of a grid: keeps the later stages within their time (A4 at 0.25 mm: 1.0 million)."""

COARSEST_PX_PER_MM = 2.0
"""Fewer photo pixels per mm are flagged: a plume 10 mm wide is then under 20 px (chosen)."""

OBLIQUE_DEG = 20.0
"""Views further off square are flagged; up to 35 degrees is meant to work (chosen)."""

CURLED_FRAC = 0.01
"""Relief beyond this share of the long side is flagged: about 3 mm on A4 (chosen)."""

EVERY = 8
"""The map is computed at every eighth cell and is linear between. Across 3 mm a map's slope changes
by about a percent at most (perspective at 45 degrees from 300 mm), so a cell is off by a hundredth
of a cell at most."""

NO_SHEET_U_MM = 2.0
NO_SHEET_ASPECT_U = 0.034
"""Without a sheet: a camera held by hand over a card is within about 15 degrees of square-on; the
cosine squeezes one direction by 3.4 %, which moves points 60 mm out by 2 mm."""


def resample_sheet(photo: Photo, sheet: Sheet, sides: int, cell_mm: float | None) -> RectifiedCard:
    """Flatten a fitted sheet.

    Parameters
    ----------
    photo : Photo
        Upright.
    sheet : Sheet
        From `fitting.fit_sheet`.
    sides : int
        How many sides the fit saw.
    cell_mm : float, optional
        Side of a cell; chosen by the photo's resolution when None.
    """
    surface, (width, height) = sheet.surface, sheet.size_mm
    px_per_mm = _px_per_mm(surface, sheet.size_mm)
    cell = _cell(sheet.size_mm, px_per_mm / photo.decode_scale, cell_mm)
    rows, cols, x0, y0 = _grid(sheet.size_mm, cell)
    fy, fx = np.meshgrid(
        (y0 + cell * EVERY * (np.arange(rows // EVERY + 3) - 1)) / (height / 2),
        (x0 + cell * EVERY * (np.arange(cols // EVERY + 3) - 1)) / (width / 2),
        indexing="ij",
    )
    nodes = surface.project(fx.ravel(), fy.ravel()).reshape(*fx.shape, 2)
    map_x, map_y = (_between(nodes[..., k], rows, cols) for k in (0, 1))

    half_mm = math.sqrt(width * height) / 2
    outline = np.concatenate(
        [surface.project(*side_positions(s, np.linspace(-1, 1, 33)[:-1])) for s in range(4)]
    )
    size_px = np.array([photo.width_px, photo.height_px])
    cropped = sides < 4 or bool(((outline < -0.5) | (outline > size_px - 0.5)).any())
    mid_x, mid_y = (a.ravel() for a in np.meshgrid(*[np.linspace(-0.7, 0.7, 5)] * 2))
    u_mm = half_mm * surface.distortion_u(mid_x, mid_y, scale_known=sheet.scale_known)
    notes = [*sheet.flags]
    if cropped:
        notes.append(flag.SHEET_CROPPED)
    if _relief_mm(surface, half_mm) > CURLED_FRAC * max(width, height):
        notes.append(flag.SHEET_CURLED)
    if surface.tilt_deg > OBLIQUE_DEG:
        notes.append(flag.OBLIQUE)
    if sheet.scale_known and px_per_mm < COARSEST_PX_PER_MM:
        notes.append(flag.LOW_RESOLUTION)
    return _card(
        photo,
        map_x,
        map_y,
        cell,
        px_per_mm,
        sheet.size_mm,
        scale_known=sheet.scale_known,
        found_by="sheet-cropped" if cropped else "sheet",
        corners_px=surface.project(np.array([-1.0, 1, 1, -1]), np.array([-1.0, -1, 1, 1])),
        outline_px=outline,
        geometry_u_mm=u_mm,
        aspect_u_frac=surface.aspect_u_log,
        flags=tuple(notes),
        method=f"pose, focal length, lens and curl from {sides} sides",
    )


def whole_photo(photo: Photo, cell_mm: float | None) -> RectifiedCard:
    """Take the photo itself for the card, seen square-on; its long side is the assumed one."""
    mm_per_px = ASSUMED_LONG_MM / max(photo.width_px, photo.height_px)
    size = (photo.width_px * mm_per_px, photo.height_px * mm_per_px)
    cell = _cell(size, 1 / mm_per_px / photo.decode_scale, cell_mm)
    rows, cols, x0, y0 = _grid(size, cell)
    x = (x0 + cell * np.arange(cols)) / mm_per_px + (photo.width_px - 1) / 2
    y = (y0 + cell * np.arange(rows)) / mm_per_px + (photo.height_px - 1) / 2
    return _card(
        photo,
        np.ascontiguousarray(np.broadcast_to(x.astype(np.float32), (rows, cols))),
        np.ascontiguousarray(np.broadcast_to(y.astype(np.float32)[:, None], (rows, cols))),
        cell,
        1 / mm_per_px,
        size,
        scale_known=False,
        found_by="none",
        corners_px=np.full((4, 2), np.nan),
        outline_px=np.empty((0, 2)),
        geometry_u_mm=NO_SHEET_U_MM,
        aspect_u_frac=NO_SHEET_ASPECT_U,
        flags=(flag.NO_SHEET, flag.NO_SCALE),
        method="photo taken as square-on",
    )


def _px_per_mm(surface: Surface, size_mm: tuple[float, float]) -> float:
    """Full-photo pixels per mm, typical of the sheet's middle."""
    x, y = (a.ravel() for a in np.meshgrid([-0.5, 0.0, 0.5], [-0.5, 0.0, 0.5]))
    step = 0.01
    at = surface.project(x, y)
    across = (surface.project(x + step, y) - at) / (step * size_mm[0] / 2)
    down = (surface.project(x, y + step) - at) / (step * size_mm[1] / 2)
    area = np.abs(across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0])
    return math.sqrt(float(np.median(area)))


def _relief_mm(surface: Surface, half_mm: float) -> float:
    """How far the sheet departs from a plane: its middle, and half of what its edges do."""
    x, y = (a.ravel() for a in np.meshgrid(*[np.linspace(-0.7, 0.7, 5)] * 2))
    along = np.linspace(-1, 1, 9)
    rim = np.concatenate([surface.relief(*side_positions(side, along)) for side in range(4)])
    return half_mm * max(float(np.ptp(surface.relief(x, y))), float(np.ptp(rim)) / 2)


def _cell(size_mm: tuple[float, float], px_per_mm: float, cell_mm: float | None) -> float:
    if cell_mm is not None:
        return cell_mm
    # A cell slightly smaller than a pixel keeps what the photo shows; at least 60 cells across.
    by_photo = min(0.9 / px_per_mm, min(size_mm) / 60)
    return max(FINEST_MM, math.sqrt(size_mm[0] * size_mm[1] / MAX_CELLS), by_photo)


def _grid(size_mm: tuple[float, float], cell: float) -> tuple[int, int, float, float]:
    """Rows, columns, and position of the first cell's centre; the grid is centred."""
    cols, rows = (max(8, int(side / cell + 1e-6)) for side in size_mm)
    return rows, cols, -(cols - 1) / 2 * cell, -(rows - 1) / 2 * cell


def _between(nodes: Float, rows: int, cols: int) -> FloatMap:
    """Linear interpolation of a map known at every `EVERY`-th cell, from one before the first."""
    x = np.broadcast_to(np.arange(cols, dtype=np.float32) / EVERY + 1, (rows, cols))
    y = np.broadcast_to((np.arange(rows, dtype=np.float32) / EVERY + 1)[:, None], (rows, cols))
    smooth = cv2.remap(
        nodes.astype(np.float32),
        np.ascontiguousarray(x),
        np.ascontiguousarray(y),
        # Not OpenCV's cubic: its kernel does not even reproduce a straight line.
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(smooth, np.float32)


def _card(
    photo: Photo,
    map_x: FloatMap,
    map_y: FloatMap,
    cell: float,
    px_per_mm: float,
    size_mm: tuple[float, float],
    *,
    scale_known: bool,
    found_by: str,
    corners_px: Float,
    outline_px: Float,
    geometry_u_mm: float,
    aspect_u_frac: float,
    flags: Flags,
    method: str,
) -> RectifiedCard:
    scale = photo.decode_scale
    reduce = max(1, math.floor(cell * px_per_mm / scale + 0.25))
    linear = sample_linear(
        photo.rgb, (map_x + 0.5) / scale - 0.5, (map_y + 0.5) / scale - 0.5, reduce
    )
    right, bottom = photo.width_px - 1, photo.height_px - 1
    inside = (map_x >= 0) & (map_x <= right) & (map_y >= 0) & (map_y <= bottom)
    rows, cols = map_x.shape
    return RectifiedCard(
        linear_rgb=linear,
        inside=inside,
        map_x_px=map_x,
        map_y_px=map_y,
        cell_mm=cell,
        x0_mm=-(cols - 1) / 2 * cell,
        y0_mm=-(rows - 1) / 2 * cell,
        size_mm=size_mm,
        scale_known=scale_known,
        found_by=found_by,
        corners_px=corners_px,
        outline_px=outline_px,
        geometry_u_mm=geometry_u_mm,
        aspect_u_frac=aspect_u_frac,
        flags=flags,
        method=method,
    )
