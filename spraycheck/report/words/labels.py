"""Words for the members of closed sets: states, verdicts, doubts, remedies, limits, flags.

One line for every member, but where the members are words themselves. Adding one elsewhere fails
the tests until it has its line here.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from spraycheck import flags
from spraycheck.judge.result import (
    Doubt,
    HoleState,
    MatchedBy,
    Outcome,
    Remedy,
    Verdict,
    Way,
)

VERDICTS: Final[Mapping[Verdict, str]] = MappingProxyType(
    {verdict: verdict.value.upper() for verdict in Verdict}
)
STATES: Final[Mapping[HoleState, str]] = MappingProxyType({one: one.value for one in HoleState})
OUTCOMES: Final[Mapping[Outcome, str]] = MappingProxyType({one: one.value for one in Outcome})
CHANGES: Final[Mapping[Way, str]] = MappingProxyType({one: one.value for one in Way})
"""The values of these sets are plain English words already; another language lists its own."""

DOUBTS: Final[Mapping[Doubt, str]] = MappingProxyType(
    {
        Doubt.LAYOUT_MISFIT: "the pattern does not fit",
        Doubt.QUALITY_LIMIT: "the photo is beyond a limit of quality",
        Doubt.RUNS_INTO_ANOTHER: "its plume runs into another one",
        Doubt.RUN_TOGETHER: "plumes run together",
        Doubt.OVER_EDGE: "its plume runs over the edge of the card or photo",
        Doubt.FADING_LIGHT: "the plumes grow paler towards it: the light may hide its spray",
        Doubt.MAY_BE_SHADOW: "what looks wet there may be a shadow",
        Doubt.NOTHING_TO_COMPARE: "no plume to compare with",
        Doubt.OUT_OF_VIEW: "its place lies outside the card or photo, under glare or under "
        "something on the card",
        Doubt.TOO_FAINT: "the photo is too faint to show a weak plume",
        Doubt.MAY_LOOK_DRY: "wet paper may look dry on this photo",
        Doubt.OBJECT_LEFT_OUT: "something dark on the card was left out and may be its plume",
        Doubt.UNDER_STAIN: "a large stain lies where its plume should be",
        Doubt.NEAR_LIMIT: "its {what} lies too close to the limit {photos}",
        Doubt.NEAR_LIMIT_TOGETHER: "its {what} lies too close to the limit {photos}, all holes "
        "taken together",
        Doubt.SHEET_EDGES: "the place of the sheet's edges is most of the doubt",
        Doubt.MARKERS: "the place of the card's markers is most of the doubt",
        Doubt.NOISE: "the photo's noise is most of the doubt",
        Doubt.INTERMITTENT: "intermittent",
        Doubt.NOT_FOLLOWED: "holes could not be followed from shot to shot",
        Doubt.ARROWS_DISAGREE: "the index arrows and the patterns disagree",
        Doubt.TURNS_DISAGREE: "the turns given and the patterns disagree",
        Doubt.NO_FEATURE: "the patterns show no feature to go by: any turn of one against the "
        "other fits about as well",
        Doubt.NO_OUTLINE: "the patch's whole outline cannot be seen on the sheet",
        Doubt.SEVERAL_PLUMES: "the card shows several plumes",
        Doubt.SOAKED_OVER: "a hollow may have soaked over",
        Doubt.OPEN_HOLLOW: "the hollow is not closed",
        Doubt.SOAKED_ENDS: "paper that soaks leaves angles open",
        Doubt.LIMIT_OFF: "the limit is off",
        Doubt.NEED_NOT_BE_FILLED: "the spray need not be filled",
        Doubt.NEED_NOT_BE_HOLLOW: "the spray need not be hollow",
        Doubt.NO_HOLLOW: "no closed hollow to be seen",
        Doubt.NO_AIM: "no aim on the card",
        Doubt.NO_HEIGHT: "the tip's height or the nozzle's angle is not known",
        Doubt.FEW_POPS: "fewer than two pops are left after the first ones, so their scatter is "
        "not known",
        Doubt.GAUGE_OVERDUE: "the gauge's calibration was overdue",
        Doubt.GAUGE_UNDATED: "it is not known when the gauge is due for calibration",
        Doubt.HELD_LOW: "the seat was held at less pressure than asked for",
        Doubt.HELD_HIGH: "the seat was held at more pressure than asked for",
        Doubt.HELD_SHORT: "the seat was held for less time than asked for",
        Doubt.HELD_LONG: "the seat was held for longer than asked for, and when it dropped is not "
        "known",
        Doubt.OFF_CONDITIONS: "pressure or temperature were not those asked for, or not noted",
        Doubt.SEVERAL_GAUGES: "not all of it was read from one gauge",
    }
)
"""Why something cannot be told, or is not asked; ``{what}`` is a value's name."""

