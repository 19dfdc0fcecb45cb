"""The documents: of a nozzle with holes, an axial spray, several shots, two compared, a failure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, ClassVar, Final, Literal

from msgspec import Meta

from spraycheck.judge.result import Doubt, HoleState, MatchedBy, Outcome, Verdict, Way
from spraycheck.report.document.entries import (
    CardEntry,
    Count,
    Direction,
    Entry,
    ErrorEntry,
    EvidenceEntry,
    FindingEntry,
    Limits,
    NotNegative,
    PhotoEntry,
    Point,
    Provenance,
    Share,
    Turn,
    UnreadPhotoEntry,
)

# -- a nozzle with holes


class CentreEntry(Entry, frozen=True, kw_only=True):
    """Where the nozzle stood over the card."""

    scaled: ClassVar[bool] = True

    x_px: float
    y_px: float
    x_mm: float | None
    y_mm: float | None
    u_px: NotNegative
    u_mm: NotNegative | None
    found_by: Literal["axes", "axes+ring", "ring"]
    flags: tuple[str, ...] = ()


class PlumeEntry(Entry, frozen=True, kw_only=True):
    """One plume."""

    scaled: ClassVar[bool] = True

    id: Count
    direction_deg: Direction
    direction_u_deg: NotNegative
    width_deg: Turn | None
    near_mm: float | None = None
    reach_mm: float | None
    area_mm2: NotNegative | None
    area_u_mm2: NotNegative | None = None
    area_frac: Share
    area_u_frac: NotNegative
    centroid_px: Point
    centroid_mm: tuple[float | None, float | None] | None = None
    axis_deg: Direction | None = None
    axis_px: tuple[Point, Point] | None = None
    raggedness: NotNegative | None = None
    drops_frac: NotNegative | None = None
    holes: tuple[Count, ...] = ()
    flags: tuple[str, ...]


class HoleEntry(Entry, frozen=True, kw_only=True):
    """One expected hole."""

    hole: Count
    expected_deg: Direction
    plume: Count | None
    state: HoleState
    deviation_deg: Annotated[float, Meta(ge=-180, le=180)] | None
    deviation_u_deg: NotNegative | None = None
    spacing_deg: Turn | None
    area_frac: Share | None
    area_ratio: NotNegative | None
    area_ratio_u: NotNegative | None = None
    probability: Share | None
    reason: str
    doubts: tuple[Doubt, ...] = ()


class SpotEntry(Entry, frozen=True, kw_only=True):
    """What is wet, or looks so, and is no plume."""

    scaled: ClassVar[bool] = True

    kind: Literal["drip", "drop", "splash", "fingerprint", "stain", "thing"]
    centroid_px: Point
    area_frac: NotNegative | None
    area_mm2: NotNegative | None = None


class QualityEntry(Entry, frozen=True, kw_only=True):
    """How far the photo can be trusted."""

    scaled: ClassVar[bool] = True

    measured_on: Literal["markers", "sheet"] | None
    edge_x_mm: NotNegative | None = None
    edge_y_mm: NotNegative | None = None
    edge_frac: NotNegative | None
    mm_per_px: NotNegative | None = None
    noise_frac: NotNegative | None = None
    evenness_frac: Share | None = None
    clipped_frac: Share | None = None
    glare_frac: Share | None = None
    outside_frac: Share | None = None
    view_deg: Annotated[float, Meta(ge=0, le=90)] | None
    jpeg_quality: Annotated[float, Meta(ge=0, le=100)] | None = None
    elapsed_s: NotNegative | None = None
    flags: tuple[str, ...]


class PlumeAnglesEntry(Entry, frozen=True, kw_only=True):
    """Angles of one plume."""

    id: Count
    axis_angle_deg: float | None
    axis_angle_u_deg: float | None = None
    nominal_deg: float | None = None
    cone_deg: float | None = None


class AnglesEntry(Entry, frozen=True, kw_only=True):
    """Angles that the tip's height over the card gives."""

    height_mm: float
    height_u_mm: float
    spray_angle_deg: float | None
    spray_angle_u_deg: float | None = None
    tilt_deg: float | None = None
    tilt_u_deg: float | None = None
    tilt_towards_deg: float | None = None
    plumes: tuple[PlumeAnglesEntry, ...]


