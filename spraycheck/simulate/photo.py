"""The photograph of a drawn card, with the exact place of every card point in it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from spraycheck.simulate import lighting, sensor
from spraycheck.simulate.camera import Camera, Curl, View, place
from spraycheck.simulate.card import CardImage
from spraycheck.simulate.checks import Seed, as_rng
from spraycheck.simulate.lighting import STEP_PX, enlarge
from spraycheck.simulate.table import Table, draw_table
from spraycheck.simulate.truth import CardTruth

Float = NDArray[np.float64]
FloatMap = NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class SyntheticPhoto:
    """A photograph with known truth.

    Parameters
    ----------
    rgb : (H, W, 3) ndarray of uint8
        Upright, sRGB-encoded.
    truth : CardTruth
        What is on the card.
    view : View
        The exact map between card and photo.
    sheet_mm : (float, float)
        Width and height of the sheet.
    focal_35mm : float
        As a phone would write it into the photo's header.
    """

    rgb: NDArray[np.uint8]
    truth: CardTruth
    view: View
    sheet_mm: tuple[float, float]
    focal_35mm: float

    def to_photo(self, card_mm: Float) -> Float:
        """Return the photo pixels of ``(K, 2)`` card points, exactly, lens and curl included."""
        return self.view.to_photo(card_mm)

    @property
    def corners_px(self) -> Float:
        """Corners of the sheet, clockwise from the card's top left, ``(4, 2)``."""
        w, h = self.sheet_mm[0] / 2, self.sheet_mm[1] / 2
        return self.to_photo(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]))

    @property
    def foot_px(self) -> Float:
        """The nozzle centre in the photo, ``(2,)``."""
        return np.asarray(self.to_photo(np.array([[self.truth.x_mm, self.truth.y_mm]]))[0], float)

    @property
    def sheet_inside(self) -> bool:
        """Whether the whole sheet is in the photo."""
        c = self.corners_px
        h, w = self.rgb.shape[:2]
        return bool((c >= 0).all() and (c <= [w - 1, h - 1]).all())

    def truth_grid(self, step_mm: float = 10.0) -> tuple[Float, Float]:
        """Return matching points, card mm and photo pixels, both ``(K, 2)``, all over the sheet."""
        w, h = self.sheet_mm
        xs = np.linspace(-w / 2, w / 2, max(2, round(w / step_mm) + 1))
        ys = np.linspace(-h / 2, h / 2, max(2, round(h / step_mm) + 1))
        mm = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        return mm, self.to_photo(mm)


def photograph(
    card: CardImage,
    camera: Camera | None = None,
    table: Table | None = None,
    *,
    curl: Curl | None = None,
    seed: Seed,
) -> SyntheticPhoto:
    """Photograph a card lying on a table.

    Parameters
    ----------
    card : CardImage
        The sprayed sheet.
    camera, table : Camera, Table
        Defaults: a phone held nearly square-on, a wooden bench.
    curl : Curl, optional
        Of the sheet; flat by default.
    seed : int or numpy.random.Generator
        Where all randomness comes from; the same number gives the same pixels.

    Returns
    -------
    SyntheticPhoto

    Raises
    ------
    InputError
        The seed is no number.
    """
    rng = as_rng(seed)
    camera, table = camera or Camera(), table or Table()
    sheet = (card.paper.width_mm, card.paper.height_mm)
    view = place(camera, sheet, curl)
    shape = (camera.height_px, camera.width_px)

    px, coarse = _nodes(shape)
    on_card = view.to_card(px)
    on_table = view.to_table(px)
    finite = np.asarray(np.isfinite(on_table).all(axis=1))
    on_table = np.where(finite[:, None], on_table, 5e3)
    light, gloss = lighting.light_map(camera, view, sheet, rng)

    scene = _table_seen(table, sheet, on_table, coarse, shape, rng)
    top, cover = scene
    paper, alpha, wet = _sheet_seen(card, view, on_card, coarse, shape, table.colour)
    alpha *= 1 - cover
    dark = _sheet_shadow(alpha, camera, view, curl or Curl())
    top *= dark[..., None]
    out = top
    out *= (1 - alpha)[..., None]
    paper *= alpha[..., None]
    out += paper
    out *= light[..., None]
    if camera.gloss > 0:
        # Wet paper carries a film of oil and mirrors more than the felted dry surface.
        out += (gloss * (0.35 + 0.65 * wet * alpha))[..., None]
    return SyntheticPhoto(
        rgb=sensor.expose(out, camera, rng),
        truth=card.truth,
        view=view,
        sheet_mm=sheet,
        focal_35mm=camera.focal_35mm,
    )


