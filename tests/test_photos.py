from __future__ import annotations

import hashlib
import io
import math
import os
import random
import struct
import threading
import zlib
from pathlib import Path

import cv2
import numpy as np
import pytest
from photo_files import HEIGHT, STORED_AS, WIDTH, encode, exif, scene
from PIL import Image

from spraycheck import flags
from spraycheck.errors import InputError, PhotoError
from spraycheck.photo import (
    KEEP_MEGAPIXELS,
    MAX_MEGAPIXELS,
    MIN_SIDE_PX,
    photo_from_array,
    read_photo,
)
from spraycheck.photo.containers import Photo
from spraycheck.photo.pictures import reduction

KINDS = ("jpeg", "png", "tiff", "webp", "heic", "avif")
LOSSLESS = ("png", "tiff", "webp")


def saved(folder: Path, data: bytes, name: str = "photo.jpg") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def distance(a: np.ndarray, b: np.ndarray) -> float:
    assert a.shape == b.shape
    return float(np.abs(a.astype(float) - b.astype(float)).mean())


def chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(width: int, height: int, rows: bytes) -> bytes:
    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


# -- what a photo holds


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_format_comes_out_upright_once(tmp_path: Path, kind: str, orientation: int) -> None:
    stored = STORED_AS[orientation](scene())
    # pillow-heif writes the tag as the file's own rotation and leaves the pixels as they are.
    photo = read_photo(saved(tmp_path, encode(stored, kind, exif(orientation))))
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert distance(photo.rgb, scene()) < (0.01 if kind in LOSSLESS else 3)


@pytest.mark.parametrize("kind", KINDS)
def test_date_and_focal_length(tmp_path: Path, kind: str) -> None:
    block = exif(1, taken="2026:11:03 10:22:07", focal=26)
    photo = read_photo(saved(tmp_path, encode(scene(), kind, block)))
    assert photo.taken_at == "2026-11-03T10:22:07"
    assert photo.focal_35mm == 26
    assert flags.NO_FOCAL_LENGTH not in photo.flags


def test_date_carries_its_offset(tmp_path: Path) -> None:
    block = exif(1, taken="2026:11:03 10:22:07", offset="-04:30")
    photo = read_photo(saved(tmp_path, encode(scene(), "jpeg", block)))
    assert photo.taken_at == "2026-11-03T10:22:07-04:30"


@pytest.mark.parametrize(
    "details",
    [
        {},
        {"taken": "0000:00:00 00:00:00"},
        {"taken": "yesterday"},
        {"taken": "    :  :  ", "focal": 0},
    ],
)
def test_unknown_date_and_focal_length(tmp_path: Path, details: dict[str, object]) -> None:
    photo = read_photo(saved(tmp_path, encode(scene(), "jpeg", exif(1, **details))))
    assert photo.taken_at == ""
    assert math.isnan(photo.focal_35mm)
    assert flags.NO_FOCAL_LENGTH in photo.flags


def test_hash_and_name_are_those_of_the_file(tmp_path: Path) -> None:
    data = encode(scene(), "png")
    path = saved(tmp_path, data, "card.png")
    photo = read_photo(str(path))
    assert photo.sha256 == hashlib.sha256(data).hexdigest()
    assert photo.file == str(path)
    assert not photo.rgb.flags.writeable


def test_kind_is_told_by_content_not_by_name(tmp_path: Path) -> None:
    assert distance(read_photo(saved(tmp_path, encode(scene(), "png"), "x.heic")).rgb, scene()) == 0


# -- kinds of pixels


def test_sixteen_bits_are_scaled_over_their_full_range(tmp_path: Path) -> None:
    deep = (np.linspace(0, 65535, WIDTH)[None, :] * np.ones((HEIGHT, 1))).astype(np.uint16)
    expected = deep / 257  # 65535 / 255
    for suffix in ("png", "tiff"):
        for pixels in (deep, np.repeat(deep[:, :, None], 3, axis=2)):
            path = tmp_path / f"deep.{suffix}"
            assert cv2.imwrite(str(path), pixels)
            photo = read_photo(path)
            assert np.abs(photo.rgb[..., 1] - expected).max() <= 1
            assert flags.GREY_PHOTO in photo.flags


