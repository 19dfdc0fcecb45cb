"""Connected wet patches and their moments: what stages 3 and 4 both start from.

A patch is a list of its wet cells in card coordinates, so that everything after the first labelling
costs by the wet area and not by the size of the card.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.spray.containers import WetnessMap

VALLEY, SHALLOW_VALLEY = 0.80, 0.93
"""A valley parts two crests when it is below this fraction of the lower one: for a patch of usual
size, and for one far larger than the others (chosen: single ragged plumes show valleys above 0.85,
touching pairs of simulated plumes 0.75 to 0.90)."""

_EDGE_SHARE, _TOUCHES = 0.25, 0.03


def weighted_sum(weight: Float, values: Float) -> float:
    """Sum of products, on this thread.

    ``weight @ values`` wakes the linear-algebra library's threads for more than some ten thousand
    cells, which on a busy machine costs a hundred times what the sum does.
    """
    return float(np.einsum("i,i->", weight, values))


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
    area_mm2: float
    at_edge: float = 0.0
    cut: bool = False

    @property
    def centroid(self) -> Float:
        """Weighted centroid, (x, y) in mm."""
        total = float(self.weight.sum())
        sums = [weighted_sum(self.weight, self.x_mm), weighted_sum(self.weight, self.y_mm)]
        return np.array([value / total for value in sums])

    def spread(self) -> tuple[float, float, float]:
        """Return sigma along and across the long axis (mm) and the axis' angle (rad, atan2)."""
        centre = self.centroid
        dx, dy = self.x_mm - centre[0], self.y_mm - centre[1]
        total = self.weight.sum()
        xx = weighted_sum(self.weight, dx * dx) / total
        yy = weighted_sum(self.weight, dy * dy) / total
        xy = weighted_sum(self.weight, dx * dy) / total
        mean, half = (xx + yy) / 2, math.hypot((xx - yy) / 2, xy)
        angle = 0.5 * math.atan2(2 * xy, xx - yy)
        return math.sqrt(mean + half), math.sqrt(max(mean - half, 1e-6)), angle

    def only(self, keep: NDArray[np.bool_], cell_mm: float, threshold: float) -> Patch:
        """Return the part of the patch where ``keep`` is True."""
        weight = self.weight[keep]
        return Patch(
            rows=self.rows[keep],
            cols=self.cols[keep],
            x_mm=self.x_mm[keep],
            y_mm=self.y_mm[keep],
            weight=weight,
            area_mm2=float((weight >= threshold).sum()) * cell_mm**2,
            at_edge=self.at_edge,
            cut=True,
        )


def find_patches(
    wet: WetnessMap,
    *,
    threshold: float,
    level: float = 0.12,
    blur_mm: float = 1.2,
    min_area_mm2: float = 2.0,
) -> list[Patch]:
    """Find the connected wet patches of a card, largest first.

    Patches are joined on a more strongly blurred map, so that a weak plume that left only specks
    is one patch; what is counted and weighed is the less blurred ``wet.smooth``.

    Parameters
    ----------
    wet : WetnessMap
        From stage 2.
    threshold : float
        Wetness from which paper counts as wetted.
    level : float
        Wetness of the blurred map that joins cells to one patch; raised to four times its noise.
    blur_mm : float
        Gaussian sigma of the extra blur.
    min_area_mm2 : float
        Smaller wetted areas are left out.
    """
    cell = wet.card.cell_mm
    # Joining needs no more than half-millimetre detail: work on every second cell or so.
    step = max(1, round(0.5 / cell))
    rows, cols = wet.smooth.shape
    size = (math.ceil(cols / step), math.ceil(rows / step))
    small = wet.smooth
    if step > 1:
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32)
    small = np.asarray(
        cv2.GaussianBlur(small, (0, 0), blur_mm / (cell * cols / size[0])), np.float32
    )
    dry = small[small < 0]
    noise = math.sqrt(float(np.mean(dry.astype(float) ** 2))) if dry.size > 50 else 0.0
    joined = (small > max(level, 4 * noise)).astype(np.uint8)
    full = np.asarray(cv2.connectedComponents(joined, connectivity=8)[1], np.int32)
    if step > 1:
        # Labels stay below 2**24, so floats, which OpenCV can resize, hold them exactly.
        labels = full.astype(np.float32)
        full = cv2.resize(labels, (cols, rows), interpolation=cv2.INTER_NEAREST).astype(np.int32)
    full[~wet.valid] = 0
    rim = cv2.erode(wet.valid.astype(np.uint8), np.ones((3, 3), np.uint8)) == 0

    where = np.nonzero(full)
    which = full[where]
    order = np.argsort(which, kind="stable")
    starts = np.flatnonzero(np.r_[True, np.diff(which[order]) > 0, True])
    patches = []
    for begin, end in itertools.pairwise(starts):
        pick = order[begin:end]
        r, c = where[0][pick], where[1][pick]
        weight = np.clip(wet.smooth[r, c].astype(float), 1e-3, 1.0)
        area = float((weight >= threshold).sum()) * cell**2
        if area < min_area_mm2:
            continue
        outline = 2 * math.sqrt(math.pi * len(r))  # of a disc of that many cells
        patches.append(
            Patch(
                rows=r,
                cols=c,
                x_mm=c * cell + wet.card.x0_mm,
                y_mm=r * cell + wet.card.y0_mm,
                weight=weight,
                area_mm2=area,
                at_edge=float(rim[r, c].sum()) / outline,
            )
        )
    return sorted(patches, key=lambda p: -p.area_mm2)


