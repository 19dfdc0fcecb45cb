"""Find the target card's markers and place their corners to a few hundredths of a pixel.

OpenCV's ArUco detector reads the codes on a reduced picture. Its corners come from pixel outlines,
good to about a pixel; here each of a marker's four sides is then placed anew in the full picture,
where the light crosses half way between the black border and the white paper beside it. Blur, oil
over the whole marker and uneven light move both levels, not the half way point.

References
----------
Garrido-Jurado, S. et al. (2014), "Automatic generation and detection of highly reliable fiducial
markers under occlusion", Pattern Recognition 47, 2280-2292, doi:10.1016/j.patcog.2014.01.005.
"""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.card.target import CARDS, MARKER_MODULES

GLANCE_PX: Final = 1000
"""About the long side of the picture in which it is first seen whether there are markers at all: a
12 mm marker of an A4 card that fills two thirds of it is 27 pixels wide, 4 to a module, where 3
suffice."""

WORKING_PX: Final = 1600
"""The same of the picture in which they are read."""

_MODULE = 1 / MARKER_MODULES
_ACROSS: Final = 14  # places along a side where it is looked for
_ALONG: Final = np.linspace(0.1, 0.9, _ACROSS)
_STEPS: Final = 25  # samples on each short line across it


@dataclass(frozen=True, kw_only=True)
class SeenMarker:
    """A marker in the photo.

    Parameters
    ----------
    number : int
        Its id.
    corners : (4, 2) ndarray of float64
        Pixels of the picture, in the order of `PrintedMarker.corners`.
    mirrored : bool
        It shows as in a mirror.
    """

    number: int
    corners: Float
    mirrored: bool = False

    @property
    def middle(self) -> Float:
        """Where its diagonals cross: the image of its middle under any perspective."""
        a, b, c, d = self.corners
        p, q = c - a, d - b
        along = ((b - a)[0] * q[1] - (b - a)[1] * q[0]) / (p[0] * q[1] - p[1] * q[0])
        return np.asarray(a + along * p)

    @property
    def side(self) -> float:
        """Mean length of its sides."""
        return float(np.linalg.norm(self.corners - np.roll(self.corners, 1, axis=0), axis=1).mean())


def read_markers(
    picture: NDArray[np.uint8],
    numbers: Iterable[int],
    *,
    dictionary: int = cv2.aruco.DICT_5X5_100,
    working_px: int | None = None,
    correct: bool = True,
) -> list[SeenMarker]:
    """Read the codes of markers, also mirrored ones; corners to about a pixel.

    Parameters
    ----------
    picture : (H, W, 3) or (H, W) ndarray of uint8
        In colour or grey.
    numbers : iterable of int
        Ids to look for; others are not seen.
    dictionary : int
        OpenCV's number of the dictionary.
    working_px : int, optional
        Long side a larger picture is reduced to; by default it is read as it is.
    correct : bool
        Put wrong cells of a code right, as many as it allows; otherwise every cell must be as
        printed.

    Returns
    -------
    list of SeenMarker
        Corners in pixels of ``picture``; the same id may come more than once.
    """
    wanted = tuple(sorted(numbers))
    grey = picture if picture.ndim == 2 else cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    scale = 1.0 if working_px is None else max(1.0, max(grey.shape) / working_px)
    if scale > 1:
        size = (round(grey.shape[1] / scale), round(grey.shape[0] / scale))
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    ratio = np.array(picture.shape[1::-1]) / np.array(grey.shape[::-1])
    found, codes, _ = _detector(wanted, dictionary, correct).detectMarkers(grey)
    seen = []
    for corners, code in zip(found, np.ravel(codes) if codes is not None else (), strict=True):
        at = (np.asarray(corners, float).reshape(4, 2) + 0.5) * ratio - 0.5
        turn, index = divmod(int(code), len(wanted))
        seen.append(SeenMarker(number=wanted[index], corners=at, mirrored=turn == 1))
    return seen


@functools.lru_cache(maxsize=4)
def _detector(numbers: tuple[int, ...], dictionary: int, correct: bool) -> cv2.aruco.ArucoDetector:
    """Return a detector of these codes, then of the same codes mirrored."""
    known = cv2.aruco.getPredefinedDictionary(dictionary)
    size = int(known.markerSize)
    rows = [known.bytesList[n : n + 1] for n in numbers]
    for n in numbers:
        bits: Any = cv2.aruco.generateImageMarker(known, n, size + 2)[1:-1, 1:-1] > 127
        flipped = np.ascontiguousarray(bits[:, ::-1]).astype(np.uint8)
        rows.append(cv2.aruco.Dictionary.getByteListFromBits(flipped).reshape(1, -1, 4))
    codes = cv2.aruco.Dictionary(np.concatenate(rows), size, known.maxCorrectionBits)
    how = cv2.aruco.DetectorParameters()
    # Windows from a few pixels to half a marker, so that uneven light and oil stains do not matter.
    how.adaptiveThreshWinSizeMin, how.adaptiveThreshWinSizeMax = 5, 45
    how.adaptiveThreshWinSizeStep = 20
    # Perimeter over the picture's long side: a marker of 4 x 12 pixels is the smallest that reads.
    how.minMarkerPerimeterRate = 0.03
    # Measured on blurred small markers: sampling the inner half of each module on a finer grid, and
    # using all the correction the code has, reads 12 of 12 where the defaults read 3. A wrong
    # reading does no harm: it does not lie where the card has that marker.
    how.perspectiveRemovePixelPerCell = 8
    how.perspectiveRemoveIgnoredMarginPerCell = 0.25
    how.errorCorrectionRate = 1.0 if correct else 0.0
    how.polygonalApproxAccuracyRate = 0.05
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return cv2.aruco.ArucoDetector(codes, how)


