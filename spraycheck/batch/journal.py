"""The journal: every finished photo on disk at once, so that nothing stops the work twice.

An SQLite database with one row per result, under the key of the photo's content and the settings.
Each write is one transaction in the write-ahead log, forced to the disk before the next photo: a
kill or a power cut at any instant leaves all of it or nothing. Each row has a checksum. What a
broken disk made unreadable is found at the next start and scored again; the rest is kept.

Journals of the first form, text files of JSON Lines, are read into a new one.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
import sqlite3
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from spraycheck.errors import ArchiveError, InputError
from spraycheck.photo.files import shown

JOURNAL_NAME: Final = "journal.sqlite"
"""Name of the journal in the folder of an outcome."""

OLD_NAME: Final = "journal.jsonl"
"""Name of a journal of the first form."""

_APPLICATION: Final = 0x53707243
# "SprC", in the header of the file: says whose database it is (SQLite file format, offset 68).

_VERSION: Final = 2
# In the header too (offset 60); 1 was the text file.

_OLD_FIRST: Final = b'{"schema":"spraycheck.journal/1"}\n'
# First line of a journal of the first form, byte by byte.

_TABLE: Final = """
create table result (
  key blob primary key,      -- digest of the photo's content and of the settings
  code text not null,        -- pass, fail, recheck or failed
  lasting integer not null,  -- 1 when a later run may take it over
  document blob not null,    -- the result document, JSON in ASCII
  checksum integer not null  -- of all the others
)
"""

_ROWS: Final = "select key, code, lasting, document, checksum from result"

_PUT: Final = "insert or replace into result values (?, ?, ?, ?, ?)"

KEY_BYTES: Final = 16
"""Length of a key: two of a billion photos share 128 bits with a chance below 1e-20."""


def result_key(sha256: str, settings: bytes) -> bytes:
    """Return the key of a photo's content under settings of this digest."""
    return hashlib.sha256(bytes.fromhex(sha256) + settings).digest()[:KEY_BYTES]


