"""Nozzle files: what a nozzle should do, and if wanted what is tolerated, as TOML.

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
a layout file, as before.

Every mistake is told with its line and key: whoever types such a file does so once, from a drawing.
"""

from __future__ import annotations

import math
import os
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Literal

import msgspec

from spraycheck.card.target import inert
from spraycheck.errors import InputError
from spraycheck.judge.layout import MAX_HOLES, MIN_HOLES, Layout
from spraycheck.judge.limits import Limits, LimitSet
from spraycheck.judge.nozzle import FILLS, LEAST_ANGLE_DEG, MOST_ANGLE_DEG, AxialNozzle
from spraycheck.nozzles.holes import MEANING_OF_HOLE, HoleEntry, check_holes
from spraycheck.nozzles.limits import KINDS, kind_in, limits_from, meaning_of, section_of
from spraycheck.nozzles.lines import Place
from spraycheck.nozzles.validation import Source, one_line
from spraycheck.units import convert_pressure

_PRESSURE_BAR = (10.0, 2000.0)
# Chosen wide: mechanical injectors open at 80 to 400 bar (common practice, no source); the ends
# catch a missing digit and bar taken for psi at the extremes.

_EXAMPLE: Final = (
    'for example: name = "my nozzle", then per hole the lines [[hole]] and azimuth_deg = 45.0; '
    "spraycheck nozzle new writes a whole file"
)

_MEANING: Final = {
    "name": "what the nozzle is called, as text in quotes",
    "kind": '"holes", "pintle" or "single-hole"',
    "holes": f"the number of equal, evenly spread holes, {MIN_HOLES} to {MAX_HOLES}",
    "seen_from": '"injector" or "tip"',
    "counts_from": "the feature of nozzle or holder that 0 degrees stands for, as text in quotes",
    "remarks": "anything worth knowing, as text in quotes",
    "hole": "one [[hole]] section for each hole",
    **MEANING_OF_HOLE,
    "fill": " or ".join(f'"{fill}"' for fill in FILLS),
    "full_angle_deg": f"the full angle of the spray, {LEAST_ANGLE_DEG:g} to {MOST_ANGLE_DEG:g} "
    "degrees",
    "opening_pressure": "a section with value and unit",
    "seat_hold_pressure": "a section with value and unit",
    "value": "a pressure as a plain number",
    "unit": '"psi" or "bar"',
    "source": "who says so, as text in quotes",
    "limits": "a section for each limit, for example [limits.direction_deg]",
}

_OF_HOLES: Final = ("holes", "hole", "seen_from", "counts_from")
_OF_CENTRAL: Final = ("fill", "full_angle_deg")


@dataclass(frozen=True, kw_only=True)
class Pressure:
    """A pressure as it was noted.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        ``psi`` or ``bar``.
    source : str
        Who says so; empty when nobody does.
    """

    value: float
    unit: str
    source: str = ""

    @property
    def bar(self) -> float:
        """The same in bar."""
        return convert_pressure(self.value, self.unit, "bar")


