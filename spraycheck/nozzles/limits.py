"""Limits as a file: every limit with its value, its unit and where it comes from.

```toml
name = "our workshop, agreed in spring"
kind = "holes"             # what the limits are for: "holes", or "pintle" or "single-hole"

[direction_deg]
value = 5.0
unit = "deg"               # must be the limit's own unit, and must be there
source = "agreed with the customer on 3 March"

[drip_frac]
off = true                 # not held; a reason may stand in source
```

A limit that is not named keeps its default. Names, units, ranges and meanings are those that
``pattern.limits`` declares; nothing of them is repeated here.
"""

from __future__ import annotations

import functools
import math
import os
from pathlib import Path
from typing import Any, Final

import msgspec

from spraycheck.judge.limits import COMMON, AxialLimits, Limits, LimitSet, limit_fields
from spraycheck.judge.nozzle import KINDS as AXIAL_KINDS
from spraycheck.nozzles.lines import Place
from spraycheck.nozzles.validation import Source, named, one_line

KINDS: Final[dict[str, type[LimitSet]]] = {
    "holes": Limits,
    **dict.fromkeys(AXIAL_KINDS, AxialLimits),
}
"""Kind of nozzle to the limits that fit it."""

_EXAMPLE: Final = "spraycheck limits prints a whole file to start from"

_PERCENT = {"share": "4 % is 0.04", "ratio": "75 % is 0.75", "probability": "5 % is 0.05"}


class LimitEntry(msgspec.Struct, forbid_unknown_fields=True):
    """The section of one limit."""

    value: float = math.nan
    unit: str = ""
    source: str = ""
    off: bool = False


def read_limits(path: str | os.PathLike[str]) -> LimitSet:
    """Read a limits file.

    Parameters
    ----------
    path : str or path-like
        A TOML file as the module shows. Without ``name`` the file's own name is taken.

    Returns
    -------
    LimitSet
        `Limits`, or the set that fits the file's ``kind``.

    Raises
    ------
    LayoutError
        Unreadable file, no TOML, unknown key, missing value, unit or source, another unit than the
        limit's, a value out of reason, a limit that cannot be switched off.
    """
    limits, source = examine_limits(path)
    source.check()
    assert limits is not None
    return limits


def examine_limits(path: str | os.PathLike[str]) -> tuple[LimitSet | None, Source]:
    """Read a limits file and tell every mistake.

    Returns
    -------
    limits : LimitSet or None
        None where there are mistakes.
    source : Source
        The file with its problems.

    Raises
    ------
    LayoutError
        The file cannot be read, or is no TOML.
    """
    source = Source(path, what="limits file", example=_EXAMPLE)
    kind = kind_in(source.text)
    limits = KINDS.get(kind, Limits)
    shape = section_of(limits, kind=(str, "holes"), name=(str, ""))
    file = source.parse(shape, functools.partial(meaning_of, limits))
    if kind not in KINDS:
        source.tell(f"kind is {named(kind)}, expected {_kinds()}", "correct kind", "kind")
    return limits_from(
        source, file, limits, name=one_line(file.name) or one_line(Path(path).stem)
    ), source


def section_of(limits: type[LimitSet], **others: tuple[type, Any]) -> Any:
    """Return the shape of a file or section that holds these limits, and ``others`` besides."""
    names = [one.name for one in limit_fields(limits)]
    keys = [(name, LimitEntry | msgspec.UnsetType, msgspec.UNSET) for name in names]
    more = [(name, kind, default) for name, (kind, default) in others.items()]
    return msgspec.defstruct("LimitsSection", [*more, *keys], forbid_unknown_fields=True)


def limits_from(
    source: Source, section: Any, kind: type[LimitSet], *, name: str, at: Place = ()
) -> LimitSet | None:
    """Return the limits in a section that `section_of` shaped; None when anything is wrong.

    Parameters
    ----------
    source : Source
        Where mistakes are told.
    section : Struct
        What was read.
    kind : type
        Of limits.
    name : str
        What the set is called.
    at : tuple
        Where the section stands.
    """
    values: dict[str, float] = {}
    sources: list[tuple[str, str]] = []
    for one in limit_fields(kind):
        entry = getattr(section, one.name)
        if entry is msgspec.UNSET:
            continue
        _check(source, entry, one.name, one.metadata, (*at, one.name))
        why = one_line(entry.source)
        if entry.off:
            values[one.name] = one.metadata["off"]
            why = why or "switched off, no reason given"
        else:
            values[one.name] = entry.value
        sources.append((one.name, why))
    if source.problems:
        return None
    return kind(**values, name=name, sources=tuple(sources))  # type: ignore[call-arg]


def meaning_of(limits: type[LimitSet], at: Place) -> str:
    """Say what is expected at a place in a file or section of limits."""
    about = {one.name: one.metadata for one in limit_fields(limits)}
    known = [about[step] for step in at if isinstance(step, str) and step in about]
    match at[-1] if at else "":
        case "value" if known:
            return span_of(known[0])
        case "unit" if known:
            return f'unit = "{known[0]["unit"]}"'
        case "source":
            return "who says so, as text in quotes"
        case "off":
            return "true, or nothing"
        case "name":
            return "what this set of limits is called, as text in quotes"
        case "kind":
            return _kinds()
        case _ if known:
            return f"a section with value, unit and source, for the {known[0]['about']}"
        case _:
            return "one section for each limit"


def kind_in(text: str) -> str:
    """Return the kind a text names, before its shape is known; ``holes`` where it names none."""
    import tomllib

    try:
        kind = tomllib.loads(text).get("kind", "holes")
    except (tomllib.TOMLDecodeError, RecursionError):
        return "holes"  # what is wrong is told when it is read
    return kind if isinstance(kind, str) else "holes"


def span_of(about: Any) -> str:
    """Say the range of a limit, from its metadata."""
    return f"a number from {about['least']:g} to {about['most']:g} ({about['unit']})"


def _check(source: Source, entry: LimitEntry, name: str, about: Any, at: Place) -> None:
    """Tell what is wrong with the section of one limit."""
    can_be_off = not math.isnan(about["off"])
    if entry.off:
        if not can_be_off:
            source.tell(
                f"off of {name} is true, expected {span_of(about)}",
                f"give value and unit: there is no verdict without {name}",
                *(*at, "off"),
            )
        if source.has(*at, "value"):
            source.tell(
                f"both value and off of {name} given, expected one of them",
                "take off = true out to hold the limit, or value to switch it off",
                *(*at, "off"),
            )
        return
    switch = ", or write off = true" if can_be_off else ""
    if not source.has(*at, "value"):
        source.tell(
            f"no value of {name}, expected {span_of(about)}", f"add value{switch}", *(*at, "value")
        )
    hint = f"correct value{switch}"
    if about["unit"] in _PERCENT and 1 < entry.value <= 100:
        hint = f"write it as a plain number: {_PERCENT[about['unit']]}"
    span = (about["least"], about["most"])
    source.check_range(f"value of {name}", entry.value, span, span_of(about), hint, *at, "value")
    unit = about["unit"]
    if entry.unit != unit:
        found = f"unit of {name} is {named(entry.unit)}" if entry.unit else f"no unit of {name}"
        hint = f'write unit = "{unit}"' + (", and the value in it" if entry.unit else "")
        source.tell(f'{found}, expected "{unit}"', hint, *at, "unit")
    if not entry.source.strip():
        source.tell(
            f"no source of {name}, expected who says so",
            f'name who agreed on it and when, or write source = "{COMMON}"',
            *(*at, "source"),
        )


def _kinds() -> str:
    return " or ".join(f'"{kind}"' for kind in KINDS)
