"""Stage 1 on drawn sheets: every scene is projected by the maths written out here, not by the code
under test, and rendered in linear light at three times the size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest

from spraycheck import flags as flag
from spraycheck.card.containers import RectifiedCard
from spraycheck.card.find import CardSettings, rectify_card
from spraycheck.card.spec import CardSpec
from spraycheck.errors import CardNotFoundError
from spraycheck.photo.containers import Photo

A4 = CardSpec(width_mm=210, height_mm=297, name="a4")


def srgb(linear: np.ndarray) -> np.ndarray:
    """IEC 61966-2-1 encoding, written from the standard's formula."""
    low = 12.92 * linear
    high = 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, low, high)


@dataclass(frozen=True)
class Scene:
    """A sheet before a pinhole camera; lengths in mm, angles in degrees."""

    width: float = 210.0
    height: float = 297.0
    turn: float = 12.0
    tilt: float = 18.0
    tilt_towards: float = 35.0
    distance: float = 420.0
    shift: tuple[float, float] = (14.0, -9.0)
    bulge: float = 0.0
    photo: tuple[int, int] = (960, 1280)
    focal_35mm: float = 26.0
    paper: tuple[float, float, float] = (0.72, 0.69, 0.60)
    table: tuple[float, float, float] = (0.16, 0.13, 0.10)
    light: float = 1.0
    noise: float = 0.0

    def focal_px(self) -> float:
        return self.focal_35mm / math.hypot(36, 24) * math.hypot(*self.photo)

    def space(self, xy: np.ndarray) -> np.ndarray:
        """The sheet rolled about its y axis, lengths kept: an arc that bulges to the camera."""
        x, y = xy[..., 0], xy[..., 1]
        if self.bulge == 0:
            return np.stack([x, y, np.zeros_like(x)], axis=-1)
        half = self.width / 2
        # Sagitta s of an arc of half length a: s = r (1 - cos(a / r)).
        low, high = half / 3, 1e6
        for _ in range(80):
            radius = math.sqrt(low * high)
            low, high = (
                (radius, high)
                if radius * (1 - math.cos(half / radius)) > self.bulge
                else (low, radius)
            )
        return np.stack([radius * np.sin(x / radius), y, radius * (1 - np.cos(x / radius))], -1)

    def project(self, xy: np.ndarray) -> np.ndarray:
        """Sheet mm to photo pixels."""
        a, b, c = (math.radians(v) for v in (self.turn, self.tilt, self.tilt_towards))
        spin = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
        k = np.array([math.cos(c), math.sin(c), 0.0])
        cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
        lean = np.eye(3) + math.sin(b) * cross + (1 - math.cos(b)) * cross @ cross
        at = self.space(np.asarray(xy, float)) @ (lean @ spin).T
        at = at + np.array([*self.shift, self.distance])
        middle = np.array([(self.photo[0] - 1) / 2, (self.photo[1] - 1) / 2])
        return middle + self.focal_px() * at[..., :2] / at[..., 2:]

    def outline(self) -> np.ndarray:
        t = np.linspace(-1, 1, 60)[:-1]
        one = np.ones_like(t)
        sides = [(t, -one), (one, t), (-t, one), (-one, -t)]
        x = np.concatenate([s[0] for s in sides]) * self.width / 2
        y = np.concatenate([s[1] for s in sides]) * self.height / 2
        return self.project(np.stack([x, y], axis=1))

    def corners(self) -> np.ndarray:
        half = np.array([self.width / 2, self.height / 2])
        return self.project(np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half)

    def draw(self, clutter: tuple[tuple[float, float, float, float], ...] = ()) -> np.ndarray:
        """RGB pixels; clutter are dark rectangles (x, y, w, h) in photo pixels."""
        rng = np.random.default_rng(7)
        up, (w, h) = 3, self.photo
        big = np.empty((h * up, w * up, 3), np.float32)
        grain = cv2.resize(rng.normal(0, 0.05, (h // 4, w // 4)), (w * up, h * up))
        big[:] = np.array(self.table, np.float32) * (1 + grain[..., None].astype(np.float32))

        def fill(points: np.ndarray, colour: tuple[float, float, float]) -> None:
            fixed = np.round(((points + 0.5) * up - 0.5) * 16).astype(np.int32)
            cv2.fillPoly(big, [fixed], colour, shift=4)

        fill(self.outline(), self.paper)
        angle = np.linspace(0, 2 * np.pi, 40)
        for k in range(5):
            middle = 45 * np.array([math.cos(0.4 + 1.2566 * k), math.sin(0.4 + 1.2566 * k)])
            blob = middle + np.stack([9 * np.cos(angle), 13 * np.sin(angle)], axis=1)
            fill(self.project(blob), tuple(0.6 * v for v in self.paper))
        for x, y, bw, bh in clutter:
            fill(np.array([[x, y], [x + bw, y], [x + bw, y + bh], [x, y + bh]]), (0.03, 0.04, 0.06))
        small = cv2.resize(big, (w, h), interpolation=cv2.INTER_AREA) * self.light
        values = 255 * srgb(np.clip(small, 0, 1)) + rng.normal(0, self.noise, small.shape)
        return np.clip(np.round(values), 0, 255).astype(np.uint8)


def photo_of(rgb: np.ndarray, focal_35mm: float = math.nan) -> Photo:
    rgb = np.ascontiguousarray(rgb)
    return Photo(rgb=rgb, width_px=rgb.shape[1], height_px=rgb.shape[0], focal_35mm=focal_35mm)


def map_error_mm(card: RectifiedCard, scene: Scene, reach: float = 70.0) -> np.ndarray:
    """Distance between where cells are said to lie and where the scene puts them, in mm."""
    x, y = np.meshgrid(np.linspace(-reach, reach, 9), np.linspace(-reach, reach, 9))
    at = np.stack([x.ravel(), y.ravel()], axis=1)
    said = card.to_photo(at * card.size_mm[0] / scene.width)
    return np.linalg.norm(said - scene.project(at), axis=1) / card.px_per_mm(np.zeros(2))


def corner_error_px(card: RectifiedCard, corners: np.ndarray) -> float:
    return float(np.linalg.norm(card.corners_px - corners, axis=1).max())


def test_flat_sheet_of_known_size() -> None:
    scene = Scene()
    card = rectify_card(photo_of(scene.draw()), A4)
    assert card.found_by == "sheet"
    assert card.scale_known
    assert card.size_mm == (210, 297)
    assert corner_error_px(card, scene.corners()) < 0.5
    # A photo pixel is 0.45 mm here: under one pixel everywhere near the spray, sheet flat (chosen).
    assert map_error_mm(card, scene).max() < 0.4
    assert flag.NO_SCALE not in card.flags
    assert flag.SHEET_CURLED not in card.flags
    assert flag.NO_FOCAL_LENGTH in card.flags


@pytest.mark.parametrize("tilt", [0.0, 25.0, 40.0])
def test_error_stays_within_stated_uncertainty(tilt: float) -> None:
    scene = Scene(tilt=tilt, turn=-23.0, noise=2.0)
    card = rectify_card(photo_of(scene.draw()), A4)
    assert card.found_by == "sheet"
    assert 0 < card.geometry_u_mm < 1.5
    rms = math.sqrt(float(np.mean(map_error_mm(card, scene) ** 2)))
    # Two axes of one standard uncertainty each, plus the place of the whole sheet (0.1 mm).
    assert rms < 3 * math.sqrt(2) * card.geometry_u_mm + 0.1
    assert (flag.OBLIQUE in card.flags) == (tilt > 20)


@pytest.mark.parametrize("spec", [CardSpec(width_mm=200, height_mm=200), CardSpec()])
def test_the_long_lens_of_a_phone_is_no_curl(spec: CardSpec) -> None:
    """Twice the usual focal length, untold: the sheet is flat and lies where it lies."""
    scene = Scene(
        width=200, height=200, tilt=25, focal_35mm=52, distance=800, shift=(5.0, -9.0), noise=1.0
    )
    photo = photo_of(scene.draw())
    card = rectify_card(photo, spec)
    assert flag.SHEET_CURLED not in card.flags
    assert map_error_mm(card, scene).max() < 0.6
    # The control: a photo that says it was the main lens is believed, and the sheet comes out bent.
    told = rectify_card(replace(photo, focal_35mm=26.0), spec)
    assert map_error_mm(told, scene).max() > 1.5


def test_proportions_of_an_unknown_sheet_are_recovered() -> None:
    scene = Scene(width=180, height=216, tilt=22)  # 1.2: no usual format
    card = rectify_card(photo_of(scene.draw(), 26.0))
    ratio = card.size_mm[1] / card.size_mm[0]
    assert ratio == pytest.approx(1.2, rel=0.02)
    assert abs(ratio / 1.2 - 1) < 3 * card.aspect_u_frac + 0.004
    assert flag.ASPECT_ASSUMED not in card.flags
    assert not card.scale_known
    assert {flag.NO_SCALE} <= set(card.flags)
    assert flag.NO_FOCAL_LENGTH not in card.flags


@pytest.mark.parametrize(
    ("size", "ratio"),
    [((210, 297), math.sqrt(2)), ((215.9, 279.4), 11 / 8.5), ((200, 200), 1.0)],
)
def test_usual_formats_are_recognised(size: tuple[float, float], ratio: float) -> None:
    scene = Scene(width=size[0], height=size[1], tilt=10)
    card = rectify_card(photo_of(scene.draw()))
    assert card.size_mm[1] / card.size_mm[0] == pytest.approx(ratio, rel=1e-6)
    assert flag.ASPECT_ASSUMED in card.flags
    assert max(card.size_mm) == 297


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turned_photo_gives_the_same_sheet(quarters: int) -> None:
    scene = Scene(noise=1.0)
    rgb = scene.draw()
    card = rectify_card(photo_of(np.rot90(rgb, quarters)), A4)
    assert card.found_by == "sheet"
    plain = rectify_card(photo_of(rgb), A4)
    across, down = sorted(card.size_mm), sorted(plain.size_mm)
    assert across == down
    w, h = scene.photo
    x, y = plain.corners_px.T
    turned = {1: (y, w - 1 - x), 2: (w - 1 - x, h - 1 - y), 3: (h - 1 - y, x)}[quarters]
    expected = np.stack(turned, axis=1)
    gap = np.linalg.norm(card.corners_px[:, None] - expected, axis=2).min(axis=1)
    assert gap.max() < 0.3


def test_top_edge_is_the_one_nearest_the_top_of_the_photo() -> None:
    for turn in (-30.0, 5.0, 40.0, 100.0, 200.0):
        card = rectify_card(photo_of(Scene(turn=turn, width=190, height=230).draw()))
        corners = card.corners_px
        middles = (corners + np.roll(corners, -1, axis=0)) / 2
        assert int(np.argmin(middles[:, 1])) == 0
        edge = np.roll(corners, -1, axis=0) - corners
        turns = edge[:, 0] * np.roll(edge[:, 1], -1) - edge[:, 1] * np.roll(edge[:, 0], -1)
        assert (turns > 0).all()  # clockwise, never mirrored


def test_curl_is_undone_and_matters() -> None:
    scene = Scene(bulge=9.0, tilt=15, tilt_towards=80)
    photo = photo_of(scene.draw(), 26.0)
    card = rectify_card(photo, A4)
    assert flag.SHEET_CURLED in card.flags
    error = math.sqrt(float(np.mean(map_error_mm(card, scene) ** 2)))
    flat = math.sqrt(float(np.mean(map_error_mm(rectify_card(photo, A4, curl=0.0), scene) ** 2)))
    # A roll this strong moves the middle by about 1.5 mm; the flat model is the control.
    assert error < 0.6
    assert flat > 1.5 * error
    assert flat > 0.8


@pytest.mark.parametrize(
    "change",
    [
        {"light": 0.12},
        {"noise": 14.0},
        {"paper": (0.55, 0.36, 0.18)},
        {"paper": (0.30, 0.32, 0.31), "table": (0.52, 0.53, 0.52)},  # grey card, pale table
        {"paper": (0.70, 0.69, 0.66), "table": (0.58, 0.58, 0.57)},  # pale on pale
        {"photo": (540, 720)},
    ],
    ids=["dark", "noisy", "brown", "grey-on-pale", "pale-on-pale", "small"],
)
def test_paper_and_light_do_not_matter(change: dict[str, object]) -> None:
    scene = replace(Scene(turn=-17), **change)  # type: ignore[arg-type]
    card = rectify_card(photo_of(scene.draw()), A4)
    assert card.found_by == "sheet"
    assert corner_error_px(card, scene.corners()) < 1.5
    assert map_error_mm(card, scene).max() < 0.8


def test_things_lying_over_the_edges_do_not_matter() -> None:
    scene = Scene()
    corners = scene.corners()
    spots = (corners + np.roll(corners, -1, axis=0)) / 2
    clutter = tuple((x - 50, y - 30, 110.0, 64.0) for x, y in spots[:3])
    card = rectify_card(photo_of(scene.draw(clutter)), A4)
    assert card.found_by == "sheet"
    assert map_error_mm(card, scene).max() < 0.6


def test_the_edge_of_a_shadow_is_no_sheet_edge() -> None:
    scene = Scene(noise=1.0)
    rgb = scene.draw().astype(float)
    x, y = np.meshgrid(np.arange(rgb.shape[1]), np.arange(rgb.shape[0]))
    shade = 1 - 0.4 / (1 + np.exp(-(0.3 * (x - 470) + (y - 600)) / 3))
    card = rectify_card(photo_of((rgb * shade[..., None]).astype(np.uint8)), A4)
    assert card.found_by == "sheet"
    assert corner_error_px(card, scene.corners()) < 3
    assert map_error_mm(card, scene).max() < 0.8


def test_sheet_partly_outside_the_photo() -> None:
    scene = Scene(shift=(85.0, -15.0), tilt=12)
    corners = scene.corners()
    assert (corners[:, 0] > scene.photo[0]).any()
    card = rectify_card(photo_of(scene.draw()), A4)
    assert card.found_by == "sheet-cropped"
    assert flag.SHEET_CROPPED in card.flags
    assert 0.5 < card.inside.mean() < 0.99
    seen = card.map_x_px[card.inside]
    assert seen.max() <= scene.photo[0] - 1
    assert map_error_mm(card, scene, 60.0).max() < 2.0


def test_photo_decoded_at_half_scale_reads_in_full_pixels() -> None:
    scene = Scene(photo=(1440, 1920))
    rgb = scene.draw()
    half = cv2.resize(rgb, (720, 960), interpolation=cv2.INTER_AREA)
    card = rectify_card(Photo(rgb=half, width_px=1440, height_px=1920), A4)
    assert corner_error_px(card, scene.corners()) < 1.0
    # A decoded pixel is 0.6 mm here.
    assert map_error_mm(card, scene).max() < 0.5


def test_light_is_linear() -> None:
    scene = Scene(paper=(0.25, 0.5, 0.75), tilt=0, noise=0)
    card = rectify_card(photo_of(scene.draw()), A4)
    rows, cols = card.inside.shape
    patch = card.linear_rgb[rows // 2 - 5 : rows // 2 + 5, cols // 2 - 5 : cols // 2 + 5]
    # The scene is defined in linear light; 8 bits resolve it to 0.5 % here.
    assert np.abs(patch.mean(axis=(0, 1)) - [0.25, 0.5, 0.75]).max() < 0.004
    # IEC 61966-2-1: sRGB 188 is 0.5029 linear, 128 is 0.2159 (the standard's formula by hand).
    flat = np.full((64, 64, 3), 188, np.uint8)
    flat[:, :32] = 128
    whole = rectify_card(photo_of(flat), settings=CardSettings(min_score=9.0)).linear_rgb
    assert whole[5, 2, 0] == pytest.approx(0.21586, abs=2e-4)
    assert whole[5, -3, 2] == pytest.approx(0.50289, abs=2e-4)


def test_more_pixels_than_cells_average_the_noise() -> None:
    scene = Scene(noise=10.0, tilt=5)
    photo = photo_of(scene.draw())
    fine, coarse = (rectify_card(photo, A4, cell_mm=cell) for cell in (0.4, 1.6))

    def scatter(card: RectifiedCard) -> float:
        rows, cols = card.inside.shape
        middle = card.linear_rgb[rows // 2 - 8 : rows // 2 + 8, cols // 2 - 8 : cols // 2 + 8, 1]
        return float(middle.std())

    assert coarse.cell_mm == 1.6
    # 1.6 mm hold about 4 photo pixels: noise at least halves.
    assert scatter(coarse) < 0.5 * scatter(fine)


def test_map_between_computed_cells_is_smooth() -> None:
    card = rectify_card(photo_of(Scene(tilt=30).draw()), A4)
    for along, values in ((1, card.map_x_px), (0, card.map_y_px)):
        step = np.diff(values.astype(float), axis=along)
        # Perspective changes the step by less than a hundredth from cell to cell.
        change = np.abs(np.diff(step, axis=along)) / np.abs(step).mean()
        assert change.max() < 0.02


def test_grid_is_limited_and_centred() -> None:
    card = rectify_card(photo_of(Scene(photo=(1920, 2560)).draw()), A4)
    assert card.inside.size <= 1.2e6
    rows, cols = card.inside.shape
    assert card.x0_mm == pytest.approx(-(cols - 1) / 2 * card.cell_mm)
    assert card.y0_mm == pytest.approx(-(rows - 1) / 2 * card.cell_mm)
    assert cols * card.cell_mm == pytest.approx(210, abs=card.cell_mm)


def test_no_sheet_means_the_photo_is_the_card() -> None:
    rng = np.random.default_rng(3)
    ground = cv2.GaussianBlur(rng.normal(120, 60, (300, 420, 3)), (0, 0), 6)
    rgb = np.clip(120 + (ground - 120) * 4, 0, 255).astype(np.uint8)
    card = rectify_card(photo_of(rgb), A4)
    assert card.found_by == "none"
    assert {flag.NO_SHEET, flag.NO_SCALE} <= set(card.flags)
    assert not card.scale_known
    assert max(card.size_mm) == 297
    assert np.isnan(card.corners_px).all()
    assert card.outline_px.shape == (0, 2)
    assert card.geometry_u_mm > 1
    middle = card.to_photo(np.zeros((1, 2)))
    assert middle == pytest.approx(np.array([[209.5, 149.5]]), abs=0.01)


@pytest.mark.parametrize("shape", [(16, 16), (20, 2000), (1500, 18), (40, 33)])
def test_odd_shapes_are_measured_without_a_sheet(shape: tuple[int, int]) -> None:
    rgb = np.random.default_rng(1).integers(0, 256, (*shape, 3)).astype(np.uint8)
    card = rectify_card(photo_of(rgb), A4)
    assert card.found_by == "none"
    assert np.isfinite(card.linear_rgb).all()


def test_a_photo_of_nothing_is_an_error() -> None:
    with pytest.raises(CardNotFoundError, match="every pixel is alike") as caught:
        rectify_card(photo_of(np.full((200, 300, 3), 17, np.uint8)))
    assert caught.value.stage == "rectification"
    assert caught.value.hint


def test_same_photo_same_answer() -> None:
    photo = photo_of(Scene(noise=3.0).draw())
    one, two = rectify_card(photo, A4), rectify_card(photo, A4)
    assert np.array_equal(one.map_x_px, two.map_x_px)
    assert np.array_equal(one.linear_rgb, two.linear_rgb)
    assert one.geometry_u_mm == two.geometry_u_mm
