"""Small photo files of every kind, made for the reader's tests."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

WIDTH, HEIGHT = 260, 212

# How a picture is stored so that the orientation tag turns it upright (Exif 3.0, tag 274).
STORED_AS = {
    1: lambda a: a,
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: np.rot90(a, 1),
    7: lambda a: a[::-1, ::-1].transpose(1, 0, 2),
    8: lambda a: np.rot90(a, -1),
}


def scene(width: int = WIDTH, height: int = HEIGHT) -> NDArray[np.uint8]:
    """A picture that no flip or turn leaves alike: smooth ramps, one bright and one dark corner."""
    x = np.linspace(0, 1, width)[None, :]
    y = np.linspace(0, 1, height)[:, None]
    rgb = np.empty((height, width, 3))
    rgb[..., 0] = 60 + 120 * x + 0 * y
    rgb[..., 1] = 70 + 110 * y + 0 * x
    rgb[..., 2] = 90 + 60 * x * y
    rgb[: height // 5, : width // 4] = (235, 225, 205)
    rgb[-height // 6 :, : width // 6] = (30, 35, 50)
    return rgb.astype(np.uint8)


def exif(orientation: int = 1, **details: object) -> Image.Exif:
    """An EXIF block; ``taken``, ``offset`` and ``focal`` fill the tags of these meanings."""
    block = Image.Exif()
    block[274] = orientation
    inner = block.get_ifd(0x8769)
    for name, tag in (("taken", 36867), ("offset", 36881), ("focal", 41989)):
        if name in details:
            inner[tag] = details[name]
    return block


def encode(rgb: NDArray[np.uint8], kind: str, block: Image.Exif | None = None) -> bytes:
    """Encode a picture with this EXIF block (HEIC: the encoder writes it as its own rotation)."""
    out = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(rgb))
    options: dict[str, object] = {"exif": block.tobytes()} if block is not None else {}
    if kind == "heic":
        import pillow_heif

        pillow_heif.from_pillow(image).save(out, quality=90, **options)
        return out.getvalue()
    if kind in ("jpeg", "avif"):
        options["quality"] = 95
    if kind == "webp":
        options["lossless"] = True
    image.save(out, kind, **options)
    return out.getvalue()
