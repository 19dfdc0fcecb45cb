"""What is measured of the spray, blind to what is expected.

Frames as in `spraycheck.photo.containers`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import IntFlag
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap, Labels, Mask, check_array
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.errors import InputError
from spraycheck.flags import Flags

_OUTSIDE = 0.05  # what a 95 % region leaves outside


class CellFlag(IntFlag):
    """What is special about a cell of the card; a cell may carry several."""

    EDGE = 1
    """Outside the sheet or the photo, or in the sheet's rim."""
    GLARE = 2
    """A lamp is mirrored there."""
    SHADOW = 4
    """Part of something dark that lies along the sheet's border for longer than any plume."""
    FOREIGN_OBJECT = 8
    """Under something that lies on the card or over its edge."""
    INK = 16
    """Thin print or handwriting, filled from the paper beside it and judged."""


NOT_JUDGED = CellFlag.EDGE | CellFlag.GLARE | CellFlag.SHADOW | CellFlag.FOREIGN_OBJECT
"""The flags that keep a cell from being judged."""


@dataclass(frozen=True, kw_only=True)
class WetnessMap:
    """How wet the paper is, cell by cell.

    Parameters
    ----------
    card : RectifiedCard
        The card it was made from; same grid.
    wetness : (M, N) ndarray of float32
        0 dry, 1 saturated; unfiltered, so noise goes below 0 and above 1. NaN nowhere: cells
        that are not judged hold 0.
    smooth : (M, N) ndarray of float32
        The same, filtered for detection only.
    cell_flags : (M, N) ndarray of uint8
        What is special about each cell, and why it is not judged: see `CellFlag`.
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
    """

    card: RectifiedCard
    wetness: FloatMap
    smooth: FloatMap
    cell_flags: NDArray[np.uint8]
    noise: float
    contrast: float
    threshold_u: float
    flags: Flags = ()
    method: str = ""

    def __post_init__(self) -> None:
        shape = self.card.inside.shape
        check_array("wetness", self.wetness, shape, np.float32)
        check_array("smooth", self.smooth, shape, np.float32)
        check_array("cell_flags", self.cell_flags, shape, np.uint8)

    @cached_property
    def valid(self) -> Mask:
        """Cells that are judged, ``(M, N)`` bool: those without any flag of `NOT_JUDGED`."""
        judged = (self.cell_flags & np.uint8(NOT_JUDGED)) == 0
        judged.flags.writeable = False
        return np.asarray(judged)


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
        check_array("covariance_mm2", self.covariance_mm2, (2, 2), np.float64)

    @property
    def u95_mm(self) -> float:
        """Radius of the circle that holds the centre with 95 % probability."""
        # For a round normal the 95 % radius is sqrt(-2 ln 0.05) sigma; the larger axis is taken.
        return float(
            math.sqrt(-2 * math.log(_OUTSIDE) * np.linalg.eigvalsh(self.covariance_mm2)[-1])
        )


@dataclass(frozen=True, kw_only=True)
class Mark:
    """Something wet, or like it, that is not a plume.

    Parameters
    ----------
    kind : str
        ``drip`` (at the centre), ``drop``, ``splash``, ``fingerprint``, ``stain``, or ``thing``
        (an object on the card or over its edge).
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
        0 background, 1 to K the plumes: their supports, wet cells and the halo around them.
    mask : (M, N) ndarray of bool
        The plumes' cells at or above the wetness threshold.
    count : int
        K.
    centre : NozzleCentre
        About which they were told apart and cut.
    marks : tuple of Mark
        What is wet but no plume.
    merged : tuple of int
        Labels that hold more than one plume.
    cut : tuple of int
        Labels of plumes that touched a neighbour and were cut from it.
    threshold_frac : float
        Wetness from which paper counted as wetted.
    method : str
        Name of what was actually done, for provenance.
    """

    labels: Labels
    mask: Mask
    count: int
    centre: NozzleCentre
    marks: tuple[Mark, ...] = ()
    merged: tuple[int, ...] = ()
    cut: tuple[int, ...] = ()
    threshold_frac: float = WET_THRESHOLD_FRAC
    flags: Flags = ()
    method: str = ""

    def __post_init__(self) -> None:
        check_array("labels", self.labels, (None, None), np.int32)
        check_array("mask", self.mask, self.labels.shape, np.bool_)

    @property
    def core(self) -> Mask:
        """The same as ``mask``, under its former name."""
        return self.mask


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
    inner_mm, outer_mm : (K,) ndarray of float64
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
    inner_mm: Float
    outer_mm: Float
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
        *("direction_deg", "direction_u_deg", "width_deg", "inner_mm", "outer_mm"),
        *("area_mm2", "area_u_mm2", "area_frac", "area_u_frac"),
        *("axis_deg", "raggedness", "drops_frac", "peak"),
    )

    def __post_init__(self) -> None:
        n = len(self.direction_deg)
        for name in self._ROWS:
            check_array(name, getattr(self, name), (n,), np.float64)
        check_array("centroid_mm", self.centroid_mm, (n, 2), np.float64)
        check_array("centroid_px", self.centroid_px, (n, 2), np.float64)
        check_array("label", self.label, (n,), np.int32)
        if len(self.flags) != n:
            raise InputError(f"flags: expected {n} rows, got {len(self.flags)}")

    def __len__(self) -> int:
        return len(self.direction_deg)

    @property
    def near_mm(self) -> Float:
        """The same as ``inner_mm``, under its former name."""
        return self.inner_mm

    @property
    def reach_mm(self) -> Float:
        """The same as ``outer_mm``, under its former name."""
        return self.outer_mm
