"""What a photo, or several, are found to say: checks against limits, holes, findings, the verdict.

Everything that belongs to a closed set is a member of an enumeration whose values are the words of
the result documents. Nothing here holds a sentence: findings and doubts carry a member and fields,
and one catalogue turns them into words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from spraycheck.card.containers import RectifiedCard
from spraycheck.flags import Flags
from spraycheck.judge.layout import Layout
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.nozzle import AxialNozzle
from spraycheck.photo.containers import Photo
from spraycheck.spray.axial.containers import Aim, AxialPatch
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue, PlumeSegmentation, WetnessMap
from spraycheck.spray.measurement import Measurement, Plumes


class Verdict(StrEnum):
    """What is said of the whole nozzle."""

    PASS = "pass"
    FAIL = "fail"
    RECHECK = "recheck"


class HoleState(StrEnum):
    """What is said of one hole, in the order in which states are counted and listed."""

    CLEAR = "clear"
    WEAK = "weak"
    HEAVY = "heavy"
    BLOCKED = "blocked"
    OFF_LINE = "off-line"
    MISSHAPEN = "misshapen"
    UNSURE = "unsure"

    @property
    def faulty(self) -> bool:
        """Whether it is a fault, proved."""
        return self not in (HoleState.CLEAR, HoleState.UNSURE)


class Outcome(StrEnum):
    """What became of one check."""

    KEPT = "kept"
    BROKEN = "broken"
    UNSURE = "unsure"
    NOT_JUDGED = "not judged"


class Doubt(StrEnum):
    """Why a check proves less than its numbers say; `checks.DOUBTS` says what each one does."""

    # of the whole photo
    LAYOUT_MISFIT = "layout-misfit"
    QUALITY_LIMIT = "quality-limit"
    # of a plume
    RUNS_INTO_ANOTHER = "runs-into-another"
    RUN_TOGETHER = "run-together"
    OVER_EDGE = "over-edge"
    FADING_LIGHT = "fading-light"
    MAY_BE_SHADOW = "may-be-shadow"
    # of a hole without a plume
    NOTHING_TO_COMPARE = "nothing-to-compare"
    OUT_OF_VIEW = "out-of-view"
    TOO_FAINT = "too-faint"
    MAY_LOOK_DRY = "may-look-dry"
    OBJECT_LEFT_OUT = "object-left-out"
    UNDER_STAIN = "under-stain"
    # of a value
    NEAR_LIMIT = "near-limit"
    NEAR_LIMIT_TOGETHER = "near-limit-together"
    SHEET_EDGES = "sheet-edges"
    MARKERS = "markers"
    NOISE = "noise"
    # of several shots
    INTERMITTENT = "intermittent"
    NOT_FOLLOWED = "not-followed"
    ARROWS_DISAGREE = "arrows-disagree"
    TURNS_DISAGREE = "turns-disagree"
    NO_FEATURE = "no-feature"
    # of an axial spray
    NO_OUTLINE = "no-outline"
    SEVERAL_PLUMES = "several-plumes"
    SOAKED_OVER = "soaked-over"
    OPEN_HOLLOW = "open-hollow"
    # of angles from the tip's height
    SOAKED_ENDS = "soaked-ends"
    # what is not asked at all
    LIMIT_OFF = "limit-off"
    NEED_NOT_BE_FILLED = "need-not-be-filled"
    NEED_NOT_BE_HOLLOW = "need-not-be-hollow"
    NO_HOLLOW = "no-hollow"
    NO_AIM = "no-aim"
    NO_HEIGHT = "no-height"
    # of readings at the bench
    FEW_POPS = "few-pops"
    GAUGE_OVERDUE = "gauge-overdue"
    GAUGE_UNDATED = "gauge-undated"
    HELD_LOW = "held-low"
    HELD_HIGH = "held-high"
    HELD_SHORT = "held-short"
    HELD_LONG = "held-long"
    OFF_CONDITIONS = "off-conditions"
    SEVERAL_GAUGES = "several-gauges"


class Remedy(StrEnum):
    """What settles a doubt at the least cost."""

    ANOTHER_SHOT = "another-shot"
    ONE_MORE_SHOT = "one-more-shot"
    ANOTHER_PHOTO = "another-photo"
    DRY_PHOTO = "dry-photo"
    PRINTED_CARD = "printed-card"
    WHOLE_CARD = "whole-card"
    READ_AGAIN = "read-again"
    HOLD_AGAIN = "hold-again"
    CHECK_GAUGE = "check-gauge"


class Kind(StrEnum):
    """Kinds of findings, most important first; the values are public for ever."""

    COUNT_DOES_NOT_FIT = "count-does-not-fit"
    MIRRORED_LAYOUT = "mirrored-layout"
    HOLE_BLOCKED = "hole-blocked"
    HOLE_OFF_LINE = "hole-off-line"
    HOLE_WEAK = "hole-weak"
    HOLE_HEAVY = "hole-heavy"
    HOLE_SOLID_STREAM = "hole-solid-stream"
    HOLE_BUSHY = "hole-bushy"
    HOLE_SHORT = "hole-short"
    HOLE_LONG = "hole-long"
    HOLE_INTERMITTENT = "hole-intermittent"
    HOLE_UNSURE = "hole-unsure"
    STRAY_SPRAY = "stray-spray"
    SPACING_UNEVEN = "spacing-uneven"
    SHARES_UNEVEN = "shares-uneven"
    PATTERN_TURNED = "pattern-turned"
    CENTRE_OFF_AIM = "centre-off-aim"
    DRIP_OVER_LIMIT = "drip-over-limit"
    SHOTS_UNMATCHED = "shots-unmatched"
    PLUMES_MERGED = "plumes-merged"
    TOO_WET = "too-wet"
    WEAK_STROKE = "weak-stroke"
    CENTRE_DRIP = "centre-drip"
    SPRAY_ANGLE_OFF = "spray-angle-off"
    NOZZLE_TILTED = "nozzle-tilted"
    CENTRE_UNCERTAIN = "centre-uncertain"
    AXIAL_SEVERAL = "central-several"
    AXIAL_SIDE_SPRAY = "central-side-spray"
    AXIAL_NOT_HOLLOW = "central-not-hollow"
    AXIAL_NOT_FILLED = "central-not-filled"
    AXIAL_LOPSIDED = "central-lopsided"
    AXIAL_HOLLOW_OFF_CENTRE = "central-hollow-off-centre"
    AXIAL_STREAKY = "central-streaky"
    AXIAL_NOT_ROUND = "central-not-round"
    AXIAL_RAGGED = "central-ragged"
    AXIAL_OFF_CENTRE = "central-off-centre"
    AXIAL_ANGLE = "central-angle"
    AXIAL_SOAKED = "central-soaked"
    AXIAL_DOUBTFUL_SPOT = "central-doubtful-spot"
    AXIAL_AT_EDGE = "central-at-edge"
    AXIAL_UNSURE = "central-unsure"
    AXIAL_NO_AIM = "central-no-aim"
    AXIAL_FILL_UNKNOWN = "central-fill-unknown"
    PHOTO_POOR = "photo-poor"
    PHOTO_BLURRED = "photo-blurred"
    PHOTO_MOVED = "photo-moved"
    PHOTO_NOISY = "photo-noisy"
    PHOTO_COARSE = "photo-coarse"
    PHOTO_OVEREXPOSED = "photo-overexposed"
    PHOTO_GLARE = "photo-glare"
    PHOTO_COMPRESSED = "photo-compressed"
    PHOTO_OBLIQUE = "photo-oblique"
    PHOTO_LATE = "photo-late"
    PHOTO_UNDATED = "photo-undated"
    SHEET_NOT_FOUND = "sheet-not-found"
    SHEET_CROPPED = "sheet-cropped"
    NO_SCALE = "no-scale"


ABOUT_PHOTO: Final = frozenset(list(Kind)[list(Kind).index(Kind.PHOTO_POOR) :])
"""Kinds about the photo and the sheet rather than the spray: from the first such one on."""


@dataclass(frozen=True, kw_only=True)
class LimitCheck:
    """One value held against one limit.

    Parameters
    ----------
    limit : str
        Name of the limit, as in `Limits` or `AxialLimits`; ``plume`` for whether a hole left any.
    hole : int
        The hole it is about, from 1; 0 for the whole pattern or patch.
    value, u, allowed : float
        Measured, its expanded uncertainty (95 %), and the limit, in ``unit``. NaN where unknown.
    unit : str
        As in `LimitSet.unit`.
    probability : float
        That the true value keeps the limit; NaN when that cannot be told.
    doubts : tuple of Doubt
        What the check proves less for; the first one is the reason that is told.
    outcome : Outcome
        Set by the verdict.
    """

    limit: str
    hole: int = 0
    value: float
    u: float
    allowed: float
    unit: str
    probability: float
    doubts: tuple[Doubt, ...] = ()
    outcome: Outcome = Outcome.NOT_JUDGED


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing worth telling the technician.

    Parameters
    ----------
    kind : Kind
        Its words stand in the catalogue.
    hole : int
        The hole it is about, 0 when it is about the whole card or photo.
    fields : mapping of str to value
        What the catalogue's words need beside the check: numbers, words and enumeration members.
    check : LimitCheck or None
        The value and limit behind it; None for a finding that has none.
    """

    kind: Kind
    hole: int = 0
    fields: Mapping[str, object] = field(default_factory=dict)
    check: LimitCheck | None = None

    @property
    def code(self) -> str:
        """The stable word of its kind, for example ``hole-blocked``."""
        return self.kind.value


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
        Over several shots its place, from 1, among the holes that left a plume, clockwise.
    state : HoleState
        Set by the verdict.
    deviation_deg : float
        From its line, clockwise positive, as it is judged: beyond what turn, centre and a small
        tilt of the whole pattern explain. NaN without a plume.
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
    check : LimitCheck or None
        What decided its state: the fault, or the least sure one.
    doubts : tuple of Doubt
        Why it is ``unsure``, first the reason; empty otherwise.
    """

    hole: int
    expected_deg: float
    plume: int | None
    state: HoleState
    deviation_deg: float
    spacing_deg: float
    area_frac: float
    area_ratio: float
    deviation_u_deg: float
    area_ratio_u: float
    probability: float = math.nan
    check: LimitCheck | None = None
    doubts: tuple[Doubt, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SprayAngles:
    """What the tip's height over the card adds; uncertainties (``_u_``) are expanded, 95 %.

    Parameters
    ----------
    height_mm, height_u_mm : float
        Of the tip over the card, as given.
    spray_angle_deg, spray_angle_u_deg : float
        Included angle of the whole spray: twice the mean of the axis angles, or of an axial spray
        the full angle of its cone, soaking included.
    axis_angle_deg, axis_angle_u_deg : (K,) tuple of float
        Per plume: between its axis and the nozzle axis, tilt taken off.
    nominal_deg : (K,) tuple of float
        Per plume: what the layout asks for; NaN where unknown.
    cone_deg : (K,) tuple of float
        Per plume: full angle of its own cone, soaking included, so an upper bound.
    tilt_deg, tilt_u_deg : float
        Between the nozzle axis and the card's normal; NaN with fewer than four plumes.
    tilt_towards_deg : float
        Direction to which the spray leans, clockwise from 12 o'clock.
    """

    height_mm: float
    height_u_mm: float
    spray_angle_deg: float
    spray_angle_u_deg: float
    axis_angle_deg: tuple[float, ...] = ()
    axis_angle_u_deg: tuple[float, ...] = ()
    nominal_deg: tuple[float, ...] = ()
    cone_deg: tuple[float, ...] = ()
    tilt_deg: float = math.nan
    tilt_u_deg: float = math.nan
    tilt_towards_deg: float = math.nan


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
    wicking_mm : float
        How far the rims of wet patches may have crept beyond what is usual; 0 when the time is not
        known.
    limitations : tuple of Limitation
        What limits the photo, beyond a limit or only worth telling.
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
    wicking_mm: float = 0.0
    limitations: tuple[Limitation, ...] = ()

    @property
    def flags(self) -> Flags:
        """What lies beyond the limit up to which stated uncertainties were found true."""
        return tuple(dict.fromkeys(one.flag for one in self.limitations if one.beyond))


@dataclass(frozen=True, kw_only=True)
class Limitation:
    """One thing about the photo or the card that limits what can be said.

    Parameters
    ----------
    flag : str
        See `flags`.
    finding : Finding
        What to tell.
    beyond : bool
        The stated uncertainties no longer hold: nothing passes on this photo.
    """

    flag: str
    finding: Finding
    beyond: bool


class MatchedBy(StrEnum):
    """How the holes of several photos were matched."""

    ARROW = "arrow"
    """The printed cards' index arrows."""
    TURN = "turn"
    """A turn the user gave."""
    LAYOUT = "layout"
    """A layout that fits one way only."""
    PATTERN = "pattern"
    """The best fit of the patterns."""
    PICTURE = "picture"
    """The shape of one card's wet patches."""
    NONE = "none"


