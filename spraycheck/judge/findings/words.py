"""Words for the members of enumerations: why something cannot be told, and what settles it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from spraycheck.judge.result import Doubt, Hole, HoleState, LimitCheck, Matching, Remedy

DOUBTS_IN_WORDS: Final[Mapping[Doubt, str]] = MappingProxyType(
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

REMEDIES_IN_WORDS: Final[Mapping[Remedy, str]] = MappingProxyType(
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

VALUES_IN_WORDS: Final[Mapping[str, str]] = MappingProxyType(
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

AS_NUMBER: Final = frozenset(
    ("ellipse_low_ratio", "form_factor_low_ratio", "core_hollow_ratio", "core_filled_ratio")
)
"""Limits of an axial spray that are written as plain numbers; the other shares as percentages."""


def doubt_in_words(doubt: Doubt, limit: str = "", shots: int = 1) -> str:
    """Say why something cannot be told.

    Parameters
    ----------
    doubt : Doubt
        Why.
    limit : str
        Of the value that is doubted, where it is one.
    shots : int
        How many photos were judged together.
    """
    many = "even for all photos together" if shots > 1 else "for this photo"
    return DOUBTS_IN_WORDS[doubt].format(what=VALUES_IN_WORDS.get(limit, "value"), photos=many)


def hole_in_words(hole: Hole, shots: int = 1) -> str:
    """Say why a hole is unsure; empty where it is not."""
    if not hole.doubts:
        return ""
    return doubt_in_words(hole.doubts[0], hole.check.limit if hole.check else "", shots)


def matching_in_words(matching: Matching) -> str:
    """Say why holes could not be matched surely; empty where they could."""
    return "; ".join(doubt_in_words(doubt) for doubt in matching.doubts)


def check_in_words(check: LimitCheck) -> str:
    """Say why a check is not asked; empty where it is."""
    from spraycheck.judge.checks import waived

    return doubt_in_words(check.doubts[0]) if waived(check.doubts) else ""


def figure(limit: str, value: float) -> str:
    """Write a value of an axial spray the way its limit is written."""
    if limit.endswith("_deg"):
        return f"{value:.0f}°"
    return f"{value:.2f}" if limit in AS_NUMBER else f"{value:.0%}"


Told = tuple[str, HoleState, float]
"""A photo's name, a hole's state on it, and the value that its fault is about."""


def intermittent_in_words(
    state: HoleState, faulty: Sequence[Told], sound: Sequence[Told], followed: bool
) -> str:
    """Say on which photos a hole is faulty and on which it is sound.

    Parameters
    ----------
    state : HoleState
        Of the fault.
    faulty, sound : sequence of (str, HoleState, float)
        What each photo shows.
    followed : bool
        Whether the hole could be followed from photo to photo.
    """
    first = f"{_value(state, faulty[0])} on {_and([name for name, _, _ in faulty])}"
    if not followed:
        names = _and([name for name, _, _ in sound])
        return f"{first} (numbered as there), but nothing like it shows on {names}"
    return f"{first}, but {_and([f'{_value(state, one)} on {one[0]}' for one in sound])}"


def _value(state: HoleState, told: Told) -> str:
    _, own, value = told
    if own is HoleState.BLOCKED:
        return "blocked"
    text = f"{value:+.1f}°" if state is HoleState.OFF_LINE else f"{value:.0%}"
    return f"{own} ({text})" if own.faulty else text


def _and(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