@dataclass(frozen=True, kw_only=True)
class Nozzle:
    """What a nozzle should do, what is tolerated, and what else is known of it.

    Parameters
    ----------
    expected : Layout or AxialNozzle
        What it should spray.
    limits : LimitSet or None
        Its own limits; None where the defaults hold.
    opening, seat_hold : Pressure or None
        Notes: where it opens, and what its seat is held at. Nothing on a card is judged by them.
    remarks : str
        Free text.
    """

    expected: Layout | AxialNozzle
    limits: LimitSet | None = None
    opening: Pressure | None = None
    seat_hold: Pressure | None = None
    remarks: str = ""

    @classmethod
    def evenly_spread(cls, holes: int) -> Nozzle:
        """Make a nozzle of which only the number of holes is known."""
        return cls(expected=Layout.evenly_spread(holes))

    @property
    def name(self) -> str:
        """What it is called."""
        return self.expected.name

    @property
    def kind(self) -> str:
        """``holes``, ``pintle`` or ``single-hole``."""
        return self.expected.kind if isinstance(self.expected, AxialNozzle) else "holes"

    def limits_under(self, given: LimitSet | None = None) -> LimitSet:
        """Return what is tolerated: what is ``given``, else its own limits, else the defaults.

        Raises
        ------
        InputError
            What is given is for another kind of nozzle.
        """
        fitting = KINDS[self.kind]
        if given is None:
            return self.limits or fitting()
        if not isinstance(given, fitting):
            other = next(kind for kind, limits in KINDS.items() if isinstance(given, limits))
            raise InputError(
                f'limits {given.name!r} are for kind = "{other}", expected limits for '
                f'kind = "{self.kind}", as {self.name!r} is',
                f"spraycheck limits --kind {self.kind} prints a file to start from",
            )
        return given

    @property
    def layout(self) -> Layout:
        """Its holes.

        Raises
        ------
        InputError
            It has none, but one central spray.
        """
        if isinstance(self.expected, AxialNozzle):
            raise InputError(
                f"{self.name!r} is a {self.kind} nozzle with one central spray, expected a nozzle "
                "with holes",
                "give the file of a nozzle with holes",
            )
        return self.expected


class _PressureEntry(msgspec.Struct, forbid_unknown_fields=True):
    value: float
    unit: Literal["psi", "bar"]
    source: str = ""


class _NozzleFile(msgspec.Struct, forbid_unknown_fields=True):
    name: str = ""
    kind: Literal["holes", "pintle", "single-hole"] = "holes"
    holes: int = 0
    hole: list[HoleEntry] = []
    seen_from: Literal["injector", "tip"] = "injector"
    counts_from: str = ""
    fill: Literal["hollow", "filled", "either"] = "either"
    full_angle_deg: float = math.nan
    opening_pressure: _PressureEntry | msgspec.UnsetType = msgspec.UNSET
    seat_hold_pressure: _PressureEntry | msgspec.UnsetType = msgspec.UNSET
    remarks: str = ""


def read_nozzle(path: str | os.PathLike[str], *, what: str = "nozzle file") -> Nozzle:
    """Read a nozzle file.

    Parameters
    ----------
    path : str or path-like
        A TOML file as the module shows. Without ``name`` the file's own name is taken.
    what : str
        What messages call the file.

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
        of another kind of nozzle, limits as in `limits.read_limits`.
    """
    nozzle, source = examine_nozzle(path, what=what)
    source.check()
    assert nozzle is not None
    return nozzle


def read_layout(path: str | os.PathLike[str]) -> Layout:
    """Read the holes of a layout or nozzle file; raises as `read_nozzle`.

    Raises
    ------
    InputError
        Also for a nozzle with one central spray.
    """
    return read_nozzle(path, what="layout").layout


def examine_nozzle(
    path: str | os.PathLike[str], *, what: str = "nozzle file"
) -> tuple[Nozzle | None, Source]:
    """Read a nozzle file and tell every mistake.

    Returns
    -------
    nozzle : Nozzle or None
        None where there are mistakes.
    source : Source
        The file with its problems.

    Raises
    ------
    LayoutError
        The file cannot be read, or is no TOML.
    """
    source = Source(path, what=what, example=_EXAMPLE)
    kind = KINDS.get(kind_in(source.text), Limits)
    section = section_of(kind, name=(str, ""))
    shape = msgspec.defstruct(
        "NozzleFile",
        [("limits", section | msgspec.UnsetType, msgspec.UNSET)],
        bases=(_NozzleFile,),
        forbid_unknown_fields=True,
    )

    def meaning(at: Place) -> str:
        if at[:1] == ("limits",) and len(at) > 1:
            return meaning_of(kind, at[1:])
        return _MEANING.get(str(at[-1]), _MEANING["hole"])

    file: Any = source.parse(shape, meaning)
    name = one_line(file.name) or one_line(Path(path).stem)
    expected = _layout(source, file, name) if file.kind == "holes" else _central(source, file, name)
    pressures = [_pressure(source, file, key) for key in ("opening_pressure", "seat_hold_pressure")]
    opening, seat_hold = pressures
    if opening and seat_hold and seat_hold.bar >= opening.bar:
        source.tell(
            f"seat_hold_pressure is {seat_hold.bar:.0f} bar and opening_pressure "
            f"{opening.bar:.0f} bar, expected the seat to be held below the opening pressure",
            "correct one of the two",
            "seat_hold_pressure",
            "value",
        )
    limits = None
    if file.limits is not msgspec.UNSET:
        called = one_line(file.limits.name) or f"limits of {name}"
        limits = limits_from(source, file.limits, kind, name=called, at=("limits",))
    if source.problems or expected is None:
        return None, source
    return Nozzle(
        expected=expected,
        limits=limits,
        opening=opening,
        seat_hold=seat_hold,
        remarks=file.remarks.strip(),
    ), source


