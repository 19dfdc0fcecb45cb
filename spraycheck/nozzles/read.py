"""Nozzle and limits files: what a nozzle should do and what is tolerated, as TOML.

```toml
name = "five holes, slanting nozzle"
seen_from = "injector"     # or "tip": a drawing of the tip seen from below is mirrored
counts_from = "dowel"      # optional: the feature at 0 degrees, to line a printed card up with
remarks = "free text"

[[hole]]
azimuth_deg = 12.5         # clockwise as the streaks lie on the card
axis_angle_deg = 72.0      # optional, for all holes or none: hole axis to nozzle axis
diameter_mm = 0.24         # optional, for all holes or none
row = 1                    # optional, for all holes or none: shares compare within a row

[opening_pressure]         # optional notes
value = 2800
unit = "psi"

[limits.direction_deg]     # optional: limits of this nozzle, as in a limits file
value = 4.0
unit = "deg"
source = "agreed with the customer"
```

``holes = 6`` instead of ``[[hole]]`` sections means evenly spread, equal holes. A nozzle with one
central spray has ``kind = "pintle"`` or ``"single-hole"``, and no holes. A file with holes alone is
a layout file, as before. A limits file holds what stands under ``limits`` above at its outside:

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

A limit that is not named keeps its default. Every mistake is told with its line and key: whoever
types such a file does so once, from a drawing.
"""

from __future__ import annotations

import itertools
import os
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from spraycheck.card.target import inert
from spraycheck.errors import LayoutError
from spraycheck.judge.layout import MAX_HOLES, MIN_HOLES, Layout
from spraycheck.judge.limits import COMMON, RENAMED, LimitSet, limit_fields
from spraycheck.nozzles.lines import Place
from spraycheck.nozzles.model import KINDS, Nozzle, Pressure, can_be_off, span_of
from spraycheck.nozzles.toml_file import Tell, TomlFile, named, one_line
from spraycheck.units import convert_pressure

if TYPE_CHECKING:
    from spraycheck.judge.nozzle import AxialNozzle
    from spraycheck.nozzles.schema import LimitEntry, LimitsEntry, NozzleFile, PressureEntry

_PRESSURE_BAR: Final = (10.0, 2000.0)
# Chosen wide: mechanical injectors open at 80 to 400 bar (common practice, no source); the ends
# catch a missing digit and bar taken for psi at the extremes.

_SAME_DEG: Final = 0.5
# Chosen because holes closer than this are one typed twice: their streaks could not be told apart.

_NOZZLE_EXAMPLE: Final = (
    'for example: name = "my nozzle", then per hole the lines [[hole]] and azimuth_deg = 45.0; '
    "spraycheck nozzle new writes a whole file"
)
_LIMITS_EXAMPLE: Final = "spraycheck limits prints a whole file to start from"

_OF_HOLES: Final = ("holes", "hole", "seen_from", "counts_from")
_OF_AXIAL: Final = ("fill", "full_angle_deg")
_FOR_ALL_HOLES: Final = ("axis_angle_deg", "diameter_mm", "row")

RENAMED_LIMITS: Final[Mapping[str, str]] = RENAMED
"""Old name of a limit to its name of today."""


