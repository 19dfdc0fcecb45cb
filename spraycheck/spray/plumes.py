"""Stages 3 and 4: where the nozzle stood, and which cell belongs to which plume: one estimate.

Neither is known without the other: plumes that touch are cut along rays from the centre, and the
centre is where the plumes point back to. So patches are found once, and then in one loop they are
cut about a first guess, the centre is located from the pieces, and so on until it rests.

A patch is a plume when it lies where plumes land, is large enough, and points at the centre;
everything else wet is a mark (drip, drop, splash, fingerprint, stain) and never counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from spraycheck import flags as flag
from spraycheck.arrays import Float
from spraycheck.errors import CentreNotFoundError, SprayNotFoundError
from spraycheck.spray.centre import Axes, combine, first_guesses, fit_axes
from spraycheck.spray.containers import (
    CellFlag,
    Mark,
    NozzleCentre,
    PlumeSegmentation,
    WetnessMap,
)
from spraycheck.spray.patches import (
    Patch,
    away_from_edge,
    cut_touching,
    find_patches,
    leans_on_edge,
    usual_area,
)
from spraycheck.spray.settings import PLUMES, PlumeSettings
from spraycheck.stats.circular import wrap_360


def segment_plumes(
    wet: WetnessMap,
    centre: NozzleCentre | None = None,
    *,
    settings: PlumeSettings = PLUMES,
) -> PlumeSegmentation:
    """Locate the nozzle and separate the plumes from one another and from all else that is wet.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    centre : NozzleCentre, optional
        Where the nozzle stood, if that is known from elsewhere; located when not given.
    settings : PlumeSettings
        The numbers that decide.

    Returns
    -------
    PlumeSegmentation
        A label image, and the centre it was made about.

    Raises
    ------
    SprayNotFoundError
        Nothing is wet, or fewer than two patches are plumes: a drip or a stain alone is not a
        spray pattern.
    CentreNotFoundError
        Fewer than two plumes with a direction.
    """
    s = settings
    patches = find_patches(wet, settings=s)
    if centre is None:
        centre = _locate(patches, wet, s)
    at = np.array([centre.x_mm, centre.y_mm])
    shapes = [_Shape.of(piece, at) for piece in cut_touching(patches, at, s)]
    plumes, rest = _sorted_out(shapes, s)
    if len(plumes) < s.least_plumes:
        raise SprayNotFoundError(
            "one-plume" if plumes else "no-pattern", stage="segmentation", marks=len(rest)
        )
    plumes.sort(key=lambda shape: shape.direction_deg)
    labels = np.zeros(wet.smooth.shape, np.int32)
    for number, shape in enumerate(plumes, start=1):
        labels[shape.patch.rows, shape.patch.cols] = number
    merged = _merged(plumes, s)
    ring = float(np.median([shape.radius for shape in plumes]))
    return PlumeSegmentation(
        labels=labels,
        # All wetted cells of a patch count: a weak plume can be nothing but specks.
        mask=np.asarray((wet.smooth >= s.threshold_frac) & (labels > 0)),
        count=len(plumes),
        centre=centre,
        marks=(*(_mark(shape, ring, s) for shape in rest), *_objects(wet)),
        merged=merged,
        cut=tuple(number for number, p in enumerate(plumes, start=1) if p.patch.cut),
        threshold_frac=s.threshold_frac,
        flags=(flag.MERGED,) if merged else (),
        method=(
            f"wetness at least {s.threshold_frac:g}, cut along rays at valleys of the angular "
            "profile"
        ),
    )


def locate_centre(wet: WetnessMap, *, settings: PlumeSettings = PLUMES) -> NozzleCentre:
    """Find the foot of the perpendicular from the nozzle's tip to the card.

    The same estimate as that of `segment_plumes`, without the plumes.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    settings : PlumeSettings
        The numbers that decide.

    Raises
    ------
    SprayNotFoundError
        No patch looks like a plume.
    CentreNotFoundError
        Fewer than two plumes with a direction.
    """
    s = settings
    return _locate(find_patches(wet, settings=s), wet, s)


def _locate(patches: Sequence[Patch], wet: WetnessMap, settings: PlumeSettings) -> NozzleCentre:
    """Cut and locate in turn, from two first guesses where the first does not convince."""
    s = settings
    candidates = _candidates(patches, s)
    if not candidates:
        raise SprayNotFoundError("no-plume", stage="centre", patches=len(patches))
    best = None
    most = 0
    for start in first_guesses(candidates, s):
        at = start
        for _ in range(s.rounds):
            pieces = _candidates(cut_touching(candidates, at, s), s)
            axes = Axes.of(pieces, at, scale_known=wet.card.scale_known, settings=s)
            most = max(most, len(axes))
            if len(axes) < s.least_plumes:
                break
            fit = fit_axes(axes, at, s)
            at = fit.at
        else:
            if best is None or fit.agreeing > best[1].agreeing:
                best = axes, fit
            if fit.agreeing >= s.agreeing_frac * len(axes):
                break
    if best is None:
        raise CentreNotFoundError("no-centre", stage="centre", found=most, least=s.least_plumes)
    return combine(*best, wet.card, s)


def _candidates(patches: Sequence[Patch], settings: PlumeSettings) -> list[Patch]:
    """Patches large enough to be plumes and not lying over the sheet's edge."""
    free = [p for p in patches if not leans_on_edge(p, settings)] or list(patches)
    free = away_from_edge(free, settings)
    least = settings.min_share_frac * usual_area(free, settings)
    return [p for p in free if p.area_mm2 >= least]


