"""A target card that shows but cannot be read: refused, or its print would be taken for plumes.

A photo too blurred, too coarse or cut too close for the codes still shows compact dark spots of one
size where a card has its squares. Each two of a size are taken for neighbouring squares of each
card; the card that so explains most spots is laid over them once more, and counted. Nothing is
measured from them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray

from spraycheck.arrays import Float, FloatMap, Mask
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.markers import SeenMarker, read_markers
from spraycheck.card.sampling import LINEAR, block_for, reduce_by
from spraycheck.card.target import CARDS, parse_label

Complexes = NDArray[np.complex128]

_QR: Any = zxingcpp.BarcodeFormat.QRCode  # the stub asks for a set of formats


@dataclass(frozen=True, kw_only=True)
class UnreadableSettings:
    """When dark spots are a card's squares.

    Parameters
    ----------
    working_px : int
        Long side of the picture that is looked at: on an A4 card that fills a third of it a marker
        is 7 pixels wide.
    around_frac : float
        Windows in which a spot must be darker than what is around, of the working size: two to
        three squares wide on a card that fills the picture, and on one that is cut close.
    least_depth : float
        Natural-log loss of light, in the colour that loses least, from which a spot may be ink: a
        marker with much white in its code, blurred by a third of its side, still shows 0.45.
    least_filled, least_side_px : float
        Least share of its rectangle that a spot's outline fills, and least width, pixels (chosen: a
        square is all its rectangle, a stroke of handwriting little of it).
    least_dark : float
        Least share of its rectangle that is dark itself: the border of a coded square alone is 0.56
        of it, a drawn ring as large as a square less than 0.3.
    alike_log : float
        Log of size within which spots are alike and fit the distance between them.
    near_sides : float
        How near to its place a square must lie, in its own sides: a curl or a strong perspective
        moves it by up to 0.3 once the card has been laid over all of them (chosen).
    least_squares : int
        Two squares fix where the others should be, a third may lie there by chance.
    least_shown : float
        Least share of the squares that should show in the photo; the rest may be oiled or covered.
    least_of_spots : float
        Least share of all spots alike: among many, some always lie right.
    """

    working_px: int = 480
    around_frac: tuple[float, ...] = (0.11, 0.25)
    least_depth: float = 0.4
    least_filled: float = 0.65
    least_side_px: float = 5.0
    least_dark: float = 0.5
    alike_log: float = 0.35
    near_sides: float = 0.5
    least_squares: int = 4
    least_shown: float = 0.5
    least_of_spots: float = 0.4


UNREADABLE: Final = UnreadableSettings()


def what_shows(
    grey: NDArray[np.uint8], small: NDArray[np.uint8], seen: list[SeenMarker]
) -> tuple[str, int] | None:
    """Tell what shows of a target card that cannot be read, and how many; None where nothing.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
        Picture in which markers were looked for.
    small : (h, w, 3) ndarray of uint8
        The same in colour, reduced to about ``working_px``.
    seen : list of SeenMarker
        What was read as markers, too few for a card.
    """
    if count := count_squares(LINEAR[_brightest(small)]):
        return ("squares", count)
    # Clutter is now and then read as a marker by putting wrong cells right; without that, never.
    if seen and read_markers(grey, {m.number for m in seen}, correct=False):
        return ("marker", 1)
    codes = zxingcpp.read_barcodes(grey, formats=_QR)
    return ("code", 1) if any(parse_label(code.text) for code in codes) else None


def what_shows_on(card: RectifiedCard) -> tuple[str, int] | None:
    """Tell what shows on a sheet found by its edges, square-on and without the table."""
    block = block_for(card.inside, UNREADABLE.working_px)
    light = _brightest(reduce_by(card.linear_rgb, block))
    inside = reduce_by(card.inside.astype(np.uint8), block).astype(bool)
    # Beside the sheet there is nothing dark: its rim is white all the way.
    light[~inside] = np.median(light[::4, ::4][inside[::4, ::4]])
    count = count_squares(light)
    return ("squares", count) if count else None


def _brightest(rgb: NDArray[Any]) -> NDArray[Any]:
    """Largest of the three colours; ten times as fast as along the last axis in NumPy."""
    red, green, blue = cv2.split(rgb)
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def count_squares(light: FloatMap) -> int:
    """Count dark squares that lie as on a target card; 0 where no card shows.

    Parameters
    ----------
    light : (H, W) ndarray of float32
        Linear light, in the colour that loses least to oil; about ``working_px`` long.
    """
    log = np.asarray(np.log(np.maximum(light, 0.004)), np.float32)
    most = 0
    for share in UNREADABLE.around_frac:
        at, side = _spots(log, round(share * max(light.shape)))
        if len(at) >= UNREADABLE.least_squares:
            for card in CARDS.values():
                places = np.array([m.x_mm + 1j * m.y_mm for m in card.markers], np.complex128)
                most = max(
                    most, _most_explained(places / card.markers[0].side_mm, at, side, light.shape)
                )
    return most


def _spots(log: FloatMap, around: int) -> tuple[Complexes, Float]:
    """Compact dark spots: where, as complex numbers, and how wide."""
    dark = (log < cv2.blur(log, (around, around)) - UNREADABLE.least_depth / 2).astype(np.uint8)
    contours, _ = cv2.findContours(dark, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    at, sides = [], []
    for contour in contours:
        middle, (width, height), _ = cv2.minAreaRect(contour)
        # A contour runs along the middles of its outer pixels.
        side = math.sqrt((width + 1) * (height + 1))
        compact = cv2.contourArea(contour) > UNREADABLE.least_filled * width * height
        square = abs(math.log((width + 1) / (height + 1))) < UNREADABLE.alike_log
        x, y, across, down = cv2.boundingRect(contour)
        full = dark[y : y + down, x : x + across].sum() > UNREADABLE.least_dark * width * height
        if compact and full and square and UNREADABLE.least_side_px < side < around / 2:
            at.append(complex(*middle))
            sides.append(side)
    return np.array(at, complex), np.array(sides)


def _most_explained(places: Complexes, at: Complexes, side: Float, shape: tuple[int, ...]) -> int:
    """Lay a card over each two alike spots as neighbouring squares; the best over all it explains.

    ``places`` are the card's squares in units of their side.
    """
    ring = places[np.argsort(np.angle(places))]
    one, two = (k.ravel() for k in np.indices((len(at), len(at))))
    gap = np.concatenate([np.roll(ring, -1) - ring, ring - np.roll(ring, -1)])
    first = np.concatenate([ring, np.roll(ring, -1)])
    turn = (at[two] - at[one])[:, None] / gap
    with np.errstate(divide="ignore"):  # a spot with itself
        fits = np.abs(np.log(np.abs(turn) / side[one, None])) < UNREADABLE.alike_log
        fits &= np.abs(np.log(np.abs(turn) / side[two, None])) < UNREADABLE.alike_log
    pair, way = np.nonzero(fits)
    turn = turn[pair, way]
    there = turn[:, None] * ring + (at[one[pair]] - turn * first[way])[:, None]
    near = np.abs(there[:, :, None] - at).min(axis=2) < np.abs(turn)[:, None]
    best = np.argsort(_in_photo(there, shape).sum(axis=1) - 3 * near.sum(axis=1), kind="stable")
    return max((_explained(ring, at, side, there[k], shape) for k in best[:8]), default=0)


def _explained(
    ring: Complexes, at: Complexes, side: Float, there: Complexes, shape: tuple[int, ...]
) -> int:
    """Lay a card, once roughly in place, over all the squares it explains, and count them."""
    for reach in (1.0, 0.7, UNREADABLE.near_sides):
        pitch = float(np.std(there) / np.std(ring))
        gaps = np.abs(there[:, None] - at)
        nearest = gaps.argmin(axis=1)
        alike = np.abs(np.log(side[nearest] / pitch)) < UNREADABLE.alike_log
        hit = (gaps.min(axis=1) < reach * pitch) & alike
        if hit.sum() < 3:
            return 0
        # A slanted view squeezes: x' = a p + b conj(p) + c, with b held near nought.
        design = np.column_stack([ring, ring.conj(), np.ones(len(ring))])
        held = np.array([[0, np.abs(ring).max(), 0]])
        rows = np.concatenate([design[hit], held])
        fit = np.linalg.lstsq(rows, np.append(at[nearest[hit]], 0), rcond=None)[0]
        there = design @ fit
    count = len(np.unique(nearest[hit]))
    expected = int((_in_photo(there, shape) | hit).sum())
    kind = np.abs(np.log(side / pitch)) < UNREADABLE.alike_log
    enough = max(
        UNREADABLE.least_squares,
        UNREADABLE.least_shown * expected,
        UNREADABLE.least_of_spots * kind.sum(),
    )
    return count if count >= enough else 0


def _in_photo(there: Complexes, shape: tuple[int, ...]) -> Mask:
    inside = (there.real > 0) & (there.real < shape[1]) & (there.imag > 0) & (there.imag < shape[0])
    return np.asarray(inside)
