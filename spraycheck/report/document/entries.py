"""What result documents are made of, and how a value becomes one of theirs.

The classes are the published form: schemas are made from them, and what each key means stands in
the catalogue (`words.keys`). They are msgspec structs, because a command that writes no document
should not pay for making thirty dataclasses. Keys are public for ever; a reader must accept keys
it does not know. A key without a default has always been written.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, ClassVar, Final, Literal, TypeVar

import msgspec
import numpy as np
from msgspec import Meta, Struct

from spraycheck.errors import MeasurementError
from spraycheck.report.words.keys import LIMITS_NAME

NotNegative = Annotated[float, Meta(ge=0)]
Share = Annotated[float, Meta(ge=0, le=1)]
Direction = Annotated[float, Meta(ge=0, lt=360)]
"""Clockwise from 12 o'clock; rounded into its range."""
Turn = Annotated[float, Meta(ge=0, le=360)]
Count = Annotated[int, Meta(ge=1)]
Point = tuple[float, float]
Name = Annotated[str, Meta(max_length=40)]
Digest = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]

DIGITS: Final = {"_px": 2, "_mm": 4, "_mm2": 3, "_deg": 4, "_frac": 6, "_ratio": 4}
"""Unit at the end of a key to decimal places, so that rounding stays a hundred times below the
smallest uncertainty met."""

SIGNIFICANT: Final = 6
"""Significant digits of values without such an ending, chosen likewise."""

PER_PIXEL: Final = "mm_per_px"
"""A length per pixel, which spans orders of magnitude."""

LENGTHS: Final = ("_mm", "_mm2", PER_PIXEL)
"""Endings of keys whose values need the scale of the card."""


class Entry(Struct, frozen=True, kw_only=True):
    """Part of a document."""

    scaled: ClassVar[bool] = False
    """Whether its lengths are known only where the size of the sheet is."""

    exact: ClassVar[bool] = False
    """Whether its numbers were given, not measured: they are written as they are."""


AnyEntry = TypeVar("AnyEntry", bound=Entry)


class PhotoEntry(Entry, frozen=True, kw_only=True):
    """The photo."""

    file: str | None
    sha256: Digest
    width_px: Count
    height_px: Count
    taken_at: str | None
    focal_35mm: NotNegative | None = None
    flags: tuple[str, ...] = ()


class UnreadPhotoEntry(Entry, frozen=True, kw_only=True):
    """The photo, which need not have been read."""

    file: str | None
    sha256: Digest | None
    width_px: Count | None
    height_px: Count | None
    taken_at: str | None
    focal_35mm: NotNegative | None = None
    flags: tuple[str, ...] = ()


class PrintedEntry(Entry, frozen=True, kw_only=True):
    """What the project's own target card says about itself and how well it was read."""

    paper: str
    version: Count
    job: Name | None = None
    injector: Name | None = None
    markers_seen: Annotated[int, Meta(ge=3)]
    markers_total: Annotated[int, Meta(ge=10)]
    residual_mm: NotNegative | None = None
    scale_u_frac: NotNegative | None = None
    printed_x_mm: float | None = None
    printed_y_mm: float | None = None
    index_u_deg: NotNegative | None = None
    edge_x_mm: NotNegative | None = None
    edge_y_mm: NotNegative | None = None
    sheet_asked: str | None = None


class CardEntry(Entry, frozen=True, kw_only=True):
    """The sheet."""

    scaled: ClassVar[bool] = True

    found_by: Literal["printed-card", "sheet", "sheet-cropped", "none"]
    mm_per_px: NotNegative | None
    size_mm: tuple[NotNegative, NotNegative] | None
    flags: tuple[str, ...]
    corners_px: tuple[Point, Point, Point, Point] | None = None
    printed: PrintedEntry | None = None


class EvidenceEntry(Entry, frozen=True, kw_only=True):
    """A value and the limit it was held against."""

    limit: str
    value: float | None
    u: NotNegative | None
    allowed: float | None
    unit: str
    probability: Share | None


class FindingEntry(Entry, frozen=True, kw_only=True):
    """One finding."""

    code: str
    hole: Count | None
    text: str
    evidence: EvidenceEntry | None


class LimitEntry(Entry, frozen=True, kw_only=True):
    """One limit; spraycheck limits tells what each means."""

    exact: ClassVar[bool] = True

    value: float | None
    unit: str
    source: str
    off: bool


