"""Small drawn patterns: what a good card and each fault look like at a glance.

Shapes in greys only, so that a cheap laser printer shows them. The nozzle's centre is the origin,
``x`` right, ``y`` down, and a healthy streak reaches to 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from spraycheck.report.shapes import Points, Polygon, Polyline

_HOLES: Final = 6
_NEAR, _FAR, _HALF_WIDTH = 0.34, 1.0, 0.165
# Of a healthy streak; chosen to look like six-hole cards at arm's length.

_DROPS: Final = ((1.09, 3.0, 0.016), (1.12, -7.0, 0.022), (1.19, 5.0, 0.013), (1.05, 10.0, 0.014))
# Separate drops beyond a tip: distance, degrees beside the axis, radius. Chosen.

WET, MIST, PEN = 0.45, 0.6, 0.0
"""Greys: 0 black. A laser printer's dots still tell the first two from paper and from ink."""


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """One sketch.

    Parameters
    ----------
    title : str
        A word or two.
    see : str
        What to see.
    kind : str
        ``good``, ``fault`` or ``not a fault``.
    flows : mapping of int to float
        Fluid of holes that do not give 1; 0 is blocked.
    turned_deg : mapping of int to float
        Holes that spray beside their line, clockwise.
    stray_deg : float
        Direction of a jet where no hole is; NaN for none.
    drip : float
        Radius of a wet spot at the centre; 0 for none.
    lean : float
        How far the whole pattern is drawn out to the right, as from an askew nozzle.
    """

    title: str
    see: str
    kind: str = "fault"
    flows: Mapping[int, float] = field(default_factory=dict)
    turned_deg: Mapping[int, float] = field(default_factory=dict)
    stray_deg: float = math.nan
    drip: float = 0.0
    lean: float = 0.0

    @property
    def name(self) -> str:
        """Title and kind, the title alone where they are the same word."""
        return self.title if self.kind == self.title.lower() else f"{self.title}: {self.kind}"

    def shapes(self) -> tuple[Polygon | Polyline, ...]:
        """Return what is drawn, in order."""
        found: list[Polygon | Polyline] = []
        for hole in range(1, _HOLES + 1):
            at = (hole - 1) * 360 / _HOLES
            flow, turn = self.flows.get(hole, 1.0), self.turned_deg.get(hole, 0.0)
            reach = 1 + self.lean * math.sin(math.radians(at))
            if flow > 0:
                found += _streak(at + turn, flow, reach)
            if flow != 1 or turn:
                outline = _teardrop(at, 1.0, 1.0)
                closed = (*outline, outline[0])
                found.append(Polyline(points=closed, width=0.022, grey=PEN, dashes=(0.06, 0.045)))
        if math.isfinite(self.stray_deg):
            found += _streak(self.stray_deg, 0.3, 1.25)
        if self.drip:
            found.append(Polygon(points=_circle(0.0, 0.0, self.drip), grey=WET))
        found.append(Polygon(points=_circle(0.0, 0.0, 0.03), grey=PEN))
        return tuple(found)


def _streak(direction_deg: float, flow: float, reach: float) -> list[Polygon | Polyline]:
    """Draw a streak with the drops beyond it."""
    found: list[Polygon | Polyline] = [
        Polygon(points=_teardrop(direction_deg, flow, reach), grey=WET)
    ]
    tip = reach * (_NEAR + (_FAR - _NEAR) * _length(flow))
    for beyond, beside, radius in _DROPS:
        x, y = _place(direction_deg + beside, tip * beyond)
        found.append(Polygon(points=_circle(x, y, radius), grey=MIST))
    return found


def _length(flow: float) -> float:
    # Length and width each take half of the area, which goes with the fluid.
    return math.sqrt(flow)


def _teardrop(direction_deg: float, flow: float, reach: float) -> Points:
    """Return a streak's outline: narrow towards the centre, blunt outside."""
    long = reach * (_FAR - _NEAR) * _length(flow) / 2
    middle = reach * _NEAR + long
    half = _HALF_WIDTH * _length(flow)
    turn = math.radians(direction_deg)
    along, across = (math.sin(turn), -math.cos(turn)), (math.cos(turn), math.sin(turn))
    found = []
    for k in range(48):
        t = 2 * math.pi * k / 48
        out, side = middle + long * math.cos(t), half * math.sin(t) * (0.8 + 0.3 * math.cos(t))
        found.append((out * along[0] + side * across[0], out * along[1] + side * across[1]))
    return tuple(found)


def _circle(x: float, y: float, radius: float) -> Points:
    turns = [2 * math.pi * k / 24 for k in range(24)]
    return tuple((x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns)


def _place(direction_deg: float, distance: float) -> tuple[float, float]:
    turn = math.radians(direction_deg)
    return distance * math.sin(turn), -distance * math.cos(turn)


PATTERNS: Final = (
    Pattern(
        title="Good",
        see="Streaks alike, gaps alike, all pointing away from one place.",
        kind="good",
    ),
    Pattern(
        title="Blocked",
        see="One gap twice as wide: a streak is missing.",
        flows={3: 0.0},
    ),
    Pattern(
        title="Weak",
        see="One streak small, in its right place.",
        flows={3: 0.4},
    ),
    Pattern(
        title="Heavy",
        see="One streak large; the others agree.",
        flows={3: 1.7},
    ),
    Pattern(
        title="Off-line",
        see="One streak leans: a gap wide, the next narrow.",
        turned_deg={3: 17.0},
    ),
    Pattern(
        title="Stray",
        see="A streak where no hole points.",
        stray_deg=90.0,
    ),
    Pattern(
        title="Dribble",
        see="A wet spot under the tip. Do the seat hold test.",
        kind="test the seat",
        drip=0.21,
    ),
    Pattern(
        title="Askew",
        see="All streaks on one side longer, opposite shorter: set the nozzle square.",
        kind="not a fault",
        lean=0.24,
    ),
)
"""Good against bad."""
