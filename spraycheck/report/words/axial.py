"""Findings about a nozzle that sprays along its axis: pintle or single-hole."""

from __future__ import annotations

from typing import Final

from spraycheck.report.words.kinds import FRESH, FRESH_CARD, RELEASE, FindingKind

_CLEAN: Final = (
    f"{RELEASE} Clean pintle or needle tip and the hole's mouth the way the nozzle's maker allows"
)
_AGAIN: Final = "If it comes back at the same place, replace the nozzle."

AXIAL_KINDS: Final = (
    FindingKind(
        code="central-several",
        title="Several plumes",
        about="card",
        text="The card shows {found:d} plumes apart from one another; a nozzle with one central "
        "spray leaves one patch. Another kind of nozzle? Nothing is judged.",
        causes=(
            "the nozzle has several holes",
            "a card of another nozzle",
            "several strokes on one card",
        ),
        next_step="Look at the tip. If it has several holes, give their number (--holes) or its "
        f"nozzle file and run this photo again. If not, spray {FRESH_CARD} with one stroke.",
    ),
    FindingKind(
        code="central-side-spray",
        title="Spray beside the patch",
        about="card",
        text="{value:.0%} of the wetted area (± {u:.0%}, limit {limit:.0%}) lies beside the "
        "patch, most of it towards {direction_deg:clock} ({direction_deg:.0f}°).",
        causes=(
            "chipped or carboned hole mouth that throws a second jet",
            "damaged pintle",
            "a leak at the nozzle's holder",
            "splash from the tray or an older stain",
        ),
        next_step=f"{_CLEAN}, then spray {FRESH_CARD}. A jet from the nozzle comes back where "
        "it was, a splash does not.",
    ),
    FindingKind(
        code="central-not-hollow",
        title="Not hollow",
        about="card",
        text="The spray should be hollow, but its middle is {value:.0%} as wet as its ring "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "worn pintle or hole",
            "pintle broken off or not entering its hole",
            "needle not lifting fully",
            "the wrong nozzle or the wrong nozzle file",
        ),
        next_step=f"{_CLEAN}, look at it under a magnifier, then spray {FRESH_CARD} with little "
        "fuel, from higher up. Not hollow again: replace the nozzle.",
    ),
    FindingKind(
        code="central-not-filled",
        title="Hollow, should be filled",
        about="card",
        text="The spray should be filled, but its middle is only {value:.0%} as wet as its ring "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit in the hole's mouth",
            "the wrong nozzle or the wrong nozzle file",
            "card lifted or blown by the spray",
        ),
        next_step=f"{_CLEAN}, then spray {FRESH_CARD}. {_AGAIN}",
    ),
    FindingKind(
        code="central-lopsided",
        title="Heavier on one side",
        about="card",
        text="{value:.0%} of the fluid lies on the side towards {direction_deg:clock} "
        "({direction_deg:.0f}°; ± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit on one side of the pintle or the hole",
            "bent or worn pintle",
            "needle not lifting squarely",
        ),
        next_step=f"{_CLEAN}, then spray {FRESH_CARD}. {_AGAIN}",
    ),
    FindingKind(
        code="central-hollow-off-centre",
        title="Hollow off its middle",
        about="card",
        text="The hollow lies off the middle of the patch by {value:.0%} of its diameter "
        "(± {u:.0%}, limit {limit:.0%}): thick wall on one side, thin on the other.",
        causes=("bent pintle", "deposit on one side of the pintle", "worn needle guide"),
        next_step=f"{_CLEAN}, then spray {FRESH_CARD}. {_AGAIN}",
    ),
    FindingKind(
        code="central-streaky",
        title="Streaks",
        about="card",
        text="The fluid is uneven around the patch, gathered in streaks: {value:.0%} "
        "(± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "deposit or scoring at pintle or hole",
            "opening pressure too low",
            "stroke too slow",
        ),
        next_step=f"{_CLEAN}, check the opening pressure, then spray {FRESH_CARD} with one brisk "
        f"full stroke. {_AGAIN}",
    ),
    FindingKind(
        code="central-not-round",
        title="Not round",
        about="card",
        text="The patch is {value:.0%} as wide as it is long (± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "nozzle not square to the card",
            "deposit on one side of pintle or hole",
            "worn or damaged hole",
        ),
        next_step=f"{RELEASE} Set the injector square to the card and spray a fresh one. Long "
        "again in the same direction: clean the tip the way its maker allows, and then replace "
        "the nozzle.",
    ),
    FindingKind(
        code="central-ragged",
        title="Ragged outline",
        about="card",
        text="The outline is far from a circle: form factor {value:.2f} (± {u:.2f}, limit "
        "{limit:.2f}).",
        causes=(
            "deposit at the hole's mouth",
            "opening pressure too low, the spray badly broken up",
            "stroke too slow",
        ),
        next_step=f"{_CLEAN}, check the opening pressure, then spray {FRESH_CARD} with one brisk "
        "full stroke.",
    ),
    FindingKind(
        code="central-off-centre",
        title="Off the aim",
        about="card",
        text="The patch lies off the aim by {value:.0%} of its diameter, towards "
        "{direction_deg:clock} ({direction_deg:.0f}°; ± {u:.0%}, limit {limit:.0%}).",
        causes=(
            "the card was not lying with its aim under the tip, or it moved",
            "nozzle not square to the card",
            "bent pintle, or deposit on one side of it",
        ),
        next_step=f"{FRESH}, its aim exactly under the tip and the injector square to it. Off the "
        "same way against the nozzle (turn it by half a turn to see): clean the tip, and then "
        "replace the nozzle.",
    ),
    FindingKind(
        code="central-angle",
        title="Spray angle off",
        about="card",
        text="The patch shows a full spray angle of {angle_deg:.0f}° (± {u:.0f}°) where "
        "{nominal_deg:.0f}° are expected (limit ± {limit:.0f}°).",
        causes=(
            "worn pintle or hole",
            "the tip's height measured wrongly",
            "a patch widened by soaking",
        ),
        next_step=f"{RELEASE} Measure the tip's height over the card again, then spray "
        f"{FRESH_CARD} and photograph it at once.",
    ),
    FindingKind(
        code="central-soaked",
        title="Hollow may have soaked over",
        about="card",
        text="The patch is full to its middle, {share:.0%} of it as wet as the paper gets: a "
        "hollow that soaked over looks the same as none.",
        causes=("too much fuel for the paper", "nozzle too close to the card", "photo taken late"),
        next_step=f"{FRESH} shorter than before, the nozzle higher above it, and photograph it at "
        "once.",
    ),
    FindingKind(
        code="central-doubtful-spot",
        title="Dark spot beside the patch",
        about="card",
        text="A dark spot beside the patch or at the sheet's edge, towards {direction_deg:clock} "
        "({direction_deg:.0f}°), {share:.0%} of all that looks wet, may be spray or a shadow.",
        causes=("a shadow on the card", "a faint jet to the side, or one that ran over the edge"),
        next_step="Photograph the card once more in even light, no shadow across it. If the spot "
        f"stays, spray {FRESH_CARD}.",
    ),
    FindingKind(
        code="central-at-edge",
        title="Patch runs over the edge",
        about="card",
        text="The patch runs over the edge of the sheet or of the photo; nothing is judged.",
        causes=(),
        next_step="Photograph the whole card; if the spray went over its edge, spray "
        f"{FRESH_CARD} with the aim under the tip.",
    ),
    FindingKind(
        code="central-unsure",
        title="Cannot tell",
        about="card",
        text="This photo cannot tell: {what} is {value} (± {u}, limit {limit}), too close to the "
        "limit.",
        causes=(
            "the value lies close to its limit",
            "the photo or the card is too poor",
        ),
        next_step="Photograph the card once more, square-on in even light. If it stays unsure, "
        f"spray {FRESH_CARD}.",
    ),
    FindingKind(
        code="central-no-aim",
        title="Concentricity not judged",
        about="card",
        text="Whether the spray goes straight down is not judged: there is no aim on this card.",
        causes=(),
        next_step="Use a printed target card, or draw a cross, set the tip over it and give its "
        "place with --aim (--aim centre for the sheet's middle).",
    ),
    FindingKind(
        code="central-fill-unknown",
        title="Hollow or filled not judged",
        about="card",
        text="The patch looks {seen}; whether it should be is not known and not judged.",
        causes=(),
        next_step="Say so in the nozzle file (fill) from the maker's data.",
    ),
)
"""In the order of importance."""
