"""Photos in: any file a phone or camera makes, read once, upright, 8-bit sRGB.

`read_photo` takes a path, `photo_from_array` an array already decoded; both give a `Photo`.
``files`` gets the bytes and says what a file is, ``pictures`` turns them into pixels.
"""

from spraycheck.photo.pictures import KEEP_MEGAPIXELS, MAX_MEGAPIXELS, MAX_SIDE_PX, MIN_SIDE_PX
from spraycheck.photo.reading import photo_from_array, read_photo

__all__ = [
    "KEEP_MEGAPIXELS",
    "MAX_MEGAPIXELS",
    "MAX_SIDE_PX",
    "MIN_SIDE_PX",
    "photo_from_array",
    "read_photo",
]