class Way(StrEnum):
    """What became of a hole between two photos."""

    BETTER = "better"
    WORSE = "worse"
    CHANGED = "changed"
    NO_SURE_CHANGE = "no sure change"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, kw_only=True)
class Matching:
    """How the holes of several photos were matched, and how surely.

    Parameters
    ----------
    by : MatchedBy
        What they were matched by.
    probability : float
        That the best of all possible turns is the right one.
    turn_deg : tuple of float
        Turn of each photo's pattern against the first one's, clockwise, at the best fit.
    doubts : tuple of Doubt
        Why the holes could not be matched surely; empty when they could.
    """

    by: MatchedBy
    probability: float
    turn_deg: tuple[float, ...]
    doubts: tuple[Doubt, ...] = ()

    @property
    def sure(self) -> bool:
        """Whether holes may be followed from photo to photo."""
        return self.by is not MatchedBy.NONE


@dataclass(frozen=True, kw_only=True)
class HoleShots:
    """One hole over all shots, beside its combined row in `Result.holes`.

    Parameters
    ----------
    shots : int
        Cards that say something of this hole.
    intermittent : bool
        Faulty in some shots and surely not in others.
    shot_sd_deg, photo_sd_deg : float
        Standard deviation of its direction from shot to shot, and from photo to photo of one card;
        NaN where unknown.
    shot_sd_ratio, photo_sd_ratio : float
        The same of its wetted area, relative.
    states : tuple of HoleState
        Its state on each photo.
    ratios, deviations_deg : tuple of float
        Its wetted area and deviation on each photo; NaN where not known.
    """

    shots: int
    intermittent: bool
    shot_sd_deg: float
    photo_sd_deg: float
    shot_sd_ratio: float
    photo_sd_ratio: float
    states: tuple[HoleState, ...]
    ratios: tuple[float, ...]
    deviations_deg: tuple[float, ...]


