"""The nozzle: where its holes point, and what is wrong with them.

Frame of the nozzle: looking from the injector down on the card. Azimuth is clockwise as the streaks
lie on the card; ``axis_angle_deg`` is the angle between a hole's axis and the nozzle's axis (0 =
straight down at the card, 90 = along the card).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from spraycheck.errors import InputError
from spraycheck.simulate.checks import check_choice, check_range, check_row

MAX_HOLES = 16
"""More holes than any multi-hole nozzle tested on a hand lever has (common practice, no source)."""

WEAK_BELOW, HEAVY_ABOVE, OFF_LINE_FROM_DEG = 0.90, 1.15, 2.0
"""From which relative flow and turn a drawn hole is called faulty.

Chosen because new nozzles spread about 3 to 5 % in flow per hole (common practice, no source found)
and a drilled hole's plume lies within about 1 degree of its drawing: what lies inside that is not
a fault, and what the scenes call a fault lies outside.
"""


@dataclass(frozen=True, kw_only=True)
class CentralSpray:
    """The spray of a pintle or single-hole nozzle, around the nozzle's own axis.

    Parameters
    ----------
    kind : str
        ``solid`` (fluid on the axis too) or ``hollow`` (a ring).
    half_cone_deg : float
        Half of the spray's full angle. Default 5: pintle nozzles spray 4 to 30 degrees full angle
        (common practice, no source).
    wall_deg : float
        Of a hollow spray, the thickness of its wall.
    lopsided_frac : float
        How much more fluid goes to one side (0 even, 1 nothing on the far side); a worn or
        carboned pintle does this.
    lopsided_deg : float
        Clockwise direction of that side.
    fill_frac : float
        Of a hollow spray, the share of its fluid that fills the hollow instead; a worn pintle or
        one that does not enter its hole does this.
    streaks_deg : tuple of float
        Clockwise directions of streaks: fingers in which fluid is gathered.
    streak_frac : float
        Share of the fluid that runs in the streaks; they reach a fifth further than the rest.
    streak_width_deg : float
        Standard deviation of a streak around the axis.
    lean_deg, lean_to_deg : float
        Angle between the spray's axis and the nozzle's, and the clockwise direction it leans to; a
        bent pintle does this.
    """

    kind: str = "solid"
    half_cone_deg: float = 5.0
    wall_deg: float = 1.5
    lopsided_frac: float = 0.0
    lopsided_deg: float = 0.0
    fill_frac: float = 0.0
    streaks_deg: tuple[float, ...] = ()
    streak_frac: float = 0.0
    streak_width_deg: float = 10.0
    lean_deg: float = 0.0
    lean_to_deg: float = 0.0

    def __post_init__(self) -> None:
        check_choice("central spray", self.kind, ("solid", "hollow"))
        check_range("half cone of the central spray", self.half_cone_deg, 0.2, 60, unit="deg")
        check_range("wall of the central spray", self.wall_deg, 0.1, 30, unit="deg")
        check_range("lopsidedness", self.lopsided_frac, 0, 1)
        check_range("filled share of the hollow", self.fill_frac, 0, 1)
        check_range("share of the streaks", self.streak_frac, 0, 1 if self.streaks_deg else 0)
        check_range("width of a streak", self.streak_width_deg, 1, 90, unit="deg")
        check_range("lean of the central spray", self.lean_deg, 0, 45, unit="deg")


@dataclass(frozen=True, kw_only=True)
class SyntheticNozzle:
    """A nozzle as drawn and as it really sprays.

    Parameters
    ----------
    azimuth_deg : (n,) tuple of float
        Design direction of each hole, clockwise.
    axis_angle_deg : (n,) tuple of float
        Design angle to the nozzle axis; one number counts for every hole.
    diameter_mm : (n,) tuple of float
        Hole diameter. The volume of a hole goes with its square.
    flow : (n,) tuple of float
        Volume relative to a healthy hole of that diameter: 0 blocked, 1 healthy.
    deflect_deg : (n,) tuple of float
        Turn of the real plume from its design azimuth, clockwise.
    deflect_axis_deg : (n,) tuple of float
        Change of the real plume's angle to the nozzle axis.
    central : CentralSpray or None
        A spray around the axis, of pintle and single-hole nozzles.
    hole_radius_mm, tip_radius_mm : float
        Distance of the hole exits from the nozzle axis, and of the tip's surface. Defaults 0.8
        (hole circle radius 0.79 mm of a published 8-hole research nozzle, from memory) and 2.0
        (chosen because a usual sac tip is about 4 mm thick).

    Raises
    ------
    InputError
        No hole and no central spray, more than 16 holes, a hole outside the tip, an angle or flow
        out of range, or rows of different length.
    """

    azimuth_deg: tuple[float, ...]
    axis_angle_deg: tuple[float, ...] | float = 65.0
    diameter_mm: tuple[float, ...] | float = 0.2
    flow: tuple[float, ...] | float = 1.0
    deflect_deg: tuple[float, ...] | float = 0.0
    deflect_axis_deg: tuple[float, ...] | float = 0.0
    central: CentralSpray | None = None
    hole_radius_mm: float = 0.8
    tip_radius_mm: float = 2.0

    def __post_init__(self) -> None:
        n = len(self.azimuth_deg)
        if n > MAX_HOLES or (n == 0 and self.central is None):
            raise InputError(
                f"{n} holes: expected 1 to {MAX_HOLES}; give the number of spray holes in the tip"
            )
        rows: tuple[tuple[str, float, float], ...] = (
            ("azimuth_deg", -360, 720),
            ("axis_angle_deg", 0, 89),
            ("diameter_mm", 0.02, 3),
            ("flow", 0, 3),
            ("deflect_deg", -180, 180),
            ("deflect_axis_deg", -60, 60),
        )
        for name, low, high in rows:
            row = check_row(name, getattr(self, name), n, low, high)
            object.__setattr__(self, name, row)
        for k, (drawn, more) in enumerate(
            zip(self.axis_angles, self.axis_deflections, strict=True)
        ):
            check_range(f"real axis angle of hole {k + 1}", drawn + more, 0, 89, unit="deg")
        check_range("tip_radius_mm", self.tip_radius_mm, 0, 20, unit="mm")
        check_range("hole_radius_mm", self.hole_radius_mm, 0, 20, unit="mm")
        if self.hole_radius_mm > self.tip_radius_mm:
            raise InputError(
                f"holes {self.hole_radius_mm:g} mm from the axis lie outside the tip of "
                f"{self.tip_radius_mm:g} mm radius: expected hole_radius_mm <= tip_radius_mm"
            )

    def __len__(self) -> int:
        return len(self.azimuth_deg)

    # The rows are stored as tuples whatever was given; these say so to the type checker.
    @property
    def axis_angles(self) -> tuple[float, ...]:
        """Design angle of each hole to the nozzle axis, in degrees."""
        return _row(self.axis_angle_deg)

    @property
    def flows(self) -> tuple[float, ...]:
        """Relative flow of each hole."""
        return _row(self.flow)

    @property
    def deflections(self) -> tuple[float, ...]:
        """Clockwise turn of each plume from its design azimuth, in degrees."""
        return _row(self.deflect_deg)

    @property
    def axis_deflections(self) -> tuple[float, ...]:
        """Change of each plume's angle to the nozzle axis, in degrees."""
        return _row(self.deflect_axis_deg)

    @property
    def volume_shares(self) -> tuple[float, ...]:
        """Share of each hole in what leaves all holes; sums to 1 (0 when all are blocked).

        A hole's flow goes with its area (orifice flow at a common pressure).
        """
        raw = [f * d * d for f, d in zip(self.flows, _row(self.diameter_mm), strict=True)]
        total = sum(raw)
        return tuple(v / total if total > 0 else 0.0 for v in raw)

    @property
    def healthy_shares(self) -> tuple[float, ...]:
        """Share of each hole were all of them healthy; sums to 1."""
        raw = [d * d for d in _row(self.diameter_mm)]
        return tuple(v / sum(raw) for v in raw)

    def state(self, hole: int) -> str:
        """Name the true state of a hole: clear, weak, heavy, blocked or off-line.

        Parameters
        ----------
        hole : int
            From 1.
        """
        flow, turn = self.flows[hole - 1], self.deflections[hole - 1]
        if flow <= 0:
            return "blocked"
        if abs(turn) >= OFF_LINE_FROM_DEG:
            return "off-line"
        if flow < WEAK_BELOW:
            return "weak"
        return "heavy" if flow > HEAVY_ABOVE else "clear"

    # -- ways to make one
    @classmethod
    def evenly(
        cls,
        holes: int,
        *,
        axis_angle_deg: float = 65.0,
        diameter_mm: float = 0.2,
        first_deg: float = 0.0,
    ) -> SyntheticNozzle:
        """Make equal holes at equal spacing, the first at ``first_deg``.

        Raises
        ------
        InputError
            Not a whole number of 1 to 16 holes, or an impossible angle or diameter.
        """
        if isinstance(holes, bool) or not isinstance(holes, int) or not 1 <= holes <= MAX_HOLES:
            raise InputError(
                f"{holes} holes: expected 1 to {MAX_HOLES}; give the number of spray holes in the "
                "tip"
            )
        azimuths = tuple((first_deg + 360.0 * k / holes) % 360.0 for k in range(holes))
        return cls(azimuth_deg=azimuths, axis_angle_deg=axis_angle_deg, diameter_mm=diameter_mm)

    @classmethod
    def slanted(
        cls,
        holes: int,
        *,
        axis_angle_deg: float = 62.0,
        slant_deg: float = 12.0,
        slant_to_deg: float = 0.0,
        diameter_mm: float = 0.2,
        first_deg: float = 0.0,
    ) -> SyntheticNozzle:
        """Make the holes of an injector that stands aslant in the engine.

        The holes lie evenly on a cone leaning by ``slant_deg`` towards ``slant_to_deg``, so that
        seen along the nozzle axis both their spacing and their axis angles are unequal.

        Raises
        ------
        InputError
            As `evenly`, or a hole beyond 89 degrees from the nozzle axis.
        """
        from spraycheck.simulate.spray import hole_axis, lean, to_angles

        even = cls.evenly(
            holes, axis_angle_deg=axis_angle_deg, diameter_mm=diameter_mm, first_deg=first_deg
        )
        check_range("slant_deg", slant_deg, 0, 60, unit="deg")
        turn = lean(slant_deg, slant_to_deg)
        pairs = [to_angles(turn @ hole_axis(z, axis_angle_deg)) for z in even.azimuth_deg]
        return replace(
            even,
            azimuth_deg=tuple(p[0] for p in pairs),
            axis_angle_deg=tuple(p[1] for p in pairs),
        )

    @classmethod
    def two_row(
        cls,
        holes: int,
        *,
        upper_angle_deg: float = 70.0,
        lower_angle_deg: float = 60.0,
        diameter_mm: float = 0.2,
        lower_flow: float = 1.1,
        first_deg: float = 0.0,
    ) -> SyntheticNozzle:
        """Make a nozzle whose holes lie alternately in an upper and a lower row.

        ``lower_flow`` 1.1: lower holes give 5 to 15 % more per cycle than upper ones (Luo et al.
        2018, Flow Meas. Instrum. 61, 66-78, abstract); it is put into their diameter, as it is
        by design and no fault.

        Raises
        ------
        InputError
            As `evenly`, or an odd number of holes.
        """
        if holes % 2:
            raise InputError(f"{holes} holes in two rows: expected an even number")
        even = cls.evenly(holes, diameter_mm=diameter_mm, first_deg=first_deg)
        low = diameter_mm * check_range("lower_flow", lower_flow, 0.2, 3) ** 0.5
        return replace(
            even,
            axis_angle_deg=(upper_angle_deg, lower_angle_deg) * (holes // 2),
            diameter_mm=(diameter_mm, low) * (holes // 2),
        )

    @classmethod
    def pintle(
        cls, *, kind: str = "hollow", half_cone_deg: float = 6.0, lopsided_frac: float = 0.0
    ) -> SyntheticNozzle:
        """Make a pintle (hollow) or single-hole (solid) nozzle that sprays along its axis."""
        central = CentralSpray(kind=kind, half_cone_deg=half_cone_deg, lopsided_frac=lopsided_frac)
        return cls(azimuth_deg=(), central=central)

    # -- faults
    def with_flow(self, hole: int, flow: float) -> SyntheticNozzle:
        """Return the nozzle with another relative flow in one hole (0 blocks it).

        Raises
        ------
        InputError
            No such hole, or an impossible flow.
        """
        return replace(self, flow=_put(self.flows, self._index(hole), flow))

    def with_deflection(
        self, hole: int, deflect_deg: float, deflect_axis_deg: float = 0.0
    ) -> SyntheticNozzle:
        """Return the nozzle with one plume turned clockwise and tipped towards the card's plane.

        Raises
        ------
        InputError
            No such hole, or an impossible angle.
        """
        k = self._index(hole)
        return replace(
            self,
            deflect_deg=_put(self.deflections, k, deflect_deg),
            deflect_axis_deg=_put(self.axis_deflections, k, deflect_axis_deg),
        )

    def _index(self, hole: int) -> int:
        if isinstance(hole, bool) or not isinstance(hole, int) or not 1 <= hole <= len(self):
            raise InputError(f"hole {hole!r}: expected 1 to {len(self)}")
        return hole - 1


def _row(values: Sequence[float] | float) -> tuple[float, ...]:
    return (values,) if isinstance(values, (int, float)) else tuple(values)


def _put(row: tuple[float, ...], index: int, value: float) -> tuple[float, ...]:
    return row[:index] + (value,) + row[index + 1 :]
