"""Is the file whole? Asked of its outer structure, before any decoder sees it.

Decoders differ in what they let pass: some fill what is missing with grey, some accept a wrong
checksum, one brings the process down on a damaged name. This is cheap and settles it beforehand.

Notes
-----
JPEG: ITU-T T.81, B.1. PNG: ISO/IEC 15948, 5.3. WebP: RFC 9649, 2.3. HEIC and AVIF: ISO/IEC
14496-12, 4.2 (boxes), 8.11.1 (meta) and 8.11.6 (item information).
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator


def check_structure(data: bytes, kind: str) -> None:
    """Refuse a file that is cut off, or visibly damaged.

    Parameters
    ----------
    data : bytes
        The whole file.
    kind : str
        As `files.sniff` names it.

    Raises
    ------
    EOFError
        The file ends before it should.
    ValueError
        Its parts do not make sense or a checksum is wrong.
    """
    if kind == "jpeg" and data.rfind(b"\xff\xd9") < data.find(b"\xff\xda"):
        # No end marker after the start of the scan. A decoder notices most such files, but not a
        # copy whose missing rest was filled with zeros.
        raise EOFError("no end marker")
    if kind == "png":
        _check_chunks(data)
    if kind == "webp" and int.from_bytes(data[4:8], "little") + 8 > len(data):
        raise EOFError("shorter than it says")
    if kind in ("heic", "avif"):
        _check_boxes(data)


def _check_chunks(data: bytes) -> None:
    at, view = 8, memoryview(data)
    while data[at + 4 : at + 8] != b"IEND":
        if at + 8 > len(data):
            raise EOFError("no end chunk")
        end = at + 8 + int.from_bytes(data[at : at + 4], "big")
        if end + 4 > len(data):
            raise EOFError("a chunk runs past the end")
        # Upper case: a chunk the picture cannot do without. Others may be damaged.
        needed = not data[at + 4] & 0x20
        if needed and zlib.crc32(view[at + 4 : end]) != int.from_bytes(data[end : end + 4], "big"):
            raise ValueError("a wrong checksum")
        at = end + 4


def _check_boxes(data: bytes) -> None:
    for kind, start, end in _boxes(data, 0, len(data)):
        if kind != b"meta":
            continue
        # A full box: four bytes of version and flags come first.
        for inner, inner_start, inner_end in _boxes(data, start + 4, end):
            if inner == b"iinf":
                _check_items(data, inner_start, inner_end)


def _check_items(data: bytes, start: int, end: int) -> None:
    # pi_heif 1.4 brings the process down on an item whose type or name is no text.
    first = start + (6 if data[start : start + 1] == b"\0" else 8)  # a count of 16 or 32 bits
    for kind, item, item_end in _boxes(data, first, end):
        if kind == b"infe":
            identity = 2 if data[item] < 3 else 4  # size of the item's number
            data[item + 4 + identity + 2 : item_end].decode("utf-8")


def _boxes(data: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield type, start and end of the content of each box between two positions."""
    while start < end:
        size, head = int.from_bytes(data[start : start + 4], "big"), 8
        if size == 1:
            size, head = int.from_bytes(data[start + 8 : start + 16], "big"), 16
        elif size == 0:
            size = end - start
        if start + size > end or start + head > end:
            raise EOFError("a box runs past the end")
        if size < head:
            raise ValueError("a box smaller than its own head")
        yield data[start + 4 : start + 8], start + head, start + size
        start += size