class LayoutHoleEntry(Entry, frozen=True, kw_only=True):
    """One hole of the layout."""

    exact: ClassVar[bool] = True

    azimuth_deg: float
    axis_angle_deg: float | None
    diameter_mm: float | None
    row: Count = 1


class LayoutEntry(Entry, frozen=True, kw_only=True):
    """What was expected."""

    name: str
    even: bool
    counts_from: str | None = None
    holes: tuple[LayoutHoleEntry, ...]


class HolesDocument(Entry, frozen=True, kw_only=True):
    """A photo that was measured and judged."""

    schema: Literal["spraycheck.assessment/1"]
    photo: PhotoEntry
    card: CardEntry
    centre: CentreEntry
    plumes: tuple[PlumeEntry, ...]
    rotation_u_deg: NotNegative | None
    holes: tuple[HoleEntry, ...]
    strays: tuple[Count, ...]
    marks: tuple[SpotEntry, ...]
    verdict: Verdict
    probability: Share | None
    findings: tuple[FindingEntry, ...]
    angles: AnglesEntry | None = None
    quality: QualityEntry | None = None
    layout: LayoutEntry
    lined_up_with: str | None = None
    limits: Limits
    provenance: Provenance


class FailureDocument(Entry, frozen=True, kw_only=True):
    """A photo that could not be measured."""

    schema: Literal["spraycheck.assessment/1"]
    photo: UnreadPhotoEntry
    verdict: None
    error: ErrorEntry


# -- an axial spray


class AimEntry(Entry, frozen=True, kw_only=True):
    """Where the nozzle's axis was set over; null on a card without an aim."""

    scaled: ClassVar[bool] = True

    source: Literal["printed", "centre", "given"]
    x_mm: float | None
    y_mm: float | None
    u_mm: NotNegative | None
    centroid_px: Point


class PatchEntry(Entry, frozen=True, kw_only=True):
    """The central patch."""

    scaled: ClassVar[bool] = True

    centroid_px: Point
    x_mm: float | None
    y_mm: float | None
    centre_u_mm: NotNegative | None
    area_mm2: NotNegative | None
    area_u_mm2: NotNegative | None
    diameter_mm: NotNegative | None
    diameter_u_mm: NotNegative | None
    ellipse_ratio: float | None
    form_factor: float | None
    heavy_side_frac: float | None
    streak_frac: float | None
    core_ratio: float | None
    hollow_offset_ratio: float | None
    offset_ratio: float | None
    side_frac: float | None
    ellipse_ratio_u: NotNegative | None
    form_factor_u: NotNegative | None
    heavy_side_frac_u: NotNegative | None
    streak_frac_u: NotNegative | None
    core_ratio_u: NotNegative | None
    hollow_offset_ratio_u: NotNegative | None
    offset_ratio_u: NotNegative | None
    side_frac_u: NotNegative | None
    heavy_side_deg: Direction | None
    offset_deg: Direction | None
    offset_mm: NotNegative | None
    hollow: bool
    doubtful_frac: Share | None
    soaked_frac: Share | None
    profile: tuple[float | None, ...]
    by_angle: tuple[float | None, ...]
    outline_px: tuple[Point, ...]
    hollow_px: tuple[Point, ...]
    flags: tuple[str, ...]


class SideEntry(Entry, frozen=True, kw_only=True):
    """One wet patch beside the central one."""

    scaled: ClassVar[bool] = True

    direction_deg: Direction
    area_mm2: NotNegative | None
    centroid_px: Point
    outline_px: tuple[Point, ...]


class JudgedEntry(Entry, frozen=True, kw_only=True):
    """One limit and what became of it."""

    limit: str
    quantity: str
    value: float | None
    u: NotNegative | None
    allowed: float | None
    unit: str
    probability: Share | None
    state: Outcome
    reason: str
    doubts: tuple[Doubt, ...] = ()


class NozzleEntry(Entry, frozen=True, kw_only=True):
    """What the nozzle should do."""

    name: str
    kind: Literal["pintle", "single-hole"]
    fill: Literal["hollow", "filled", "either"]
    full_angle_deg: float | None