@pytest.mark.parametrize("full", [1.0, 255.0, 65535.0])
def test_floating_point_tiff(tmp_path: Path, full: float) -> None:
    grey = scene()[..., 0] / 255.0
    path = tmp_path / "float.tif"
    Image.fromarray((grey * full).astype(np.float32)).save(path)
    assert distance(read_photo(path).rgb[..., 0], grey * 255) < 0.6


def test_floating_point_tiff_with_nan_is_refused(tmp_path: Path) -> None:
    grey = np.full((HEIGHT, WIDTH), 0.5, np.float32)
    grey[3, 4] = np.nan
    path = tmp_path / "nan.tif"
    Image.fromarray(grey).save(path)
    with pytest.raises(PhotoError, match="damaged"):
        read_photo(path)


def test_transparency_lies_on_white(tmp_path: Path) -> None:
    rgba = np.dstack([scene(), np.full((HEIGHT, WIDTH), 255, np.uint8)])
    rgba[:50, :70, 3] = 0
    rgba[50:90, :70, 3] = 128
    for name in ("a.png", "a.webp", "a.tif"):
        path = tmp_path / name
        Image.fromarray(rgba).save(path, **({"lossless": True} if "webp" in name else {}))
        rgb = read_photo(path).rgb
        assert (rgb[:50, :70] == 255).all()
        half = scene()[50:90, :70] * (128 / 255) + 255 * (127 / 255)
        assert np.abs(rgb[50:90, :70] - half).max() <= 1.01
        assert distance(rgb[100:], scene()[100:]) == 0


def test_grey_palette_and_black_and_white(tmp_path: Path) -> None:
    image = Image.fromarray(scene())
    grey = np.asarray(image.convert("L"))
    image.convert("L").save(tmp_path / "l.png")
    image.convert("L").save(tmp_path / "l.jpg", quality=95)
    image.convert("LA").save(tmp_path / "la.png")
    for name in ("l.png", "l.jpg", "la.png"):
        photo = read_photo(tmp_path / name)
        assert distance(photo.rgb, np.repeat(grey[:, :, None], 3, axis=2)) < 1
        assert flags.GREY_PHOTO in photo.flags
    image.quantize(200).save(tmp_path / "p.png")
    photo = read_photo(tmp_path / "p.png")
    assert distance(photo.rgb, scene()) < 4
    assert flags.GREY_PHOTO not in photo.flags
    image.convert("1").save(tmp_path / "one.png")
    assert set(np.unique(read_photo(tmp_path / "one.png").rgb)) == {0, 255}


def test_palette_with_a_transparent_colour(tmp_path: Path) -> None:
    image = Image.new("P", (WIDTH, HEIGHT), 1)
    image.putpalette([10, 20, 30, 200, 100, 50])
    image.paste(0, (0, 0, 60, 60))
    image.save(tmp_path / "p.png", transparency=0)
    rgb = read_photo(tmp_path / "p.png").rgb
    assert (rgb[:60, :60] == 255).all()
    assert tuple(rgb[100, 100]) == (200, 100, 50)


def test_cmyk_jpeg(tmp_path: Path) -> None:
    # Pillow writes CMYK inverted with an Adobe marker, as printers' programs do.
    Image.fromarray(scene()).convert("CMYK").save(tmp_path / "cmyk.jpg", quality=95)
    assert distance(read_photo(tmp_path / "cmyk.jpg").rgb, scene()) < 3


# -- colour profiles


