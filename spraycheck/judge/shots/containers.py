"""What comes of several photos of one nozzle: its holes combined, or compared before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass

from spraycheck.judge.layout import Assessment, Evidence, Finding, Hole, Layout
from spraycheck.judge.limits import Limits

MATCHED_BY = ("arrow", "turn", "layout", "pattern", "picture", "none")
"""How holes were matched: the printed cards' index arrows, a turn the user gave, a layout that fits
one way only, the best fit of the patterns, the shape of one card's wet patches, or not at all."""

CHANGES = ("better", "worse", "changed", "no sure change", "not known")


@dataclass(frozen=True, kw_only=True)
class Matching:
    """How the holes of several photos were matched, and how surely.

    Parameters
    ----------
    by : str
        One of `MATCHED_BY`.
    probability : float
        That the best of all possible turns is the right one.
    turn_deg : tuple of float
        Turn of each photo's pattern against the first one's, clockwise, at the best fit.
    note : str
        Why the holes could not be matched surely; empty when they could.
    """

    by: str
    probability: float
    turn_deg: tuple[float, ...]
    note: str = ""

    @property
    def sure(self) -> bool:
        """Whether holes may be followed from photo to photo."""
        return self.by != "none"


@dataclass(frozen=True, kw_only=True)
class Scatter:
    """How far one hole's values scattered; standard deviations, NaN where unknown.

    Parameters
    ----------
    shot_deg, photo_deg : float
        Of the direction: from shot to shot, and from photo to photo of one card.
    shot_ratio, photo_ratio : float
        Of the wetted area, relative.
    """

    shot_deg: float = math.nan
    photo_deg: float = math.nan
    shot_ratio: float = math.nan
    photo_ratio: float = math.nan


@dataclass(frozen=True, kw_only=True)
class CombinedHole:
    """One hole over all shots.

    Parameters
    ----------
    hole : Hole
        The combined values, judged; numbers and directions as on the first photo. ``plume`` is its
        place, from 1, among the holes that left a plume, clockwise; it is a row of no catalogue.
    shots : int
        Cards that say something of this hole.
    scatter : Scatter
        From shot to shot and from photo to photo.
    intermittent : bool
        Faulty in some shots and surely not in others.
    states : tuple of str
        Its state on each photo.
    ratios, deviations_deg : tuple of float
        Its wetted area and deviation on each photo; NaN where not known.
    """

    hole: Hole
    shots: int
    scatter: Scatter
    intermittent: bool
    states: tuple[str, ...]
    ratios: tuple[float, ...]
    deviations_deg: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Combination:
    """Several photos of one nozzle, judged together.

    Parameters
    ----------
    photos : tuple of Assessment
        Each photo by itself.
    cards : tuple of int
        The card each photo shows, from 1; every card is one shot.
    matching : Matching
        How holes were matched.
    holes : tuple of CombinedHole
        Empty where holes could not be matched: averaging them would mix holes.
    extremes : tuple of Evidence
        What is true however the holes are matched: the mean over the shots of each shot's smallest
        and largest values; no hole's mean lies beyond it.
    verdict : str
        ``pass``, ``fail`` or ``recheck``.
    findings : tuple of Finding
        Most important first.
    probability : float
        That the nozzle keeps every limit; NaN when that cannot be told, and where holes could not
        be matched a lower bound.
    widened : (float, float)
        Factor by which the stated uncertainties of directions and areas were widened because the
        shots scatter more than they explain; 1 where not.
    photo_scatter : (float, float)
        Root mean square scatter between photos of one card over what is stated for a single photo,
        of directions and areas; NaN with one photo of each card.
    """

    photos: tuple[Assessment, ...]
    cards: tuple[int, ...]
    matching: Matching
    holes: tuple[CombinedHole, ...]
    extremes: tuple[Evidence, ...]
    verdict: str
    findings: tuple[Finding, ...]
    probability: float
    widened: tuple[float, float] = (1.0, 1.0)
    photo_scatter: tuple[float, float] = (math.nan, math.nan)

    @property
    def layout(self) -> Layout:
        """The holes the nozzle should have."""
        return self.photos[0].layout

    @property
    def limits(self) -> Limits:
        """What is tolerated."""
        return self.photos[0].limits

    @property
    def shots(self) -> int:
        """How many cards were sprayed."""
        return len(set(self.cards))


@dataclass(frozen=True, kw_only=True)
class Change:
    """A value before and after.

    Parameters
    ----------
    before, after : float
        NaN where not known.
    difference, difference_u : float
        After minus before, and its expanded uncertainty (95 %); for ratios both relative to
        ``before``. NaN where not known.
    chance : float
        Probability of a difference this large, either way, were nothing changed; NaN when unknown.
    sure : bool
        The chance is below the risk shared among everything compared.
    """

    before: float
    after: float
    difference: float
    difference_u: float
    chance: float
    sure: bool


@dataclass(frozen=True, kw_only=True)
class HoleChange:
    """What changed at one hole.

    Parameters
    ----------
    hole : int
        Its number on the photo taken before.
    after_hole : int
        Its number on the photo taken after.
    state_before, state_after : str
        States by themselves.
    area : Change
        Of the wetted area relative to what the hole should wet.
    deviation : Change
        Of the deviation from its line, in degrees.
    change : str
        One of `CHANGES`.
    """

    hole: int
    after_hole: int
    state_before: str
    state_after: str
    area: Change
    deviation: Change
    change: str


@dataclass(frozen=True, kw_only=True)
class Comparison:
    """What changed between two shots of one nozzle, for example by cleaning it.

    Parameters
    ----------
    before, after : Assessment
        The two photos by themselves.
    matching : Matching
        How holes were matched.
    holes : tuple of HoleChange
        Empty where holes could not be matched.
    least, most, furthest : Change
        Smallest and largest wetted area, and largest absolute deviation, of any hole: told
        whether or not holes could be matched. Of ``least`` and ``most`` a blocked hole counts 0.
    risk : float
        Risk of calling any change sure that is none, for all values together.
    """

    before: Assessment
    after: Assessment
    matching: Matching
    holes: tuple[HoleChange, ...]
    least: Change
    most: Change
    furthest: Change
    risk: float
