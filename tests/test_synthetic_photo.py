"""Photographing a card: geometry exact, light and sensor as asked."""

from __future__ import annotations

import math
from dataclasses import replace

import cv2
import numpy as np
import pytest

from spraycheck.simulate import (
    FAMILIES,
    FAULTS,
    Artwork,
    Camera,
    Curl,
    Paper,
    SprayShot,
    SyntheticNozzle,
    SyntheticPhoto,
    Table,
    draw_card,
    photograph,
    random_scene,
)
from spraycheck.simulate.camera import LIGHTS, place

NOZZLE = SyntheticNozzle.evenly(5, axis_angle_deg=60, first_deg=31)
# Far from symmetric, so that a flip or a swap of axes shows.
DOTS_MM = np.array([[-52.0, -38.0], [40.0, -45.0], [58.0, 33.0], [-20.0, 41.0], [5.0, 3.0]])
QUIET = Camera(
    width_px=900,
    height_px=700,
    noise=0.0,
    sharpen=0.0,
    contrast=0.0,
    blur_px=0.8,
    jpeg_quality=100,
    vignette_frac=0.0,
)


def dotted() -> Paper:
    """A sheet with a black dot of 3 mm at each of `DOTS_MM`."""
    per_mm = 10
    art = np.full((110 * per_mm, 140 * per_mm, 3), 255, np.uint8)
    for x, y in DOTS_MM:
        # Middle of the picture lies between its pixels; drawn to 1/16 of a pixel.
        at = (((70 + x) * per_mm - 0.5) * 16, ((55 + y) * per_mm - 0.5) * 16)
        cv2.circle(art, (round(at[0]), round(at[1])), 15 * 16, (0, 0, 0), -1, cv2.LINE_AA, 4)
    return Paper(
        width_mm=140,
        height_mm=110,
        texture_frac=0.0,
        cloud_frac=0.0,
        artwork=(Artwork(rgb=art, width_mm=140, height_mm=110),),
    )


def find(rgb: np.ndarray, near: np.ndarray) -> np.ndarray:
    """Centre of the dark dot nearest a pixel, by its weight of darkness in light."""
    x, y = round(near[0]), round(near[1])
    block = rgb[y - 14 : y + 15, x - 14 : x + 15].mean(axis=2)
    dark = np.clip(1 - (block / np.median(block)) ** 2.2, 0.05, 1) - 0.05
    yy, xx = np.mgrid[-14:15, -14:15]
    return np.array([x + (dark * xx).sum() / dark.sum(), y + (dark * yy).sum() / dark.sum()])


VIEWS = {
    "square-on": (QUIET, Curl()),
    "slanted": (replace(QUIET, obliquity_deg=24, obliquity_to_deg=70, roll_deg=38), Curl()),
    "lens": (replace(QUIET, distortion=(-0.08, 0.02), fill_frac=0.9, roll_deg=-100), Curl()),
    "curled up": (replace(QUIET, obliquity_deg=12), Curl(lift_mm=9, axis_deg=25)),
    "arched": (
        replace(QUIET, obliquity_deg=20, obliquity_to_deg=200, distortion=(0.03, 0)),
        Curl(lift_mm=-8, axis_deg=100),
    ),
}


@pytest.mark.parametrize("name", VIEWS)
def test_points_lie_where_the_truth_says(name: str) -> None:
    camera, curl = VIEWS[name]
    card = draw_card(NOZZLE, None, dotted(), seed=1, cell_mm=0.2)
    photo = photograph(card, camera, Table(surface="rubber"), curl=curl, seed=2)
    want = photo.to_photo(DOTS_MM)
    assert photo.sheet_inside
    for expected in want:
        # A dot's centroid differs from its centre's image by the perspective of 3 mm: < 0.1 px.
        assert find(photo.rgb, expected) == pytest.approx(expected, abs=0.25)
    # Negative control: an unbent, undistorted view puts some dot elsewhere.
    if name in ("lens", "curled up", "arched"):
        flat = place(replace(camera, distortion=(0, 0)), (140, 110)).to_photo(DOTS_MM)
        assert np.abs(flat - want).max() > 1.0