def xyz_of(primaries: list[tuple[float, float]]) -> np.ndarray:
    """RGB to XYZ from chromaticities with white D65 (x 0.3127, y 0.3290), by definition."""
    columns = np.array([[x / y, 1, (1 - x - y) / y] for x, y in primaries]).T
    white = np.array([0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290])
    return columns * np.linalg.solve(columns, white)


SRGB = xyz_of([(0.64, 0.33), (0.30, 0.60), (0.15, 0.06)])  # IEC 61966-2-1
DISPLAY_P3 = xyz_of([(0.680, 0.320), (0.265, 0.690), (0.150, 0.060)])  # SMPTE EG 432-1 primaries


def decode_srgb(v: np.ndarray) -> np.ndarray:
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def encode_srgb(v: np.ndarray) -> np.ndarray:
    v = np.clip(v, 0, 1)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)


def display_p3_profile() -> bytes:
    """A matrix profile as phones embed it (ICC.1:2001-04 layout), adapted to D50 by Bradford."""
    bradford = np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    )
    d65, d50 = DISPLAY_P3.sum(axis=1), np.array([0.9642, 1.0, 0.8249])
    adapt = np.linalg.inv(bradford) @ np.diag((bradford @ d50) / (bradford @ d65)) @ bradford
    columns = (adapt @ DISPLAY_P3).T

    def s15(values: np.ndarray) -> bytes:
        return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in values)

    curve = (65535 * decode_srgb(np.linspace(0, 1, 1024))).round().astype(">u2").tobytes()
    trc = b"curv\0\0\0\0" + struct.pack(">I", 1024) + curve
    name = b"Display P3\0"
    desc = b"desc\0\0\0\0" + struct.pack(">I", len(name)) + name + bytes(78)
    tags = {
        b"desc": desc,
        b"cprt": b"text\0\0\0\0none\0",
        b"wtpt": b"XYZ \0\0\0\0" + s15(d50),
        b"rXYZ": b"XYZ \0\0\0\0" + s15(columns[0]),
        b"gXYZ": b"XYZ \0\0\0\0" + s15(columns[1]),
        b"bXYZ": b"XYZ \0\0\0\0" + s15(columns[2]),
        **dict.fromkeys((b"rTRC", b"gTRC", b"bTRC"), trc),
    }
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for tag, data in tags.items():
        data += bytes(-len(data) % 4)
        table += tag + struct.pack(">II", start + len(body), len(data))
        body += data
    size = start + len(body)
    head = struct.pack(">I4sI4s4s4s", size, b"test", 0x02400000, b"mntr", b"RGB ", b"XYZ ")
    head += bytes(12) + b"acsp" + bytes(28) + s15(d50) + bytes(48)
    assert len(head) == 128
    return head + table + body