@dataclass(frozen=True, kw_only=True)
class Shots:
    """Several photos judged together: each by itself, and how they hang together.

    Parameters
    ----------
    photos : tuple of Result
        Each photo by itself.
    cards : tuple of int
        The card each photo shows, from 1; every card is one shot.
    matching : Matching
        How holes were matched.
    holes : tuple of HoleShots
        One per row of `Result.holes`; empty where holes could not be matched.
    widened : (float, float)
        Factor by which the stated uncertainties of directions and areas were widened because the
        shots scatter more than they explain (Birge); 1 where not.
    photo_scatter : (float, float)
        Root mean square scatter between photos of one card over what is stated for a single photo,
        of directions and areas; NaN with one photo of each card.
    """

    photos: tuple[Result, ...]
    cards: tuple[int, ...]
    matching: Matching
    holes: tuple[HoleShots, ...] = ()
    widened: tuple[float, float] = (1.0, 1.0)
    photo_scatter: tuple[float, float] = (math.nan, math.nan)

    @property
    def count(self) -> int:
        """How many cards were sprayed."""
        return len(set(self.cards))


@dataclass(frozen=True, kw_only=True)
class Result:
    """The answer: everything measured, the judgement, and how it was reached.

    One class for a nozzle with holes, an axial spray, and several shots together; of the last,
    ``measurement`` is the first photo's.

    Parameters
    ----------
    measurement : Measurement
        Photo, card, wetness and spray.
    nozzle : Layout or AxialNozzle
        What the nozzle should do.
    limits : Limits or AxialLimits
        What is tolerated.
    checks : tuple of LimitCheck
        Every value that was held against a limit, holes first.
    holes : tuple of Hole
        One per expected hole; empty for an axial spray and where shots could not be matched.
    strays : tuple of int
        Ids of plumes that belong to no hole.
    verdict : Verdict
        On the whole nozzle.
    findings : tuple of Finding
        Most important first.
    probability : float
        That the nozzle keeps every limit; NaN when that cannot be told, and a lower bound where
        shots could not be matched.
    provenance : dict
        Versions and every stage with all its parameters.
    angles : SprayAngles or None
        What the tip's height adds, where it was given.
    quality : PhotoQuality or None
        How far the photo can be trusted; None where it was not looked at.
    shots : Shots or None
        The single photos, where several were judged together.
    """

    measurement: Measurement
    nozzle: Layout | AxialNozzle
    limits: Limits | AxialLimits
    verdict: Verdict
    findings: tuple[Finding, ...]
    checks: tuple[LimitCheck, ...] = ()
    holes: tuple[Hole, ...] = ()
    strays: tuple[int, ...] = ()
    probability: float = math.nan
    provenance: Mapping[str, object] = field(default_factory=dict)
    angles: SprayAngles | None = None
    quality: PhotoQuality | None = None
    shots: Shots | None = None

    @property
    def photo(self) -> Photo:
        """The photo."""
        return self.measurement.photo

    @property
    def card(self) -> RectifiedCard:
        """The card found in it."""
        return self.measurement.card

    @property
    def wetness(self) -> WetnessMap:
        """How wet the card is."""
        return self.measurement.wetness

    @property
    def plumes(self) -> Plumes:
        """The spray of a nozzle with holes."""
        return self.measurement.plumes

    @property
    def centre(self) -> NozzleCentre:
        """Where the nozzle with holes stood."""
        return self.plumes.centre

    @property
    def segmentation(self) -> PlumeSegmentation:
        """Which cell belongs to which plume."""
        return self.plumes.segmentation

    @property
    def catalogue(self) -> PlumeCatalogue:
        """The measured plumes."""
        return self.plumes.catalogue

    @property
    def patch(self) -> AxialPatch:
        """The patch of an axial spray."""
        return self.measurement.patch

    @property
    def aim(self) -> Aim:
        """Where the axis of an axial spray was set over."""
        return self.patch.aim

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

    @property
    def together(self) -> Shots:
        """The single photos, of several shots judged together."""
        if self.shots is None:
            raise TypeError("this is the result of a single photo")
        return self.shots


def most_important_first(findings: list[Finding]) -> tuple[Finding, ...]:
    """Sort findings by the order of `Kind`, then by hole."""
    rank = {kind: i for i, kind in enumerate(Kind)}
    return tuple(sorted(findings, key=lambda f: (rank[f.kind], f.hole)))
