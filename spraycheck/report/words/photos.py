"""Findings about the photo and the sheet, and what the photographer should change."""

from __future__ import annotations

from typing import Final

from spraycheck import flags
from spraycheck.report.words.kinds import FindingKind

PHOTO_ADVICE: Final[dict[str, str]] = {
    flags.DARK: "Bring even light onto the card, without flash, and photograph it again.",
    flags.CLIPPED: "Less light or a darker exposure: tap the white of the card before the shot.",
    flags.GLARE: "Move the lamp or yourself until no lamp is mirrored on the card, then again.",
    flags.BLURRED: "Rest the phone on something, tap the card to focus, then photograph again.",
    flags.NOISY: "Bring more light onto the card so that the phone can shorten its exposure.",
    flags.THING_ON_CARD: "Take away what lies on the card, keep shadows off it, and photograph it "
    "again.",
    flags.THING_OVER_EDGE: "Take away what lies over the card's edge and photograph it again.",
    flags.FAINT: "Photograph in even daylight about a minute after the stroke; if the spray stays "
    "faint, use thinner or absorbent uncoated paper.",
    flags.LOW_RESOLUTION: "Go closer until the sheet fills the picture, and send the original "
    "photo, not a messenger copy.",
    flags.OBLIQUE: "Hold the phone flat above the middle of the card, square to it.",
    flags.LOSSY_COPY: "Send the original photo as a file, not as a messenger picture.",
    flags.FLASH: "Switch the flash off and bring even light onto the card, then photograph again.",
}
"""Quality flag to what the photographer should change."""

PHOTO_KINDS: Final = (
    FindingKind(
        code="photo-poor",
        title="Photo too poor",
        about="photo",
        text="The photo limits what can be judged: {meaning}.",
        causes=(),
        next_step="{advice}",
    ),
    FindingKind(
        code="photo-blurred",
        title="Photo not sharp",
        about="photo",
        text="Edges on the card spread over {edge_frac:.0%} of a plume's width; up to "
        "{limit_frac:.0%} is sharp enough.",
        causes=("out of focus", "a smeared lens"),
        next_step="Wipe the lens, rest the phone on something, tap the card to focus, then "
        "photograph again.",
    ),
    FindingKind(
        code="photo-moved",
        title="Phone moved",
        about="photo",
        text="The photo is smeared: edges spread over {edge_frac:.0%} of a plume's width one way "
        "and {other_frac:.0%} the other; up to {limit_frac:.0%} is sharp enough.",
        causes=("the phone moved during the exposure", "too little light"),
        next_step="Rest the phone on something and bring more light, then photograph again.",
    ),
    FindingKind(
        code="photo-noisy",
        title="Photo noisy",
        about="photo",
        text="Noise moves the wetness of dry paper by {noise_frac:.0%} of full wetness; up to "
        "{limit_frac:.0%} leaves weak plumes to be seen.",
        causes=("too little light", "paper with a coarse grain", "a strongly compressed copy"),
        next_step="Bring more light onto the card and send the original photo.",
    ),
    FindingKind(
        code="photo-coarse",
        title="Too few pixels",
        about="photo",
        text="A plume is only {width_px:.0f} pixels wide, expected at least {limit_px:.0f}.",
        causes=("taken from too far away", "a small copy instead of the photo itself"),
        next_step="Go closer until the card fills the picture, and send the original photo.",
    ),
    FindingKind(
        code="photo-overexposed",
        title="Over-exposed",
        about="photo",
        text="{clipped_frac:.0%} of the paper's light is cut off at full scale, so wet areas read "
        "too small; up to {limit_frac:.0%} does no harm.",
        causes=("exposure set for a darker table",),
        next_step="Tap the white of the card before the shot, or take some light away.",
    ),
    FindingKind(
        code="photo-glare",
        title="Glare",
        about="photo",
        text="{glare_frac:.0%} of the card is glare; nothing can be judged there.",
        causes=("a lamp or window mirrored on the card", "flash"),
        next_step="Move the lamp or yourself until nothing is mirrored on the card, flash off.",
    ),
    FindingKind(
        code="photo-compressed",
        title="Strongly compressed copy",
        about="photo",
        text="The picture was compressed to quality {quality:.0f} of 100; below {limit:.0f} the "
        "stated uncertainties do not hold.",
        causes=("a messenger or a web page made the copy",),
        next_step="Send the original photo as a file, not as a messenger picture.",
    ),
    FindingKind(
        code="photo-oblique",
        title="Seen from the side",
        about="photo",
        text="The camera looked at the card from {view_deg:.0f}° off square.",
        causes=(),
        next_step="Hold the phone flat above the middle of the card, and send the original photo: "
        "it states the lens's focal length, which a copy often does not.",
    ),
    FindingKind(
        code="photo-late",
        title="Photographed late",
        about="photo",
        text="The photo was taken {minutes:.0f} minutes after spraying. Wet rims creep on with "
        "time, which hides weak holes; areas were taken as less certain for it.",
        causes=(),
        next_step="Photograph a card about a minute after the stroke.",
    ),
    FindingKind(
        code="photo-undated",
        title="Photo without a time",
        about="photo",
        text="The time of spraying was given, but the photo does not say when it was taken, so "
        "nothing is known of how far wet rims crept.",
        causes=("a screenshot or a messenger copy, which loses the time",),
        next_step="Send the original photo as the phone saved it.",
    ),
    FindingKind(
        code="sheet-not-found",
        title="No sheet edge found",
        about="photo",
        text="No edge of the sheet was found; the photo was taken as if square-on, so directions "
        "and areas are less certain.",
        causes=("paper and bench of the same brightness", "all edges outside the photo"),
        next_step="Lay the card on a plain surface of another colour, all four edges in the "
        "picture, and photograph it again.",
    ),
    FindingKind(
        code="sheet-cropped",
        title="Sheet cropped",
        about="photo",
        text="Part of the sheet lies outside the photo, so directions and areas are less certain.",
        causes=(),
        next_step="Photograph the card again with all four edges in the picture.",
    ),
    FindingKind(
        code="no-scale",
        title="No scale",
        about="photo",
        text="The size of the sheet is not known, so nothing is given in mm. Directions, shares "
        "and the verdict do not need it.",
        causes=(),
        next_step="For mm, name the sheet's size (A4, A5, letter or width x height).",
    ),
)
