"""Everything that is known of a spray before a verdict is set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.judge.result import Doubt, Finding, Hole, LimitCheck, SprayAngles
from spraycheck.spray.measurement import Measurement


class Joint(Protocol):
    """Values that hang together: a `Group`, or a bound."""

    def probability(self) -> float:
        """Probability that all of them keep their limits."""
        ...


@dataclass(frozen=True, kw_only=True)
class Rules:
    """Decision rules that can be switched off, for studies of what each is worth.

    Parameters
    ----------
    fading_light : bool
        No hole is faulty where the plumes grow paler towards it.
    exchanged_holes : bool
        A hole found off-line is weighed against every other one being the one.
    centre_shift : bool
        The centre may be wrong where several turns of a layout fit about alike.
    """

    fading_light: bool = True
    exchanged_holes: bool = True
    centre_shift: bool = True


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """What the verdict is set from, the same for every kind of nozzle and for several shots.

    Parameters
    ----------
    measurement : Measurement
        Of the photo, uncertainties as they are judged; of several shots the first one's.
    nozzle, limits
        What is expected and tolerated.
    checks : tuple of LimitCheck
        Every value held against a limit, holes first, in the order in which faults are named.
    groups : tuple of Joint
        Values among them that hang together.
    grouped : frozenset of str
        Limits whose checks the groups stand for; all others count as independent.
    follows : frozenset of str
        Limits whose values follow from others that are counted already.
    sharing : int
        Among how many values the nozzle's risk is shared.
    rows : tuple of Hole
        Rows without a state.
    strays : tuple of int
        Ids of plumes that belong to no hole.
    doubts : tuple of Doubt
        About the whole photo.
    notes : tuple of Finding
        Told whatever the verdict.
    angles : SprayAngles or None
        What the tip's height adds.
    joint_proof : bool
        Whether the worst value is a fault where only all values together surely break a limit.
    shots : int
        How many photos were taken together.
    """

    measurement: Measurement
    nozzle: Layout | AxialNozzle
    limits: Limits | AxialLimits
    checks: tuple[LimitCheck, ...]
    groups: tuple[Joint, ...]
    grouped: frozenset[str]
    follows: frozenset[str] = frozenset()
    sharing: int
    rows: tuple[Hole, ...] = ()
    strays: tuple[int, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[Finding, ...] = ()
    angles: SprayAngles | None = None
    joint_proof: bool = False
    shots: int = 1

    @property
    def layout(self) -> Layout:
        """The holes the nozzle should have."""
        if not isinstance(self.nozzle, Layout):
            raise TypeError("this nozzle sprays along its axis and has no layout of holes")
        return self.nozzle

    @property
    def axial_nozzle(self) -> AxialNozzle:
        """The nozzle that sprays along its axis."""
        if not isinstance(self.nozzle, AxialNozzle):
            raise TypeError("this nozzle has holes and no axial spray")
        return self.nozzle