@pytest.mark.parametrize("kind", ["png", "tiff", "webp", "jpeg"])
def test_display_p3_becomes_srgb(tmp_path: Path, kind: str) -> None:
    patches = np.array(
        [[128, 128, 128], [234, 51, 35], [200, 150, 90], [90, 120, 160], [240, 230, 210]], np.uint8
    )
    rgb = np.repeat(np.repeat(patches[None], HEIGHT, axis=0), WIDTH // 5, axis=1)
    linear = decode_srgb(patches / 255.0) @ (np.linalg.inv(SRGB) @ DISPLAY_P3).T
    expected = 255 * encode_srgb(linear)
    # The same five patches of another gamut: without conversion off by up to 35 steps.
    assert np.abs(expected - patches).max() > 20
    options = {"jpeg": {"quality": 97, "subsampling": 0}, "webp": {"lossless": True}}.get(kind, {})
    out = io.BytesIO()
    Image.fromarray(rgb).save(out, kind, icc_profile=display_p3_profile(), **options)
    seen = read_photo(saved(tmp_path, out.getvalue())).rgb
    middles = seen[HEIGHT // 2, WIDTH // 10 :: WIDTH // 5]
    assert np.abs(middles - expected).max() <= 3


def test_an_srgb_profile_changes_nothing(tmp_path: Path) -> None:
    from PIL import ImageCms

    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(scene()).save(tmp_path / "s.png", icc_profile=profile)
    assert distance(read_photo(tmp_path / "s.png").rgb, scene()) == 0


@pytest.mark.parametrize("profile", [b"x", display_p3_profile()[:200], bytes(500)])
def test_a_damaged_profile_is_ignored(tmp_path: Path, profile: bytes) -> None:
    Image.fromarray(scene()).save(tmp_path / "s.png", icc_profile=profile)
    assert distance(read_photo(tmp_path / "s.png").rgb, scene()) == 0


def test_a_profile_for_another_kind_of_picture_is_ignored(tmp_path: Path) -> None:
    grey = Image.fromarray(scene()).convert("L")
    grey.save(tmp_path / "g.png", icc_profile=display_p3_profile())
    assert distance(read_photo(tmp_path / "g.png").rgb[..., 0], np.asarray(grey)) == 0


# -- size


@pytest.mark.parametrize(
    ("size", "factor"),
    [
        ((1920, 1080), 1),
        ((3264, 2448), 1),  # 8 megapixels: half would keep 2.0
        ((4000, 3000), 2),  # 12
        ((4032, 3024), 2),
        ((6000, 4000), 2),  # 24: a quarter would keep 1.5
        ((8064, 6048), 4),  # 48
        ((12000, 9000), 4),  # 108
    ],
)
def test_reduction_keeps_enough(size: tuple[int, int], factor: int) -> None:
    assert reduction(size) == factor
    if factor > 1:
        assert size[0] * size[1] / factor**2 / 1e6 >= KEEP_MEGAPIXELS


@pytest.mark.parametrize("kind", ["jpeg", "png"])
def test_large_photo_is_reduced_and_keeps_its_frame(tmp_path: Path, kind: str) -> None:
    big = cv2.resize(scene(), (4040, 3010), interpolation=cv2.INTER_LINEAR)
    path = saved(tmp_path, encode(STORED_AS[6](big), kind, exif(6)))
    photo = read_photo(path)
    assert (photo.width_px, photo.height_px) == (4040, 3010)
    assert photo.rgb.shape == (1505, 2020, 3)
    assert photo.decode_scale == 2
    assert flags.REDUCED in photo.flags
    assert distance(photo.rgb, cv2.resize(big, (2020, 1505), interpolation=cv2.INTER_AREA)) < 1
    whole = read_photo(path, reduce=False)
    assert whole.rgb.shape == big.shape
    assert flags.REDUCED not in whole.flags
    assert distance(whole.rgb, big) < 1


def test_too_small(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match=r"8 x 8 pixels small, expected at least 200"):
        read_photo(saved(tmp_path, encode(scene()[:8, :8], "png")))
    narrow = scene(400, MIN_SIDE_PX - 1)
    with pytest.raises(PhotoError, match="small"):
        read_photo(saved(tmp_path, encode(narrow, "jpeg")))
    assert read_photo(saved(tmp_path, encode(scene(400, MIN_SIDE_PX), "jpeg"))).height_px == 200


def test_too_large_is_refused_before_decoding(tmp_path: Path) -> None:
    # The pixels are not there at all: had it been decoded, it would be called cut off.
    path = saved(tmp_path, png(20000, 10000, bytes(1000)))
    with pytest.raises(PhotoError, match=r"200 megapixels.*expected at most 120 megapixels"):
        read_photo(path)
    with pytest.raises(PhotoError, match="longer side"):
        read_photo(saved(tmp_path, png(40000, 300, bytes(1000))))
    # Negative control: at this size the missing pixels are noticed.
    with pytest.raises(PhotoError, match=r"cut off|damaged"):
        read_photo(saved(tmp_path, png(2000, 1000, bytes(1000))))


def test_jpeg_and_tiff_headers_that_claim_too_much(tmp_path: Path) -> None:
    jpeg = bytearray(encode(scene(), "jpeg"))
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", 10000, 20000)
    with pytest.raises(PhotoError, match="200 megapixels"):
        read_photo(saved(tmp_path, bytes(jpeg)))
    tiff = bytearray(encode(scene(), "tiff"))
    for tag, value in ((256, 20000), (257, 10000)):  # TIFF 6.0: width, length; a long each
        at = tiff.index(struct.pack("<HHI", tag, 4, 1)) + 8
        tiff[at : at + 4] = struct.pack("<I", value)
    with pytest.raises(PhotoError, match="200 megapixels"):
        read_photo(saved(tmp_path, bytes(tiff)))


def test_limit_can_be_set(tmp_path: Path) -> None:
    path = saved(tmp_path, encode(scene(), "jpeg"))
    assert WIDTH * HEIGHT / 1e6 > 0.05
    with pytest.raises(PhotoError, match=r"at most 0\.05 megapixels"):
        read_photo(path, max_megapixels=0.05)
    assert read_photo(path, max_megapixels=MAX_MEGAPIXELS).width_px == WIDTH


def test_strong_compression_is_flagged(tmp_path: Path) -> None:
    for quality, lossy in ((95, False), (75, False), (65, True), (30, True)):
        path = tmp_path / "q.jpg"
        Image.fromarray(scene()).save(path, quality=quality)
        assert (flags.LOSSY_COPY in read_photo(path).flags) is lossy


# -- what is no photo


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"", "is empty"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj", "is a PDF document"),
        (b"hello, this is a note about the card\n" * 9, "is a text file"),
        (b"0123456789", "is a text file"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF", "cut off"),
        (b"\x89PNG\r\n\x1a\n\0\0", "cut off"),
        (b"GIF89a" + bytes(50), "is a GIF picture"),
        (b"PK\x03\x04" + bytes(50), "is a ZIP or office file"),
        (b"\0\0\0\x18ftypmp42" + bytes(50), "is a video"),
        (b"\x93\x01\x02\xff\xfe\x80" * 20, "is not a photo"),
        (bytes(5000), "is not a photo"),
    ],
)
def test_what_is_no_photo_is_named(tmp_path: Path, data: bytes, found: str) -> None:
    with pytest.raises(PhotoError) as caught:
        read_photo(saved(tmp_path, data))
    assert found in str(caught.value)
    assert ", expected " in str(caught.value)
    assert caught.value.hint
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("part", [0.3, 0.6, 0.9])
def test_cut_off_file(tmp_path: Path, kind: str, part: float) -> None:
    data = encode(scene(), kind)
    with pytest.raises(PhotoError, match="cut off"):
        read_photo(saved(tmp_path, data[: int(part * len(data))]))


@pytest.mark.parametrize("fill", [b"\0", b"\xff"])
def test_cut_off_jpeg_filled_up(tmp_path: Path, fill: bytes) -> None:
    # What a copy that was broken off leaves where the whole length was set aside beforehand.
    data = encode(scene(), "jpeg")
    half = len(data) // 2
    with pytest.raises(PhotoError, match="cut off"):
        read_photo(saved(tmp_path, data[:half] + fill * (len(data) - half)))


def test_data_after_the_end_is_no_damage(tmp_path: Path) -> None:
    # Phones append a video or a depth map to a JPEG.
    data = encode(scene(), "jpeg") + b"\0\0\0\x18ftypmp42" + bytes(3000)
    assert distance(read_photo(saved(tmp_path, data)).rgb, scene()) < 3


def test_camera_raw_is_not_measured_by_its_preview(tmp_path: Path) -> None:
    from PIL.TiffImagePlugin import ImageFileDirectory_v2

    tags = ImageFileDirectory_v2()
    tags[50706] = b"\x01\x04\x00\x00"  # DNGVersion
    Image.fromarray(scene()).save(tmp_path / "raw.tif", tiffinfo=tags)
    with pytest.raises(PhotoError, match="camera raw"):
        read_photo(tmp_path / "raw.tif")


def test_missing_folder_and_odd_paths(tmp_path: Path) -> None:
    for path, found in (
        (tmp_path / "none.jpg", "not found, expected a photo; check the name"),
        (tmp_path / "no" / "none.jpg", "there is no folder"),
        (tmp_path, "is a folder"),
        (str(tmp_path / "a\0b.jpg"), "cannot be read"),
        (str(tmp_path / ("x" * 5000)), "cannot be read"),
        (os.devnull, "is a device or pipe"),
        (tmp_path / "two\nlines.jpg", "two\\nlines.jpg"),
    ):
        with pytest.raises(PhotoError) as caught:
            read_photo(path)
        assert found in str(caught.value)
        assert "\n" not in str(caught.value)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read all")
def test_not_permitted(tmp_path: Path) -> None:
    path = saved(tmp_path, encode(scene(), "jpeg"))
    path.chmod(0)
    with pytest.raises(PhotoError, match="not permitted"):
        read_photo(path)


def test_a_pipe_does_not_hang(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe.jpg"
    os.mkfifo(pipe)
    with pytest.raises(PhotoError, match="pipe"):
        read_photo(pipe)


def test_not_permitted_is_told_apart(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = saved(tmp_path, encode(scene(), "jpeg"))

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("builtins.open", refuse)
    with pytest.raises(PhotoError, match="not permitted"):
        read_photo(path)


def test_item_name_that_is_no_text_does_not_bring_the_process_down(tmp_path: Path) -> None:
    data = encode(scene(), "heic", exif(6))
    assert data.count(b"Exif\0\0\0\0\x0epitm") == 1
    path = saved(tmp_path, data.replace(b"Exif\0\0\0\0\x0epitm", b"Exi\xbe\0\0\0\0\x0epitm"))
    with pytest.raises(PhotoError, match="damaged"):
        read_photo(path)


def damaged_files(count: int, seed: int) -> list[tuple[str, bytes]]:
    """Files cut, flipped, overwritten and shortened at random."""
    rng = random.Random(seed)
    block = exif(6, taken="2026:11:03 10:22:00", focal=26)
    whole = {kind: [encode(scene(), kind, block)] for kind in KINDS}
    image = Image.fromarray(scene())
    for options in (
        {"format": "jpeg", "progressive": True, "quality": 60},
        {"format": "tiff", "compression": "tiff_lzw"},
        {"format": "tiff", "compression": "tiff_adobe_deflate"},
        {"format": "tiff", "compression": "jpeg"},
        {"format": "webp", "quality": 70},
    ):
        out = io.BytesIO()
        image.save(out, **options)
        whole[str(options["format"])].append(out.getvalue())
    files = []
    for i in range(count):
        kind = KINDS[i % len(KINDS)]
        data = bytearray(rng.choice(whole[kind]))
        how = rng.randrange(4)
        if how == 0:
            data = data[: rng.randrange(len(data))]
        elif how == 1:
            for _ in range(rng.randint(1, 8)):
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        elif how == 2:  # the header, where the consequences are worst
            for _ in range(rng.randint(1, 8)):
                data[rng.randrange(min(400, len(data)))] = rng.randrange(256)
        else:
            start = rng.randrange(len(data))
            end = min(len(data), start + rng.randint(1, 200))
            data[start:end] = rng.randbytes(end - start) if rng.random() < 0.5 else b""
        files.append((kind, bytes(data)))
    return files


def test_a_thousand_damaged_files(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    read, messages = 0, []
    for _, data in damaged_files(1000, seed=20261103):
        try:
            photo = read_photo(saved(tmp_path, data))
        except PhotoError as error:
            messages.append(str(error))
        else:
            read += 1
            assert photo.rgb.dtype == np.uint8
            assert min(photo.rgb.shape[:2]) >= MIN_SIDE_PX
    assert read + len(messages) == 1000
    assert all("\n" not in text and ", expected " in text for text in messages)
    assert len(messages) > 500
    assert read > 50
    shown = capfd.readouterr()
    assert shown.out == ""
    assert shown.err == ""


def test_threads_read_at_the_same_time(tmp_path: Path) -> None:
    paths = [saved(tmp_path, encode(scene(), kind, exif(6)), kind) for kind in KINDS]
    seen: list[tuple[int, int]] = []

    def work() -> None:
        seen.extend((p.width_px, p.height_px) for p in map(read_photo, paths))

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert seen == [(HEIGHT, WIDTH)] * (4 * len(KINDS))


# -- arrays


def test_array_is_looked_at_not_copied() -> None:
    rgb = scene()
    photo = photo_from_array(rgb)
    assert np.shares_memory(photo.rgb, rgb)
    assert not photo.rgb.flags.writeable
    rgb[0, 0] = 7  # the caller's own array is not frozen
    assert (photo.width_px, photo.height_px) == (WIDTH, HEIGHT)
    assert photo.file == ""
    assert flags.NO_FOCAL_LENGTH in photo.flags


def test_array_hash_is_that_of_the_pixels() -> None:
    assert photo_from_array(scene()).sha256 == hashlib.sha256(scene().tobytes()).hexdigest()


def test_arrays_of_other_kinds() -> None:
    rgb = scene()
    same = {
        "reversed": rgb[..., ::-1][..., ::-1],
        "from OpenCV": cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)[..., ::-1],
        "16 bits": rgb.astype(np.uint16) * 257,
        "float": rgb / 255.0,
        "float32": (rgb / 255.0).astype(np.float32),
    }
    for name, array in same.items():
        assert distance(photo_from_array(array).rgb, rgb) == 0, name
    grey = photo_from_array(rgb[..., 1])
    assert distance(grey.rgb, np.repeat(rgb[..., 1:2], 3, axis=2)) == 0
    assert flags.GREY_PHOTO in grey.flags
    assert distance(photo_from_array(rgb[..., 1:2]).rgb, grey.rgb) == 0


def test_large_array_is_reduced() -> None:
    big = cv2.resize(scene(), (4032, 3024), interpolation=cv2.INTER_LINEAR)
    photo = photo_from_array(big)
    assert photo.rgb.shape == (1512, 2016, 3)
    assert (photo.width_px, photo.height_px) == (4032, 3024)
    assert flags.REDUCED in photo.flags
    assert photo_from_array(big, reduce=False).rgb.shape == big.shape


@pytest.mark.parametrize(
    ("array", "found"),
    [
        (np.zeros((300, 300, 4), np.uint8), "is RGBA"),
        (np.zeros((300,), np.uint8), "of shape"),
        (np.zeros((2, 300, 300, 3), np.uint8), "of shape"),
        (np.zeros((8, 8, 3), np.uint8), "small"),
        (np.zeros((300, 300, 3), np.int64), "int64"),
        (np.full((300, 300, 3), 200.0), "holds 200 to 200"),
        (np.full((300, 300, 3), np.nan), "holds nan"),
        (np.full((300, 300, 3), -0.5), "holds -0.5"),
        (np.zeros((300, 300, 3), complex), "complex"),
    ],
)
def test_arrays_that_are_no_photo(array: np.ndarray, found: str) -> None:
    with pytest.raises(InputError, match="the array") as caught:
        photo_from_array(array)
    assert found in str(caught.value)


def test_photo_positions_survive_the_reduction() -> None:
    photo = Photo(rgb=np.zeros((300, 400, 3), np.uint8), width_px=1600, height_px=1200)
    points = np.array([[0.0, 0.0], [1599.0, 1199.0], [800.25, 10.5]])
    assert np.allclose(photo.to_full(photo.to_decoded(points)), points)
    assert np.allclose(photo.to_decoded(np.array([[1.5, 1.5]])), [[0.0, 0.0]])
