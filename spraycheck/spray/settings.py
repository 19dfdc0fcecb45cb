"""Every number that decides something in stages 2 to 5, with its unit and where it comes from.

One frozen dataclass per stage. A pipeline with other numbers is made with `dataclasses.replace` or
the constructor, and the provenance of every result lists them all::

    Pipeline(segment=partial(segment_plumes, settings=PlumeSettings(min_area_mm2=6.0)))

Units are in the names (``_frac`` is dimensionless, ``_cells`` counts cells of the card's grid);
"chosen" means by trial on drawn cards and photographs unless something else is said.
"""

from __future__ import annotations

from dataclasses import dataclass

from spraycheck.constants import WET_THRESHOLD_FRAC


@dataclass(frozen=True, kw_only=True)
class WetnessSettings:
    """Numbers of stage 2, `map_wetness`."""

    # -- exposure and glare
    edge_margin_mm: float = 1.5
    """Rim of the sheet that is not judged: edge shadow, resampling."""
    sample_step_cells: int = 4
    """Every so many-th cell is enough for a percentile over the sheet."""
    least_sample_cells: int = 100
    """Fewer sampled cells than this are no sheet."""
    paper_percentile: float = 60.0
    """Percentile of the sheet's light that is taken for bare paper: spray covers less than two
    fifths (chosen)."""
    dark_linear: float = 0.02
    """Below this linear light on paper the sensor's noise swallows the spray (chosen because an
    8-bit sRGB value of 38 then spans the whole contrast of a clear stain in under ten steps)."""
    dim_linear: float = 0.08
    """Below this the photo is flagged as dark: two stops above what cannot be measured."""
    clipped_linear: float = 0.985
    """From here on a channel counts as over-exposed (sRGB value 253 of 255)."""
    most_clipped_frac: float = 0.5
    """With more of the sheet over-exposed nothing can be told (chosen)."""
    some_clipped_frac: float = 0.02
    """From this share on it is flagged (chosen)."""
    full_scale_paper_frac: float = 0.75
    """Paper brighter than this share of ``clipped_linear`` is white paper near full scale, and what
    clips on it is no mirrored lamp (chosen)."""
    glare_rim_cells: int = 2
    """Cells around a mirrored lamp that are left out with it: its blurred rim (chosen)."""
    glare_noted_frac: float = 0.01
    """Share of the sheet from which glare is flagged: below, it hides nothing."""

    # -- thin ink
    ink_width_mm: float = 1.8
    """Dark lines up to this width are print or handwriting: a pen draws 0.5 to 1 mm."""
    ink_length_mm: float = 7.0
    """Shorter thin things may be drops and are kept (chosen)."""
    ink_blur_mm: float = 0.25
    """Gaussian sigma before lines are sought, beside `SUBCELL`: below the width of a thin line."""
    ink_seed_spreads: float = 7.0
    """A line must somewhere rise above the grain by this many of its standard deviations..."""
    ink_seed_depth: float = 0.06
    """... and by this optical depth (chosen: pencil on rough paper)."""
    ink_line_spreads: float = 4.0
    """All of the line rises by this many..."""
    ink_line_depth: float = 0.035
    """... and by this optical depth (chosen)."""
    ink_seed_share: float = 0.25
    """Cells that rise that high, over the cells that make ``ink_length_mm`` (chosen)."""
    ink_thin_frac: float = 0.5
    """A line covers less than this share of the square over its extent; a blob covers more."""
    ink_rim_mm: float = 0.35
    """Blurred rim of a line that is filled with it (chosen)."""
    ink_fill_mm: float = 0.8
    """First reach over which a line is filled from the paper beside it: half its width."""
    ink_fill_growth: float = 2.5
    """Factor on that reach where nothing known lies in it..."""
    ink_fill_rounds: int = 4
    """... and how often it may grow (to 12 mm)."""
    ink_fill_known_frac: float = 0.03
    """Least share of known paper in reach (chosen)."""
    ruled_frac: float = 0.06
    """From this share of the sheet on the ink is a ruling (squared or lined paper): too little bare
    paper is left between the lines to fill from, and the lines are closed all over instead."""
    ruled_knot_mm: float = 1.0
    """Added to the line's width there: lines meet in knots."""
    ruled_blur_mm: float = 0.2
    """Gaussian sigma before closing, which would otherwise follow the brightest grain."""

    # -- the dry paper
    coarse_mm: float = 1.6
    """Cell of the coarse grid on which the dry paper is modelled."""
    coarse_known_frac: float = 0.5
    """Share of a coarse cell that must be usable."""
    windows_mm: tuple[float, ...] = (110.0, 80.0, 50.0, 36.0)
    """Widths of the running median that follows shadow edges, round by round: from far wider than a
    plume to a little wider (chosen; one round only moved 45 of 47 practice photographs)."""
    background_mm: float = 14.0
    """Gaussian sigma over which the dry paper is carried in under the spray."""
    background_floor: float = 0.02
    """Weight of dry paper in reach below which what is carried in fades to zero."""
    slope_lag_mm: float = 10.0
    """Distance of the differences that the slow fall-off of light is fitted to: a plume's or
    shadow's edge is then a rare outlier."""
    slope_stride_mm: float = 8.0
    """Spacing of those differences: some two thousand settle nine terms."""
    slope_least_differences: int = 200
    """Fewer fit no polynomial."""
    slope_rounds: int = 8
    """Rounds of re-weighting."""
    log_range: tuple[float, float] = (-1.3, 0.7)
    """Range of log light about the slow light that the 8-bit running median resolves (in steps of
    0.008, averaged out by what is carried in): deep shadow, 27 %, to a sunlit patch, 200 %."""
    wet_blur_mm: float = 1.0
    """Gaussian sigma before wet cells are sought on the coarse grid."""
    wet_spreads: float = 3.0
    """Coarse cells darker than the paper by this many of its standard deviations are wet..."""
    wet_peak_frac: float = 0.06
    """... if by this share of the darkest, too..."""
    wet_least_depth: float = 0.02
    """... and by this summed optical depth (all chosen)."""
    peak_percentile: float = 99.5
    """Percentile that stands for the darkest."""
    deep_peak_frac: float = 0.3
    """Whether something is spray is asked of what is darker than this share of the darkest: haloes
    run into one another."""
    halo_mm: float = 3.0
    """Halo around what is wet that the level does not show."""
    flooded_frac: float = 0.85
    """With more of the sheet wet than this nothing dry is left to go by; the darker half is then
    taken for wet."""
    border_mm: float = 26.0
    """A dark region that touches the sheet's border over more than this is no plume but a shadow:
    the widest plume that still measures is narrower (chosen a little above the 20 mm of the largest
    stains seen)."""
    crossing_frac: float = 0.55
    """Nor is one whose extent is above this share of the sheet's smaller side, if it touches the
    border over..."""
    crossing_contact_mm: float = 2.0
    """... more than this: the edge of a shadow, from border to border."""
    over_border_frac: float = 0.35
    """Something small that lies over the border (a finger, a pen) touches it over more than this
    share of its size..."""
    over_border_mm: float = 4.0
    """... and over more than this; it sets no scale."""

    # -- one optical depth of three colours
    filter_whole_frac: float = 0.99
    """Share of a coarse cell that must be usable to speak for the spray's colour."""
    filter_top_cells: int = 20
    """Least number of coarse cells..."""
    filter_top_frac: float = 0.005
    """... and least share of them whose mean stands for saturated paper."""
    filter_spreads: float = 5.0
    """Saturated paper must stand out from dry paper by so many standard deviations..."""
    filter_least_depth: float = 0.02
    """... and by this mean optical depth, or the three colours count alike."""
    filter_wet_frac: float = 0.5
    """Cells from this share of that depth on show the spray's colour..."""
    filter_dry_spreads: float = 3.0
    """... and those within so many standard deviations of none show the paper's noise."""
    filter_loading_frac: float = 0.1
    """Share of its own trace that is added to the noise's covariance, so that colours that agree
    closely are not played against each other (chosen)."""
    yule_nielsen_n: float = 2.0
    """Full mixing of light between wet and dry fibres (Yule and Nielsen 1951, see `wetness`)."""
    detect_mm: float = 0.7
    """Gaussian sigma of the filtered map."""

    # -- the scale
    noise_step_cells: int = 3
    """Every so many-th cell tells the noise."""
    noise_least_cells: int = 50
    """Least number of cells below zero that it is told from."""
    least_depth: float = 0.07
    """A spray darkens its paper by at least this optical depth. Clear test oil on thin white paper
    over a white bench, the faintest case simulated, gives 0.09; clouds in dry paper reach 0.05."""
    least_noises: float = 6.0
    """And by this many standard deviations of the noise (chosen)."""
    pattern_mm2: float = 30.0
    """The darkest area that must show it: a tenth of one small plume; less cannot be a pattern."""
    pattern_least_cells: int = 10
    """And in cells."""
    plateau_frac: float = 0.5
    """Cells from this share of that depth on..."""
    plateau_percentile: float = 75.0
    """... and their percentile that is taken for saturated paper."""
    scale_u_frac: float = 0.05
    """Standard uncertainty of the wetness scale beside the noise (chosen)."""
    faint_noise_frac: float = 0.08
    """Noise, in wetness, from which the spray is flagged as faint."""

    # -- foreign objects
    dark_objects: bool = True
    """Whether what is far darker than the other patches is an object lying on the card. Off where a
    single patch is expected, which nothing can be compared with."""
    object_depth_ratio: float = 1.7
    """Depth, over the middle patch's, from which a patch is an object and not soaked paper (chosen:
    soaked patches of one card differ by up to a third, also where one lies in flat light)."""
    object_level_frac: float = 0.12
    """Level, over the darkest, at which patches are parted."""
    object_least_mm2: float = 60.0
    """Least area of a patch that is compared: a fifth of a small plume."""
    object_least_patches: int = 3
    """Fewer patches compare with nothing."""
    object_most: int = 2
    """More dark patches than this are the spray, and what they were compared with is a shadow
    (chosen: a tool and its shadow)."""
    object_rim_mm: float = 1.5
    """Blurred rim of an object, which would look like wet paper."""
    object_wet_frac: float = WET_THRESHOLD_FRAC
    """Wetness from which what lies at the sheet's edge is compared with what lies beyond."""
    object_near_mm: float = 4.0
    """Distance from the sheet's edge up to which a cell lies at it: its rim is not judged."""
    object_inside_mm: float = 3.0
    """How far inside the edge an object is looked at..."""
    object_beyond_mm: tuple[float, ...] = (2.5, 4.5)
    """... how far beyond it..."""
    object_beside_mm: tuple[float, ...] = (4.0, 5.25, 6.5, 7.75, 9.0)
    """... and how far along the edge from the contact's ends what lies beside is (a pen is 8 mm
    wide)."""
    object_samples: int = 7
    """Places along the contact."""
    object_least_samples: int = 4
    """Fewer that the photo shows say nothing."""
    object_contact_mm: float = 3.0
    """A shorter contact says nothing (chosen: a dozen cells)."""
    object_alike: float = 0.35
    """Difference of log light, over the three colours, up to which both sides of the edge are one
    object (chosen: an object's shading across the edge on simulated cards is 0.1 to 0.3; a bench
    differs from oiled paper by 0.5 and more)..."""
    object_unlike_ratio: float = 2.0
    """... and how many times farther what lies beside must be."""
    object_most_frac: float = 0.5
    """Objects that would take more than this share of all that is wet are the spray (chosen)."""


