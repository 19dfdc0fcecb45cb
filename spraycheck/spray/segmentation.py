"""Stage 4: which cell belongs to which plume, and what is wet but no plume.

Plumes are radial: a patch is cut along rays from the centre where its angular profile has valleys.
A patch is a plume when it lies where plumes land, is large enough, and points at the centre;
everything else wet is a mark (drip, drop, splash, fingerprint, stain) and never counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.constants import WET_THRESHOLD_FRAC
from spraycheck.errors import SprayNotFoundError
from spraycheck.spray.containers import Mark, NozzleCentre, PlumeSegmentation, WetnessMap
from spraycheck.spray.patches import (
    Patch,
    away_from_edge,
    cut_touching,
    find_patches,
    leans_on_edge,
)

MAX_PLUME_DEG = 75.0
"""A patch seen under a wider angle is not one plume: neighbours of a three-hole nozzle are 120
degrees apart, and a plume under more than half of that touches them."""


ROUND = 1.25
"""Elongation below which a patch has no direction to be asked about (chosen: paper grain alone
draws a round blot out by a tenth or two)."""

RADIAL_DEG, SURELY_RADIAL_DEG = 25.0, 20.0
"""Lean against its ray up to which a patch may be a plume, and one small enough to be a drop
(chosen: plumes that lost a flank to a neighbour lean by up to 9 degrees, a stray mark by any)."""

BAND, NARROW_BAND = (0.35, 2.6), (0.6, 1.5)
"""Distance from the centre, in typical plume distances, where plumes land, and where one small
enough to be a drop must lie. Derived, then rounded: holes of one slanted nozzle may lie 55 and 75
degrees from its axis, and tan 75 / tan 55 = 2.6; beside one at 65 degrees they land at 0.67 and
1.74 of its distance."""

SMALL_SHARE = 0.15
"""A patch below this share of the usual area must look like a plume to count as one (chosen: a hole
with an eighth of its flow wets about this much)."""

TWO_ACROSS = 1.4
"""Width in mm, over the usual one, from which a plume may be two (chosen: two that touch are nearly
twice as wide; a steep hole's plume lies nearer the centre, looks wide from there, and is not)."""

DROP_MM2, SPLASH_MM2, PRINT_MM2 = 12.0, 60.0, 500.0
"""Largest drop (4 mm across), splash (9 mm) and fingerprint (25 mm): names for the reader only,
they change no number."""


@dataclass(frozen=True, kw_only=True)
class _Shape:
    """What tells a plume from a mark."""

    patch: Patch
    radius: float
    width_deg: float
    elongation: float
    off_radial_deg: float
    sigma_along: float

    @property
    def width_mm(self) -> float:
        """Across the ray."""
        return 2 * self.radius * math.tan(math.radians(self.width_deg) / 2)


def segment_plumes(
    wet: WetnessMap,
    centre: NozzleCentre,
    *,
    threshold: float = WET_THRESHOLD_FRAC,
    min_share: float = 0.04,
    min_area_mm2: float = 4.0,
) -> PlumeSegmentation:
    """Separate the plumes from one another and from everything else that is wet.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    centre : NozzleCentre
        From stage 3.
    threshold : float
        Wetness from which paper counts as wetted.
    min_share : float
        Patches below this fraction of the larger ones' area are drops.
    min_area_mm2 : float
        And so are patches below this area.

    Returns
    -------
    PlumeSegmentation
        A label image; zero plumes are a valid answer only where the error below does not apply.

    Raises
    ------
    SprayNotFoundError
        No patch is a plume: a drip or a stain alone is not a spray pattern.
    """
    cell = wet.card.cell_mm
    at = np.array([centre.x_mm, centre.y_mm])
    shapes = [
        _shape(piece, at)
        for piece in cut_touching(
            find_patches(wet, threshold=threshold), at, threshold=threshold, cell_mm=cell
        )
    ]
    plumes, rest = _sorted_out(shapes, min_share=min_share, min_area=min_area_mm2)
    if len(plumes) < 2:
        what = "only one plume" if plumes else "no spray plume"
        raise SprayNotFoundError(
            f"{what} found beside {len(rest)} wet marks, expected several that point at a centre",
            stage="segmentation",
            hint="a drip or a stain is not a pattern: spray a fresh card with one brisk stroke",
        )
    plumes.sort(key=lambda s: _direction(s.patch.centroid - at))

    labels = np.zeros(wet.smooth.shape, np.int32)
    for number, shape in enumerate(plumes, start=1):
        labels[shape.patch.rows, shape.patch.cols] = number
    # All wetted cells of a patch count: a weak plume can be nothing but specks.
    core = np.asarray((wet.smooth >= threshold) & (labels > 0))
    typical = float(np.median([s.width_deg for s in plumes]))
    across = float(np.median([s.width_mm for s in plumes]))
    merged = tuple(
        number
        for number, s in enumerate(plumes, start=1)
        if s.width_deg > max(1.75 * typical, typical + 12)
        and s.width_mm > TWO_ACROSS * across
        and s.elongation < 1.4
    )
    ring = float(np.median([s.radius for s in plumes]))
    marks = tuple(_mark(s, ring) for s in rest)
    return PlumeSegmentation(
        labels=labels,
        core=core,
        count=len(plumes),
        marks=marks,
        merged=merged,
        cut=tuple(number for number, s in enumerate(plumes, start=1) if s.patch.cut),
        flags=(flag.MERGED,) if merged else (),
        method=f"wetness at least {threshold:g}, cut along rays at valleys of the angular profile",
    )


def _direction(d: Float) -> float:
    return math.degrees(math.atan2(d[0], -d[1])) % 360


def _shape(patch: Patch, centre: Float) -> _Shape:
    x, y = patch.centroid - centre
    radius = math.hypot(x, y)
    along, across, angle = patch.spread()
    ray = math.atan2(y, x)
    off = abs((angle - ray + math.pi / 2) % math.pi - math.pi / 2)
    # Full width of an even strip of standard deviation s is s * sqrt(12).
    lateral = math.hypot(across * math.cos(off), along * math.sin(off))
    width = 2 * math.degrees(math.atan2(lateral * math.sqrt(3), max(radius, 1e-6)))
    return _Shape(
        patch=patch,
        radius=radius,
        width_deg=width,
        elongation=along / across,
        off_radial_deg=math.degrees(off),
        sigma_along=along,
    )


def _sorted_out(
    shapes: list[_Shape], *, min_share: float, min_area: float
) -> tuple[list[_Shape], list[_Shape]]:
    """Sort shapes into plumes and the rest.

    The large, radial patches set the scale (area, radius); the others are measured against them.
    """
    clear = {id(patch) for patch in away_from_edge([s.patch for s in shapes])}
    sure = [
        s
        for s in shapes
        if id(s.patch) in clear
        and not leans_on_edge(s.patch)
        and s.radius > 1.5 * s.sigma_along
        and (s.elongation < ROUND or s.off_radial_deg < RADIAL_DEG)
        and s.width_deg < MAX_PLUME_DEG
    ]
    if not sure:
        return [], shapes
    most = max(s.patch.area_mm2 for s in sure)
    large = [s for s in sure if s.patch.area_mm2 >= 0.3 * most]
    area = float(np.median([s.patch.area_mm2 for s in large]))
    radius = float(np.median([s.radius for s in large]))
    plumes: list[_Shape] = []
    rest: list[_Shape] = []
    for s in shapes:
        share = s.patch.area_mm2 / area
        radial = s.elongation < ROUND or s.off_radial_deg < RADIAL_DEG
        # Small things must look the part: long, radial, on the ring. A drop is round.
        small = share < SMALL_SHARE
        looks = not small or (s.elongation > ROUND and s.off_radial_deg < SURELY_RADIAL_DEG)
        nearest, farthest = NARROW_BAND if small else BAND
        band = nearest * radius < s.radius < farthest * radius
        good = (
            s.patch.area_mm2 >= max(min_area, min_share * area)
            and radial
            and looks
            and band
            and s.radius > 1.2 * s.sigma_along
            and s.width_deg < MAX_PLUME_DEG
            and not leans_on_edge(s.patch)
        )
        (plumes if good else rest).append(s)
    return plumes, rest


def _mark(shape: _Shape, ring: float) -> Mark:
    """Name what is wet but no plume."""
    x, y = shape.patch.centroid
    area = shape.patch.area_mm2
    if shape.radius < 0.3 * ring:
        kind = "drip"
    elif leans_on_edge(shape.patch):
        kind = "stain"
    elif area < DROP_MM2:
        kind = "drop"
    elif area < SPLASH_MM2:
        kind = "splash"
    elif area < PRINT_MM2 and shape.elongation < 1.8:
        kind = "fingerprint"
    else:
        kind = "stain"
    return Mark(kind=kind, x_mm=float(x), y_mm=float(y), area_mm2=area)