def place_key(file: str, settings: bytes) -> bytes:
    """Return the key of a file whose content could not be read."""
    place = file.encode("utf-8", "surrogateescape")
    return hashlib.sha256(b"place" + place + b"\0" + settings).digest()[:KEY_BYTES]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One result.

    Parameters
    ----------
    key : bytes
        Of `result_key` or `place_key`.
    result : dict
        The result document.
    lasting : bool
        Whether a later run may take it over.
    """

    key: bytes
    result: dict[str, Any]
    lasting: bool

    @property
    def code(self) -> str:
        """What came of the photo: its verdict, or ``failed``."""
        return self.result["verdict"] or "failed"


class Journal:
    """An open journal; use it as a context manager.

    Parameters
    ----------
    folder : str
        Of the outcome; a journal is made in it when there is none. Only one process may have it
        open.

    Raises
    ------
    InputError
        Cannot be opened or written, or another batch has it open.
    ArchiveError
        Not a journal, or one of an unknown version.
    """

    def __init__(self, folder: str) -> None:
        self.path = os.path.join(folder, JOURNAL_NAME)
        self.notes: list[str] = []
        """What a person should know of this journal: damage, results of an older form."""
        try:
            self._open(os.path.join(folder, OLD_NAME))
        except sqlite3.Error as error:
            raise self._refusal(error) from None

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        with contextlib.suppress(sqlite3.Error):  # a full disk: the log is merged another time
            self._database.close()

    def __len__(self) -> int:
        return int(self._ask("select count(*) from result")[0])

    def code_of(self, key: bytes, *, lasting: bool = False) -> str:
        """Return what came of the photo with this key; empty when nothing is known.

        With ``lasting``, only what a later run may take over counts.
        """
        found = self._ask("select code from result where key = ? and lasting >= ?", key, lasting)
        return str(found[0]) if found else ""

    def read(self, key: bytes) -> dict[str, Any]:
        """Return the result document under a key."""
        document: dict[str, Any] = json.loads(
            self._ask("select document from result where key = ?", key)[0]
        )
        return document

    def _ask(self, question: str, *values: object) -> Any:
        """Return the first row of an answer; None when it is empty."""
        try:
            return self._database.execute(question, values).fetchone()
        except sqlite3.Error as error:  # the disk has gone
            raise InputError(
                f"journal {shown(self.path)} cannot be read ({error}), expected what was written",
                "check the disk and run the same command again; what can be read is kept",
            ) from None

    def append(self, entries: Iterable[Entry]) -> None:
        """Write results in one transaction and force them to the disk.

        Raises
        ------
        InputError
            The disk is full or gone. What was written before is kept.
        """
        rows = [_row(e.key, e.code, e.lasting, e.result) for e in entries]
        if not rows:
            return
        try:
            with self._transaction():
                self._database.executemany(_PUT, rows)
        except sqlite3.Error as error:
            raise InputError(
                f"journal {shown(self.path)} cannot be written ({error}); the {len(self)} photos "
                "finished so far are kept",
                "make room and run the same command again",
            ) from None

    # -- opening --------------------------------------------------------------------------------

    def _open(self, old: str) -> None:
        self._connect()
        try:
            self._check_whose()
            if not self._whole():
                self._rescue()
            if not self._database.execute("select 1 from sqlite_master").fetchone():
                with self._transaction():  # one: a kill in between must not lose the old results
                    _make(self._database)
                    if os.path.exists(old):
                        self._take_over(old)
        except BaseException:
            self._database.close()
            raise

    def _connect(self) -> None:
        """Open the file and keep every other process out until the end, however it ends."""
        self._database = sqlite3.connect(self.path, timeout=0, isolation_level=None)
        for setting in (
            # Exclusive before the log is first used: no memory shared with other processes then,
            # so that it works on network drives too (sqlite.org/wal.html, section 6).
            "locking_mode = exclusive",
            "journal_mode = wal",
            "synchronous = full",
        ):
            self._database.execute(f"pragma {setting}").fetchone()
        with self._transaction("exclusive"):  # the lock is taken here
            pass

    @contextlib.contextmanager
    def _transaction(self, kind: str = "immediate") -> Iterator[None]:
        self._database.execute(f"begin {kind}")
        try:
            yield
            self._database.execute("commit")
        except BaseException:
            with contextlib.suppress(sqlite3.Error):  # after some errors it is rolled back already
                self._database.execute("rollback")
            raise

    def _check_whose(self) -> None:
        whose, version, pages = (
            self._database.execute(f"pragma {name}").fetchone()[0]
            for name in ("application_id", "user_version", "page_count")
        )
        if whose != _APPLICATION and (whose or version or pages > 1):
            raise _foreign(self.path)
        if version > _VERSION:
            raise ArchiveError(
                f"journal {shown(self.path)} has the form {version}, expected {_VERSION}; update "
                "spraycheck, or choose another --out"
            )

    def _whole(self) -> bool:
        """Take out rows whose checksum is wrong; False when the file's structure is damaged."""
        self._database.create_function("checked", 4, _checksum, deterministic=True)
        try:
            if self._database.execute("pragma integrity_check(1)").fetchone()[0] != "ok":
                return False
            if not self._database.execute("select 1 from sqlite_master").fetchone():
                return True
            wrong = self._database.execute(
                "delete from result where checksum is not checked(key, code, lasting, document)"
            ).rowcount
        except sqlite3.DatabaseError:
            return False
        if wrong:
            self.notes.append(
                f"{wrong} damaged results in the journal left out; their photos are scored again"
            )
        return True

    def _rescue(self) -> None:
        """Read what can be read of a damaged file into a new one; keep the damaged one.

        The new one takes its place when it is whole, so that a kill in between begins nothing anew.
        """
        rows: dict[bytes, tuple[Any, ...]] = {}
        for order in ("asc", "desc"):  # up to the damage from either end
            with contextlib.suppress(sqlite3.DatabaseError):
                for row in self._database.execute(f"{_ROWS} not indexed order by rowid {order}"):
                    if row[4] == _checksum(*row[:4]):
                        rows.setdefault(row[0], row)
        self._database.close()
        damaged, rescued = f"{self.path}.damaged", f"{self.path}.rescued"
        try:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(rescued)
            with contextlib.closing(sqlite3.connect(rescued)) as database, database:
                _make(database)
                database.executemany(_PUT, rows.values())
            shutil.copyfile(self.path, damaged)
            with contextlib.suppress(FileNotFoundError):  # it would be taken for the new one's log
                os.replace(f"{self.path}-wal", f"{damaged}-wal")
            os.replace(rescued, self.path)
        except OSError as error:
            raise InputError(
                f"journal {shown(self.path)} is damaged and cannot be mended ({error.strerror})",
                "make room and run the same command again, or choose another --out",
            ) from None
        self._connect()
        self.notes.append(
            f"the journal is damaged: {len(rows)} results could be read and are kept, all other "
            f"photos are scored again; the damaged file is kept as {shown(damaged)}"
        )

    def _take_over(self, old: str) -> None:
        """Read the results of a journal of the first form."""
        damaged = 0
        try:
            with open(old, "rb") as lines:
                if not _OLD_FIRST.startswith(next(lines, b"")):  # torn perhaps
                    raise _foreign(old)
                for line in lines:
                    try:
                        one = json.loads(line)
                        row = _row(
                            bytes.fromhex(one["key"]), one["code"], one["lasting"], one["result"]
                        )
                    except (ValueError, KeyError, TypeError):
                        damaged += line.endswith(b"\n")  # a torn last line is what a kill leaves
                        continue
                    self._database.execute(_PUT, row)  # a later line goes before an earlier one
        except OSError as error:
            raise InputError(
                f"journal {shown(old)} of an earlier version cannot be read ({error.strerror})",
                "check its permissions, or choose another --out",
            ) from None
        said = f", {damaged} damaged lines left out" if damaged else ""
        self.notes.append(
            f"{len(self)} results of an earlier version taken over from {shown(old)}{said}; that "
            "file is no longer needed. Photos that this version measures otherwise are scored again"
        )

    def _refusal(self, error: sqlite3.Error) -> Exception:
        if "locked" in str(error):
            return InputError(
                f"another batch is writing to {shown(os.path.dirname(self.path) or '.')}",
                "wait for it to end, or choose another --out",
            )
        if "not a database" in str(error):
            return _foreign(self.path)
        return InputError(
            f"journal {shown(self.path)} cannot be opened ({error}), expected room and permission "
            "to write",
            "choose another --out",
        )


def _make(database: sqlite3.Connection) -> None:
    database.execute(_TABLE)
    database.execute(f"pragma application_id = {_APPLICATION}")
    database.execute(f"pragma user_version = {_VERSION}")


def _row(
    key: bytes, code: str, lasting: bool, result: dict[str, Any]
) -> tuple[bytes, str, int, bytes, int]:
    # ASCII, so that odd file names cannot spoil it; no NaN, so that any reader can.
    document = json.dumps(result, separators=(",", ":"), allow_nan=False).encode("ascii")
    return key, code, int(lasting), document, _checksum(key, code, int(lasting), document)


def _checksum(*values: object) -> int:
    """Return the CRC-32 of a row (ITU-T V.42, 8.1.1.6.2): SQLite itself checks structure only."""
    return zlib.crc32(repr(values).encode())


def _foreign(path: str) -> ArchiveError:
    return ArchiveError(
        f"{shown(path)} is not a journal of spraycheck, or its beginning is damaged; choose "
        "another --out, so that the file is kept"
    )