REMEDIES: Final[Mapping[Remedy, str]] = MappingProxyType(
    {
        Remedy.ANOTHER_SHOT: "Spray a second card and give both photos together with --combine.",
        Remedy.ONE_MORE_SHOT: "Spray one more card and give its photo together with these.",
        Remedy.ANOTHER_PHOTO: "Photograph this card once more, square-on from above in even light.",
        Remedy.DRY_PHOTO: "Photograph this card again in even light; next time photograph it "
        "before spraying too and give that photo with --dry.",
        Remedy.PRINTED_CARD: "Photograph this card once more, square-on; next time spray a printed "
        "target card.",
        Remedy.WHOLE_CARD: "Photograph the whole card, or spray a fresh one with the nozzle over "
        "its middle.",
        Remedy.READ_AGAIN: "Cover closed and hands out: read it again and more often, on one gauge "
        "and under the conditions asked for.",
        Remedy.HOLD_AGAIN: "Release the pressure and read zero on the gauge first, wipe the tip, "
        "close the cover, and hold again at the pressure and for the time asked for.",
        Remedy.CHECK_GAUGE: "Have the gauge checked against a calibrated one, and note when it is "
        "due next.",
    }
)
"""What settles a doubt, as the next step of a finding."""

MATCHED_BY: Final[Mapping[MatchedBy, str]] = MappingProxyType(
    {
        MatchedBy.ARROW: "by the cards' index arrows",
        MatchedBy.TURN: "by the turn given",
        MatchedBy.LAYOUT: "by the layout, which fits one way only",
        MatchedBy.PATTERN: "by best fit of the patterns",
        MatchedBy.PICTURE: "by the shape of the wet patches, all on one card",
        MatchedBy.NONE: "not",
    }
)

VALUES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "direction_deg": "direction",
        **dict.fromkeys(("area_low_ratio", "area_high_ratio"), "wetted area"),
        **dict.fromkeys(("width_low_ratio", "width_high_ratio"), "plume's width"),
        **dict.fromkeys(("reach_low_ratio", "reach_high_ratio"), "reach"),
        "ellipse_low_ratio": "the axis ratio",
        "form_factor_low_ratio": "the form factor of the outline",
        "heavy_side_frac": "the share on the heavy side",
        "streak_frac": "the unevenness around the patch",
        **dict.fromkeys(("core_hollow_ratio", "core_filled_ratio"), "the wetness in the middle"),
        "hollow_offset_ratio": "the offset of the hollow",
        "offset_ratio": "the distance from the aim",
        "side_frac": "the share beside the patch",
        "spray_angle_deg": "the spray angle",
    }
)
"""Limit to what the value it holds is called in a sentence."""

AXIAL_ROWS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "ellipse_low_ratio": "axis ratio",
        "form_factor_low_ratio": "form factor",
        "heavy_side_frac": "heavy side",
        "streak_frac": "streaks",
        "core_hollow_ratio": "wet middle",
        "core_filled_ratio": "wet middle",
        "hollow_offset_ratio": "hollow off middle",
        "offset_ratio": "off the aim",
        "side_frac": "beside the patch",
        "spray_angle_deg": "spray angle off",
    }
)
"""Limit of an axial spray to what the row of its value is called."""

WORST_ROWS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "direction_deg": "furthest off by",
        "area_low_ratio": "wets, least",
        "area_high_ratio": "wets, most",
        "width_low_ratio": "width, least",
        "width_high_ratio": "width, most",
        "reach_low_ratio": "reach, least",
        "reach_high_ratio": "reach, most",
    }
)
"""Limit of a hole to what the row of the worst hole's value is called."""

AIMS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "printed": "the printed card's aim",
        "centre": "the middle of the sheet",
        "given": "the place given",
    }
)
"""Where the aim comes from."""

CENTRES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "axes": "from where the plume axes meet",
        "axes+ring": "from the plume axes and the ring of plumes",
        "ring": "from the ring of plumes",
    }
)
"""What the centre was found by."""

SHEETS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "sheet": "Sheet found",
        "sheet-cropped": "Sheet found, partly outside the photo",
        "none": "No sheet edge found",
        "printed-card": "Target card found",
    }
)
"""How the sheet was found."""

