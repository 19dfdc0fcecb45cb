"""Connected wet patches, their moments, and how one that holds several plumes is cut.

A patch is a list of its wet cells in card coordinates, so that everything after the first labelling
costs by the wet area and not by the size of the card.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.constants import TINY
from spraycheck.spray.containers import WetnessMap
from spraycheck.spray.settings import PLUMES, PlumeSettings


def weighted_sum(weight: Float, values: Float) -> float:
    """Sum of products, on this thread.

    ``weight @ values`` wakes the linear-algebra library's threads for more than some ten thousand
    cells, which on a busy machine costs a hundred times what the sum does.
    """
    return float(np.einsum("i,i->", weight, values))


@dataclass(frozen=True, kw_only=True, eq=False)
class Moments:
    """Weighted mean and second moments of points.

    Parameters
    ----------
    x, y : float
        Mean.
    along, across : float
        Standard deviations along and across the long axis.
    angle_rad : float
        Of the long axis, from x towards y; modulo pi.
    """

    x: float
    y: float
    along: float
    across: float
    angle_rad: float

    @classmethod
    def of(cls, x: Float, y: Float, weight: Float) -> Moments:
        """Moments of the points ``(x, y)``, all ``(L,)``."""
        total = max(float(weight.sum()), TINY)
        mx, my = weighted_sum(weight, x) / total, weighted_sum(weight, y) / total
        dx, dy = x - mx, y - my
        xx = weighted_sum(weight, dx * dx) / total
        yy = weighted_sum(weight, dy * dy) / total
        xy = weighted_sum(weight, dx * dy) / total
        mean, half = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
        return cls(
            x=mx,
            y=my,
            along=math.sqrt(mean + half),
            across=math.sqrt(max(mean - half, TINY)),
            angle_rad=math.atan2(2 * xy, xx - yy) / 2,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """One connected wet patch.

    Parameters
    ----------
    rows, cols : (L,) ndarray of int
        Its cells.
    x_mm, y_mm : (L,) ndarray of float
        Their card positions.
    weight : (L,) ndarray of float
        Wetness, held within 0 and 1.
    cell_mm : float
        Side of a cell.
    area_mm2 : float
        Area at or above the wetness threshold.
    at_edge : float
        Share of its outline that lies against the border of what can be judged.
    cut : bool
        It was cut from a neighbour and lacks a flank.
    """

    rows: NDArray[np.intp]
    cols: NDArray[np.intp]
    x_mm: Float
    y_mm: Float
    weight: Float
    cell_mm: float
    area_mm2: float
    at_edge: float = 0.0
    cut: bool = False

    @cached_property
    def moments(self) -> Moments:
        """Of its cells by their wetness, in mm."""
        return Moments.of(self.x_mm, self.y_mm, self.weight)

    @property
    def centroid(self) -> Float:
        """Weighted centroid, (x, y) in mm."""
        return np.array([self.moments.x, self.moments.y])

    def part(self, keep: NDArray[np.bool_], threshold: float) -> Patch:
        """Return the part of the patch where ``keep`` is True."""
        weight = self.weight[keep]
        return replace(
            self,
            rows=self.rows[keep],
            cols=self.cols[keep],
            x_mm=self.x_mm[keep],
            y_mm=self.y_mm[keep],
            weight=weight,
            area_mm2=float((weight >= threshold).sum()) * self.cell_mm**2,
            cut=True,
        )


def find_patches(
    wet: WetnessMap,
    *,
    threshold: float | None = None,
    min_area_mm2: float | None = None,
    settings: PlumeSettings = PLUMES,
) -> list[Patch]:
    """Find the connected wet patches of a card, largest first.

    Patches are joined on a more strongly blurred map, so that a weak plume that left only specks
    is one patch; what is counted and weighed is the less blurred ``wet.smooth``.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    threshold : float, optional
        Wetness from which paper counts as wetted, where it is not that of the settings.
    min_area_mm2 : float, optional
        Smaller wetted areas are left out; ``least_patch_mm2`` of the settings when not given.
    settings : PlumeSettings
        The numbers that decide.
    """
    s = settings
    level = s.threshold_frac if threshold is None else threshold
    least = s.least_patch_mm2 if min_area_mm2 is None else min_area_mm2
    cell = wet.card.cell_mm
    labels = _joined(wet, s)
    rim = cv2.erode(wet.valid.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0
    where = np.nonzero(labels)
    which = labels[where]
    order = np.argsort(which, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(which[order]) > 0, True])
    patches = []
    for begin, end in itertools.pairwise(starts):
        pick = order[begin:end]
        r, c = where[0][pick], where[1][pick]
        weight = np.clip(wet.smooth[r, c].astype(float), TINY, 1.0)
        area = float((weight >= level).sum()) * cell**2
        if area < least:
            continue
        outline = 2 * math.sqrt(math.pi * len(r))  # of a disc of that many cells
        patches.append(
            Patch(
                rows=r,
                cols=c,
                x_mm=c * cell + wet.card.x0_mm,
                y_mm=r * cell + wet.card.y0_mm,
                weight=weight,
                cell_mm=cell,
                area_mm2=area,
                at_edge=float(rim[r, c].sum()) / outline,
            )
        )
    return sorted(patches, key=lambda p: -p.area_mm2)


def _joined(wet: WetnessMap, settings: PlumeSettings) -> NDArray[np.int32]:
    """Label connected cells of the blurred map, ``(M, N)``; 0 where nothing is wet or judged."""
    s = settings
    # Joining needs no fine detail: work on every second cell or so.
    step = max(1, round(s.join_cell_mm / wet.card.cell_mm))
    rows, cols = wet.smooth.shape
    size = (math.ceil(cols / step), math.ceil(rows / step))
    small = wet.smooth
    if step > 1:
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32)
    sigma = s.join_blur_mm / (wet.card.cell_mm * cols / size[0])
    small = np.asarray(cv2.GaussianBlur(small, (0, 0), sigma), np.float32)
    dry = small[small < 0]
    noise = 0.0
    if dry.size > s.join_least_cells:
        noise = math.sqrt(float(np.mean(dry.astype(float) ** 2)))
    joined = (small > max(s.join_frac, s.join_noises * noise)).astype(np.uint8)
    labels = np.asarray(cv2.connectedComponents(joined)[1], np.int32)
    if step > 1:
        # Labels stay below 2**24, so floats, which OpenCV can resize, hold them exactly.
        whole = cv2.resize(labels.astype(np.float32), (cols, rows), interpolation=cv2.INTER_NEAREST)
        labels = whole.astype(np.int32)
    labels[~wet.valid] = 0
    return labels


def leans_on_edge(patch: Patch, settings: PlumeSettings) -> bool:
    """Whether the patch is likely something lying over the sheet's edge, or its shadow."""
    return patch.at_edge > settings.edge_contact_frac