@dataclass(frozen=True, kw_only=True)
class PlumeSettings:
    """Numbers of stages 3 and 4, `segment_plumes` and `locate_centre`."""

    threshold_frac: float = WET_THRESHOLD_FRAC
    """Wetness from which paper counts as wetted."""

    # -- patches
    join_frac: float = 0.12
    """Wetness of the blurred map that joins cells to one patch..."""
    join_noises: float = 4.0
    """... and at least so many times its noise (chosen)."""
    join_blur_mm: float = 1.2
    """Gaussian sigma of that blur: a weak plume that left only specks is one patch."""
    join_cell_mm: float = 0.5
    """Joining needs no finer cells than this."""
    join_least_cells: int = 50
    """Least number of cells below zero that its noise is told from."""
    least_patch_mm2: float = 2.0
    """Smaller wetted areas are left out."""
    large_frac: float = 0.25
    """Patches from this share of the largest one's area on tell what size is usual."""
    edge_contact_frac: float = 0.25
    """Share of a patch's outline along the border of what can be judged from which it is likely
    something lying over the edge, or its shadow (chosen)..."""
    edge_touch_frac: float = 0.03
    """... and below which it does not touch that border (chosen)."""
    clear_patches: int = 3
    """So many large patches clear of the border speak for the card without the others..."""
    clear_area_frac: float = 0.25
    """... if they hold this share of what is wet: drops do not."""
    min_share_frac: float = 0.04
    """Patches below this share of the usual area are drops, not plumes..."""
    min_area_mm2: float = 4.0
    """... and so are patches below this area."""

    # -- cutting
    valley_frac: float = 0.80
    """A valley of the angular profile parts two crests when it is below this fraction of the lower
    one (chosen: single ragged plumes show valleys above 0.85, touching pairs of simulated plumes
    0.75 to 0.90)..."""
    shallow_valley_frac: float = 0.93
    """... and this one where the patch is far larger than usual: two are likelier than one."""
    far_larger: float = 1.6
    """Area, over the usual, from which that holds."""
    profile_bin_deg: float = 1.0
    """Bin of the angular profile..."""
    profile_smooth_deg: float = 2.0
    """... and Gaussian sigma of its smoothing."""
    profile_least_mm: float = 1.0
    """Radius within which the profile does not weigh cells up any further."""
    crest_frac: float = 0.12
    """A crest counts from this fraction of the patch's highest one (chosen)."""
    ellipse_rounds: int = 4
    """Rounds that settle the cut where the pieces' ellipses meet."""
    ellipse_level_frac: float = 0.3
    """Wetness from which a cell shapes its ellipse: the halo would only blur it."""
    ellipse_least_cells: int = 20
    """Fewer cells shape none."""
    drip_fill_frac: float = 0.45
    """A patch on the centre that fills more than this share of the circle around it..."""
    drip_heart: float = 0.25
    """... and of the inner circle of this share of its radius..."""
    drip_heart_frac: float = 0.5
    """... more than this is a drip and stays whole: a ring of plumes that touch is dry there."""
    drip_reach: float = 1.5
    """On the centre: closer than so many of its own standard deviations."""

    # -- axes
    rounds: int = 3
    """Rounds of "cut touching plumes along rays, locate the centre"."""
    axis_elongation: float = 1.12
    """Rounder patches have no axis to use (chosen)..."""
    axis_reach: float = 2.0
    """... nor has one closer to the centre than so many of its widths."""
    axis_floor_deg: float = 0.36
    """Scatter of a plume's own axis about its ray: a floor..."""
    axis_area_deg_mm2: float = 380.0
    """... and a part that falls with the wetted area (few drops, and paper that wicks by a
    millimetre whatever the plume's size). Simulated cards show 1.2 degrees at 270 mm2, 1.1 at 410,
    0.6 at 580 and 0.5 at 960. With a floor of 0.3, nine of ten intervals held the centre of 1018
    cards where plumes were larger than 700 mm2, and 97 of 100 where they were smaller; with 0.42
    they were wider than needed on photographs with known truth."""
    axis_least_mm2: float = 10.0
    """Area below which that part grows no further."""
    unknown_scale: float = 0.57
    """Areas in assumed mm count at this fraction: a sheet of unknown size is taken as A4, and A5 or
    a 200 mm square have half its area (with 0.65, 88 of 100 intervals held the centre)."""
    cut_factor: float = 4.0
    """A plume cut from its neighbour has lost one flank: its axis leans away by several degrees
    (simulated pairs that touch show 7 to 9)."""
    shortest_lever_mm: float = 3.0
    """A patch nearer to the centre is weighed as if it lay so far off (chosen: a drip)."""
    prior_freedom: float = 4.0
    """Degrees of freedom that the stated scatters are worth beside a card's own: cards differ in
    how well their axes agree (chosen: with 0 three plumes alone would decide, with dozens all cards
    would scatter alike; with 4 the interval holds on simulated cards of three plumes and of
    eight)."""
    agreeing_frac: float = 0.8
    """Share of the axes that should agree on a centre; below it another first guess is tried
    (chosen: sound patterns reach 0.85 and more, patterns with touching plumes cut about a wrong
    centre 0.6)."""
    crossing_least_deg: float = 12.0
    """Axes closer to parallel than this cross nowhere in particular."""
    crossing_width_frac: float = 0.25
    """Gaussian sigma, in pattern radii, within which crossings count as one place."""
    crossing_extent_mm: float = 40.0
    """Pattern radius taken for fewer than three plumes."""
    parallel_frac: float = 0.25
    """Two plumes in one line leave the centre more uncertain than this share of the pattern's
    radius: only half way between them is left..."""
    between_u_frac: float = 0.15
    """... with this standard uncertainty, in pattern radii (chosen)."""
    wide_frac: float = 0.05
    """Standard uncertainty, in pattern radii, from which the centre is flagged as uncertain."""

    # -- ring
    ring_prior: tuple[tuple[float, float], ...] = ((0.45, 0.004), (0.45, 0.035), (0.10, 0.20))
    """Weight and standard offset (in ring radii, per coordinate) of the three parts of the prior.
    Offset per degree of tilt is 0.047 radii at a hole angle of 63 degrees (see `centre`). Square: a
    nozzle in a jig, 0.1 degree. Ordinary: held by hand or a worn clamp, 0.75 degree. Last: unequal
    hole angles, where "the ring" says little. Weights chosen because no survey is known to the
    project."""
    ring_prior_three: tuple[tuple[float, float], ...] = ((0.25, 0.004), (0.35, 0.035), (0.40, 0.20))
    """The same for three plumes: any three points lie on a circle, so the ring cannot be tested."""
    ring_scatter_frac: float = 0.013
    """Healthy scatter of plume radii about their ring (chosen because simulated cards of square
    nozzles show 0.010 to 0.017)."""
    ring_area_frac: float = 0.06
    """The same per log ratio of a plume's area to the usual: weak plumes wet less of their far
    end."""
    ring_scatters: float = 4.0
    """Scatter, over the healthy one, from which there is no ring."""
    ring_size: float = 3.0
    """Nor is there one of more than so many pattern radii."""
    ring_doubt_frac: float = 0.5
    """Probability of the prior's last part from which the ring is dropped."""

    # -- plume or mark
    sure_reach: float = 1.5
    """A patch farther from the centre than so many of its lengths (standard deviations) is surely
    no drip..."""
    plume_reach: float = 1.2
    """... and one closer than this is."""
    round_elongation: float = 1.25
    """Elongation below which a patch has no direction to be asked about (chosen: paper grain alone
    draws a round blot out by a tenth or two)."""
    radial_deg: float = 25.0
    """Angle between axis and ray up to which a patch may be a plume (chosen: plumes that lost a
    flank to a neighbour lean by up to 9 degrees, a stray mark by any)..."""
    small_radial_deg: float = 20.0
    """... and one small enough to be a drop."""
    widest_deg: float = 75.0
    """A patch seen under a wider angle is not one plume: neighbours of a three-hole nozzle are 120
    degrees apart, and a plume under more than half of that touches them."""
    usual_frac: float = 0.3
    """Sure plumes from this share of the largest one's area on tell usual area and distance."""
    band: tuple[float, float] = (0.35, 2.6)
    """Distance from the centre, over the usual, where plumes land. Derived, then rounded: holes of
    one slanted nozzle may lie 55 and 75 degrees from its axis, and tan 75 / tan 55 = 2.6; beside
    one at 65 degrees they land at 0.67 and 1.74 of its distance..."""
    small_band: tuple[float, float] = (0.6, 1.5)
    """... and where one small enough to be a drop must lie."""
    small_frac: float = 0.15
    """A patch below this share of the usual area must look like a plume to count as one (chosen: a
    hole with an eighth of its flow wets about this much)."""
    least_plumes: int = 2
    """Fewer are no pattern."""
    merged_width: float = 1.75
    """Angular width, over the usual, from which a plume may be two..."""
    merged_extra_deg: float = 12.0
    """... if it is this much wider, too..."""
    merged_across: float = 1.4
    """... and its width in mm this many times the usual (chosen: two that touch are nearly twice as
    wide; a steep hole's plume lies nearer the centre, looks wide from there, and is not)..."""
    merged_elongation: float = 1.4
    """... and it is rounder than this."""

    # -- names of marks, for the reader only: they change no number
    drip_radius: float = 0.3
    """Closer to the centre than this share of the usual distance it is a drip."""
    drop_mm2: float = 12.0
    """Largest drop: 4 mm across."""
    splash_mm2: float = 60.0
    """Largest splash: 9 mm across."""
    fingerprint_mm2: float = 500.0
    """Largest fingerprint: 25 mm across..."""
    fingerprint_elongation: float = 1.8
    """... and its largest elongation."""