def leans_on_edge(patch: Patch) -> bool:
    """Whether the patch is likely something lying over the sheet's edge, or its shadow."""
    return patch.at_edge > _EDGE_SHARE


def away_from_edge(patches: Sequence[Patch]) -> list[Patch]:
    """Patches that do not touch the border of what can be judged; all when these are too few.

    What touches it may be a shadow, a tool, or a plume that is not all there: at least three others
    of some size, which are not just drops, say better what a plume of this card looks like.
    """
    clear = [p for p in patches if p.at_edge < _TOUCHES]
    most = max((p.area_mm2 for p in clear), default=0.0)
    large = [p.area_mm2 for p in clear if p.area_mm2 >= 0.25 * most]
    enough = len(large) >= 3 and sum(large) >= 0.25 * sum(p.area_mm2 for p in patches)
    return clear if enough else list(patches)


def cut_touching(
    patches: list[Patch], centre: Float, *, threshold: float, cell_mm: float
) -> list[Patch]:
    """Cut every patch that holds several plumes along rays from the centre.

    A compact patch that lies on the centre is a drip and stays whole: seen from its own middle any
    blot has crests.
    """
    pieces: list[Patch] = []
    areas = np.array([p.area_mm2 for p in patches])
    usual = float(np.median(areas[areas >= 0.25 * areas.max()])) if len(areas) else 0.0
    for patch in patches:
        middle = patch.centroid
        radius = np.hypot(patch.x_mm - middle[0], patch.y_mm - middle[1])
        most = max(float(radius.max()), cell_mm)
        filled = len(radius) * cell_mm**2 / (math.pi * most**2)
        # A ring of plumes that all touch is dry in its middle, a drip is not.
        heart = float((radius < 0.25 * most).sum()) * cell_mm**2 / (math.pi * (0.25 * most) ** 2)
        away = math.hypot(*(middle - centre))
        if filled > 0.45 and heart > 0.5 and away < 1.5 * patch.spread()[0]:
            pieces.append(patch)
        else:
            # Twice the usual area asks for less of a valley: two plumes are likelier than one.
            valley = SHALLOW_VALLEY if patch.area_mm2 > 1.6 * usual else VALLEY
            pieces += split_by_angle(
                patch, centre, threshold=threshold, cell_mm=cell_mm, valley=valley
            )
    return pieces


