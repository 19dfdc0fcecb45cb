"""The holes a nozzle should have."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import LayoutError

HOLES: Final = "holes"
"""Kind of a nozzle with holes; those with an axial spray have their own."""

MIN_HOLES, MAX_HOLES = 3, 16
SPREAD_EXPONENT, SPREAD_U = 0.1, 0.1
"""See `Layout.expected_area`, and its standard uncertainty. Chosen because simulated nozzles with
hole angles of 58 to 73 degrees on absorbing stock gave 0.0 to 0.3, median 0.15, and 60 others from
54 to 75 degrees -0.1 to 0.1; pure geometry without soaking would give more."""


@dataclass(frozen=True, kw_only=True)
class Layout:
    """The holes a nozzle should have.

    Parameters
    ----------
    name : str
        What the nozzle is called.
    azimuth_deg : (n,) tuple of float
        Clockwise as the streaks lie on the card, seen from the injector's side, in file order.
    axis_angle_deg : (n,) tuple of float
        Between the hole's axis and the nozzle axis; NaN when not given.
    diameter_mm : (n,) tuple of float
        Hole diameter; NaN when not given.
    even : bool
        True when only a hole count was given: evenly spread, equal holes.
    counts_from : str
        The feature of the nozzle or holder that 0 degrees stands for, for example ``dowel``; empty
        when the azimuths count from nowhere in particular.
    row : (n,) tuple of int
        Which row each hole belongs to, from 1; shares are compared within a row only. All in one
        row when not given.
    """

    name: str
    azimuth_deg: tuple[float, ...]
    axis_angle_deg: tuple[float, ...] = ()
    diameter_mm: tuple[float, ...] = ()
    even: bool = False
    counts_from: str = ""
    row: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.azimuth_deg)
        if not MIN_HOLES <= n <= MAX_HOLES:
            raise LayoutError(
                f"{n} holes: expected {MIN_HOLES} to {MAX_HOLES}; give the number of spray holes "
                "in the nozzle tip"
            )
        unknown = (math.nan,) * n
        for name in ("axis_angle_deg", "diameter_mm"):
            values = getattr(self, name)
            if values == ():
                object.__setattr__(self, name, unknown)
            elif len(values) != n:
                raise LayoutError(f"{name}: expected {n} values, one per hole, got {len(values)}")
        if self.row == ():
            object.__setattr__(self, "row", (1,) * n)
        elif len(self.row) != n or any(r < 1 for r in self.row):
            raise LayoutError(f"row: expected {n} whole numbers from 1, one per hole")

    def __len__(self) -> int:
        return len(self.azimuth_deg)

    @property
    def kind(self) -> str:
        """What sort of nozzle it is: one with holes."""
        return HOLES

    @classmethod
    def evenly_spread(cls, holes: int) -> Layout:
        """Make the layout of ``holes`` equal holes at equal spacing.

        Raises
        ------
        LayoutError
            Fewer than 3 or more than 16 holes.
        """
        if isinstance(holes, bool) or not isinstance(holes, int):
            raise LayoutError(f"holes {holes!r}: expected a whole number from 3 to 16")
        if not MIN_HOLES <= holes <= MAX_HOLES:
            raise LayoutError(
                f"{holes} holes: expected {MIN_HOLES} to {MAX_HOLES}; give the number of spray "
                "holes in the nozzle tip"
            )
        azimuths = tuple(360.0 * k / holes for k in range(holes))
        return cls(name=f"{holes} holes, evenly spread", azimuth_deg=azimuths, even=True)

    def expected_area(self) -> NDArray[np.float64]:
        """Relative wetted area that each healthy hole should leave, median 1, ``(n,)``.

        Notes
        -----
        Paper that soaks up a dose gives an area in proportion to the dose, so the hole's
        cross-section (diameter squared) counts fully. A slanting hole spreads the same dose along
        a longer footprint and wets a little more: the area grows with the ring radius,
        ``tan(axis_angle_deg)``, to the power `SPREAD_EXPONENT`. Unknown angles or diameters count
        as equal.
        """
        angle = np.radians(np.array(self.axis_angle_deg))
        diameter = np.array(self.diameter_mm)
        expected = np.ones(len(self))
        if np.isfinite(angle).all():
            expected *= np.tan(angle) ** SPREAD_EXPONENT
        if np.isfinite(diameter).all():
            expected *= diameter**2
        return np.asarray(expected / np.median(expected))

    def log_radial_factor(self) -> NDArray[np.float64]:
        """Logarithm of how far out each hole lands, over the middle one, ``(n,)``.

        A straight spray at an angle lands at its tangent; 0 for all where an angle is unknown.
        """
        log = np.log(np.tan(np.radians(np.array(self.axis_angle_deg))))
        return np.asarray(log - np.median(log)) if np.isfinite(log).all() else np.zeros(len(self))

    def check_lined_up(self, feature: str) -> None:
        """Refuse a feature that the azimuths do not count from; empty is no feature.

        Raises
        ------
        LayoutError
            They count from another feature, or from none.
        """
        if not feature or feature.strip().casefold() == self.counts_from.strip().casefold():
            return
        if not self.counts_from:
            raise LayoutError(
                f"lined up with {feature!r}, but {self.name!r} names no feature, expected one that "
                "its azimuths count from",
                'give the nozzle file a line such as counts_from = "dowel", its azimuths counted '
                "from there",
            )
        raise LayoutError(
            f"lined up with {feature!r}, but {self.name!r} counts from {self.counts_from!r}, "
            "expected that feature",
            "line 12 o'clock on the card up with the feature that the nozzle file names",
        )

    def mirrored(self) -> Layout:
        """Return the layout as seen from the other side."""
        return replace(self, azimuth_deg=tuple((-a) % 360.0 for a in self.azimuth_deg))