def usual_area(patches: Sequence[Patch], settings: PlumeSettings) -> float:
    """Median area of the larger patches in mm2; 0 without any."""
    areas = np.array([p.area_mm2 for p in patches])
    if len(areas) == 0:
        return 0.0
    return float(np.median(areas[areas >= settings.large_frac * areas.max()]))


def away_from_edge(patches: Sequence[Patch], settings: PlumeSettings = PLUMES) -> list[Patch]:
    """Patches that do not touch the border of what can be judged; all when these are too few.

    What touches it may be a shadow, a tool, or a plume that is not all there: at least three others
    of some size, which are not just drops, say better what a plume of this card looks like.
    """
    s = settings
    clear = [p for p in patches if p.at_edge < s.edge_touch_frac]
    most = max((p.area_mm2 for p in clear), default=0.0)
    large = [p.area_mm2 for p in clear if p.area_mm2 >= s.large_frac * most]
    speak = sum(large) >= s.clear_area_frac * sum(p.area_mm2 for p in patches)
    return clear if len(large) >= s.clear_patches and speak else list(patches)


def cut_touching(patches: Sequence[Patch], centre: Float, settings: PlumeSettings) -> list[Patch]:
    """Cut every patch that holds several plumes along rays from the centre.

    Parameters
    ----------
    patches : sequence of Patch
        What may hold several plumes.
    centre : (2,) ndarray of float
        Card position in mm.
    settings : PlumeSettings
        The numbers that decide.
    """
    usual = usual_area(patches, settings)
    pieces: list[Patch] = []
    for patch in patches:
        if _is_drip(patch, centre, settings):
            pieces.append(patch)  # seen from its own middle any blot has crests
        else:
            far_larger = patch.area_mm2 > settings.far_larger * usual
            valley = settings.shallow_valley_frac if far_larger else settings.valley_frac
            pieces += _cut(patch, centre, valley, settings)
    return pieces