class AxialDocument(Entry, frozen=True, kw_only=True):
    """A photo of a nozzle that sprays along its axis, measured and judged."""

    schema: Literal["spraycheck.central/1"]
    photo: PhotoEntry
    card: CardEntry
    aim: AimEntry | None
    patch: PatchEntry
    sides: tuple[SideEntry, ...]
    judged: tuple[JudgedEntry, ...]
    verdict: Verdict
    probability: Share | None
    findings: tuple[FindingEntry, ...]
    spray_angle_deg: float | None
    spray_angle_u_deg: float | None
    nozzle: NozzleEntry
    limits: Limits
    provenance: Provenance


# -- several shots, combined or compared


class MatchingEntry(Entry, frozen=True, kw_only=True):
    """How the holes of several photos were matched."""

    by: MatchedBy
    probability: float | None
    turn_deg: tuple[float, ...] | None
    note: str


class HoleOnPhotoEntry(Entry, frozen=True, kw_only=True):
    """One hole on one of several photos."""

    state: HoleState
    area_ratio: float | None
    deviation_deg: float | None


class CombinedHoleEntry(Entry, frozen=True, kw_only=True):
    """One hole over all shots."""

    hole: Count
    state: HoleState
    intermittent: bool
    shots: int
    expected_deg: float | None
    deviation_deg: float | None
    deviation_u_deg: float | None
    area_frac: float | None
    area_ratio: float | None
    area_ratio_u: float | None
    probability: float | None
    reason: str
    doubts: tuple[Doubt, ...] = ()
    shot_sd_deg: float | None
    photo_sd_deg: float | None
    shot_sd_ratio: float | None
    photo_sd_ratio: float | None
    each: tuple[HoleOnPhotoEntry, ...]


class PairEntry(Entry, frozen=True, kw_only=True):
    """One number for directions and one for wetted areas."""

    direction: float | None
    area: float | None


class CombinationDocument(Entry, frozen=True, kw_only=True):
    """Several shots of one nozzle judged together."""

    schema: Literal["spraycheck.combination/1"]
    verdict: Verdict
    probability: Share | None
    shots: int
    cards: tuple[int, ...]
    matching: MatchingEntry
    holes: tuple[CombinedHoleEntry, ...]
    extremes: tuple[EvidenceEntry, ...]
    findings: tuple[FindingEntry, ...]
    widened: PairEntry
    photo_scatter: PairEntry
    photos: tuple[HolesDocument, ...]


class ChangeEntry(Entry, frozen=True, kw_only=True):
    """A value before and after."""

    before: float | None
    after: float | None
    difference: float | None
    difference_u: float | None
    chance: float | None
    sure: bool


class ChangedHoleEntry(Entry, frozen=True, kw_only=True):
    """What changed at one hole."""

    hole: Count
    after_hole: Count
    state_before: HoleState
    state_after: HoleState
    change: Way
    area_ratio: ChangeEntry
    deviation_deg: ChangeEntry


class ComparisonDocument(Entry, frozen=True, kw_only=True):
    """Two photos of one nozzle compared."""

    schema: Literal["spraycheck.comparison/1"]
    matching: MatchingEntry
    risk: float
    holes: tuple[ChangedHoleEntry, ...]
    least_area_ratio: ChangeEntry
    most_area_ratio: ChangeEntry
    furthest_deviation_deg: ChangeEntry
    before: HolesDocument
    after: HolesDocument


class TogetherErrorEntry(Entry, frozen=True, kw_only=True):
    """Why photos could not be taken together."""

    stage: str
    message: str
    hint: str
    code: str | None = None


class RefusedCombinationDocument(Entry, frozen=True, kw_only=True):
    """Photos that could not be measured, or do not belong together."""

    schema: Literal["spraycheck.combination/1"]
    verdict: None
    files: tuple[str, ...]
    error: TogetherErrorEntry


class RefusedComparisonDocument(Entry, frozen=True, kw_only=True):
    """Photos that could not be measured, or do not belong together."""

    schema: Literal["spraycheck.comparison/1"]
    verdict: None
    files: tuple[str, ...]
    error: TogetherErrorEntry


REFUSED: Final[dict[str, tuple[Callable[..., Entry], str]]] = {
    "combination": (RefusedCombinationDocument, "spraycheck.combination/1"),
    "comparison": (RefusedComparisonDocument, "spraycheck.comparison/1"),
}
"""What was asked for to the form of its refusal, and the form's name and version."""