CARD_NUMBERS: Final = tuple(m.number for card in CARDS.values() for m in card.markers)
"""Ids of all markers on all cards."""


def place_corners(rgb: NDArray[np.uint8], marker: SeenMarker) -> SeenMarker | None:
    """Place a marker's corners precisely.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        The picture at its full size.
    marker : SeenMarker
        With corners good to a quarter of a module.

    Returns
    -------
    SeenMarker or None
        None when one of its sides cannot be followed: covered, blurred away or out of the picture.
    """
    margin = max(4.0, 2 * _MODULE * marker.side)
    low = np.floor(marker.corners.min(axis=0) - margin).astype(int)
    high = np.ceil(marker.corners.max(axis=0) + margin).astype(int) + 1
    low, high = np.maximum(low, 0), np.minimum(high, [rgb.shape[1], rgb.shape[0]])
    if (high - low < 8).any():
        return None
    patch = cv2.cvtColor(rgb[low[1] : high[1], low[0] : high[0]], cv2.COLOR_RGB2GRAY)
    # Blur happens in light, not in sRGB values: a power of 2.2 is close enough to tell half way.
    light = np.asarray((patch.astype(np.float32) / 255) ** 2.2, np.float32)
    corners: Float | None = marker.corners - low
    # Rough corners first, looking less far, so as not to look across the border into the code.
    for reach in (0.6, 0.85):
        assert corners is not None
        corners = _once(light, corners, reach)
        if corners is None:
            return None
    assert corners is not None
    if np.abs(corners + low - marker.corners).max() > 1.2 * _MODULE * marker.side:
        return None
    return SeenMarker(number=marker.number, corners=corners + low, mirrored=marker.mirrored)


def _once(light: NDArray[np.float32], corners: Float, reach: float) -> Float | None:
    """Place all four sides once and cross them."""
    lines = [_side(light, corners[k], corners[(k + 1) % 4], reach) for k in range(4)]
    out = np.empty((4, 2))
    for k in range(4):
        before, after = lines[k - 1], lines[k]
        if before is None or after is None:
            return None
        normals = np.stack([before[:2], after[:2]])
        if abs(np.linalg.det(normals)) < 0.2:
            return None
        out[k] = np.linalg.solve(normals, [before[2], after[2]])
    return out


def _side(light: NDArray[np.float32], a: Float, b: Float, modules: float) -> Float | None:
    """Fit a line ``n . p = c`` to where the light crosses half way; returns (nx, ny, c).

    It is looked for within ``modules`` to either side: within the black border and the white
    around it.
    """
    length = float(np.linalg.norm(b - a))
    if length < 8:
        return None
    way = (b - a) / length
    outward = np.array([way[1], -way[0]])
    along = _ALONG * length
    profile, off = _profiles(light, a, b, modules)
    crossing = _half_way(profile, off)
    good = np.isfinite(crossing)
    if good.sum() < _ACROSS // 2:
        return None
    # Short of two parameters, robust: a drop or a scratch on the edge moves some of the crossings.
    weight = good.astype(float)
    value = np.where(good, crossing, 0.0)
    slope = shift = 0.0
    for _ in range(4):
        mean = (weight * along).sum() / weight.sum()
        spread = (weight * (along - mean) ** 2).sum()
        if spread < 1e-9:
            return None
        slope = float((weight * (along - mean) * value).sum() / spread)
        shift = float((weight * value).sum() / weight.sum() - slope * mean)
        residual = np.abs(value - shift - slope * along)
        scale = max(1.4826 * float(np.median(residual[good])), 0.02)
        weight = good * np.maximum(1 - (residual / (4.685 * scale)) ** 2, 0) ** 2
        if (weight > 0.1).sum() < _ACROSS // 3:
            return None
    if scale > 0.25 * _MODULE * length:
        return None
    start = a + shift * outward
    direction = way + slope * outward
    normal = np.array([direction[1], -direction[0]]) / np.linalg.norm(direction)
    return np.array([normal[0], normal[1], float(normal @ start)])


def _profiles(
    light: NDArray[np.float32], a: Float, b: Float, modules: float
) -> tuple[Float, Float]:
    """Light along short lines across a side, from inside out: ``(K, S)``, and their places."""
    length = float(np.linalg.norm(b - a))
    way = (b - a) / length
    outward = np.array([way[1], -way[0]])
    reach = modules * _MODULE * length
    off = np.linspace(-reach, reach, _STEPS)
    at = a + (_ALONG * length)[:, None, None] * way + off[None, :, None] * outward
    profile = cv2.remap(
        light,
        at[..., 0].astype(np.float32),
        at[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=-1,
    )
    return np.asarray(profile, float), off


def _half_way(profile: Float, off: Float) -> Float:
    """Place, on each row, where light rises half way from inside to outside; NaN where unclear."""
    inner = np.median(profile[:, : _STEPS // 4], axis=1)
    outer = np.median(profile[:, -(_STEPS // 4) :], axis=1)
    half = (inner + outer) / 2
    above = profile >= half[:, None]
    # Exactly one rise, or what lies on the edge is not this edge alone.
    rises = ~above[:, :-1] & above[:, 1:]
    falls = above[:, :-1] & ~above[:, 1:]
    clear = (rises.sum(axis=1) == 1) & (falls.sum(axis=1) == 0)
    clear &= (outer - inner > 0.03) & (inner < 0.75 * outer) & (profile.min(axis=1) >= 0)
    at = rises.argmax(axis=1)
    rows = np.arange(len(profile))
    below, over = profile[rows, at], profile[rows, at + 1]
    part = (half - below) / np.where(over > below, over - below, 1)
    place = off[at] + part * (off[at + 1] - off[at])
    return np.where(clear, place, np.nan)