def _is_drip(patch: Patch, centre: Float, settings: PlumeSettings) -> bool:
    """Whether the patch lies on the centre and is compact.

    A ring of plumes that all touch lies there as well, but is dry in its middle.
    """
    s = settings
    m = patch.moments
    if math.hypot(m.x - centre[0], m.y - centre[1]) >= s.drip_reach * m.along:
        return False
    radius = np.hypot(patch.x_mm - m.x, patch.y_mm - m.y)
    most = max(float(radius.max()), patch.cell_mm)
    filled, heart = (
        float((radius <= r).sum()) * patch.cell_mm**2 / (math.pi * r**2)
        for r in (most, s.drip_heart * most)
    )
    return filled > s.drip_fill_frac and heart > s.drip_heart_frac


def _cut(patch: Patch, centre: Float, valley: float, settings: PlumeSettings) -> list[Patch]:
    """Cut a patch where its angular profile has valleys.

    Plumes are radial: two that touch still show two crests in wet area per degree.
    """
    s = settings
    dx, dy = patch.x_mm - centre[0], patch.y_mm - centre[1]
    radius = np.hypot(dx, dy)
    angle = np.degrees(np.arctan2(dx, -dy)) % 360
    bins = round(360 / s.profile_bin_deg)
    index = np.minimum((angle / s.profile_bin_deg).astype(int), bins - 1)
    # Wetness times width per degree: dividing by the radius turns area into radial length.
    value = patch.weight / np.maximum(radius, s.profile_least_mm)
    counts = np.bincount(index, weights=value, minlength=bins)
    profile = smooth_circular(np.asarray(counts, float), s.profile_smooth_deg / s.profile_bin_deg)
    crests = find_crests(profile, valley=valley, floor=s.crest_frac * float(profile.max()))
    if len(crests) < 2:
        return [patch]
    cuts = []
    for here, there in zip(crests, [*crests[1:], crests[0] + bins], strict=True):
        span = np.arange(here, there + 1)
        cuts.append(span[np.argmin(profile[span % bins])] % bins)
    part = np.searchsorted(np.sort(cuts), index) % len(cuts)
    part = _nearest_ellipse(patch, part, len(cuts), s)
    pieces = [patch.part(part == k, s.threshold_frac) for k in range(len(cuts))]
    return [piece for piece in pieces if piece.area_mm2 > 0]


def _nearest_ellipse(
    patch: Patch, part: NDArray[np.intp], count: int, settings: PlumeSettings
) -> NDArray[np.intp]:
    """Move the cut between pieces from a ray to where their ellipses meet.

    Two plumes at unequal distance overlap along a slanting line. Each cell goes to the piece whose
    ellipse of equal second moments it lies deepest in; a few rounds settle it (the hard form of
    fitting a mixture of ellipses).
    """
    xy = np.column_stack([patch.x_mm, patch.y_mm])
    solid = patch.weight >= settings.ellipse_level_frac
    for _ in range(settings.ellipse_rounds):
        distance = np.full((count, len(xy)), np.inf)
        for k in range(count):
            mine = (part == k) & solid
            if mine.sum() < settings.ellipse_least_cells:
                return part
            scatter = np.cov(xy[mine].T) + np.eye(2) * TINY
            away = xy - xy[mine].mean(axis=0)
            distance[k] = np.einsum("ij,jk,ik->i", away, np.linalg.inv(scatter), away)
        part = np.asarray(distance.argmin(axis=0))
    return part


def smooth_circular(profile: Float, sigma: float) -> Float:
    """Gaussian smoothing on the circle, by the Fourier transform (exact for a periodic signal)."""
    frequency = np.fft.rfftfreq(len(profile))
    gain = np.exp(-2 * (np.pi * sigma * frequency) ** 2)
    return np.fft.irfft(np.fft.rfft(profile) * gain, len(profile))


def find_crests(profile: Float, *, valley: float, floor: float) -> list[int]:
    """Indices of the crests of a periodic profile that deep enough valleys part.

    Parameters
    ----------
    profile : (N,) ndarray of float
        One turn.
    valley : float
        A valley parts two crests when it is below this fraction of the lower one.
    floor : float
        Lower crests do not count.
    """
    n = len(profile)
    rising = profile >= np.roll(profile, 1)
    falling = profile > np.roll(profile, -1)
    crests = [int(k) for k in np.flatnonzero(rising & falling) if profile[k] >= floor]
    while len(crests) > 1:
        ends = [*crests[1:], crests[0] + n]
        depths = [
            float(profile[np.arange(a, b + 1) % n].min() / min(profile[a], profile[b % n]))
            for a, b in zip(crests, ends, strict=True)
        ]
        shallowest = int(np.argmax(depths))
        if depths[shallowest] <= valley:
            break
        pair = (shallowest, (shallowest + 1) % len(crests))
        del crests[min(pair, key=lambda k: profile[crests[k]])]
    return crests
