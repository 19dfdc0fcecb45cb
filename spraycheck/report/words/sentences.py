"""Every sentence, phrase and heading of the reports that is not a finding, a label or an error.

An entry is one sentence with named fields; those that count something have an entry ``.one`` for
one and ``.many`` for several.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Final

from spraycheck.report.words.numbers import fill

CAUTION: Final = (
    "The jet goes through skin, eyes and gloves. Cover closed and hands out while spraying; "
    "pressure released and zero on the gauge before opening; eye protection on. Injected fuel is "
    "a surgical emergency even if it does not hurt. Oil mist burns; wet cards are combustible "
    "waste."
)
"""The caution that goes with every result a person reads."""

AID: Final = (
    "This verdict is an aid, not a certificate. The maker's manual, local rules and licensed "
    "practice decide."
)
"""What a verdict does not mean; goes with every result a person reads."""

SENTENCES: Final[Mapping[str, str]] = MappingProxyType(
    {
        # -- headings
        "findings": "What was found, and what to do",
        "certainty": "How sure",
        "safety": "Safety",
        "not-measured": "NOT MEASURED",
        "before-after": "Before and after",
        # -- headline
        "clear": "{clear} of {holes} clear",
        "clear-over": "{clear} of {holes} clear over {shots}",
        "shots.one": "{count} shot",
        "shots.many": "{count} shots",
        "shots-photos": "{shots}, {photos} photos",
        "plumes-not.one": "{count} plume, not {expected}",
        "plumes-not.many": "{count} plumes, not {expected}",
        "patch-seen": "{seen} patch",
        "patch-wide": "{seen}, {diameter:.0f} mm",
        "hollow": "hollow",
        "filled": "filled",
        "file-against": "{file} against {name}",
        "files-against": "{before} and {after} against {name}",
        "against": "against {name}",
        "axial-name": "{name} ({kind})",
        # -- what decided
        "hole-state": "hole {hole} {state}",
        "hole-state-value": "hole {hole} {state} ({value})",
        "holes-state.one": "hole {holes} {state}",
        "holes-state.many": "holes {holes} {state}",
        "more-holes-state": "{holes} {state}",
        "pass-off": "off by {value:.1f}° at most",
        "pass-wets": "holes wet {low:.0%} to {high:.0%}",
        "pass-value": "{name} {value}",
        "near-limit": "too close to a limit to tell",
        "near-limits": "too close to the limit: {values}",
        "see-findings": "see the findings",
        "no-limit": "no limit is held",
        "no-hole-limit": "no limit of a hole is held",
        "faulty-holes": "{count} faulty holes",
        "intermittent": "intermittent",
        "merged": "merged",
        "stray": "stray",
        "plume": "plume {plume}",
        "more": "{count} more",
        # -- table headings
        "head-hole": "hole",
        "head-plume": "plume",
        "head-direction": "direction",
        "head-clock": "clock",
        "head-off": "off by",
        "head-next": "to next",
        "head-share": "share",
        "head-wets": "wets",
        "head-reach": "reach mm",
        "head-area": "area mm²",
        "head-state": "state",
        "head-value": "value",
        "head-measured": "measured",
        "head-limit": "limit",
        "head-shots": "shots",
        "head-scatter": "scatter",
        "head-each": "each photo",
        "head-any": "of any hole",
        "head-mean": "mean",
        "head-photo": "photo",
        "head-card": "card",
        "head-verdict": "verdict",
        "head-before": "before",
        "head-after": "after",
        "head-difference": "difference",
        # -- cells
        "at-least": "at least {value}",
        "at-most": "at most {value}",
        "range": "{low} to {high}",
        "surely": "{value} !",
        "changed-states": "{change} ({before} to {after})",
        # -- notes under tables
        "note-holes": "Angles in degrees, clockwise from 12 o'clock on the card, + is clockwise. "
        "wets: wetted area against what the hole should wet.",
        "note-missing": "( ): where the hole should spray.",
        "note-u": "± holds 95 %.",
        "note-plumes": "Angles in degrees, clockwise from 12 o'clock.",
        "note-axial": "± holds 95 %. heavy side: share of the fluid on the heavier half{towards}. "
        "streaks: unevenness around the patch. wet middle: against the wettest ring. form factor: "
        "1 is a circle. off the aim, hollow off middle: against the patch's diameter.",
        "note-towards": ", here towards {direction:hour} on the card's clock",
        "note-shots": "Means over all; angles in degrees, + is clockwise. wets: wetted area "
        "against what the hole should wet. ± holds 95 %. scatter: standard deviation from shot to "
        "shot.",
        "note-one-card": "Means over all; angles in degrees, + is clockwise. wets: wetted area "
        "against what the hole should wet. ± holds 95 %. scatter: standard deviation from photo "
        "to photo.",
        "note-worst": "Mean over the shots of each shot's worst hole: no hole's own mean is worse, "
        "whichever hole of one shot is which of another. ± holds 95 %.",
        "note-changes": "Holes as numbered on the first photo; angles in degrees, + is clockwise. "
        "wets: wetted area against what the hole should wet. ± holds 95 %. !: surely changed.",
        "alone-before": "Before, by itself: {verdict}.",
        "alone-after": "After, by itself: {verdict}.",
        # -- findings
        "about-hole": "Hole {hole}: {title}",
        "do-as-under": "Do as under {number}.",
        "may-come-from": "May come from: {causes}.",
        # -- how sure: holes
        "centre-mm": "Centre known to ± {radius:.1f} mm (95 %), {cue}.",
        "centre-px": "Centre known to ± {radius:.0f} photo pixels (95 %), {cue}.",
        "found-by": "by {method}",
        "card-found-by": "Card found by {method}",
        "directions": "Directions {span} against one another.",
        "directions-turn": "Directions {span} against one another; the whole pattern's turn "
        "± {turn:.1f}°.",
        "shares": "Shares of the whole wetted area {span}.",
        "span": "± {low}{unit}",
        "span-range": "± {low} to {high}{unit}",
        "lined-up": "12 o'clock on the card was lined up with the {feature}: the whole pattern is "
        "turned by {turn:signed}° (± {u:.1f}°).",
        "lined-up-limit": "12 o'clock on the card was lined up with the {feature}: the whole "
        "pattern is turned by {turn:signed}° (± {u:.1f}°, limit {limit:.1f}°).",
        "angle": "With the tip {height:g} ± {height_u:g} mm over the card: spray angle {angle:.0f} "
        "± {angle_u:.0f}°; from the nozzle axis, ± {each_u:.1f}°: {each}.",
        "angle-tilt": "Nozzle {tilt:.1f} ± {tilt_u:.1f}° off square, spray leaning towards "
        "{towards:hour}.",
        "angle-hole": "hole {hole} {angle:.1f}",
        "angle-hole-asked": "hole {hole} {angle:.1f} (layout {asked:.1f})",
        "spots": "Also on the card, not counted as spray: {spots}.",
        "counted": "{count} {what}",
        "hole-flag": "Hole {hole}: {meaning}.",
        "plume-flag": "Plume {plume}: {meaning}.",
        # -- how sure: axial
        "patch": "Patch {diameter:.1f} ± {diameter_u:.1f} mm across, wetted area {area:.0f} "
        "± {area_u:.0f} mm².",
        "aim": "Aim: {aim}; the patch lies {offset:.0%} of its diameter off it, towards "
        "{direction:hour}.",
        "aim-mm": "Aim: {aim}; the patch lies {offset:.0%} of its diameter, {distance:.1f} mm off "
        "it, towards {direction:hour}.",
        "full-angle": "Full spray angle {angle:.0f} ± {u:.0f}°; soaking widens the patch, so "
        "rather less.",
        "full-angle-asked": "Full spray angle {angle:.0f} ± {u:.0f}° (nozzle {asked:.0f}°); "
        "soaking widens the patch, so rather less.",
        "probability-judged": "Probability that every judged limit is kept: {chance:chance}.",
        # -- how sure: several shots
        "matched": "Holes matched {how} (probability {chance:chance}); turned against the first "
        "photo by {turns}.",
        "not-matched": "Holes not matched: {why}.",
        "matched-pair": "Holes matched {how} (probability {chance:chance}); the second pattern is "
        "turned by {turn:signed}° against the first.",
        "not-matched-pair": "Holes cannot be matched surely: {why}. What any hole did at least is "
        "told above. To follow holes, spray printed target cards laid down the same way, or leave "
        "the injector in its holder and give the card's turn with --turn.",
        "one-card": "One card, photographed more than once: only what the photos add is averaged. "
        "How far one shot differs from the next stays in the uncertainty.",
        "widened": "The shots scatter {factor:.1f} times as far in their {what} as each photo's "
        "uncertainty explains; the uncertainties were widened by as much.",
        "photo-scatter": "Photos of one card scatter {share:.0%} of a single photo's uncertainty "
        "in their {what}.",
        "what-directions": "directions",
        "what-areas": "areas",
        "probability": "Probability that the nozzle keeps every limit: {chance:chance}.",
        "probability-least": "Probability that the nozzle keeps every limit: at least "
        "{chance:chance}.",
        "difference-u": "What both photos share, such as the holes' own scatter, is left out of a "
        "difference's uncertainty. The chance that anything called sure is none is {risk:.0%} for "
        "all values together.",
        "one-stroke": "One stroke differs from the next: a change seen on one card each may be the "
        "stroke's. Two or three cards each tell more.",
        # -- comparison in one line
        "holes-changed.one": "hole {holes} {change}",
        "holes-changed.many": "holes {holes} {change}",
        "none-changed": "no sure change",
        "some-unchanged": "{count} without sure change",
        "unmatched-pair": "holes cannot be matched surely; {driest}",
        "which-hole": "Which hole is which cannot be told",
        "driest-unknown": "the driest hole is not known on both",
        "driest-alike": "the driest hole wets {range}, no sure change",
        "driest-better": "the driest hole wets {range}, surely better",
        "driest-worse": "the driest hole wets {range}, surely worse",
        "least": "wets, least",
        "most": "wets, most",
        "furthest": "furthest off by",
        # -- how sure: every report
        "sheet": "{found}, {width:g} × {height:g} mm.",
        "sheet-unsized": "{found}; its size is not known.",
        "printed": "Target card {paper}{asked}{whose}: {seen} of {total} markers, "
        "{residual:.2f} mm off; lengths ± {scale_u:.1%}, {line}. 12 o'clock is its index arrow.",
        "printed-asked": ", not {sheet} as asked for",
        "printed-whose": " ({names})",
        "job": "job {name}",
        "injector": "injector {name}",
        "line-measured": "its check line as measured",
        "line-unmeasured": "its check line not measured",
        "photo": "Photo: {parts}.",
        "photo-edges-mm": "edges sharp to {edge:.1f} mm",
        "photo-edges": "edges sharp to {edge:.0%} of a plume's width",
        "photo-pixels": "a plume {width:.0f} pixels wide",
        "photo-view": "seen {view:.0f}° off square",
        "photo-light": "darkest paper {evenness:.0%} as light as the brightest",
        "photo-time": "taken {minutes:.0f} min after spraying",
        "limits": "Limits, {name}: {held}. They are settings to be agreed, not a standard; --json "
        "tells where each comes from.",
        "limits-off": "{held}; not held: {off}",
        "limit": "{name} {value}",
        "limits-named": "Limits, {name}. They are settings to be agreed, not a standard; --json "
        "tells where each comes from.",
        "smallest": "smallest {name}",
        "largest": "largest {name}",
        # -- on pictures
        "picture-result": "The photo with everything found drawn on it",
        "picture-changes": "Both patterns over one another: before dashed, after solid",
        "twelve": "12 o'clock",
        "by-direction": "fluid by direction",
        "foot-holes": "wets: of what it should  |  off by: + is clockwise  |  long arrow: wets "
        "more",
        "foot-plumes": "direction: clockwise from 12 o'clock  |  share: of the wetted area",
        "foot-mm": "centre ± {radius:.1f} mm  |  {caution}",
        "foot-px": "centre ± {radius:.0f} photo pixels  |  {caution}",
        "foot-axial": "± holds 95 %  |  {caution}",
        "foot-caution": "an aid, not a certificate  |  the jet goes through skin",
        "foot-changes": "holes as numbered before  |  + is clockwise",
        "foot-by-reach": "sizes matched by the plumes' reach  |  holes as numbered before  |  "
        "+ is clockwise",
        "label-heavy-side": "heavy side {share:.0%}",
        "label-aim": "aim",
        "label-aim-off": "aim, patch {share:.0%} off",
        "label-beside": "beside",
        "label-drip": "drip",
        "label-holes": "{holes} {what}",
        "label-before": "before {hole}",
        "label-change": "{hole} {change}",
        "label-change-value": "{hole} {change}: {value}",
        "head-wets-pair": "wets, before to after",
        "head-off-pair": "off by, degrees",
    }
)


def say(key: str, /, **fields: object) -> str:
    """Return a sentence of the catalogue with its fields filled in."""
    return fill(SENTENCES[key], **fields)


def say_count(key: str, count: int, /, **fields: object) -> str:
    """Return the sentence for one or for several; ``count`` is a field of it."""
    return say(f"{key}.{'one' if count == 1 else 'many'}", count=count, **fields)


def listed(parts: Sequence[str]) -> str:
    """Join words with commas and a last "and"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
