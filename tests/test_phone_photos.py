"""Photos as phones and messengers hand them on: the answer holds, and what was lost is told."""

from __future__ import annotations

import io
import math
from pathlib import Path

import numpy as np
import pytest
from drawn_photos import Blot, Camera, Card, Shot, photograph
from numpy.typing import NDArray
from photo_files import exif
from PIL import Image, ImageDraw
from test_photos import display_p3_profile

from spraycheck import flags, measure_photo
from spraycheck.judge.result import Result
from spraycheck.photo import read_photo

DIRECTIONS = np.array([8.0, 80.0, 152.0, 224.0, 296.0])
FLASH, COMMENT = 37385, 37510
P3_TO_SRGB = np.array([[1.2249, -0.2247, 0.0], [-0.0420, 1.0419, 0.0], [-0.0197, -0.0786, 1.0979]])
"""Linear Display P3 to linear sRGB, both white points D65 (widely published, from memory)."""


@pytest.fixture(scope="module")
def shot() -> Shot:
    plumes = tuple(Blot(direction=d, radius=50, length=16, width=7) for d in DIRECTIONS)
    camera = Camera(size=(1200, 1600), focal=1438, tilt=8, distance=400)
    return photograph(Card(plumes=plumes), camera, noise=0.012)


@pytest.fixture
def image(shot: Shot) -> Image.Image:
    return Image.fromarray(shot.rgb)


def check(a: Result, shot: Shot) -> None:
    """Everything lies within what is stated for it."""
    rows = a.catalogue
    assert len(rows) == len(DIRECTIONS)
    off = (rows.direction_deg - DIRECTIONS + 180) % 360 - 180
    assert (np.abs(off - off.mean()) < rows.direction_u_deg).all()
    assert (np.abs(rows.area_frac - 0.2) < rows.area_u_frac).all()
    x, y = shot.card.centre
    assert math.hypot(a.centre.x_mm - x, a.centre.y_mm - y) < a.centre.u95_mm
    assert a.verdict == "pass"


def on_a_screen(image: Image.Image, ground: str) -> Image.Image:
    """A photo as it shows on a phone: status bar above, buttons below, bars around."""
    screen = Image.new("RGB", (864, 1872), ground)
    screen.paste(image.resize((864, 1152), Image.Resampling.BICUBIC), (0, 360))
    pen = ImageDraw.Draw(screen)
    ink = "black" if ground == "white" else "white"
    pen.text((32, 16), "9:41", fill=ink, font_size=38)
    pen.text((720, 16), "87 %", fill=ink, font_size=36)
    for k in range(4):
        pen.ellipse((100 + 200 * k, 1720, 160 + 200 * k, 1780), outline=ink, width=5)
    return screen


def test_the_flash_is_told_from_the_file(image: Image.Image, shot: Shot, tmp_path: Path) -> None:
    block = exif(focal=35)
    block.get_ifd(0x8769)[FLASH] = 0x19  # fired, set to automatic
    image.save(tmp_path / "flash.jpg", quality=92, exif=block.tobytes())
    a = measure_photo(str(tmp_path / "flash.jpg"), holes=5, sheet="a4")
    check(a, shot)
    assert flags.FLASH in a.photo.flags
    block.get_ifd(0x8769)[FLASH] = 0x10  # did not fire, switched off
    image.save(tmp_path / "off.jpg", quality=92, exif=block.tobytes())
    assert flags.FLASH not in read_photo(tmp_path / "off.jpg").flags


@pytest.mark.parametrize("ground", ["black", "white"])
def test_a_screenshot(image: Image.Image, shot: Shot, tmp_path: Path, ground: str) -> None:
    on_a_screen(image, ground).save(tmp_path / "screen.png")
    a = measure_photo(str(tmp_path / "screen.png"), holes=5, sheet="a4")
    check(a, shot)
    assert flags.NO_FOCAL_LENGTH in a.photo.flags
    assert flags.LOSSY_COPY not in a.photo.flags  # nothing in the file says so