@pytest.mark.parametrize("name", VIEWS)
def test_photo_to_card_undoes_card_to_photo(name: str) -> None:
    camera, curl = VIEWS[name]
    view = place(camera, (140, 110), curl)
    points = np.random.default_rng(3).uniform(-1, 1, (60, 2)) * [70, 55]
    assert np.abs(view.to_card(view.to_photo(points)) - points).max() < 1e-6


@pytest.mark.parametrize("lift", [9.0, -6.0])
def test_a_curled_sheet_is_not_stretched(lift: float) -> None:
    view = place(QUIET, (140, 110), Curl(lift_mm=lift, axis_deg=25))
    rng = np.random.default_rng(4)
    start = rng.uniform(-50, 50, (40, 2))
    turn = rng.uniform(0, 2 * math.pi, 40)
    step = 0.01 * np.column_stack([np.cos(turn), np.sin(turn)])
    gone = np.linalg.norm(view.to_space(start + step) - view.to_space(start), axis=1)
    assert gone == pytest.approx(0.01, rel=1e-4)
    # Across the straight line the ends stand `lift` from the middle; the lowest lies on the table.
    half = view.half_mm
    across = np.array([math.cos(math.radians(25)), math.sin(math.radians(25))])
    z = -view.to_space(np.array([[0, 0], across * half]))[:, 2]
    assert z[1] - z[0] == pytest.approx(lift, abs=1e-3)
    assert z.min() == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize(("angle", "factor"), [(5, 0.9962), (10, 0.9848), (20, 0.9397)])
def test_an_oblique_view_shrinks_area_by_the_cosine(angle: float, factor: float) -> None:
    # Projective geometry: at the point looked at, area goes with the cosine (published rows).
    view = place(replace(QUIET, obliquity_deg=angle, obliquity_to_deg=130), (140, 110))
    a, b, c = view.to_photo(np.array([[0, 0], [0.01, 0], [0, 0.01]]))
    area = abs(np.linalg.det(np.stack([b - a, c - a])))
    distance = np.linalg.norm(view.centre_mm)
    square_on = (view.focal_px / distance * 0.01) ** 2
    assert area / square_on == pytest.approx(factor, abs=3e-4)


def test_roll_and_look_follow_the_house_directions() -> None:
    plain = place(QUIET, (140, 110))
    up = plain.to_photo(np.array([[0.0, -20.0], [0.0, 0.0]]))
    assert up[0, 1] < up[1, 1] - 20  # 12 o'clock on the card is up in the photo
    assert up[0, 0] == pytest.approx(up[1, 0], abs=1e-6)
    rolled = place(replace(QUIET, roll_deg=90), (140, 110))
    tip = rolled.to_photo(np.array([[0.0, -20.0], [0.0, 0.0]]))
    assert abs(tip[0, 0] - tip[1, 0]) > 20
    # Looking towards the top of the card makes its top the far, small side.
    far = place(replace(QUIET, obliquity_deg=30), (140, 110))
    top = np.ptp(far.to_photo(np.array([[-60.0, -50.0], [60.0, -50.0]]))[:, 0])
    low = np.ptp(far.to_photo(np.array([[-60.0, 50.0], [60.0, 50.0]]))[:, 0])
    assert top < 0.9 * low


@pytest.mark.parametrize("fill", [0.5, 0.9, 1.15])
def test_the_sheet_fills_the_frame_as_asked(fill: float) -> None:
    camera = replace(QUIET, fill_frac=fill, obliquity_deg=14, roll_deg=23)
    corners = place(camera, (140, 110)).to_photo(
        np.array([[-70.0, -55], [70, -55], [70, 55], [-70, 55]])
    )
    frame = np.array([900, 700]) / 2
    off = np.abs(corners - (np.array([900, 700]) - 1) / 2) / frame
    assert off.max() == pytest.approx(fill, abs=1e-3)


# -- light and sensor -------------------------------------------------------------------------


def sheet_shot(camera: Camera, table: Table | None = None, seed: int = 6) -> SyntheticPhoto:
    plain = Paper(width_mm=140, height_mm=110, texture_frac=0.0, cloud_frac=0.0)
    return photograph(
        draw_card(NOZZLE, None, plain, seed=1, cell_mm=0.4),
        camera,
        table or Table(surface="rubber"),
        seed=seed,
    )


