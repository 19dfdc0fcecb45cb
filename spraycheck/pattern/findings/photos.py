"""Findings about the photo and the sheet, and what the photographer should change."""

from __future__ import annotations

from typing import Final

from spraycheck.pattern import flags
from spraycheck.pattern.findings.kinds import FindingKind

PHOTO_ADVICE: Final[dict[str, str]] = {
    flags.DARK: "Bring even light onto the card, without flash, and photograph it again.",
    flags.CLIPPED: "Less light or a darker exposure: tap the white of the card before the shot.",
    flags.GLARE: "Move the lamp or yourself until no lamp is mirrored on the card, then again.",
    flags.BLURRED: "Rest the phone on something, tap the card to focus, then photograph again.",
    flags.NOISY: "Bring more light onto the card so that the phone can shorten its exposure.",
    flags.FAINT: "Photograph in even daylight about a minute after the stroke; if the spray stays "
    "faint, use thinner or absorbent uncoated paper.",
    flags.LOW_RESOLUTION: "Go closer until the sheet fills the picture, and send the original "
    "photo, not a messenger copy.",
    flags.OBLIQUE: "Hold the phone flat above the middle of the card, square to it.",
    flags.LOSSY_COPY: "Send the original photo as a file, not as a messenger picture.",
}
"""Quality flag to what the photographer should change."""

PHOTO_KINDS: Final = (
    FindingKind(
        code="photo-poor",
        title="Photo too poor",
        about="photo",
        text="The photo limits what can be judged: {flag:meaning}.",
        causes=(),
        next_step="{flag:advice}",
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