Limits = Annotated[
    dict[str, LimitEntry],
    Meta(
        extra_json_schema={
            "required": ["name"],
            "properties": {"name": {"type": "string", "description": LIMITS_NAME}},
            "additionalProperties": {"$ref": "#/$defs/LimitEntry"},
        }
    ),
]
"""Every key but ``name`` is a limit."""

Provenance = dict[str, Any]


class ErrorEntry(Entry, frozen=True, kw_only=True):
    """Why a photo could not be measured."""

    stage: Literal[
        "reading", "rectification", "wetness", "centre", "segmentation", "measurement",
        "assessment", "internal",
    ]  # fmt: skip
    message: str
    hint: str
    code: str | None = None


def entry_of(form: type[AnyEntry], *sources: object, **given: Any) -> AnyEntry:
    """Make an entry whose values have the names of its keys.

    Parameters
    ----------
    form : type of Entry
        What is made.
    *sources : object
        Where values are looked for, one after the other.
    **given
        Values that go before those of the sources.
    """
    for name in form.__struct_fields__:
        for source in sources:
            if name not in given and hasattr(source, name):
                given[name] = getattr(source, name)
    return form(**given)


def as_document(entry: Entry, *, scale_known: bool = True) -> dict[str, Any]:
    """Return an entry, and all in it, as JSON knows values.

    Numbers are rounded; None stands for what is not finite, and for an empty word that may be none.

    Parameters
    ----------
    entry : Entry
        Usually a whole document.
    scale_known : bool
        Without it, lengths of scaled entries become None.

    Raises
    ------
    MeasurementError
        A value that is never null in the document could not be measured.
    """
    return _entry(entry, "", scale_known)


def _entry(entry: Entry, whose: str, scale_known: bool) -> dict[str, Any]:
    written: dict[str, Any] = {}
    for name, nullable, wraps in _plan(type(entry)):
        value = getattr(entry, name)
        if entry.scaled and not scale_known and name.endswith(LENGTHS):
            value = None
        elif isinstance(value, Entry):
            value = _entry(value, name, scale_known)
        elif isinstance(value, tuple) and value and isinstance(value[0], Entry):
            one = name.removesuffix("s")
            rows = enumerate(value, start=1)
            value = [_entry(row, f"{one} {count}", scale_known) for count, row in rows]
        elif not isinstance(value, dict):
            value = plain(value) if entry.exact else _rounded(value, name)
            value = value % 360.0 if wraps and value is not None else value
            value = None if nullable and value == "" else value
            if value is None and not nullable:
                raise MeasurementError(
                    "not-measured", stage="measurement", whose=whose or "result", name=name
                )
        written[name] = value
    return written


@functools.cache
def _plan(form: type[Entry]) -> tuple[tuple[str, bool, bool], ...]:
    """Return every key of a form: whether it may be null, and whether it is a direction."""
    kind = msgspec.inspect.type_info(form)
    assert isinstance(kind, msgspec.inspect.StructType)
    found = []
    for field in kind.fields:
        union = field.type
        members = union.types if isinstance(union, msgspec.inspect.UnionType) else (union,)
        nullable = any(isinstance(m, msgspec.inspect.NoneType) for m in members)
        wraps = any(isinstance(m, msgspec.inspect.FloatType) and m.lt == 360 for m in members)
        found.append((field.encode_name, nullable, wraps))
    return tuple(found)


def _rounded(value: Any, key: str) -> Any:
    """Round numbers by the unit that their key ends with; None for what is not finite."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return _number(value, key) if math.isfinite(value) else None
    if isinstance(value, tuple):
        return [_rounded(item, key) for item in value]
    return value


def _number(value: float, key: str) -> float:
    digits = _digits(key)
    return float(f"{value:.{SIGNIFICANT}g}") if digits is None else round(value, digits)


@functools.cache
def _digits(key: str) -> int | None:
    """Return the decimal places of a key's values; None for significant digits."""
    return None if key.endswith(PER_PIXEL) else DIGITS.get(f"_{key.rpartition('_')[2]}")


def plain(value: object) -> Any:
    """Return any nesting of values as JSON knows them; what is not finite becomes None."""
    # Most values are words and numbers: they are asked for first.
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    return str(value)