def read_nozzle(
    path: str | os.PathLike[str], *, what: str = "nozzle file", tell: Tell | None = None
) -> Nozzle:
    """Read a nozzle file.

    Parameters
    ----------
    path : str or path-like
        A TOML file as the module shows. Without ``name`` the file's own name is taken.
    what : str
        What messages call the file.
    tell : callable, optional
        Is given every notice.

    Returns
    -------
    Nozzle
        Azimuths in ``[0, 360)`` as the streaks lie on the card, in file order; those of a drawing
        seen from the tip are mirrored here.

    Raises
    ------
    LayoutError
        Unreadable file, no TOML, unknown or missing key, wrong type, value out of range, the same
        azimuth twice, fewer than 3 or more than 16 holes, an optional key for some holes only, keys
        of another kind of nozzle, limits as in `read_limits`. Its ``lines`` tell every mistake.
    """
    from spraycheck.nozzles.schema import nozzle_model

    file = TomlFile(path, what=what, example=_NOZZLE_EXAMPLE)
    kind = _kind_of(file)
    file.rename(RENAMED_LIMITS, "limits")
    data = file.read_as(nozzle_model(kind))
    if file.sound("kind"):
        _check_kind(file, kind)
    _check_pressures(file)
    _check_limits(file, KINDS[kind], "limits")
    file.check(tell)
    assert data is not None  # every mistake was told
    name = one_line(data.name) or one_line(Path(path).stem)
    return Nozzle(
        expected=_layout(data, name) if data.kind == "holes" else _axial(data, name),
        limits=_limits(data.limits, KINDS[kind], f"limits of {name}") if data.limits else None,
        opening=_pressure(data.opening_pressure),
        seat_hold=_pressure(data.seat_hold_pressure),
        remarks=data.remarks.strip(),
    )


def read_layout(path: str | os.PathLike[str]) -> Layout:
    """Read the holes of a layout or nozzle file; raises as `read_nozzle`.

    Raises
    ------
    InputError
        Also for a nozzle with one central spray.
    """
    return read_nozzle(path, what="layout").layout


def read_limits(path: str | os.PathLike[str], *, tell: Tell | None = None) -> LimitSet:
    """Read a limits file.

    Parameters
    ----------
    path : str or path-like
        A TOML file as the module shows. Without ``name`` the file's own name is taken.
    tell : callable, optional
        Is given every notice.

    Returns
    -------
    LimitSet
        `Limits`, or the set that fits the file's ``kind``.

    Raises
    ------
    LayoutError
        Unreadable file, no TOML, unknown key, missing value, unit or source, another unit than the
        limit's, a value out of reason, a limit that cannot be switched off. Its ``lines`` tell
        every mistake.
    """
    from spraycheck.nozzles.schema import limits_model

    file = TomlFile(path, what="limits file", example=_LIMITS_EXAMPLE)
    kind = _kind_of(file)
    file.rename(RENAMED_LIMITS)
    data = file.read_as(limits_model(kind))
    _check_limits(file, KINDS[kind])
    file.check(tell)
    assert data is not None  # every mistake was told
    return _limits(data, KINDS[kind], one_line(Path(path).stem))


def check_file(path: str | os.PathLike[str], *, tell: Tell | None = None) -> tuple[str, ...]:
    """Look through a file of either kind; what stands in it says which it is.

    Returns
    -------
    tuple of str
        A line for each mistake; empty when all is well.
    """
    try:
        (read_limits if _holds_limits(path) else read_nozzle)(path, tell=tell)
    except LayoutError as error:
        return error.lines
    return ()


def _holds_limits(path: str | os.PathLike[str]) -> bool:
    """Say whether limits stand in the file where a nozzle file has none: at the outside."""
    try:
        with open(path, "rb") as file:
            keys = set(tomllib.load(file))
    except (OSError, ValueError, RecursionError):
        return False  # what is wrong is told when it is read
    names = {one.name for kind in KINDS.values() for one in limit_fields(kind)}
    return bool(keys & (names | RENAMED_LIMITS.keys()))


def _kind_of(file: TomlFile) -> str:
    """Return the kind of nozzle that a file names; ``holes`` where it names none that there is."""
    kind = file.at("kind")
    return kind if isinstance(kind, str) and kind in KINDS else "holes"


# -- what keys mean together: told beside what each says by itself -----------------------------


