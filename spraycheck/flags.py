"""Quality flags: short stable words that travel with a value and say what to doubt.

Each set belongs to one container. A flag never changes a number; it explains its uncertainty.
"""

from __future__ import annotations

from typing import Final

Flags = tuple[str, ...]

# -- photo
REDUCED = "decoded-reduced"
LOSSY_COPY = "lossy-copy"
NO_FOCAL_LENGTH = "no-focal-length"
GREY_PHOTO = "grey-photo"
FLASH = "flash-fired"
LATE = "photographed-late"

# -- card
NO_SCALE = "no-scale"
NO_SHEET = "no-sheet"
SHEET_CROPPED = "sheet-cropped"
SHEET_CURLED = "sheet-curled"
ASPECT_ASSUMED = "aspect-assumed"
OBLIQUE = "oblique-view"
LOW_RESOLUTION = "low-resolution"
UNEVEN_CARD = "uneven-card"
LABEL_UNREAD = "label-unread"
SCALE_AS_PRINTED = "scale-as-printed"
SHEET_AS_PRINTED = "sheet-as-printed"

# -- photo quality as seen on the card
DARK = "dark"
CLIPPED = "clipped"
GLARE = "glare"
BLURRED = "blurred"
NOISY = "noisy"
FAINT = "faint"
THING_ON_CARD = "thing-on-card"
THING_OVER_EDGE = "thing-over-edge"
TOO_WET = "too-wet"
WEAK_STROKE = "weak-stroke"

# -- centre
RING_DROPPED = "ring-dropped"
FEW_PLUMES = "few-plumes"
CENTRE_WIDE = "centre-wide"

# -- plume
MERGED = "merged"
AT_SHEET_EDGE = "at-sheet-edge"
UNDER_PRINT = "under-print"
OFF_RADIAL = "off-radial"

MEANING: Final[dict[str, str]] = {
    REDUCED: "the photo was decoded at reduced scale; pixels are still those of the full photo",
    LOSSY_COPY: "the photo looks like a re-compressed or messenger copy",
    NO_FOCAL_LENGTH: "the photo does not state its focal length; a usual phone lens was assumed",
    GREY_PHOTO: "the photo has no colour",
    FLASH: "the flash fired: oil-wet paper mirrors it, which makes plumes read too small",
    LATE: "the photo was taken long after spraying; wet rims creep on",
    NO_SCALE: "the size of the sheet is not known: no value is given in mm",
    NO_SHEET: "no sheet edge was found: the photo was taken as if square-on",
    SHEET_CROPPED: "part of the sheet lies outside the photo",
    SHEET_CURLED: "the sheet is curled; its curved edges were used to flatten it",
    ASPECT_ASSUMED: "the sheet's proportions were taken from the nearest standard format",
    OBLIQUE: "the camera looked at the card from the side",
    LOW_RESOLUTION: "few photo pixels per mm on the card",
    UNEVEN_CARD: "the card's markers do not lie as on flat or curled paper: creased or torn",
    LABEL_UNREAD: "the card's QR code could not be read",
    SCALE_AS_PRINTED: "the card's 100 mm line was not measured; the printer's scale is taken as "
    "true within 1 %",
    SHEET_AS_PRINTED: "the size of the sheet that was asked for is not the one that the card's own "
    "print says; what the print says was taken",
    DARK: "the card is under-exposed",
    CLIPPED: "parts of the card are over-exposed",
    GLARE: "a lamp is mirrored on the card",
    BLURRED: "the photo is not sharp",
    NOISY: "the photo is noisy",
    FAINT: "the spray is barely darker than the paper",
    THING_ON_CARD: "something on the card is far too dark for spray and was left out",
    THING_OVER_EDGE: "something lies over the sheet's edge and was left out",
    TOO_WET: "the card is flooded",
    WEAK_STROKE: "too little spray: no plume is wet through",
    RING_DROPPED: "the plumes do not lie on one ring; the plume axes alone gave the centre",
    FEW_PLUMES: "fewer than three plumes to locate the centre from",
    CENTRE_WIDE: "the centre is uncertain",
    MERGED: "two or more plumes run together and could not be separated",
    AT_SHEET_EDGE: "the plume runs over the edge of the sheet or photo",
    UNDER_PRINT: "print or handwriting crosses the plume",
    OFF_RADIAL: "the plume does not point away from the centre",
}
"""Flag to its meaning in plain words; the documentation and the tests read this table."""
