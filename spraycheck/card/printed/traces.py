"""Traces of a target card whose markers cannot be read.

A photo too blurred, too coarse or cut too close for the codes still shows dark squares where a
card has them. They are looked for without reading anything: spots of ink with white around, all of
one size and as far apart, in that size, as on a card. Nothing is measured from them; a card seen
like this is refused rather than taken for a plain sheet, on which its print would read as plumes.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.printed.markers import SeenMarker, read_markers
from spraycheck.card.target import CARDS, parse_label

WORKING_PX: Final = 480
"""Long side of the picture in which squares are looked for: on an A4 card that fills a third of it
a marker is 7 pixels wide."""

LEAST_DEPTH: Final = 0.4
"""Natural-log loss of light, in the colour that loses least, from which a spot may be ink: a marker
with much white in its code, blurred by a third of its side, still shows 0.45."""

LEAST_PAPER: Final = 0.3
"""Least light around a square, of the brightest (95th percentile): shaded paper, not a table."""

LEAST_SQUARES: Final = 4
"""Two squares fix where the others should be, a third may lie there by chance."""

LEAST_SHARE: Final = 0.6
"""Least share of the squares that should show in the photo; the rest may be oiled or covered."""

LEAST_CLEAR: Final = 3
"""Least squares with paper on all eight sides. These must also be more than are missing. On 90
drawn cards, blurred and cut, there were; on none of 146 drawn and real photographs without a card
(knots in wood, stains, keys, other people's print)."""

LEAST_OF_SPOTS: Final = 0.4
"""Least share of all dark spots of their size in the photo: among many, some always lie right."""

NEAR_SIDES: Final = 0.4
"""How near to its place a square must lie, in its own sides, once a card has been laid over those
found: a curl or a strong perspective moves it by up to 0.3 (chosen)."""

_ROUGH_SIDES: Final = 0.9  # the same before, from two neighbours alone
_NEARER: Final = (_ROUGH_SIDES, _ROUGH_SIDES, 0.7, 0.5, NEAR_SIDES)
_LEAST_TO_FIT: Final = 3
_U_SIDES: Final = 0.25  # a spot's place: half its shape is code
_SQUEEZE_U: Final = 0.25  # a view 40 degrees off squeezes by this
_PERSPECTIVE_U: Final = 0.25  # near over far side of a card that fills a phone's frame, 35 degrees
_SIDES_PX: Final = (7.0, 9.0, 11.5)
_OCTAVES: Final = 3
# Larger squares are looked for in a picture halved, and halved again: up to 46 pixels wide, as on a
# card that is cut on all sides.
_QR: Any = zxingcpp.BarcodeFormat.QRCode  # the stub asks for a set of formats
_SIZE_LOG: Final = 0.25
_MOST_SPOTS: Final = 24


@dataclass(frozen=True, kw_only=True)
class Traces:
    """What shows of a card.

    Parameters
    ----------
    squares : int
        Dark squares that lie as on a card.
    expected : int
        How many of that card's squares should show in the photo.
    """

    squares: int
    expected: int


@dataclass(frozen=True, kw_only=True)
class _Spots:
    """Dark spots of one size; places are complex numbers, in pixels."""

    at: NDArray[np.complex128]
    clear: Mask
    side: float
    size: tuple[int, int]


@dataclass(frozen=True, kw_only=True)
class _Pattern:
    """A card's squares in units of their side; places are complex numbers."""

    places: NDArray[np.complex128]
    first: NDArray[np.intp]
    second: NDArray[np.intp]


def what_shows(rgb: NDArray[np.uint8], seen: list[SeenMarker]) -> str:
    """Say in a few words what shows of a target card that cannot be read.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Picture.
    seen : list of SeenMarker
        What was read as markers, too few for a card.

    Returns
    -------
    str
        Empty where nothing shows.
    """
    scale = max(1.0, max(rgb.shape[:2]) / WORKING_PX)
    size = (round(rgb.shape[1] / scale), round(rgb.shape[0] / scale))
    small = _brightest(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA))
    # A power of 2.2 is close enough to undo the sRGB curve for telling ink.
    light = np.asarray(((np.arange(256) / 255) ** 2.2).astype(np.float32)[small])
    if traces := look_for_traces(light):
        return _in_words(traces)
    # Clutter is now and then read as a marker by putting wrong cells right; without that, never.
    exact = read_markers(rgb, {m.number for m in seen}, correct=False) if seen else []
    if exact:
        return "one of its coded squares"
    grey = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)
    codes = zxingcpp.read_barcodes(np.ascontiguousarray(grey), formats=_QR)
    return "its QR code" if any(parse_label(code.text) for code in codes) else ""