def split_by_angle(
    patch: Patch,
    centre: Float,
    *,
    threshold: float,
    cell_mm: float,
    bin_deg: float = 1.0,
    smooth_deg: float = 2.0,
    valley: float = VALLEY,
    min_share: float = 0.12,
) -> list[Patch]:
    """Cut a patch along rays from the centre where its angular profile has valleys.

    Plumes are radial: two that touch still show two crests in wet area per degree.

    Parameters
    ----------
    patch : Patch
        What may hold several plumes.
    centre : (2,) ndarray of float
        Card position in mm.
    threshold : float
        Wetness from which paper counts as wetted.
    cell_mm : float
        Side of a cell.
    bin_deg, smooth_deg : float
        Bin of the profile and Gaussian sigma of its smoothing.
    valley : float
        A valley parts two crests when it is below this fraction of the lower one.
    min_share : float
        A crest counts from this fraction of the patch's highest crest.
    """
    dx, dy = patch.x_mm - centre[0], patch.y_mm - centre[1]
    radius = np.hypot(dx, dy)
    angle = np.degrees(np.arctan2(dx, -dy)) % 360
    bins = round(360 / bin_deg)
    index = np.minimum((angle / bin_deg).astype(int), bins - 1)
    # Wetness times width per degree: dividing by the radius turns area into radial length.
    value = np.clip(patch.weight, 0, 1) / np.maximum(radius, 1.0)
    counts = np.bincount(index, weights=value, minlength=bins)
    profile = _smooth_circular(np.asarray(counts, float), smooth_deg / bin_deg)
    crests = _crests(profile, valley=valley, floor=min_share * profile.max())
    if len(crests) < 2:
        return [patch]
    cuts = []
    for here, there in zip(crests, [*crests[1:], crests[0] + bins], strict=True):
        span = np.arange(here, there + 1)
        cuts.append(span[np.argmin(profile[span % bins])] % bins)
    part = np.searchsorted(np.sort(cuts), index) % len(cuts)
    part = _nearest_ellipse(patch, part, len(cuts))
    pieces = [patch.only(part == k, cell_mm, threshold) for k in range(len(cuts))]
    return [piece for piece in pieces if piece.area_mm2 > 0]


def _nearest_ellipse(patch: Patch, part: NDArray[np.intp], count: int) -> NDArray[np.intp]:
    """Move the cut between pieces from a ray to where their ellipses meet.

    Two plumes at unequal distance overlap along a slanting line. Each cell goes to the piece whose
    ellipse of equal second moments it lies deepest in; a few rounds settle it (the hard form of
    fitting a mixture of ellipses).
    """
    xy = np.column_stack([patch.x_mm, patch.y_mm])
    solid = patch.weight >= 0.3  # the halo would only blur the ellipses
    for _ in range(4):
        distance = np.full((count, len(xy)), np.inf)
        for k in range(count):
            mine = (part == k) & solid
            if mine.sum() < 20:
                return part
            centre = xy[mine].mean(axis=0)
            scatter = np.cov(xy[mine].T) + np.eye(2) * 1e-3
            away = xy - centre
            distance[k] = np.einsum("ij,jk,ik->i", away, np.linalg.inv(scatter), away)
        part = np.asarray(distance.argmin(axis=0))
    return part


def _smooth_circular(profile: Float, sigma: float) -> Float:
    """Gaussian smoothing on the circle, by the Fourier transform (exact for a periodic signal)."""
    frequency = np.fft.rfftfreq(len(profile))
    gain = np.exp(-2 * (np.pi * sigma * frequency) ** 2)
    return np.fft.irfft(np.fft.rfft(profile) * gain, len(profile))


def _crests(profile: Float, *, valley: float, floor: float) -> list[int]:
    """Indices of the crests of a periodic profile that deep enough valleys part."""
    n = len(profile)
    rising = profile >= np.roll(profile, 1)
    falling = profile > np.roll(profile, -1)
    found = [int(k) for k in np.flatnonzero(rising & falling) if profile[k] >= floor]
    while len(found) > 1:
        worst, at = 0.0, -1
        for k, here in enumerate(found):
            there = found[(k + 1) % len(found)]
            span = np.arange(here, there + 1 if there > here else there + n + 1) % n
            ratio = float(profile[span].min() / min(profile[here], profile[there]))
            if ratio > worst:
                worst, at = ratio, k
        if worst <= valley:
            break
        nxt = (at + 1) % len(found)
        del found[at if profile[found[at]] < profile[found[nxt]] else nxt]
    return found
