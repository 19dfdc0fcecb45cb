"""A nozzle that sprays along its own axis and leaves one patch: pintle or single-hole."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import LayoutError

KINDS: Final = ("pintle", "single-hole")
FILLS: Final = ("hollow", "filled", "either")

LEAST_ANGLE_DEG, MOST_ANGLE_DEG = 0.5, 90.0
"""Range of a full spray angle. Pintle nozzles spray 4 to 30 degrees as a rule, some to 60 (common
practice, no source); the ends leave room on either side and catch an angle in radians."""


@dataclass(frozen=True, kw_only=True)
class AxialNozzle:
    """What a nozzle with an axial spray should do.

    Parameters
    ----------
    name : str
        What the nozzle is called.
    kind : str
        ``pintle`` or ``single-hole``.
    fill : str
        ``hollow`` (a ring of fluid, dry or drier in the middle), ``filled``, or ``either`` when it
        is not known; ``either`` is measured and shown but not judged.
    full_angle_deg : float
        Full angle of the spray's cone; NaN when not known.

    Raises
    ------
    LayoutError
        An unknown kind or fill, or an angle out of reason.
    """

    name: str
    kind: str
    fill: str = "either"
    full_angle_deg: float = math.nan

    def __post_init__(self) -> None:
        for field, known in (("kind", KINDS), ("fill", FILLS)):
            if getattr(self, field) not in known:
                raise LayoutError(
                    f"{field} {getattr(self, field)!r}: expected one of {', '.join(known)}"
                )
        angle = self.full_angle_deg
        if not (math.isnan(angle) or LEAST_ANGLE_DEG <= angle <= MOST_ANGLE_DEG):
            raise LayoutError(
                f"full_angle_deg {angle:g}: expected {LEAST_ANGLE_DEG:g} to {MOST_ANGLE_DEG:g}, "
                "the full angle of the cone in degrees"
            )

    def check_lined_up(self, feature: str) -> None:
        """Refuse any feature to line up with: an axial spray has no holes to count.

        Raises
        ------
        LayoutError
            One is given.
        """
        if feature:
            raise LayoutError(
                f"lined_up given, but {self.name!r} has an axial spray, expected a nozzle with "
                "holes",
                "leave it out",
            )

    @classmethod
    def pintle(cls, name: str = "pintle nozzle") -> AxialNozzle:
        """Make a pintle nozzle of which nothing else is known."""
        return cls(name=name, kind="pintle")

    @classmethod
    def single_hole(cls, name: str = "single-hole nozzle") -> AxialNozzle:
        """Make a single-hole nozzle; a plain round hole gives a filled spray."""
        return cls(name=name, kind="single-hole", fill="filled")