def what_shows_on(card: RectifiedCard) -> str:
    """Say what shows on a sheet that was found by its edges.

    Square-on, and without the table, squares are found that a slanted photo or a small sheet hides.

    Parameters
    ----------
    card : RectifiedCard
        A plain sheet.

    Returns
    -------
    str
        Empty where nothing shows.
    """
    light = _brightest(card.linear_rgb)
    # Beside the sheet there is nothing dark: its rim is white all the way.
    light = np.where(card.inside, light, np.median(light[card.inside]))
    scale = max(1.0, max(light.shape) / WORKING_PX)
    size = (round(light.shape[1] / scale), round(light.shape[0] / scale))
    small = cv2.resize(light.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    traces = look_for_traces(np.asarray(small, np.float32))
    return _in_words(traces) if traces else ""


def _brightest(rgb: NDArray[Any]) -> NDArray[Any]:
    """Largest of the three colours; ten times as fast as along the last axis in NumPy."""
    red, green, blue = cv2.split(rgb)
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def _in_words(traces: Traces) -> str:
    return f"{traces.squares} dark squares lie as on one"


def look_for_traces(light: FloatMap) -> Traces | None:
    """Look for dark squares that lie as on a target card.

    Parameters
    ----------
    light : (H, W) ndarray of float32
        Linear light, in the colour that loses least to oil; about `WORKING_PX` long.

    Returns
    -------
    Traces or None
        None where no card shows.
    """
    size = (light.shape[1], light.shape[0])
    paper = LEAST_PAPER * float(np.percentile(light, 95))
    found: list[Traces] = []
    for _ in range(_OCTAVES):
        for side in _SIDES_PX:
            spots = _spots(light, side, paper)
            if len(spots.at) >= LEAST_SQUARES:
                for pattern in _patterns():
                    found += _laid_over(pattern, spots)
        size = ((size[0] + 1) // 2, (size[1] + 1) // 2)
        light = np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)
    return max(found, key=lambda t: (t.squares, -t.expected), default=None)


def _spots(light: FloatMap, side: float, paper: float) -> _Spots:
    """Find dark spots of about this size with light all around but for one direction."""
    inner = _log_mean(light, 0.8 * side)
    outer = _log_mean(light, 0.35 * side)
    step = round(0.9 * side)
    # What lies outside the picture counts as light: a square that is cut is a square.
    padded = cv2.copyMakeBorder(outer, step, step, step, step, cv2.BORDER_CONSTANT, value=1.0)
    rows, cols = light.shape
    lowest = second = np.full(light.shape, 1.0, np.float32)
    for dy, dx in ((0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1), (-1, 0), (-1, 1)):
        beside = padded[step * (1 + dy) :, step * (1 + dx) :][:rows, :cols]
        # The QR code and long words stand beside squares: one direction may be dark.
        second = np.minimum(second, np.maximum(lowest, beside))
        lowest = np.minimum(lowest, beside)
    depth = second - inner
    width = 2 * round(0.5 * side) + 1
    highest = cv2.dilate(depth, np.ones((width, width), np.uint8))
    is_spot: Mask = (depth > LEAST_DEPTH) & (depth >= highest) & (second > math.log(paper))
    y, x = np.nonzero(is_spot)
    order = np.argsort(-depth[y, x], kind="stable")[:_MOST_SPOTS]
    at = (x + 1j * y)[order]
    clear = (lowest - inner)[y, x][order] > LEAST_DEPTH
    return _Spots(at=at, clear=clear, side=side, size=(cols, rows))


def _log_mean(light: FloatMap, width: float) -> FloatMap:
    mean = cv2.blur(light, (max(2, round(width)),) * 2)
    return np.asarray(np.log(np.maximum(mean, 0.004)), np.float32)


@functools.cache
def _patterns() -> tuple[_Pattern, ...]:
    out = []
    for card in CARDS.values():
        places: NDArray[np.complex128] = np.array([complex(m.x_mm, m.y_mm) for m in card.markers])
        around = np.argsort(np.angle(places))
        out.append(
            _Pattern(
                places=np.asarray(places / card.markers[0].side_mm),
                first=np.concatenate([around, np.roll(around, -1)]),
                second=np.concatenate([np.roll(around, -1), around]),
            )
        )
    return tuple(out)


def _laid_over(pattern: _Pattern, spots: _Spots) -> list[Traces]:
    """Lay a card over two neighbouring spots in every way, and the best over all it explains."""
    one, two = np.triu_indices(len(spots.at), 1)
    gap = pattern.places[pattern.second] - pattern.places[pattern.first]
    turn = (spots.at[two] - spots.at[one])[:, None] / gap
    pair, way = np.nonzero(np.abs(np.log(np.abs(turn) / spots.side)) < _SIZE_LOG)
    turn = turn[pair, way]
    shift = spots.at[one[pair]] - turn * pattern.places[pattern.first[way]]
    there = turn[:, None] * pattern.places + shift[:, None]
    gaps = np.abs(there[:, :, None] - spots.at).min(axis=2, initial=np.inf)
    rough = (gaps < _ROUGH_SIDES * np.abs(turn)[:, None]).sum(axis=1)
    missing = np.asarray(_shown(there, spots.size).sum(axis=1) - rough)
    # A few of the best, since two at the far end of a slanted card explain only their own end.
    best = np.argsort(missing - 2 * rough, kind="stable")[:12]
    return [traces for k in best if (traces := _refined(pattern, spots, there[k]))]


def _refined(pattern: _Pattern, spots: _Spots, there: NDArray[np.complex128]) -> Traces | None:
    """Lay the card over all squares it explains, and count; None where they do not suffice."""
    for near in _NEARER:
        pitch = float(np.std(there) / np.std(pattern.places))
        gaps = np.abs(there[:, None] - spots.at)
        nearest = gaps.argmin(axis=1)
        hit = gaps.min(axis=1) < near * pitch
        if hit.sum() < _LEAST_TO_FIT:
            return None
        again = _seen_at_a_slant(pattern.places, spots.at[nearest[hit]], hit, pitch)
        if again is None:
            return None
        there = again
    mine = np.unique(nearest[hit])
    expected = int((_shown(there, spots.size) | hit).sum())
    clear = int(spots.clear[mine].sum())
    pitch = float(np.std(there) / np.std(pattern.places))
    enough = (
        len(mine) >= LEAST_SQUARES
        and len(mine) >= max(LEAST_SHARE * expected, LEAST_OF_SPOTS * len(spots.at))
        and clear >= LEAST_CLEAR
        and clear > expected - len(mine)
        and abs(np.log(pitch / spots.side)) < 1.5 * _SIZE_LOG
    )
    return Traces(squares=len(mine), expected=expected) if enough else None


def _seen_at_a_slant(
    places: NDArray[np.complex128], seen: NDArray[np.complex128], hit: Mask, pitch: float
) -> NDArray[np.complex128] | None:
    """Fit a perspective that departs from a plain turn only as far as the squares ask for it.

    ``x' = (a p + t) / (1 + g p)`` by linear least squares. Beside the squares, each known to
    `_U_SIDES`, stand four rows that hold squeeze and perspective near none: few squares in one line
    would leave them free. None where the card comes out mirrored or folded.
    """
    zero, one = np.zeros(len(seen)), np.ones(len(seen))
    middle = complex(seen.mean())
    q, p = (seen - middle) / pitch, places[hit]
    reach = float(np.abs(places).max())
    x = np.column_stack([p.real, p.imag, one, zero, zero, zero, -q.real * p.real, -q.real * p.imag])
    y = np.column_stack([zero, zero, zero, p.real, p.imag, one, -q.imag * p.real, -q.imag * p.imag])
    held = np.zeros((4, 8))
    held[0, [0, 4]], held[1, [1, 3]] = (1, -1), (1, 1)
    held[:2] /= _SQUEEZE_U
    held[[2, 3], [6, 7]] = reach / _PERSPECTIVE_U
    design = np.concatenate([x / _U_SIDES, y / _U_SIDES, held])
    target = np.concatenate([q.real / _U_SIDES, q.imag / _U_SIDES, np.zeros(4)])
    h: Float = np.linalg.lstsq(design, target, rcond=None)[0]
    below = 1 + places.real * h[6] + places.imag * h[7]
    if h[0] * h[4] - h[1] * h[3] <= 0 or below.min() < 0.3:
        return None
    across = (places.real * h[0] + places.imag * h[1] + h[2]) / below
    down = (places.real * h[3] + places.imag * h[4] + h[5]) / below
    return np.asarray((across + 1j * down) * pitch + middle)


def _shown(there: NDArray[np.complex128], size: tuple[int, int]) -> Mask:
    inside = (there.real > 0) & (there.real < size[0]) & (there.imag > 0) & (there.imag < size[1])
    return np.asarray(inside)
