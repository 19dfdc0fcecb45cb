"""Findings about the pattern of a multi-hole nozzle and about its single holes."""

from __future__ import annotations

from typing import Final

from spraycheck.report.words.kinds import FRESH, FRESH_CARD, RELEASE, FindingKind

PATTERN_KINDS: Final = (
    FindingKind(
        code="count-does-not-fit",
        title="Number of holes does not fit",
        about="card",
        text="{expected:d} holes were asked for, but the card shows {found:d} plumes and they do "
        "not fit that pattern; no hole is judged.",
        causes=(
            "the wrong number of holes or the wrong layout was given",
            "two patterns or two strokes on one card",
            "a card of another nozzle",
        ),
        next_step="Count the holes in the nozzle tip, give that number or the right layout, and "
        "run this photo again.",
    ),
    FindingKind(
        code="mirrored-layout",
        title="Layout looks mirrored",
        about="card",
        text="The layout fits clearly better when it is mirrored (misfit {as_given_deg:.1f}° as "
        "given, {mirrored_deg:.1f}° mirrored). It was not turned over for you.",
        causes=(
            "the drawing shows the tip from below while the card is seen from the injector's side",
            "the layout belongs to another nozzle",
        ),
        next_step='If the drawing is seen from the tip, put seen_from = "tip" at the top of the '
        "layout file and run this photo again.",
    ),
    FindingKind(
        code="hole-blocked",
        title="Blocked",
        about="hole",
        text="Hole {hole} left no spray where it should, near {expected_deg:clock} "
        "({expected_deg:.0f}°).",
        causes=("deposit or dirt in the hole", "the hole is deformed or closed by damage"),
        next_step=f"{RELEASE} Clean the hole the way the nozzle's maker allows, without widening "
        "it, and spray a fresh card. If it stays blocked, replace the nozzle.",
    ),
    FindingKind(
        code="hole-off-line",
        title="Off-line",
        about="hole",
        text="Hole {hole} sprays {value:turn} of where it should (± {u:.1f}°, limit {limit:.1f}°).",
        causes=(
            "deposit at one side of the hole's mouth",
            "damaged or worn hole edge",
            "bent or damaged tip",
        ),
        next_step=f"{RELEASE} Clean the tip and look at the hole's mouth under a magnifier, then "
        "spray a fresh card. If the plume comes back to the same wrong place, replace the nozzle.",
    ),
    FindingKind(
        code="hole-weak",
        title="Weak",
        about="hole",
        text="Hole {hole} wets only {value:.0%} of what it should (± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit that partly closes the hole",
            "needle not lifting squarely",
            "stroke too slow or not full",
        ),
        next_step=f"{RELEASE} Clean the hole the way the nozzle's maker allows, without widening "
        "it, and spray a fresh card. Weak again at the same hole: it is the nozzle, not the "
        "stroke.",
    ),
    FindingKind(
        code="hole-heavy",
        title="Heavy",
        about="hole",
        text="Hole {hole} wets {value:.0%} of what it should (± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "hole widened by wear or by cleaning",
            "the other holes are partly closed",
            "an uneven or tilted card",
        ),
        next_step=f"{FRESH}, the nozzle square to it. Heavy again at the same hole: compare with "
        "a known good nozzle and the maker's data. A widened hole cannot be cleaned back: replace "
        "the nozzle.",
    ),
    FindingKind(
        code="hole-solid-stream",
        title="Solid stream",
        about="hole",
        text="Hole {hole} throws a narrow stream, {value:.0%} as wide as its neighbours "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit in the hole that keeps the fuel from breaking up",
            "opening pressure too low",
            "needle sticking or lifting slowly",
        ),
        next_step=f"{RELEASE} Clean the tip, check the opening pressure, and spray a fresh card. A "
        "stream again at the same hole: replace the nozzle.",
    ),
    FindingKind(
        code="hole-bushy",
        title="Bushy",
        about="hole",
        text="Hole {hole} sprays {value:.0%} as wide as its neighbours (± {u:.0%}, limit "
        "{limit:.0%}), or in two tongues.",
        causes=("damaged or worn hole edge", "deposit at the hole's mouth that splits the jet"),
        next_step=f"{RELEASE} Clean the tip and look at the hole's mouth under a magnifier, then "
        "spray a fresh card. Bushy again at the same hole: replace the nozzle.",
    ),
    FindingKind(
        code="hole-short",
        title="Short",
        about="hole",
        text="Hole {hole} reaches only {value:.0%} as far as it should beside its neighbours "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit that partly closes or bends the jet",
            "nozzle not square to the card",
            "damaged hole edge",
        ),
        next_step=f"{RELEASE} Clean the tip, set the injector square to the card and spray a fresh "
        "one.",
    ),
    FindingKind(
        code="hole-long",
        title="Long",
        about="hole",
        text="Hole {hole} reaches {value:.0%} as far as it should beside its neighbours "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=("damaged hole edge", "bent or worn tip", "nozzle not square to the card"),
        next_step=f"{RELEASE} Set the injector square to the card and spray a fresh one. Long "
        "again at the same hole: look at the tip under a magnifier.",
    ),
    FindingKind(
        code="hole-intermittent",
        title="Intermittent",
        about="hole",
        text="Hole {hole} is {state} in some shots only: {seen}.",
        causes=(
            "dirt or deposit that moves in the tip",
            "needle sticking, or not lifting squarely every time",
            "a stroke that was slow or not full",
            "a fold, a drop or a finger on that one card",
        ),
        next_step=f"{FRESH}; do so twice more and give all photos together. Faulty again now and "
        "then: clean the tip the way the nozzle's maker allows and check that the needle moves "
        "freely.",
    ),
    FindingKind(
        code="hole-unsure",
        title="Cannot tell",
        about="hole",
        text="Hole {hole} cannot be judged from {photos}: {reason}.",
        causes=(
            "the value lies too close to its limit",
            "the photo or the card is too poor",
        ),
        next_step="{settle}",
    ),
    FindingKind(
        code="stray-spray",
        title="Spray outside the pattern",
        about="card",
        text="A plume near {direction_deg:clock} ({direction_deg:.0f}°) with {area_frac:.0%} of "
        "the wetted area belongs to no hole.",
        causes=(
            "the nozzle has more holes than were given",
            "a hole's damaged mouth throws a second jet",
            "a leak at the tip",
            "splash from the tray or an older stain",
            "an object or a shadow over the card's edge",
        ),
        next_step="Count the holes in the nozzle tip. If the number was right, spray "
        f"{FRESH_CARD}: a second jet at the same place comes from the "
        "nozzle, a splash does not come back.",
    ),
    FindingKind(
        code="spacing-uneven",
        title="Uneven spacing",
        about="card",
        text="Two neighbouring plumes stand {value:turn} of their proper spacing "
        "(± {u:.1f}°, limit {limit:.1f}°).",
        causes=("two holes that each spray a little off-line", "bent or damaged tip"),
        next_step=f"{RELEASE} Clean the tip and look at both holes' mouths under a magnifier, then "
        "spray a fresh card.",
    ),
    FindingKind(
        code="shares-uneven",
        title="Uneven shares",
        about="card",
        text="The wettest plume has {value:.1f} times the area of the driest (± {u:.1f}, limit "
        "{limit:.2f}).",
        causes=("one hole partly closed and another widened", "needle not lifting squarely"),
        next_step=f"{RELEASE} Clean the holes the way the nozzle's maker allows, without widening "
        "them, and spray a fresh card.",
    ),
    FindingKind(
        code="pattern-turned",
        title="Pattern turned",
        about="card",
        text="The whole pattern is turned {value:turn} against the mark the card was lined up with "
        "(± {u:.1f}°, limit {limit:.1f}°).",
        causes=(
            "the card was not lined up with the feature named in the layout",
            "nozzle fitted without its dowel, or the wrong nozzle",
        ),
        next_step=f"{RELEASE} Line the card's arrow up again and spray a fresh card. Turned again: "
        "check the dowel and the part number.",
    ),
    FindingKind(
        code="centre-off-aim",
        title="Nozzle off the aim",
        about="card",
        text="The nozzle stood {value:.1f} mm from the card's aim (± {u:.1f} mm, limit "
        "{limit:.1f} mm).",
        causes=("card not pushed home in its tray", "injector not upright in its holder"),
        next_step=f"{RELEASE} Set the card under the tip and spray a fresh one.",
    ),
    FindingKind(
        code="drip-over-limit",
        title="Wet spot over its limit",
        about="card",
        text="The wet spot under the tip is as large as {value:.0%} of all plumes together "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "seat not tight or dirt under the seat",
            "needle closing late",
            "fuel that fell off the tip when the card was taken out",
        ),
        next_step="Dry the tip with the pressure released and zero on the gauge, then do the seat "
        "hold test with the cover closed.",
    ),
    FindingKind(
        code="shots-unmatched",
        title="Holes not followed",
        about="card",
        text="Holes could not be followed from shot to shot ({note}), so none is averaged; the "
        "shots are judged by the mean of their worst holes, which no hole can be worse than.",
        causes=("plain sheets without an index arrow", "an even nozzle whose holes are all alike"),
        next_step="To follow holes, leave the injector in its holder and spray printed target "
        "cards laid down the same way each time.",
    ),
    FindingKind(
        code="plumes-merged",
        title="Plumes run together",
        about="card",
        text="The plumes of holes {holes} run together and could not be told apart.",
        causes=(
            "too much fuel on the card",
            "the nozzle too close to the card",
            "the photo taken too long after the stroke",
            "a plume that sprays off-line into its neighbour",
        ),
        next_step=f"{FRESH}, the nozzle a little higher above it, and photograph it about "
        "a minute later.",
    ),
    FindingKind(
        code="too-wet",
        title="Card too wet",
        about="card",
        text="The card is flooded; wetted areas no longer tell how much each hole gives.",
        causes=("more than one stroke on the card", "paper that does not soak up enough"),
        next_step=f"{FRESH} on thicker uncoated paper, and photograph it about a minute later.",
    ),
    FindingKind(
        code="weak-stroke",
        title="Too little spray",
        about="card",
        text="The whole pattern is faint or short; single holes cannot be judged by it.",
        causes=(
            "lever pulled too slowly or not to the end",
            "air in the line",
            "opening pressure far too low",
        ),
        next_step="Purge the air with no card in place, cover closed and hands out. Then, with the "
        "pressure released, put in a fresh card; cover closed, give it one brisk full stroke.",
    ),
    FindingKind(
        code="centre-drip",
        title="Wet spot at the centre",
        about="card",
        text="A wet spot lies under the tip, as large as {area_frac:.0%} of all plumes together. "
        "It does not decide this verdict.",
        causes=(
            "seat not tight or dirt under the seat",
            "needle closing late",
            "fuel that fell off the tip when the card was taken out",
        ),
        next_step="Dry the tip with the pressure released and zero on the gauge, then do the seat "
        "hold test with the cover closed.",
    ),
    FindingKind(
        code="spray-angle-off",
        title="Included spray angle off",
        about="card",
        text="The holes spray at an included angle {value:+.1f}° from the nozzle's "
        "(± {u:.1f}°, limit {limit:.1f}°).",
        causes=(
            "another nozzle than the file describes",
            "worn or damaged hole mouths",
            "a height of the tip that was not measured well",
        ),
        next_step=f"{RELEASE} Measure the height of the tip over the card again; if it was right, "
        "compare the nozzle's number with the maker's data.",
    ),
    FindingKind(
        code="nozzle-tilted",
        title="Nozzle not square to the card",
        about="card",
        text="The pattern is drawn out to one side, as from a nozzle tilted by about "
        "{tilt_deg:.1f}°.",
        causes=(
            "injector not upright in its holder",
            "card not lying flat",
            "an injector whose holes sit at a slant by design",
        ),
        next_step=f"{RELEASE} Square the nozzle to the card: set the injector upright in its "
        "holder, and spray a fresh card. For a slanted nozzle give its layout file.",
    ),
    FindingKind(
        code="centre-uncertain",
        title="Centre uncertain",
        about="card",
        text="The nozzle's place over the card is not known well; it may shift a direction by up "
        "to {u_deg:.1f}°.",
        causes=(
            "too few clear plumes",
            "plumes that are short or ragged",
            "part of the pattern outside the photo",
        ),
        next_step="Photograph the whole card square-on; if it stays uncertain, spray "
        f"{FRESH_CARD}.",
    ),
)
