"""Every frozen dataclass that crosses a border of stages 1 to 5: start reading here.

Frames. *Photo*: pixels of the full-size upright photo, ``x_px`` right, ``y_px`` down, integer =
pixel centre. *Card*: mm, ``x_mm`` right, ``y_mm`` down, origin in the middle of the sheet. Where
the sheet's size is not known the card frame is an assumed one (``RectifiedCard.scale_known`` is
False) and ``_mm`` values are in assumed millimetres, good for angles and ratios only.

Directions are degrees clockwise from 12 o'clock on the card, in ``[0, 360)``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, ClassVar

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.pattern.card import PrintedFacts as PrintedFacts  # part of a RectifiedCard

Float = NDArray[np.floating[Any]]
FloatMap = NDArray[np.float32]
Mask = NDArray[np.bool_]
Labels = NDArray[np.int32]
Flags = tuple[str, ...]


def _check(
    name: str, array: NDArray[Any], shape: tuple[int | None, ...], dtype: type[np.generic]
) -> None:
    """Raise when an array has the wrong shape or dtype, and make it read-only."""
    fits = len(array.shape) == len(shape) and all(
        want is None or want == got for want, got in zip(shape, array.shape, strict=True)
    )
    if not fits:
        wanted = "(" + ", ".join("any" if n is None else str(n) for n in shape) + ")"
        raise InputError(f"{name}: expected shape {wanted}, got {array.shape}")
    if array.dtype != dtype:
        raise InputError(f"{name}: expected dtype {np.dtype(dtype)}, got {array.dtype}")
    array.flags.writeable = False


@dataclass(frozen=True, kw_only=True)
class Photo:
    """An upright photo.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Upright pixels, sRGB-encoded, possibly decoded at a reduced scale.
    width_px, height_px : int
        Size of the full upright photo; every ``_px`` value in a result counts in these pixels.
    file : str
        Where it came from; empty for an array.
    sha256 : str
        Of the file's bytes (of the pixels, for an array).
    taken_at : str
        ISO 8601 local time from EXIF; empty when unknown.
    focal_35mm : float
        Focal length as equivalent on 36 x 24 mm film, from EXIF; NaN when unknown.
    flags : tuple of str
        See `flags`.
    jpeg_quality : float
        How strongly a JPEG was compressed, 1 (most) to 100, on the scale most encoders use; NaN
        for other formats and for arrays.
    """

    rgb: NDArray[np.uint8]
    width_px: int
    height_px: int
    file: str = ""
    sha256: str = ""
    taken_at: str = ""
    focal_35mm: float = math.nan
    flags: Flags = ()
    jpeg_quality: float = math.nan

    def __post_init__(self) -> None:
        _check("rgb", self.rgb, (None, None, 3), np.uint8)

    @property
    def decode_scale(self) -> float:
        """Full-photo pixels per pixel of ``rgb``."""
        return float(self.width_px / self.rgb.shape[1])

    def to_full(self, points: Float) -> Float:
        """Convert ``(K, 2)`` positions in ``rgb`` to positions in the full photo."""
        return np.asarray((np.asarray(points, float) + 0.5) * self.decode_scale - 0.5)

    def to_decoded(self, points: Float) -> Float:
        """Convert ``(K, 2)`` positions in the full photo to positions in ``rgb``."""
        return np.asarray((np.asarray(points, float) + 0.5) / self.decode_scale - 0.5)


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

    def __post_init__(self) -> None:
        _check("linear_rgb", self.linear_rgb, (None, None, 3), np.float32)
        shape = self.linear_rgb.shape[:2]
        _check("inside", self.inside, shape, np.bool_)
        _check("map_x_px", self.map_x_px, shape, np.float32)
        _check("map_y_px", self.map_y_px, shape, np.float32)
        _check("corners_px", self.corners_px, (4, 2), np.float64)
        _check("outline_px", self.outline_px, (None, 2), np.float64)

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

    def px_per_mm(self, point_mm: Float) -> float:
        """Return the local scale: full-photo pixels per mm (root of the area ratio)."""
        here = np.asarray(point_mm, float).reshape(1, 2)
        x = self.to_photo(here + [[0.5, 0.0]]) - self.to_photo(here - [[0.5, 0.0]])
        y = self.to_photo(here + [[0.0, 0.5]]) - self.to_photo(here - [[0.0, 0.5]])
        return float(math.sqrt(abs(x[0, 0] * y[0, 1] - x[0, 1] * y[0, 0])))


@dataclass(frozen=True, kw_only=True)
class WetnessMap:
    """How wet the paper is, cell by cell.

    Parameters
    ----------
    card : RectifiedCard
        The card it was made from; same grid.
    wetness : (M, N) ndarray of float32
        0 dry, 1 saturated; unfiltered, so noise goes below 0 and above 1. NaN nowhere: cells
        that cannot be judged hold 0 and are False in ``valid``.
    smooth : (M, N) ndarray of float32
        The same, filtered for detection only.
    valid : (M, N) ndarray of bool
        False outside the sheet, under print or handwriting, in glare.
    noise : float
        Standard deviation of ``smooth`` on dry paper.
    contrast : float
        Optical depth (natural-log ratio of dry to wet light) of saturated paper.
    threshold_u : float
        Standard uncertainty of the wetness scale itself, as a fraction.
    flags : tuple of str
        See `flags`.
    method : str
        Name of what was actually done, for provenance.
    paper : (M, N) ndarray of float32, optional
        Natural log of the dry sheet's light as it was modelled, mean of the colours.
    """

    card: RectifiedCard
    wetness: FloatMap
    smooth: FloatMap
    valid: Mask
    noise: float
    contrast: float
    threshold_u: float
    flags: Flags = ()
    method: str = ""
    paper: FloatMap | None = None

    def __post_init__(self) -> None:
        shape = self.card.inside.shape
        if self.paper is not None:
            _check("paper", self.paper, shape, np.float32)
        _check("wetness", self.wetness, shape, np.float32)
        _check("smooth", self.smooth, shape, np.float32)
        _check("valid", self.valid, shape, np.bool_)


@dataclass(frozen=True, kw_only=True)
class NozzleCentre:
    """Where the nozzle stood over the card: the foot of the perpendicular from its tip.

    Parameters
    ----------
    x_mm, y_mm : float
        Card position.
    covariance_mm2 : (2, 2) ndarray of float64
        Of (x, y).
    ring_radius_mm : float
        Radius of the ring of impact points; NaN when they do not lie on one.
    ring_offset_mm : (float, float)
        Ring centre minus nozzle centre; what a tilted nozzle does. NaN without a ring.
    found_by : str
        ``axes``, ``axes+ring`` or ``ring``.
    flags : tuple of str
        See `flags`.
    """

    x_mm: float
    y_mm: float
    covariance_mm2: Float
    ring_radius_mm: float
    ring_offset_mm: tuple[float, float]
    found_by: str
    flags: Flags = ()

    def __post_init__(self) -> None:
        _check("covariance_mm2", self.covariance_mm2, (2, 2), np.float64)

    @property
    def u95_mm(self) -> float:
        """Radius of the circle that holds the centre with 95 % probability."""
        # For a round normal the 95 % radius is sqrt(-2 ln 0.05) sigma; the larger axis is taken.
        return float(math.sqrt(-2 * math.log(0.05) * np.linalg.eigvalsh(self.covariance_mm2)[-1]))


@dataclass(frozen=True, kw_only=True)
class Mark:
    """Something wet, or like it, that is not a plume.

    Parameters
    ----------
    kind : str
        ``drip`` (at the centre), ``drop``, ``splash``, ``fingerprint``, ``stain``, or ``thing``
        (goes on beyond the sheet).
    x_mm, y_mm : float
        Centroid on the card.
    area_mm2 : float
        Wetted area.
    """

    kind: str
    x_mm: float
    y_mm: float
    area_mm2: float


@dataclass(frozen=True, kw_only=True)
class PlumeSegmentation:
    """Which cell belongs to which plume.

    Parameters
    ----------
    labels : (M, N) ndarray of int32
        0 background, 1 to K the plumes (their domain, wet cells and the halo around them).
    core : (M, N) ndarray of bool
        Cells at or above the wetness threshold that belong to the plume itself (drops left out).
    count : int
        K.
    marks : tuple of Mark
        What is wet but no plume.
    merged : tuple of int
        Labels that hold more than one plume.
    cut : tuple of int
        Labels of plumes that touched a neighbour and were cut from it.
    method : str
        Name of what was actually done, for provenance.
    """

    labels: Labels
    core: Mask
    count: int
    marks: tuple[Mark, ...] = ()
    merged: tuple[int, ...] = ()
    cut: tuple[int, ...] = ()
    flags: Flags = ()
    method: str = ""

    def __post_init__(self) -> None:
        _check("labels", self.labels, (None, None), np.int32)
        _check("core", self.core, self.labels.shape, np.bool_)


@dataclass(frozen=True, kw_only=True)
class PlumeCatalogue:
    """One row per plume, clockwise from 12 o'clock.

    Every array has one entry per plume; uncertainties (``_u_``) are expanded, 95 %.

    Parameters
    ----------
    direction_deg, direction_u_deg : (K,) ndarray of float64
        From the centre, clockwise from 12 o'clock. The uncertainty is for a direction relative to
        the other plumes.
    width_deg : (K,) ndarray of float64
        Angle under which the wetted patch is seen from the centre.
    near_mm, reach_mm : (K,) ndarray of float64
        Distance of the wetted patch's near and far end from the centre.
    area_mm2, area_u_mm2 : (K,) ndarray of float64
        Wetted area.
    area_frac, area_u_frac : (K,) ndarray of float64
        Share of the wetted area of all plumes.
    centroid_mm, centroid_px : (K, 2) ndarray of float64
        Centroid of the wetted patch on the card and in the full photo.
    axis_deg : (K,) ndarray of float64
        Direction of the patch's own long axis, pointing away from the centre.
    raggedness : (K,) ndarray of float64
        Outline length over that of the ellipse of equal second moments; 1 is smooth.
    drops_frac : (K,) ndarray of float64
        Wetted area in separate drops around the plume, over the plume's area.
    peak : (K,) ndarray of float64
        Wetness in the plume's middle.
    label : (K,) ndarray of int32
        The label of the plume in the segmentation.
    flags : tuple of tuple of str
        Per plume, see `flags`.
    rotation_u_deg : float
        Expanded uncertainty of the whole pattern's turn.
    outlines_px : tuple of (L, 2) ndarray of float64
        Outline of each plume in the full photo.
    """

    direction_deg: Float
    direction_u_deg: Float
    width_deg: Float
    near_mm: Float
    reach_mm: Float
    area_mm2: Float
    area_u_mm2: Float
    area_frac: Float
    area_u_frac: Float
    centroid_mm: Float
    centroid_px: Float
    axis_deg: Float
    raggedness: Float
    drops_frac: Float
    peak: Float
    label: Labels
    flags: tuple[Flags, ...]
    rotation_u_deg: float
    outlines_px: tuple[Float, ...] = field(repr=False, default=())

    _ROWS: ClassVar[tuple[str, ...]] = (
        *("direction_deg", "direction_u_deg", "width_deg", "near_mm", "reach_mm"),
        *("area_mm2", "area_u_mm2", "area_frac", "area_u_frac"),
        *("axis_deg", "raggedness", "drops_frac", "peak"),
    )

    def __post_init__(self) -> None:
        n = len(self.direction_deg)
        for name in self._ROWS:
            _check(name, getattr(self, name), (n,), np.float64)
        _check("centroid_mm", self.centroid_mm, (n, 2), np.float64)
        _check("centroid_px", self.centroid_px, (n, 2), np.float64)
        _check("label", self.label, (n,), np.int32)
        if len(self.flags) != n:
            raise InputError(f"flags: expected {n} rows, got {len(self.flags)}")

    def __len__(self) -> int:
        return len(self.direction_deg)