_STRIP = 12**0.5
"""Width of an even strip over its standard deviation."""


@dataclass(frozen=True, kw_only=True)
class _Shape:
    """What tells a plume from a mark, as seen from the centre."""

    patch: Patch
    radius: float
    direction_deg: float
    width_deg: float
    width_mm: float
    elongation: float
    off_radial_deg: float

    @classmethod
    def of(cls, patch: Patch, centre: Float) -> _Shape:
        m = patch.moments
        x, y = m.x - centre[0], m.y - centre[1]
        radius = math.hypot(x, y)
        off = abs((m.angle_rad - math.atan2(y, x) + math.pi / 2) % math.pi - math.pi / 2)
        width = _STRIP * math.hypot(m.across * math.cos(off), m.along * math.sin(off))
        return cls(
            patch=patch,
            radius=radius,
            direction_deg=wrap_360(math.degrees(math.atan2(x, -y))),
            width_deg=math.degrees(2 * math.atan2(width / 2, radius)),
            width_mm=width,
            elongation=m.along / m.across,
            off_radial_deg=math.degrees(off),
        )

    def may_be_plume(self, settings: PlumeSettings, *, reach: float) -> bool:
        """Whether size and place apart it looks like one plume, ``reach`` lengths away."""
        s = settings
        return (
            not leans_on_edge(self.patch, s)
            and self.radius > reach * self.patch.moments.along
            and (self.elongation < s.round_elongation or self.off_radial_deg < s.radial_deg)
            and self.width_deg < s.widest_deg
        )


def _sorted_out(shapes: list[_Shape], settings: PlumeSettings) -> tuple[list[_Shape], list[_Shape]]:
    """Sort shapes into plumes and the rest.

    The large, radial patches set the scale (area, radius); the others are measured against them.
    """
    s = settings
    clear = {id(patch) for patch in away_from_edge([one.patch for one in shapes], s)}
    sure = [
        one for one in shapes if id(one.patch) in clear and one.may_be_plume(s, reach=s.sure_reach)
    ]
    if not sure:
        return [], shapes
    most = max(one.patch.area_mm2 for one in sure)
    large = [one for one in sure if one.patch.area_mm2 >= s.usual_frac * most]
    area = float(np.median([one.patch.area_mm2 for one in large]))
    radius = float(np.median([one.radius for one in large]))
    plumes: list[_Shape] = []
    rest: list[_Shape] = []
    for one in shapes:
        # Small things must look the part: long, radial, on the ring. A drop is round.
        small = one.patch.area_mm2 < s.small_frac * area
        straight = one.elongation > s.round_elongation and one.off_radial_deg < s.small_radial_deg
        nearest, farthest = s.small_band if small else s.band
        good = (
            one.may_be_plume(s, reach=s.plume_reach)
            and one.patch.area_mm2 >= max(s.min_area_mm2, s.min_share_frac * area)
            and nearest * radius < one.radius < farthest * radius
            and (straight or not small)
        )
        (plumes if good else rest).append(one)
    return plumes, rest


def _merged(plumes: list[_Shape], settings: PlumeSettings) -> tuple[int, ...]:
    """Numbers, from 1, of plumes that seem to be two."""
    s = settings
    typical = float(np.median([p.width_deg for p in plumes]))
    across = float(np.median([p.width_mm for p in plumes]))
    return tuple(
        number
        for number, p in enumerate(plumes, start=1)
        if p.width_deg > max(s.merged_width * typical, typical + s.merged_extra_deg)
        and p.width_mm > s.merged_across * across
        and p.elongation < s.merged_elongation
    )


def _mark(shape: _Shape, ring: float, settings: PlumeSettings) -> Mark:
    """Name what is wet but no plume."""
    s = settings
    area = shape.patch.area_mm2
    kind = "stain"
    if shape.radius < s.drip_radius * ring:
        kind = "drip"
    elif leans_on_edge(shape.patch, s):
        kind = "stain"
    elif area < s.drop_mm2:
        kind = "drop"
    elif area < s.splash_mm2:
        kind = "splash"
    elif area < s.fingerprint_mm2 and shape.elongation < s.fingerprint_elongation:
        kind = "fingerprint"
    return Mark(kind=kind, x_mm=shape.patch.moments.x, y_mm=shape.patch.moments.y, area_mm2=area)


def _objects(wet: WetnessMap) -> list[Mark]:
    """Foreign objects that stage 2 left out."""
    hidden = (wet.cell_flags & np.uint8(CellFlag.FOREIGN_OBJECT)) > 0
    if not hidden.any():
        return []
    _, _, stats, middles = cv2.connectedComponentsWithStats(hidden.astype(np.uint8))
    return [
        Mark(
            kind="thing",
            x_mm=float(x * wet.card.cell_mm + wet.card.x0_mm),
            y_mm=float(y * wet.card.cell_mm + wet.card.y0_mm),
            area_mm2=float(area) * wet.card.cell_mm**2,
        )
        for (x, y), area in zip(middles[1:], stats[1:, cv2.CC_STAT_AREA], strict=True)
    ]