def linear(photo: SyntheticPhoto, at_mm: tuple[float, float]) -> np.ndarray:
    x, y = photo.to_photo(np.array([at_mm]))[0]
    block = photo.rgb[round(y) - 8 : round(y) + 9, round(x) - 8 : round(x) + 9]
    code = block.reshape(-1, 3).mean(axis=0) / 255
    return np.asarray(np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4))


def test_exposure_is_the_light_of_the_sheet() -> None:
    half, full = (linear(sheet_shot(replace(QUIET, exposure=e)), (0, 0)).mean() for e in (0.4, 0.8))
    # Office paper reflects about 0.81 over a dark table; light is 1 in the middle.
    assert full == pytest.approx(0.8 * 0.81, abs=0.02)
    assert full / half == pytest.approx(2.0, rel=0.03)
    assert sheet_shot(replace(QUIET, exposure=1.6)).rgb[350, 450].min() == 255


@pytest.mark.parametrize("light", ["window", "lamp"])
def test_light_comes_from_where_it_says(light: str) -> None:
    camera = replace(QUIET, light=light, light_from_deg=90.0, light_fall_frac=0.4, exposure=0.5)
    photo = sheet_shot(camera)
    left, right = (linear(photo, (x, 0.0)).mean() for x in (-55.0, 55.0))
    assert right > 1.15 * left
    up, down = (linear(photo, (0.0, y)).mean() for y in (-45.0, 45.0))
    assert abs(up / down - 1) < 0.15


def test_flash_shines_and_falls_off() -> None:
    dull = sheet_shot(replace(QUIET, light="flash", exposure=0.4))
    shiny = sheet_shot(replace(QUIET, light="flash", gloss=0.6, exposure=0.4))
    assert linear(dull, (0, 0)).mean() > 1.02 * linear(dull, (60, 45)).mean()
    assert linear(shiny, (0, 0)).mean() > 1.1 * linear(dull, (0, 0)).mean()


def test_a_shadow_darkens_one_side_only() -> None:
    camera = replace(QUIET, shadow_frac=0.5, shadow_soft_mm=5)
    dark, light = (sheet_shot(c).rgb[80:620, 90:810].astype(float) for c in (camera, QUIET))
    ratio = dark.mean(axis=2) / light.mean(axis=2)
    # Half the light is code 0.73; part of the sheet has it, part none of the shadow.
    assert 0.02 < (ratio < 0.8).mean() < 0.98
    assert (ratio > 0.97).mean() > 0.02


def edge_width(photo: SyntheticPhoto) -> int:
    """Pixels between 10 % and 90 % across the sheet's right edge."""
    x, y = photo.to_photo(np.array([[70.0, 0.0]]))[0]
    row = photo.rgb[round(y), round(x) - 25 : round(x) + 26].astype(float).mean(axis=1)
    top, low = row[:10].mean(), row[-5:].min()
    return int(np.count_nonzero((row < 0.9 * top + 0.1 * low) & (row > 0.1 * top + 0.9 * low)))


def test_blur_and_shake_soften_edges() -> None:
    sharp = edge_width(sheet_shot(QUIET))
    assert edge_width(sheet_shot(replace(QUIET, blur_px=3.0))) > sharp + 2
    smeared = [edge_width(sheet_shot(replace(QUIET, motion_px=12.0), seed=s)) for s in range(4)]
    assert max(smeared) > sharp + 4


def test_noise_has_the_size_asked_for() -> None:
    camera = replace(QUIET, noise=0.02, blur_px=0.0, exposure=0.6)
    photo = sheet_shot(camera)
    code = photo.rgb[300:400, 380:520].astype(float) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    signal = light.mean()
    # Strength at full white, shot noise below: 0.02 sqrt(signal + 0.04); JPEG takes some colour
    # noise away, so green (the least touched) is read.
    want = 0.02 * math.sqrt(signal + 0.04)
    assert light[..., 1].std() == pytest.approx(want, rel=0.25)
    assert sheet_shot(replace(QUIET, noise=0.0)).rgb[300:400, 380:520, 1].std() < 1.5


