"""What a nozzle should do, what is tolerated of it, and what else is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from spraycheck.errors import InputError
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits, LimitSet
from spraycheck.units import convert_pressure

if TYPE_CHECKING:
    from spraycheck.judge.nozzle import AxialNozzle

KINDS: Final[dict[str, type[LimitSet]]] = {
    "holes": Limits,
    "pintle": AxialLimits,
    "single-hole": AxialLimits,
}
"""Kind of nozzle to the limits that fit it."""


def span_of(limit: Mapping[str, Any]) -> str:
    """Say the range of a limit, from its metadata."""
    return f"a number from {limit['least']:g} to {limit['most']:g} ({limit['unit']})"


def can_be_off(limit: Mapping[str, Any]) -> bool:
    """Say whether a limit can be switched off, from its metadata."""
    return not math.isnan(limit["off"])


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
        return "holes" if isinstance(self.expected, Layout) else self.expected.kind

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
        if not isinstance(self.expected, Layout):
            raise InputError(
                f"{self.name!r} is a {self.kind} nozzle with one central spray, expected a nozzle "
                "with holes",
                "give the file of a nozzle with holes",
            )
        return self.expected
