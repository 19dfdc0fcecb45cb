"""The journal: every finished photo on disk at once, so that nothing stops the work twice.

A text file of JSON Lines that is only ever appended to. The first line says what it is; each of
the others holds one result under its key. Lines are written whole, then forced to the disk. When
the power fails or the disk fills in the middle of a line, the line is cut off at the next start.
"""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import IO, Any, Final

import msgspec

from spraycheck.errors import ArchiveError, InputError
from spraycheck.photo.files import shown

SCHEMA: Final = "spraycheck.journal/1"

CODES: Final = ("pass", "fail", "recheck", "failed")
"""What came of a photo, by its verdict or its failure."""


class _Head(msgspec.Struct):
    """The part of a line the index needs; the rest is only checked to be JSON."""

    key: str
    code: str
    lasting: bool


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One result.

    Parameters
    ----------
    key : bytes
        See `keys`.
    code : str
        One of `CODES`.
    lasting : bool
        Whether a later run may take it over.
    result : dict
        The result document.
    """

    key: bytes
    code: str
    lasting: bool
    result: dict[str, Any]


class Journal:
    """An open journal; use it as a context manager.

    Parameters
    ----------
    path : str
        Made when missing. Only one process may have it open.

    Raises
    ------
    InputError
        Cannot be opened or written, or another batch has it open.
    ArchiveError
        Not a journal, or one of an unknown version.
    """

    def __init__(self, path: str) -> None:
        self.path = path
        self.damaged = 0
        """Lines that were left out because they are damaged; their photos are scored again."""
        self._index: dict[bytes, int] = {}
        try:
            # Never "w": what is there is the work of days.
            self._file: IO[bytes] = open(path, "a+b", buffering=0)  # noqa: SIM115
        except OSError as error:
            raise InputError(
                f"journal {shown(path)} cannot be opened ({error.strerror}), expected room and "
                "permission to write",
                "choose another --out",
            ) from None
        try:
            _lock(self._file, path)
            self._end = self._load()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def __len__(self) -> int:
        return len(self._index)

    def code_of(self, key: bytes, *, lasting: bool = False) -> str:
        """Return what came of the photo with this key; empty when nothing is known.

        With ``lasting``, only what a later run may take over counts.
        """
        place = self._index.get(key)
        if place is None or (lasting and not place & 1):
            return ""
        return CODES[place >> 1 & 7]

    def append(self, entries: Iterable[Entry]) -> None:
        """Write results and force them to the disk.

        Raises
        ------
        InputError
            The disk is full or gone. What was written before is kept.
        """
        block, places = bytearray(), []
        for entry in entries:
            places.append((entry, self._end + len(block)))
            block += _line(
                {
                    "key": entry.key.hex(),
                    "code": entry.code,
                    "lasting": entry.lasting,
                    "result": entry.result,
                }
            )
        if not block:
            return
        self._write(bytes(block))
        for entry, offset in places:
            self._index[entry.key] = _packed(offset, entry.code, entry.lasting)

    def read(self, key: bytes) -> dict[str, Any]:
        """Return the result document under a key."""
        self._file.seek(self._index[key] >> 4)
        with open(self._file.fileno(), "rb", closefd=False) as lines:
            result: dict[str, Any] = json.loads(lines.readline())["result"]
        return result

    def _load(self) -> int:
        """Check the file, cut off a torn last line, and fill the index; return the length."""
        self._file.seek(0)
        with open(self._file.fileno(), "rb", closefd=False) as lines:
            end = self._read_lines(lines)
        size = os.fstat(self._file.fileno()).st_size
        if end < size:
            os.truncate(self._file.fileno(), end)
        if end == 0:
            self._end = 0
            self._write(_line({"schema": SCHEMA}))
            _sync_folder(os.path.dirname(os.path.abspath(self.path)))
            return self._end
        return end

    def _read_lines(self, lines: Iterator[bytes]) -> int:
        head = msgspec.json.Decoder(_Head)
        offset = 0
        for line in lines:
            if not line.endswith(b"\n"):
                # Its photo is scored again. A first line torn off was the very first write.
                if offset == 0 and not _begins(line):
                    raise _foreign(self.path)
                break
            if offset == 0:
                self._check_first(line)
            else:
                try:
                    found = head.decode(line)
                    key, code = bytes.fromhex(found.key), found.code
                    self._index[key] = _packed(offset, code, found.lasting)
                except (msgspec.DecodeError, ValueError):
                    self.damaged += 1
            offset += len(line)
        return offset

    def _check_first(self, line: bytes) -> None:
        try:
            schema = json.loads(line).get("schema", "")
        except (ValueError, AttributeError):
            raise _foreign(self.path) from None
        if not isinstance(schema, str) or not schema.startswith("spraycheck.journal/"):
            raise _foreign(self.path)
        if schema != SCHEMA:
            raise ArchiveError(
                f"journal {shown(self.path)} has the form {schema}, expected {SCHEMA}; update "
                "spraycheck, or choose another --out"
            )

    def _write(self, block: bytes) -> None:
        try:
            rest = memoryview(block)
            while rest:
                rest = rest[self._file.write(rest) :]
            os.fsync(self._file.fileno())
        except OSError as error:
            with contextlib.suppress(OSError):
                os.truncate(self._file.fileno(), self._end)
            raise InputError(
                f"journal {shown(self.path)} cannot be written ({error.strerror}); the "
                f"{len(self)} photos finished so far are kept",
                "make room and run the same command again",
            ) from None
        self._end += len(block)


def _packed(offset: int, code: str, lasting: bool) -> int:
    """Return offset, code and lasting in one number: a million entries stay small."""
    return offset << 4 | CODES.index(code) << 1 | lasting


def _line(value: dict[str, Any]) -> bytes:
    # ASCII, so that odd file names cannot spoil it; no NaN, so that any reader can.
    return json.dumps(value, separators=(",", ":"), allow_nan=False).encode("ascii") + b"\n"


def _begins(torn: bytes) -> bool:
    return _line({"schema": SCHEMA}).startswith(torn)


def _foreign(path: str) -> ArchiveError:
    return ArchiveError(
        f"{shown(path)} is not a journal of spraycheck; choose another --out, so that the file is "
        "kept"
    )


def _lock(file: IO[bytes], path: str) -> None:
    """Keep a second batch out; the lock goes when the process goes, however it ends."""
    try:
        import fcntl
    except ImportError:  # no such locks on this system
        return
    try:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise InputError(
            f"another batch is writing to {shown(os.path.dirname(path) or '.')}",
            "wait for it to end, or choose another --out",
        ) from None
    except OSError:  # a file system without locks
        return


def _sync_folder(folder: str) -> None:
    """Make sure that the new file's name survives a power cut."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