def _check_kind(file: TomlFile, kind: str) -> None:
    """Tell keys of another kind of nozzle, and holes that do not fit together."""
    others = _OF_AXIAL if kind == "holes" else _OF_HOLES
    where = "pintle or single-hole nozzles" if kind == "holes" else "nozzles with holes"
    for key in others:
        if file.has(key):
            file.tell(
                f'{key} given for kind = "{kind}"',
                f"it only for {where}",
                f"correct kind, or take {key} out",
                key,
            )
    if kind == "holes":
        _check_holes(file)


def _check_holes(file: TomlFile) -> None:
    if file.has("holes"):
        for key in ("hole", "seen_from", "counts_from"):
            if file.has(key):
                file.tell(
                    f"both holes and {key} given",
                    "one of them",
                    f"take {key} out, or holes and give each hole a [[hole]] section",
                    key,
                )
        return
    if not file.has("hole"):
        file.tell("no hole", "one [[hole]] section for each hole", _NOZZLE_EXAMPLE, "hole")
    if not file.sound("hole") and not isinstance(file.at("hole"), list):
        return
    count = len(file.at("hole"))
    if not MIN_HOLES <= count <= MAX_HOLES:
        file.tell(
            f"the layout has {count} holes",
            f"{MIN_HOLES} to {MAX_HOLES}",
            "give one [[hole]] section for each spray hole in the nozzle tip",
            *("hole", max(count - 1, 0)),
        )
    _check_complete(file, count)
    _check_distinct(file, count)
    if not file.mistakes:
        _check_rows(file, count)


def _check_complete(file: TomlFile, count: int) -> None:
    """Tell an optional key that only some holes have: it would have to be left unused."""
    for key in _FOR_ALL_HOLES:
        without = [n for n in range(count) if not file.has("hole", n, key)]
        if without and len(without) < count:
            file.tell(
                f"hole {without[0] + 1} has no {key}, but {count - len(without)} of {count} holes "
                "have",
                "all or none",
                f"add {key} to every hole, or take it out of all",
                *("hole", without[0], key),
            )


def _check_distinct(file: TomlFile, count: int) -> None:
    """Tell two holes at the same azimuth."""
    azimuths = {
        n: file.at("hole", n, "azimuth_deg") % 360.0
        for n in range(count)
        if file.sound("hole", n, "azimuth_deg")
    }
    for (a, first), (b, second) in itertools.combinations(azimuths.items(), 2):
        if abs((second - first + 180.0) % 360.0 - 180.0) < _SAME_DEG:
            file.tell(
                f"azimuth_deg of hole {b + 1} is {second:g}, the same as that of hole {a + 1} "
                f"({first:g})",
                "holes at different azimuths",
                "correct it, or take one of the two out",
                *("hole", b, "azimuth_deg"),
            )


def _check_rows(file: TomlFile, count: int) -> None:
    """Tell a gap in the numbers of the rows: one of them is mistyped."""
    rows = [file.at("hole", n, "row") or 1 for n in range(count)]
    for n, row in enumerate(rows):
        if row > 1 and row - 1 not in rows:
            file.tell(
                f"row of hole {n + 1} is {row}, but no hole is in row {row - 1}",
                "rows counted from 1 without a gap",
                "correct row",
                *("hole", n, "row"),
            )


def _check_pressures(file: TomlFile) -> None:
    """Tell pressures out of reason, and a seat held at more than the nozzle opens at."""
    noted = {}
    for key in ("opening_pressure", "seat_hold_pressure"):
        if not (file.has(key) and file.sound(key)):
            continue
        value, unit = file.at(key, "value"), file.at(key, "unit")
        low, high = (convert_pressure(bar, "bar", unit) for bar in _PRESSURE_BAR)
        if low <= value <= high:
            noted[key] = convert_pressure(value, unit, "bar")
        else:
            file.tell(
                f"value of {key} is {value:g}",
                f"a pressure from {low:.0f} to {high:.0f} {unit}",
                f"correct value of {key}",
                *(key, "value"),
            )
    if len(noted) > 1 and noted["seat_hold_pressure"] >= noted["opening_pressure"]:
        file.tell(
            f"seat_hold_pressure is {noted['seat_hold_pressure']:.0f} bar and opening_pressure "
            f"{noted['opening_pressure']:.0f} bar",
            "the seat to be held below the opening pressure",
            "correct one of the two",
            *("seat_hold_pressure", "value"),
        )