def _layout(source: Source, file: Any, name: str) -> Layout | None:
    _refuse(source, _OF_CENTRAL, "holes")
    if source.has("holes") and not source.told("holes"):
        for key in ("hole", "seen_from", "counts_from"):
            if source.has(key):
                source.tell(
                    f"both holes and {key} given, expected one of them",
                    f"take {key} out, or holes and give each hole a [[hole]] section",
                    key,
                )
        source.check_range(
            "holes", file.holes, (MIN_HOLES, MAX_HOLES), _MEANING["holes"], "correct holes", "holes"
        )
        if source.problems:
            return None
        even = Layout.evenly_spread(file.holes)
        return replace(even, name=name) if source.has("name") else even
    if not source.has("hole"):
        source.tell(f"no hole, expected {_MEANING['hole']}", _EXAMPLE, "hole")
    holes: list[HoleEntry] = file.hole
    check_holes(source, holes)
    if source.problems:
        return None
    layout = Layout(
        name=name,
        azimuth_deg=tuple(hole.azimuth_deg % 360.0 % 360.0 for hole in holes),
        axis_angle_deg=tuple(hole.axis_angle_deg for hole in holes),
        diameter_mm=tuple(hole.diameter_mm for hole in holes),
        counts_from=inert(file.counts_from),
        row=tuple(hole.row for hole in holes),
    )
    return layout.mirrored() if file.seen_from == "tip" else layout


def _central(source: Source, file: Any, name: str) -> AxialNozzle | None:
    _refuse(source, _OF_HOLES, file.kind)
    if source.has("full_angle_deg"):
        source.check_range(
            "full_angle_deg",
            file.full_angle_deg,
            (LEAST_ANGLE_DEG, MOST_ANGLE_DEG),
            _MEANING["full_angle_deg"],
            "correct full_angle_deg, or take it out when it is not known",
            "full_angle_deg",
        )
    if source.problems:
        return None
    fill = file.fill
    if not source.has("fill") and file.kind == "single-hole":
        fill = AxialNozzle.single_hole().fill
    return AxialNozzle(name=name, kind=file.kind, fill=fill, full_angle_deg=file.full_angle_deg)


def _refuse(source: Source, keys: tuple[str, ...], kind: str) -> None:
    """Tell keys that belong to another kind of nozzle."""
    for key in keys:
        if source.has(key):
            other = "pintle or single-hole nozzles" if kind == "holes" else "nozzles with holes"
            source.tell(
                f'{key} given for kind = "{kind}", expected it only for {other}',
                f"correct kind, or take {key} out",
                key,
            )


def _pressure(source: Source, file: Any, key: str) -> Pressure | None:
    entry = getattr(file, key)
    if (
        entry is msgspec.UNSET
        or source.told(key)
        or any(source.told(key, inner) for inner in ("value", "unit"))
    ):
        return None
    low, high = (convert_pressure(bar, "bar", entry.unit) for bar in _PRESSURE_BAR)
    before = len(source.problems)
    source.check_range(
        f"value of {key}",
        entry.value,
        (low, high),
        f"a pressure from {low:.0f} to {high:.0f} {entry.unit}",
        f"correct value of {key}",
        *(key, "value"),
    )
    if len(source.problems) > before:
        return None
    return Pressure(value=entry.value, unit=entry.unit, source=one_line(entry.source))
