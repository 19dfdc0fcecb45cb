"""What a nozzle should do, what is tolerated, and the judgement that compares it with the card."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from spraycheck.card.containers import RectifiedCard
from spraycheck.errors import LayoutError
from spraycheck.flags import Flags
from spraycheck.judge.limits import Limits
from spraycheck.photo.containers import Photo
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap

MIN_HOLES, MAX_HOLES = 3, 16
SPREAD_EXPONENT, SPREAD_U = 0.1, 0.1
"""See `Layout.expected_area`, and its standard uncertainty. Chosen because simulated nozzles with
hole angles of 58 to 73 degrees on absorbing stock gave 0.0 to 0.3, median 0.15, and 60 others from
54 to 75 degrees -0.1 to 0.1; pure geometry without soaking would give more."""

VERDICTS = ("pass", "fail", "recheck")
STATES = ("clear", "weak", "heavy", "blocked", "off-line", "misshapen", "unsure")


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

    def log_throw(self) -> NDArray[np.float64]:
        """Logarithm of how far each hole throws beside the middle one, ``(n,)``.

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


@dataclass(frozen=True, kw_only=True)
class Hole:
    """One expected hole, judged.

    Parameters
    ----------
    hole : int
        From 1.
    expected_deg : float
        Where it should spray: the layout turned to its best fit.
    plume : int or None
        Id of the plume that belongs to it (1 = first row of the catalogue); None when it has none.
    state : str
        One of ``clear``, ``weak``, ``heavy``, ``blocked``, ``off-line``, ``misshapen``, ``unsure``.
    deviation_deg : float
        Measured minus expected, clockwise positive; NaN without a plume.
    spacing_deg : float
        To the next plume clockwise; NaN without a plume.
    area_frac : float
        Share of all plumes' wetted area; 0 when blocked.
    area_ratio : float
        Wetted area over what this hole should wet, median clear hole 1.
    deviation_u_deg, area_ratio_u : float
        Expanded (95 %) uncertainties of the two.
    probability : float
        That this hole keeps all its limits; NaN when that cannot be told.
    reason : str
        Why the hole is ``unsure``; empty otherwise.
    """

    hole: int
    expected_deg: float
    plume: int | None
    state: str
    deviation_deg: float
    spacing_deg: float
    area_frac: float
    area_ratio: float
    deviation_u_deg: float
    area_ratio_u: float
    probability: float = math.nan
    reason: str = ""


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """The value behind a finding, held against its limit.

    Parameters
    ----------
    limit : str
        Name of the limit, as in `Limits`.
    value : float
        Measured.
    u : float
        Its expanded uncertainty (95 %).
    allowed : float
        The limit's value.
    unit : str
        Of all three, as in `Limits.unit`.
    probability : float
        That the true value keeps the limit.
    """

    limit: str
    value: float
    u: float
    allowed: float
    unit: str
    probability: float


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing worth telling the technician.

    Parameters
    ----------
    code : str
        Stable word, for example ``hole-blocked``.
    hole : int
        The hole it is about, 0 when it is about the whole card or photo.
    text : str
        What was found and what to do, in plain words.
    evidence : Evidence or None
        The value and limit behind it; None for a finding that has none.
    """

    code: str
    hole: int
    text: str
    evidence: Evidence | None = None


@dataclass(frozen=True, kw_only=True)
class SprayAngles:
    """What the tip's height over the card adds; uncertainties (``_u_``) are expanded, 95 %.

    Parameters
    ----------
    height_mm, height_u_mm : float
        Of the tip over the card, as given.
    axis_angle_deg, axis_angle_u_deg : (K,) tuple of float
        Per plume: between its axis and the nozzle axis, tilt taken off.
    nominal_deg : (K,) tuple of float
        Per plume: what the layout asks for; NaN where unknown.
    cone_deg : (K,) tuple of float
        Per plume: full angle of its own cone, soaking included, so an upper bound.
    spray_angle_deg, spray_angle_u_deg : float
        Included angle of the whole spray: twice the mean of the axis angles.
    tilt_deg, tilt_u_deg : float
        Between the nozzle axis and the card's normal; NaN with fewer than four plumes.
    tilt_towards_deg : float
        Direction to which the spray leans, clockwise from 12 o'clock.
    """

    height_mm: float
    height_u_mm: float
    axis_angle_deg: tuple[float, ...]
    axis_angle_u_deg: tuple[float, ...]
    nominal_deg: tuple[float, ...]
    cone_deg: tuple[float, ...]
    spray_angle_deg: float
    spray_angle_u_deg: float
    tilt_deg: float
    tilt_u_deg: float
    tilt_towards_deg: float


@dataclass(frozen=True, kw_only=True)
class PhotoQuality:
    """How far one photo can be trusted: what was measured of the photo itself.

    Lengths are mm on the card (assumed ones where its scale is not known).

    Parameters
    ----------
    measured_on : str
        Edges the sharpness was taken from: ``markers``, ``sheet``, or empty when none could be.
    edge_x_mm, edge_y_mm : float
        Over how many mm upright and level edges rise from 10 % to 90 %; they differ when the phone
        moved. NaN where they could not be told.
    mm_per_px : float
        Of the picture as it was measured, in the middle of the card.
    noise_frac : float
        Standard deviation of dry paper's light from cell to cell over its light, grain included.
    evenness_frac : float
        Darkest over brightest light on dry paper.
    clipped_frac : float
        Share of dry paper's colour values that are over-exposed.
    glare_frac : float
        Share of the card where a lamp is mirrored so brightly that nothing is left to see.
    outside_frac : float
        Share of the sheet that lies outside the photo.
    view_deg : float
        How far from square-on the camera looked.
    plume_width_mm : float
        Typical width of a plume across its ray; what edges and pixels are held against. NaN
        without plumes.
    dark_frac : float
        Share of the card that belongs to the darker of two levels of light where it clearly has
        two; 0 where it has not.
    fill_frac : float
        Typical wetness inside plumes, 1 saturated.
    elapsed_s : float
        From spraying to photo; NaN when not known.
    crept_mm : float
        How far the rims of wet patches may have crept beyond what is usual; 0 when the time is not
        known.
    flags : tuple of str
        What lies beyond the limit up to which the stated uncertainties were found true; see
        `flags`.
    """

    measured_on: str
    edge_x_mm: float
    edge_y_mm: float
    mm_per_px: float
    noise_frac: float
    evenness_frac: float
    clipped_frac: float
    glare_frac: float
    outside_frac: float
    view_deg: float
    plume_width_mm: float
    dark_frac: float
    fill_frac: float
    elapsed_s: float = math.nan
    crept_mm: float = 0.0
    flags: Flags = ()


@dataclass(frozen=True, kw_only=True)
class Assessment:
    """The answer for one photo: everything measured, the judgement, and how it was reached.

    Parameters
    ----------
    photo, card, wetness, centre, segmentation, catalogue
        What the stages found.
    layout, limits
        What was expected and tolerated.
    holes : tuple of Hole
        One per expected hole.
    strays : tuple of int
        Ids of plumes that belong to no hole.
    verdict : str
        ``pass``, ``fail`` or ``recheck``.
    findings : tuple of Finding
        Most important first.
    provenance : dict
        Versions and every stage with all its parameters.
    angles : SprayAngles or None
        Angles of the holes, where the tip's height was given.
    probability : float
        That the nozzle keeps every limit; NaN when that cannot be told.
    quality : PhotoQuality or None
        How far the photo can be trusted; None where it was not looked at.
    """

    photo: Photo
    card: RectifiedCard
    wetness: WetnessMap
    centre: NozzleCentre
    segmentation: PlumeSegmentation
    catalogue: PlumeCatalogue
    layout: Layout
    limits: Limits
    holes: tuple[Hole, ...]
    strays: tuple[int, ...]
    verdict: str
    findings: tuple[Finding, ...]
    provenance: dict[str, object]
    angles: SprayAngles | None = None
    probability: float = math.nan
    quality: PhotoQuality | None = None