def test_a_screenshot_that_says_so_is_a_copy(image: Image.Image, tmp_path: Path) -> None:
    block = exif()
    block.get_ifd(0x8769)[COMMENT] = b"ASCII\0\0\0Screenshot"
    on_a_screen(image, "black").save(tmp_path / "screen.png", exif=block)
    assert flags.LOSSY_COPY in read_photo(tmp_path / "screen.png").flags


def test_a_messenger_copy(image: Image.Image, shot: Shot, tmp_path: Path) -> None:
    image.save(tmp_path / "original.jpg", quality=92, exif=exif(focal=35).tobytes())
    image.resize((960, 1280), Image.Resampling.LANCZOS).save(tmp_path / "copy.jpg", quality=60)
    original, copy = (
        measure_photo(str(tmp_path / name), holes=5, sheet="a4")
        for name in ("original.jpg", "copy.jpg")
    )
    check(original, shot)
    check(copy, shot)
    assert flags.LOSSY_COPY in copy.photo.flags
    assert copy.photo.jpeg_quality == pytest.approx(60, abs=2)
    # What is lost widens what is stated; without a focal length the view is less certain as well.
    assert copy.catalogue.direction_u_deg.mean() > original.catalogue.direction_u_deg.mean()
    assert copy.centre.u95_mm > original.centre.u95_mm


def p3_patches() -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Patches meant as Display P3, and the same colours as sRGB codes."""
    codes = np.array([[128, 128, 128], [200, 150, 90], [90, 120, 160], [240, 230, 210]], np.uint8)
    v = codes / 255.0
    linear = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4) @ P3_TO_SRGB.T
    return codes, 255 * (1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize("named", ["profile", "primaries"])
def test_a_wide_gamut_heic_becomes_srgb(tmp_path: Path, named: str) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    codes, expected = p3_patches()
    assert np.abs(expected - codes).max() > 8  # left as they are, they would be off by as much
    picture = Image.fromarray(np.repeat(np.repeat(codes[None], 240, axis=0), 80, axis=1))
    options = {"icc_profile": display_p3_profile()}
    if named == "primaries":
        options = {"color_primaries": 12, "transfer_characteristics": 13, "full_range_flag": 1}
        options["matrix_coefficients"] = 6
    out = io.BytesIO()
    pillow_heif.from_pillow(picture).save(out, quality=98, chroma=444, **options)
    path = tmp_path / "wide.heic"
    path.write_bytes(out.getvalue())
    seen = read_photo(path).rgb[120, 40::80]
    assert np.abs(seen - expected).max() <= 4


def test_a_heic_in_srgb_stays_as_it_is(tmp_path: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    codes, _ = p3_patches()
    picture = Image.fromarray(np.repeat(np.repeat(codes[None], 240, axis=0), 80, axis=1))
    pillow_heif.from_pillow(picture).save(
        tmp_path / "plain.heic", quality=98, chroma=444, color_primaries=1,
        transfer_characteristics=13, matrix_coefficients=6, full_range_flag=1,
    )  # fmt: skip
    seen = read_photo(tmp_path / "plain.heic").rgb[120, 40::80].astype(int)
    assert np.abs(seen - codes).max() <= 3


def test_a_heic_straight_from_the_phone(image: Image.Image, shot: Shot, tmp_path: Path) -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    block = exif(6, taken="2026:11:03 14:30:05", focal=35)
    small = image.resize((600, 800), Image.Resampling.LANCZOS)  # the encoder is slow
    turned = small.transpose(Image.Transpose.ROTATE_90)
    out = io.BytesIO()
    pillow_heif.from_pillow(turned).save(
        out, quality=85, exif=block.tobytes(), icc_profile=display_p3_profile()
    )
    (tmp_path / "card.heic").write_bytes(out.getvalue())
    a = measure_photo(str(tmp_path / "card.heic"), holes=5, sheet="a4")
    check(a, shot)
    assert (a.photo.width_px, a.photo.height_px) == (600, 800)
    assert a.photo.taken_at == "2026-11-03T14:30:05"