def _check_limits(file: TomlFile, kind: type[LimitSet], *around: str) -> None:
    """Tell limits that are neither whole nor off."""
    for one in limit_fields(kind):
        if isinstance(file.at(*around, one.name), dict):
            _check_limit(file, one.name, one.metadata, (*around, one.name))


def _check_limit(file: TomlFile, name: str, about: Mapping[str, Any], at: Place) -> None:
    if file.at(*at, "off") is True:
        if not can_be_off(about):
            hint = f"give value and unit: there is no verdict without {name}"
            file.tell(f"off of {name} is true", span_of(about), hint, *at, "off")
        if file.has(*at, "value"):
            hint = "take off = true out to hold the limit, or value to switch it off"
            file.tell(f"both value and off of {name} given", "one of them", hint, *at, "off")
        return
    if not file.has(*at, "value"):
        hint = "add value" + (", or write off = true" if can_be_off(about) else "")
        file.tell(f"no value of {name}", span_of(about), hint, *at, "value")
    unit, wanted = file.at(*at, "unit"), f'"{about["unit"]}"'
    if not unit:
        file.tell(f"no unit of {name}", wanted, f"write unit = {wanted}", *at, "unit")
    elif unit != about["unit"]:
        hint = f"write unit = {wanted}, and the value in it"
        file.tell(f"unit of {name} is {named(unit)}", wanted, hint, *at, "unit")
    if not str(file.at(*at, "source") or "").strip():
        hint = f'name who agreed on it and when, or write source = "{COMMON}"'
        file.tell(f"no source of {name}", "who says so", hint, *at, "source")


# -- from what a file says to what it means ----------------------------------------------------


def _layout(data: NozzleFile, name: str) -> Layout:
    if not data.hole:
        even = Layout.evenly_spread(data.holes)
        return replace(even, name=name) if "name" in data.model_fields_set else even
    layout = Layout(
        name=name,
        azimuth_deg=tuple(hole.azimuth_deg % 360.0 % 360.0 for hole in data.hole),
        axis_angle_deg=tuple(hole.axis_angle_deg for hole in data.hole),
        diameter_mm=tuple(hole.diameter_mm for hole in data.hole),
        counts_from=inert(data.counts_from),
        row=tuple(hole.row for hole in data.hole),
    )
    return layout.mirrored() if data.seen_from == "tip" else layout


def _axial(data: NozzleFile, name: str) -> AxialNozzle:
    from spraycheck.judge.nozzle import AxialNozzle

    fill = data.fill
    if "fill" not in data.model_fields_set and data.kind == "single-hole":
        fill = AxialNozzle.single_hole().fill
    return AxialNozzle(name=name, kind=data.kind, fill=fill, full_angle_deg=data.full_angle_deg)


def _pressure(entry: PressureEntry | None) -> Pressure | None:
    if entry is None:
        return None
    return Pressure(value=entry.value, unit=entry.unit, source=one_line(entry.source))


def _limits(data: LimitsEntry, kind: type[LimitSet], name: str) -> LimitSet:
    """Return the limits that a file names, over the defaults; ``name`` where it has none."""
    values: dict[str, float] = {}
    sources: list[tuple[str, str]] = []
    for one in limit_fields(kind):
        entry: LimitEntry | None = getattr(data, one.name)
        if entry is None:
            continue
        why = one_line(entry.source)
        values[one.name] = one.metadata["off"] if entry.off else entry.value
        sources.append((one.name, why or "switched off, no reason given"))
    called = one_line(data.name) or name
    return kind(**values, name=called, sources=tuple(sources))  # type: ignore[call-arg]