def _nodes(shape: tuple[int, int]) -> tuple[Float, tuple[int, int]]:
    """Return every ``STEP_PX``-th pixel, from one step before the first to beyond the last."""
    xs = np.arange(-STEP_PX, shape[1] + 2 * STEP_PX, STEP_PX, dtype=float)
    ys = np.arange(-STEP_PX, shape[0] + 2 * STEP_PX, STEP_PX, dtype=float)
    return np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2), (len(ys), len(xs))


def _table_seen(
    table: Table,
    sheet: tuple[float, float],
    at: Float,
    coarse: tuple[int, int],
    shape: tuple[int, int],
    rng: np.random.Generator,
) -> tuple[FloatMap, FloatMap]:
    """Return the table's reflectance in the photo, and what of it hides the sheet."""
    far = 4 * math.hypot(*sheet)
    seen = np.clip(at, -far, far)
    low, high = seen.min(axis=0), seen.max(axis=0)
    top = draw_table(table, (low[0], low[1], high[0], high[1]), sheet, rng)
    mx = enlarge(((at[:, 0] - top.x0_mm) / top.cell_mm).reshape(coarse), shape)
    my = enlarge(((at[:, 1] - top.y0_mm) / top.cell_mm).reshape(coarse), shape)
    rgb = cv2.remap(top.rgb, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    cover = cv2.remap(top.cover, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(rgb, np.float32), np.asarray(cover, np.float32)


def _sheet_seen(
    card: CardImage,
    view: View,
    at: Float,
    coarse: tuple[int, int],
    shape: tuple[int, int],
    backing: tuple[float, float, float],
) -> tuple[FloatMap, FloatMap, FloatMap]:
    """Return the sheet's reflectance, how much of each pixel it fills, and how wet it is."""
    middle = view.to_photo(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    a, b = middle[1] - middle[0], middle[2] - middle[0]
    pitch = 1 / math.sqrt(max(abs(a[0] * b[1] - a[1] * b[0]), 1e-6))
    # No finer than the photo needs, nor so fine that memory is wasted on it.
    cell = float(np.clip(pitch, 0.12, card.cell_mm if pitch < card.cell_mm else pitch))
    rgb = card.linear_rgb(backing=backing, pitch_mm=cell)
    rows, cols = rgb.shape[:2]
    sx, sy = card.paper.width_mm / cols, card.paper.height_mm / rows
    mx = enlarge((at[:, 0] / sx + (cols - 1) / 2).reshape(coarse), shape)
    my = enlarge((at[:, 1] / sy + (rows - 1) / 2).reshape(coarse), shape)
    paper = cv2.remap(rgb, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    # Distance to the sheet's edge in pixels gives a clean anti-aliased outline.
    ex = (cols / 2 - np.abs(mx - np.float32((cols - 1) / 2))) * np.float32(sx / pitch)
    ey = (rows / 2 - np.abs(my - np.float32((rows - 1) / 2))) * np.float32(sy / pitch)
    alpha = np.clip(np.minimum(ex, ey) + np.float32(0.5), 0, 1)
    scale = np.array([cols, rows]) / np.array(card.wetness.shape[::-1])
    wet = cv2.remap(
        card.wetness,
        (mx + np.float32(0.5)) / np.float32(scale[0]) - np.float32(0.5),
        (my + np.float32(0.5)) / np.float32(scale[1]) - np.float32(0.5),
        cv2.INTER_LINEAR,
    )
    return (
        np.asarray(paper, np.float32),
        np.asarray(alpha, np.float32),
        np.clip(np.asarray(wet, np.float32), 0, 1),
    )


def _sheet_shadow(alpha: FloatMap, camera: Camera, view: View, curl: Curl) -> FloatMap:
    """Return the factor by which the sheet darkens the table beside it."""
    shape = alpha.shape
    k = 4
    small = cv2.resize(alpha, (shape[1] // k, shape[0] // k), interpolation=cv2.INTER_AREA)
    origin, right = view.to_photo(np.array([[0.0, 0.0], [10.0, 0.0]]))
    per_mm = float(np.hypot(*(right - origin))) / 10 / k
    # A flat sheet still stands off by about 1 mm; a curled one by its lift.
    lift = 1.0 + 0.5 * abs(curl.lift_mm)
    turn = math.radians(camera.light_from_deg)
    shift = -lift * per_mm * np.array([math.sin(turn), -math.cos(turn)])
    angle = view.to_photo(np.array([[0.0, 0.0], [shift[0], shift[1]]]))
    move = (angle[1] - angle[0]) / max(np.hypot(*(angle[1] - angle[0])), 1e-9) * np.hypot(*shift)
    warp = np.array([[1, 0, move[0]], [0, 1, move[1]]])
    moved = cv2.warpAffine(small, warp, small.shape[::-1])
    soft = cv2.GaussianBlur(moved, (0, 0), max(0.5, 0.9 * lift * per_mm))
    big = cv2.resize(soft, shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(1 - 0.5 * big, np.float32)
