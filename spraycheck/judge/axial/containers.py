"""What crosses borders in the measurement of a central spray."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Final

from spraycheck.arrays import Float
from spraycheck.card.containers import RectifiedCard
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.flags import Flags
from spraycheck.judge.axial.nozzle import CentralNozzle
from spraycheck.judge.axial.numbers import HOLLOW_LEVEL
from spraycheck.judge.layout import Finding
from spraycheck.judge.limits import CentralLimits
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import WetnessMap

QUANTITIES: Final = (
    *("roundness", "circularity", "heavy_side_frac", "streak_frac", "core_ratio"),
    *("hollow_offset_ratio", "offset_ratio", "side_frac"),
)
"""The measured values that limits can be set for, in the order of `CentralPatch.covariance`."""

EVEN: Final = {"heavy_side_frac": 0.5, "streak_frac": 0.0}
"""Values of a patch that is even all around, for quantities whose error grows in part with the
distance from it: an error in the level of dry paper stretches all unevenness alike."""

PLUME_SHARE: Final = 0.25
"""A patch beside the central one of at least this share of its area may be another plume (chosen:
plumes of one nozzle differ less as a rule; thrown drops and slight jets stay below)."""

AIM_SOURCES: Final = ("printed", "centre", "given", "none")


@dataclass(frozen=True, kw_only=True)
class Aim:
    """The point on the card that the nozzle's axis was set over.

    Parameters
    ----------
    x_mm, y_mm : float
        On the card; NaN without an aim.
    u_mm : float
        Standard uncertainty of either coordinate.
    source : str
        ``printed`` (a printed target card's own aim), ``centre`` (the sheet's middle), ``given``
        (a cross drawn by hand, its place measured) or ``none``.
    """

    x_mm: float = math.nan
    y_mm: float = math.nan
    u_mm: float = math.nan
    source: str = "none"

    def __post_init__(self) -> None:
        if self.source not in AIM_SOURCES:
            raise InputError(f"aim from {self.source!r}: expected one of {', '.join(AIM_SOURCES)}")

    @property
    def known(self) -> bool:
        """Whether there is an aim at all."""
        return self.source != "none"


@dataclass(frozen=True, kw_only=True)
class SidePatch:
    """One wet patch beside the central one.

    Parameters
    ----------
    x_mm, y_mm : float
        Its centroid on the card.
    direction_deg : float
        Of the centroid as seen from the central patch, clockwise from 12 o'clock.
    area_mm2 : float
        Wetted area.
    outline_px : (L, 2) ndarray of float64
        In the full photo.
    sure : bool
        Surely wet; else it may be a shadow, too.
    """

    x_mm: float
    y_mm: float
    direction_deg: float
    area_mm2: float
    outline_px: Float = field(repr=False)
    sure: bool = True


@dataclass(frozen=True, kw_only=True)
class CentralPatch:
    """The central patch in numbers.

    Every value of `QUANTITIES` is a ratio, so none needs the scale of the card.

    Parameters
    ----------
    x_mm, y_mm : float
        Middle of the filled outline on the card.
    centre_u_mm : float
        Expanded (95 %) uncertainty of either coordinate, without that of the aim.
    area_mm2, area_u_mm2 : float
        Wetted area, and its expanded uncertainty.
    diameter_mm, diameter_u_mm : float
        Of the circle as large as the filled outline, and its expanded uncertainty.
    roundness : float
        Minor over major axis of the filled outline's second moments; 1 is round.
    circularity : float
        ``4 pi`` times the area of the filled outline over its squared length; 1 is a circle.
    heavy_side_frac : float
        Share of the patch's wetness on its heavy side, seen from the middle; 0.5 is even.
    heavy_side_deg : float
        Direction of that side, clockwise from 12 o'clock.
    streak_frac : float
        Unevenness of the wetness by angle, without what is lopsided or oval: root mean square of
        the harmonics 3 to 12 over the mean.
    core_ratio : float
        Wetness in the middle, a quarter of the radius wide, over the crest of the radial profile.
    hollow_offset_ratio : float
        Distance of the hollow's middle from the outline's, over the diameter; NaN without a hollow.
    offset_ratio : float
        Distance of the patch from the aim, over its diameter; NaN without an aim.
    offset_deg : float
        Direction in which it lies, clockwise from 12 o'clock; NaN without an aim.
    side_frac : float
        Share of the wetted area that lies beside the patch.
    covariance : (N, N) ndarray of float64
        Of the values of `QUANTITIES`, in that order; NaN for those that are not there.
    grows_u : tuple of float
        Standard uncertainties contained in the covariance that are in proportion to the distance of
        the value from that in `EVEN`, in the order of `QUANTITIES`.
    lost_u : tuple of float
        The same of what can only have lessened the value: fine streaks blurred.
    crest : float
        Largest value of the radial profile of wetness.
    doubtful_frac : float
        Share of the wetted area in spots that may be side spray or shadow: faint ones, and those
        against the border of what can be judged. Not in ``side_frac``.
    soaked_frac : float
        Share of the filled outline that is as wet as the paper gets.
    profile : (K,) ndarray of float64
        Mean wetness by distance from the middle, from 0 to 1.5 radii.
    by_angle : (K,) ndarray of float64
        Wetness by angle, clockwise from 12 o'clock, over its mean.
    sides : tuple of SidePatch
        What is wet beside the patch, largest first, the doubtful ones last.
    outline_px, hollow_px : (L, 2) ndarray of float64
        Outline of the patch and of its hollow in the full photo; empty without a hollow.
    flags : tuple of str
        See `flags`.
    method : str
        Name of what was actually done, for provenance.
    """

    x_mm: float
    y_mm: float
    centre_u_mm: float
    area_mm2: float
    area_u_mm2: float
    diameter_mm: float
    diameter_u_mm: float
    roundness: float
    circularity: float
    heavy_side_frac: float
    heavy_side_deg: float
    streak_frac: float
    core_ratio: float
    hollow_offset_ratio: float
    offset_ratio: float
    offset_deg: float
    side_frac: float
    covariance: Float
    grows_u: tuple[float, ...]
    lost_u: tuple[float, ...]
    crest: float
    doubtful_frac: float
    soaked_frac: float
    profile: Float = field(repr=False)
    by_angle: Float = field(repr=False)
    sides: tuple[SidePatch, ...]
    outline_px: Float = field(repr=False)
    hollow_px: Float = field(repr=False)
    flags: Flags = ()
    method: str = ""

    def __post_init__(self) -> None:
        n = len(QUANTITIES)
        if self.covariance.shape != (n, n):
            raise InputError(f"covariance: expected shape ({n}, {n}), got {self.covariance.shape}")
        for array in (self.covariance, self.profile, self.by_angle):
            array.flags.writeable = False

    def value(self, name: str) -> float:
        """Return one of `QUANTITIES`."""
        return float(getattr(self, name))

    def u(self, name: str) -> float:
        """Return the expanded (95 %) uncertainty of one of `QUANTITIES`."""
        k = QUANTITIES.index(name)
        return COVERAGE_FACTOR_95 * math.sqrt(float(self.covariance[k, k]))

    def less_certain(self, factor: float) -> CentralPatch:
        """Return the patch with every uncertainty multiplied."""
        return replace(
            self,
            centre_u_mm=factor * self.centre_u_mm,
            area_u_mm2=factor * self.area_u_mm2,
            diameter_u_mm=factor * self.diameter_u_mm,
            covariance=factor**2 * self.covariance,
            grows_u=tuple(factor * u for u in self.grows_u),
            lost_u=tuple(factor * u for u in self.lost_u),
        )

    def u_at(self, name: str, limit: float) -> float:
        """Return the expanded uncertainty that ``name`` would have if its value were at a limit.

        Whether a limit is broken is asked of a value at the limit. Of a value far beyond, the part
        of the uncertainty that grows with it is smaller there, and what can only have lessened it
        is no excuse. A value on the near side of the limit keeps its own.
        """
        value, even = self.value(name), EVEN.get(name, math.nan)
        if not value > limit > even:
            return self.u(name)
        k, share = QUANTITIES.index(name), (limit - even) / (value - even)
        less = self.grows_u[k] ** 2 * (1 - share**2) + self.lost_u[k] ** 2
        return math.sqrt(max(self.u(name) ** 2 - COVERAGE_FACTOR_95**2 * less, 0.0))

    @property
    def offset_mm(self) -> float:
        """Distance of the patch from the aim; NaN without one."""
        return self.offset_ratio * self.diameter_mm

    @property
    def plumes(self) -> int:
        """How many patches there are, surely wet and not much smaller than the central one."""
        least = PLUME_SHARE * self.area_mm2
        return 1 + sum(side.sure and side.area_mm2 >= least for side in self.sides)

    @property
    def hollow(self) -> bool:
        """Whether a hollow can be seen, closed or not."""
        return self.core_ratio < HOLLOW_LEVEL


@dataclass(frozen=True, kw_only=True)
class Judged:
    """One limit and what became of it.

    Parameters
    ----------
    limit : str
        Name of the limit, as in `CentralLimits`.
    quantity : str
        Which of `QUANTITIES` it holds.
    value, u : float
        Measured, and its expanded (95 %) uncertainty; NaN where it could not be measured.
    allowed : float
        The limit's value.
    probability : float
        That the true value keeps the limit; NaN when it is not judged.
    state : str
        ``kept``, ``broken``, ``unsure``, or ``not judged``.
    reason : str
        Why it is not judged; empty otherwise.
    """

    limit: str
    quantity: str
    value: float
    u: float
    allowed: float
    probability: float
    state: str
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class CentralAssessment:
    """The answer for one photo of a central spray.

    Parameters
    ----------
    photo, card, wetness
        What stages 1 and 2 found.
    aim : Aim
        Where the nozzle's axis was set over.
    patch : CentralPatch
        What was measured.
    nozzle, limits
        What was expected and tolerated.
    judged : tuple of Judged
        Every limit, in the order of `CentralLimits`.
    verdict : str
        ``pass``, ``fail`` or ``recheck``.
    findings : tuple of Finding
        Most important first.
    provenance : dict
        Versions and every stage with all its parameters.
    probability : float
        That the nozzle keeps every limit that is judged; NaN when that cannot be told.
    spray_angle_deg, spray_angle_u_deg : float
        Full angle of the spray as the patch shows it, where the tip's height was given, and its
        expanded uncertainty; soaking widens the patch, so an upper bound.
    """

    photo: Photo
    card: RectifiedCard
    wetness: WetnessMap
    aim: Aim
    patch: CentralPatch
    nozzle: CentralNozzle
    limits: CentralLimits
    judged: tuple[Judged, ...]
    verdict: str
    findings: tuple[Finding, ...]
    provenance: dict[str, object]
    probability: float = math.nan
    spray_angle_deg: float = math.nan
    spray_angle_u_deg: float = math.nan
