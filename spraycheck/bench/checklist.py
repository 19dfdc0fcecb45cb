"""Strip and rebuild: what was looked at, what was replaced, and what is still missing.

The list is a file that is shipped with the package; a shop edits a copy. Its words are the shop's
own and are printed as they stand.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from importlib import resources
from pathlib import Path
from typing import Any, Final

import msgspec

from spraycheck.errors import InputError
from spraycheck.judge.injector import Change, ChangeKind
from spraycheck.units import NEWTON_METRES, TorqueUnit, convert_torque

SHIPPED: Final = "checklist.toml"

SPACER: Final = "spacer"
"""The part whose change is a change of spacer; of any other one it is a change of part."""

MOST_BYTES: Final = 100_000
"""Larger files are something else (chosen: the shipped one has 2000)."""

TORQUE_NM: Final = (0.1, 1000.0)
"""Torques that are not absurd (chosen wide: retaining nuts take 30 to 120 N.m, common practice, no
source)."""

_KEY: Final = re.compile(r"[a-z][a-z0-9-]*")


class ChecklistPart(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of the list.

    Parameters
    ----------
    key : str
        Short name that the record keeps.
    name, look_for : str
        What is printed.
    always_new : bool
        Replaced at every rebuild.
    torque : bool
        Tightened to the maker's torque.
    pair : bool
        Never exchanged alone.
    """

    key: str
    name: str
    look_for: str = ""
    always_new: bool = False
    torque: bool = False
    pair: bool = False


class Checklist(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A list.

    Parameters
    ----------
    name : str
        What it is called.
    part : tuple of ChecklistPart
        Its lines, in the order of the work.
    """

    name: str
    part: tuple[ChecklistPart, ...]


class Condition(StrEnum):
    """How a part was found."""

    NOT_LOOKED_AT = "not-looked-at"
    GOOD = "good"
    CLEANED = "cleaned"
    WORN = "worn"
    DAMAGED = "damaged"


@dataclass(frozen=True, kw_only=True)
class Torque:
    """A tightening torque from the maker's data: entered, never assumed.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : TorqueUnit
        As it is printed there.
    source : str
        Which data; must not be empty.
    """

    value: float
    unit: TorqueUnit
    source: str

    def __post_init__(self) -> None:
        low, high = TORQUE_NM
        if self.unit not in NEWTON_METRES or not low <= self.nm <= high:
            raise InputError(
                f"torque {self.value:g} {self.unit}: expected {low:g} to {high:g} N.m in one of "
                f"{', '.join(TorqueUnit)}",
                "look at the unit in the maker's data",
            )
        if not self.source.strip():
            raise InputError(
                f"torque {self.value:g} {self.unit}: nobody says so, expected the maker's data",
                "note where the figure is from; without the maker's figure do not tighten",
            )

    @property
    def nm(self) -> float:
        """The same in newton metres."""
        return convert_torque(self.value, self.unit, TorqueUnit.NM)


@dataclass(frozen=True, kw_only=True)
class ChecklistEntry:
    """What was found and done on one line.

    Parameters
    ----------
    key : str
        Of the part.
    condition : Condition
        How it was found.
    replaced : bool
        By another one, new or used.
    torque : Torque or None
        What it was tightened to.
    remarks : str
        Anything else, in free words.
    """

    key: str
    condition: Condition = Condition.NOT_LOOKED_AT
    replaced: bool = False
    torque: Torque | None = None
    remarks: str = ""


class Gap(StrEnum):
    """What is missing on a line."""

    NOT_LOOKED_AT = "not-looked-at"
    NOT_RENEWED = "not-renewed"
    NO_TORQUE = "no-torque"
    STILL_BAD = "still-bad"
    """Worn or damaged, and not replaced."""


def read_checklist(path: str | os.PathLike[str] | None = None) -> Checklist:
    """Read a checklist; the shipped one when no file is given.

    Raises
    ------
    InputError
        The file cannot be read, is no TOML, or holds something else than a checklist.
    """
    what = "checklist" if path is None else f"checklist {Path(path).name!r}"
    try:
        if path is None:
            text = resources.files("spraycheck.bench").joinpath(SHIPPED).read_text("utf-8")
        else:
            if Path(path).stat().st_size > MOST_BYTES:
                raise InputError(
                    f"{what}: more than {MOST_BYTES} bytes, expected a short text",
                    "give a checklist, not another file",
                )
            text = Path(path).read_text("utf-8")
        found: dict[str, Any] = tomllib.loads(text)
        checklist = msgspec.convert(found, Checklist)
    except OSError as error:
        raise InputError(
            f"{what}: {error.strerror or error}, expected a file that can be read",
            "look at the path, or leave it out for the shipped list",
        ) from error
    except (ValueError, msgspec.ValidationError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{what}: {error}, expected name and [[part]] sections",
            "compare it with the shipped list, which explains every key",
        ) from error
    keys = [one.key for one in checklist.part]
    bad = [key for key in keys if not _KEY.fullmatch(key) or keys.count(key) > 1]
    if bad or not keys:
        raise InputError(
            f"{what}: " + (f"key {bad[0]!r}" if bad else "no part"),
            "expected one part or more, each with a key of its own in small letters and dashes",
        )
    return checklist


def find_gaps(
    checklist: Checklist, entries: Sequence[ChecklistEntry]
) -> tuple[tuple[str, Gap], ...]:
    """Say what is still missing: key of the part and what, in the order of the list.

    Raises
    ------
    InputError
        An entry for a part that is not on the list, or two for one part.
    """
    done = _by_key(checklist, entries)
    gaps = []
    for part in checklist.part:
        entry = done.get(part.key, ChecklistEntry(key=part.key))
        bad = entry.condition in (Condition.WORN, Condition.DAMAGED)
        missing = {
            Gap.NOT_LOOKED_AT: entry.condition is Condition.NOT_LOOKED_AT and not entry.replaced,
            Gap.NOT_RENEWED: part.always_new and not entry.replaced,
            Gap.NO_TORQUE: part.torque and entry.torque is None,
            Gap.STILL_BAD: bad and not entry.replaced,
        }
        gaps += [(part.key, gap) for gap, true in missing.items() if true]
    return tuple(gaps)


def changes_of(entries: Sequence[ChecklistEntry], entry: int) -> tuple[Change, ...]:
    """Return what a finished checklist changes of the injector's checks.

    Parameters
    ----------
    entries : sequence of ChecklistEntry
        Of one rebuild. An injector that was opened is another one: also without a part replaced
        its checks are outdated.
    entry : int
        Running number of the rebuild in the record.
    """
    if not entries:
        return ()
    only_spacer = {one.key for one in entries if one.replaced} == {SPACER}
    return (Change(kind=ChangeKind.SPACER if only_spacer else ChangeKind.PART, entry=entry),)


def _by_key(checklist: Checklist, entries: Sequence[ChecklistEntry]) -> dict[str, ChecklistEntry]:
    known = [part.key for part in checklist.part]
    keys = [one.key for one in entries]
    for key in keys:
        if key not in known or keys.count(key) > 1:
            how = "twice" if key in known else "but not on the list"
            raise InputError(
                f"checklist entry {key!r}: there {how}, expected one of {', '.join(known)}, once",
                "give every line of the list one entry",
            )
    return {one.key: one for one in entries}