@dataclass(frozen=True, kw_only=True)
class MeasureSettings:
    """Numbers of stage 5, `measure_plumes`."""

    halo_frac: float = 0.15
    """Filtered wetness from which a cell weighs in a plume's centroid and axis: the halo helps the
    axis, but not where the paper's own noise is all there is."""
    most_weight: float = 1.2
    """Largest weight of a cell, in wetness."""
    end_percentile: float = 1.0
    """Percentile of a plume's wetted cells, from either end, at which its ends and flanks lie."""
    peak_percentile: float = 90.0
    """Percentile of their wetness that stands for the plume's wettest part."""
    slope_step_frac: float = 0.15
    """Half the step of threshold over which an area's change is taken: down to the halo and up to
    nearly half full, so that a pale tail shows (of 0.05 to 0.2, and of an uneven step, 0.15 gave
    the narrowest intervals at equal coverage)."""
    off_radial_deg: float = 15.0
    """Angle between axis and ray from which a plume is flagged."""
    border_cells: int = 4
    """More cells than this against the border of what can be judged: the plume runs over it."""
    outline_cells: float = 0.75
    """Tolerance of the outline whose length is taken: the staircase of the cells is not
    roughness."""

    # -- directions
    own_direction_deg: float = 0.12
    """Standard scatter of a plume's centroid about its hole's direction, from the randomness of the
    spray and the paper (simulated cards with the true centre show 0.10 to 0.15)..."""
    few_drops_mm2: float = 60.0
    """... and the area at which that variance doubles: few drops."""
    cut_direction_deg: float = 0.8
    """The same of a plume cut from its neighbour (chosen: a tenth of a 10-degree wide flank)..."""
    merged_direction_deg: float = 3.0
    """... and of two in one (chosen: a quarter of a neighbour's distance)."""
    warp_frac: float = 0.3
    """The part of the card's geometric uncertainty that is not a shift of all."""
    edge_turn_deg: float = 0.15
    """Standard uncertainty of the sheet's own edges as a reference of the whole turn."""

    # -- areas
    texture_frac: float = 0.025
    """Relative standard uncertainty of an area whatever the edge: paper texture and the randomness
    of wicking. This and the next six were chosen on 892 plumes of 160 drawn cards and 352 of
    photographs with known truth, where 96 and 99 of 100 intervals hold the share: with the bend of
    the modelled paper, the wettest part and flat light as further terms they were no narrower."""
    cut_frac: float = 0.035
    """The same for a plume cut from its neighbour: where the cut runs is a guess (chosen because
    pairs that touch on simulated cards traded 3 to 5 % of their area)..."""
    edge_frac: float = 0.15
    """... for one that runs over the sheet's edge..."""
    merged_frac: float = 0.25
    """... and for two in one (chosen: part of it is not there to be counted)."""
    level_floor_frac: float = 0.010
    """Standard error of the wetness under a plume: a floor..."""
    level_by_noise: float = 0.3
    """... a share of the map's noise..."""
    level_by_background: float = 0.9
    """... and a share of what the map scatters around the plume..."""
    usual_background: float = 0.03
    """... beyond that of plain paper: halo and grain (simulated cards)."""
    around_mm: tuple[float, float] = (1.0, 6.0)
    """What counts as around a plume, in mm from where its halo ends..."""
    around_cell_mm: float = 0.5
    """... seen on no finer cells than this..."""
    around_least_cells: int = 20
    """... and on no fewer."""
    fuller_frac: float = 0.5
    """Half full: a plume whose area is large at the common threshold and not so here has something
    pale joined to it, such as a shadow..."""
    usual_pale: float = 0.1
    """... where the two log areas, over the middle plume's, differ by more than this (two standard
    deviations of healthy plumes on simulated cards)."""
    solid_frac: float = 0.75
    """Share of its hull that a plume's largest piece fills at least (chosen: healthy and weak
    plumes of simulated cards fill 0.8 to 0.97). One that fills less is hollowed by sheen on the wet
    paper, or a part of it is missing: what lacks to the hull is uncertain."""


WETNESS = WetnessSettings()
PLUMES = PlumeSettings()
MEASURE = MeasureSettings()