SPOTS: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "drip": ("drip", "drips"),
        "drop": ("drop", "drops"),
        "splash": ("splash", "splashes"),
        "fingerprint": ("fingerprint", "fingerprints"),
        "stain": ("stain", "stains"),
        "thing": ("thing", "things"),
    }
)
"""What lies on the card beside spray: one, and several."""

FLAGS: Final[Mapping[str, str]] = MappingProxyType(
    {
        flags.REDUCED: "the photo was decoded at reduced scale; pixels are still those of the "
        "full photo",
        flags.LOSSY_COPY: "the photo looks like a re-compressed or messenger copy",
        flags.NO_FOCAL_LENGTH: "the photo does not state its focal length; a usual phone lens was "
        "assumed",
        flags.GREY_PHOTO: "the photo has no colour",
        flags.FLASH: "the flash fired: oil-wet paper mirrors it, which makes plumes read too small",
        flags.LATE: "the photo was taken long after spraying; wet rims creep on",
        flags.NO_SCALE: "the size of the sheet is not known: no value is given in mm",
        flags.NO_SHEET: "no sheet edge was found: the photo was taken as if square-on",
        flags.SHEET_CROPPED: "part of the sheet lies outside the photo",
        flags.SHEET_CURLED: "the sheet is curled; its curved edges were used to flatten it",
        flags.ASPECT_ASSUMED: "the sheet's proportions were taken from the nearest standard format",
        flags.OBLIQUE: "the camera looked at the card from the side",
        flags.LOW_RESOLUTION: "few photo pixels per mm on the card",
        flags.UNEVEN_CARD: "the card's markers do not lie as on flat or curled paper: creased or "
        "torn",
        flags.LABEL_UNREAD: "the card's QR code could not be read",
        flags.SCALE_AS_PRINTED: "the card's 100 mm line was not measured; the printer's scale is "
        "taken as "
        "true within 1 %",
        flags.SHEET_AS_PRINTED: "the size of the sheet that was asked for is not the one that the "
        "card's own "
        "print says; what the print says was taken",
        flags.DARK: "the card is under-exposed",
        flags.CLIPPED: "parts of the card are over-exposed",
        flags.GLARE: "a lamp is mirrored on the card",
        flags.BLURRED: "the photo is not sharp",
        flags.NOISY: "the photo is noisy",
        flags.FAINT: "the spray is barely darker than the paper",
        flags.THING_ON_CARD: "something on the card is far too dark for spray and was left out",
        flags.THING_OVER_EDGE: "something lies over the sheet's edge and was left out",
        flags.TOO_WET: "the card is flooded",
        flags.WEAK_STROKE: "too little spray: no plume is wet through",
        flags.RING_DROPPED: "the plumes do not lie on one ring; the plume axes alone gave the "
        "centre",
        flags.FEW_PLUMES: "fewer than three plumes to locate the centre from",
        flags.CENTRE_WIDE: "the centre is uncertain",
        flags.MERGED: "two or more plumes run together and could not be separated",
        flags.AT_SHEET_EDGE: "the plume runs over the edge of the sheet or photo",
        flags.UNDER_PRINT: "print or handwriting crosses the plume",
        flags.OFF_RADIAL: "the plume does not point away from the centre",
    }
)
"""Flag to its meaning in plain words; the documentation and the tests read this table."""

LIMITS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "direction_deg": "direction",
        "rotation_deg": "rotation",
        "spacing_deg": "spacing",
        **dict.fromkeys(("area_low_ratio", "area_high_ratio"), "area"),
        "area_spread_ratio": "area spread",
        "stray_frac": "stray",
        **dict.fromkeys(("width_low_ratio", "width_high_ratio"), "width"),
        **dict.fromkeys(("reach_low_ratio", "reach_high_ratio"), "reach"),
        "centre_offset_mm": "centre offset",
        "drip_frac": "drip",
        "spray_angle_deg": "spray angle",
        "tilt_deg": "tilt",
        "ellipse_low_ratio": "axis ratio",
        "form_factor_low_ratio": "form factor",
        "heavy_side_frac": "heavy side",
        "streak_frac": "streak",
        "core_hollow_ratio": "core hollow",
        "core_filled_ratio": "core filled",
        "hollow_offset_ratio": "hollow offset",
        "offset_ratio": "offset",
        "side_frac": "side",
        "risk": "risk",
    }
)
"""Limit to its name in a list of limits; the ends of one range share theirs."""
