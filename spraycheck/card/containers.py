"""The card seen square-on and flat, in linear light; frames as in `spraycheck.photo.containers`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck.arrays import Float, FloatMap, Mask, check_array
from spraycheck.card.spec import PrintedFacts
from spraycheck.card.surface import Surface
from spraycheck.flags import Flags


@dataclass(frozen=True, kw_only=True)
class RectifiedCard:
    """The card, seen square-on and flat, in linear light.

    Parameters
    ----------
    linear_rgb : (M, N, 3) ndarray of float32
        Linear light, 0 to 1 (sRGB transfer undone), resampled on a regular grid of the card.
    inside : (M, N) ndarray of bool
        The cell lies on the sheet and in the photo.
    map_x_px, map_y_px : (M, N) ndarray of float32
        Where each cell's centre lies in the full photo.
    cell_mm : float
        Side of a cell.
    x0_mm, y0_mm : float
        Card position of the centre of cell ``[0, 0]``.
    size_mm : (float, float)
        Width and height of the sheet; assumed when ``scale_known`` is False.
    scale_known : bool
        Whether mm are real.
    found_by : str
        How the sheet was found: ``printed-card``, ``sheet``, ``sheet-cropped`` or ``none``.
    corners_px : (4, 2) ndarray of float64
        Sheet corners in the full photo, clockwise from the card's top left; NaN when unknown.
    outline_px : (K, 2) ndarray of float64
        The sheet's outline in the full photo, a closed polygon; empty when unknown.
    geometry_u_mm : float
        Standard uncertainty (1 sigma) of a position on the card from edge finding and curl.
    aspect_u_frac : float
        Relative standard uncertainty of the height-to-width ratio.
    flags : tuple of str
        See `flags`.
    method : str
        Name of what was actually done, for provenance.
    printed : PrintedFacts or None
        What a printed target card says; None for a plain sheet.
    surface : Surface or None
        The fitted sheet in space with its covariance; None when no sheet was found.
    """

    linear_rgb: FloatMap
    inside: Mask
    map_x_px: FloatMap
    map_y_px: FloatMap
    cell_mm: float
    x0_mm: float
    y0_mm: float
    size_mm: tuple[float, float]
    scale_known: bool
    found_by: str
    corners_px: Float
    outline_px: Float
    geometry_u_mm: float
    aspect_u_frac: float
    flags: Flags = ()
    method: str = ""
    printed: PrintedFacts | None = None
    surface: Surface | None = None

    def __post_init__(self) -> None:
        check_array("linear_rgb", self.linear_rgb, (None, None, 3), np.float32)
        shape = self.linear_rgb.shape[:2]
        check_array("inside", self.inside, shape, np.bool_)
        check_array("map_x_px", self.map_x_px, shape, np.float32)
        check_array("map_y_px", self.map_y_px, shape, np.float32)
        check_array("corners_px", self.corners_px, (4, 2), np.float64)
        check_array("outline_px", self.outline_px, (None, 2), np.float64)

    def to_cells(self, points_mm: Float) -> Float:
        """Convert ``(K, 2)`` card positions in mm to (column, row) in cells."""
        origin = np.array([self.x0_mm, self.y0_mm])
        return np.asarray((np.asarray(points_mm, float).reshape(-1, 2) - origin) / self.cell_mm)

    def to_mm(self, cells: Float) -> Float:
        """Convert ``(K, 2)`` (column, row) in cells to card positions in mm."""
        origin = np.array([self.x0_mm, self.y0_mm])
        return np.asarray(np.asarray(cells, float).reshape(-1, 2) * self.cell_mm + origin)

    def to_photo(self, points_mm: Float) -> Float:
        """Convert ``(K, 2)`` card positions in mm to full-photo pixels.

        Positions beyond the grid are carried on linearly from its border.
        """
        cells = self.to_cells(points_mm)
        rows, cols = self.inside.shape
        held = np.clip(cells, 0, [cols - 1, rows - 1])
        at = np.clip(held, 1, [cols - 2, rows - 2])

        def sample(where: Float) -> Float:
            # OpenCV remaps at most 32767 positions a row; a column of them is always fine.
            xy = np.ascontiguousarray(where, np.float32)
            out = [
                cv2.remap(m, xy[:, None, 0], xy[:, None, 1], cv2.INTER_LINEAR)[:, 0]
                for m in (self.map_x_px, self.map_y_px)
            ]
            return np.stack(out, axis=1).astype(float)

        if len(cells) == 0:
            return np.empty((0, 2))
        step_x = (sample(at + [1, 0]) - sample(at - [1, 0])) / 2
        step_y = (sample(at + [0, 1]) - sample(at - [0, 1])) / 2
        beyond = cells - held
        return sample(held) + step_x * beyond[:, :1] + step_y * beyond[:, 1:]

    def position_covariance_mm2(self, points_mm: Float) -> Float:
        """Covariance of card positions as far as they rest on where the sheet lies in space.

        Scale is left out where it rests on a rule (``printed.scale_u_frac``) or on nothing.

        Parameters
        ----------
        points_mm : (K, 2) ndarray of float64
            Where.

        Returns
        -------
        (2 K, 2 K) ndarray of float64
            Rows run x and y of the first position, x and y of the second and so on. Without a
            fitted sheet the stretch of either axis is uncertain by ``aspect_u_frac`` over root 2.
        """
        points = np.asarray(points_mm, float).reshape(-1, 2)
        if self.surface is None:
            stretch = np.zeros((len(points), 2, 2))
            stretch[:, [0, 1], [0, 1]] = points * self.aspect_u_frac / math.sqrt(2)
            rows = stretch.reshape(-1, 2)
            return np.asarray(rows @ rows.T)
        x, y = (points / (np.array(self.size_mm) / 2)).T
        unit_mm2 = self.size_mm[0] * self.size_mm[1] / 4
        return self.surface.position_covariance(x, y) * unit_mm2

    def px_per_mm(self, point_mm: Float) -> float:
        """Return the local scale: full-photo pixels per mm (root of the area ratio)."""
        here = np.asarray(point_mm, float).reshape(1, 2)
        x = self.to_photo(here + [[0.5, 0.0]]) - self.to_photo(here - [[0.5, 0.0]])
        y = self.to_photo(here + [[0.0, 0.5]]) - self.to_photo(here - [[0.0, 0.5]])
        return float(math.sqrt(abs(x[0, 0] * y[0, 1] - x[0, 1] * y[0, 0])))