def test_contrast_and_cast() -> None:
    plain, curved = sheet_shot(QUIET), sheet_shot(replace(QUIET, contrast=0.6))
    assert curved.rgb[350, 450, 1] > plain.rgb[350, 450, 1]
    warm = sheet_shot(replace(QUIET, warm_frac=0.15)).rgb[350, 450].astype(int)
    assert warm[0] - warm[2] > 15


def test_same_seed_same_pixels() -> None:
    camera = replace(QUIET, noise=0.01, shadow_frac=0.3)
    table = Table(surface="wood", clutter=3)
    first, again, other = (sheet_shot(camera, table, seed=s).rgb for s in (6, 6, 7))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_clutter_keeps_off_the_sheet_unless_covering() -> None:
    def sheet_of(table: Table) -> np.ndarray:
        photo = sheet_shot(QUIET, table)
        x, y = photo.corners_px.min(axis=0), photo.corners_px.max(axis=0)
        block = photo.rgb[round(x[1]) + 20 : round(y[1]) - 19, round(x[0]) + 20 : round(y[0]) - 19]
        return np.asarray(block.astype(float).mean(axis=2))

    free = sheet_of(Table(surface="wood", clutter=9))
    assert free.min() > 0.85 * np.median(free)
    hidden = sheet_of(Table(surface="wood", clutter=1, covering=True))
    assert hidden.min() < 0.8 * np.median(hidden)


# -- scenes -----------------------------------------------------------------------------------


@pytest.mark.parametrize("light", LIGHTS)
def test_wet_spots_are_dark_in_every_light(light: str) -> None:
    paper = Paper(width_mm=140, height_mm=110)
    shot = SprayShot(volume_mm3=55, height_mm=16, half_cone_deg=6)
    card = draw_card(NOZZLE, shot, paper, seed=3, foot_mm=(5, -4))
    photo = photograph(card, replace(QUIET, light=light), Table(surface="wood"), seed=1)
    dry = linear(photo, (5.0, -4.0))
    for hole in photo.truth.holes:
        wet = linear(photo, hole.centroid_mm)
        assert wet[2] < 0.7 * dry[2]


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_of_scene_can_be_drawn(family: str) -> None:
    for k, fault in enumerate(("blocked", "stray")):
        scene = random_scene(30 + k, family=family, fault=fault, megapixels=0.25)
        photo = scene.photograph()
        height, width = photo.rgb.shape[:2]
        assert width * height == pytest.approx(250_000, rel=0.01)
        assert photo.truth.x_mm == scene.foot_mm[0]
        if family in ("central", "blank"):
            assert scene.fault == "none"
        elif fault == "blocked":
            assert [h.state for h in photo.truth.holes].count("blocked") == 1
        else:
            assert "stray" in [m.kind for m in photo.truth.marks]
            assert photo.truth.faulty == ()


@pytest.mark.parametrize("fault", FAULTS)
def test_scenes_have_the_fault_asked_for(fault: str) -> None:
    wanted = {"none": 0, "stray": 0, "two": 2, "merging": 2}
    for seed in range(12):
        nozzle = random_scene(seed, family="workshop", fault=fault, megapixels=0.25).nozzle
        states = [nozzle.state(k) for k in range(1, len(nozzle) + 1)]
        bad = [s for s in states if s != "clear"]
        assert len(bad) == wanted.get(fault, 1)
        if fault in ("blocked", "weak", "heavy", "off-line"):
            assert bad == [fault]
        if fault == "two":
            assert bad[0] != bad[1]


def test_difficulty_makes_faults_smaller() -> None:
    def flows(difficulty: float) -> list[float]:
        return [
            min(random_scene(s, fault="weak", difficulty=difficulty).nozzle.flows)
            for s in range(20)
        ]

    assert max(flows(0.0)) <= 0.4
    assert min(flows(1.0)) >= 0.6


def test_a_scene_is_the_same_from_the_same_seed() -> None:
    scenes = [random_scene(s, megapixels=0.25) for s in (8, 8, 9)]
    assert scenes[0].nozzle == scenes[1].nozzle
    assert scenes[0].camera != scenes[2].camera
    assert np.array_equal(scenes[0].photograph().rgb, scenes[1].photograph().rgb)
