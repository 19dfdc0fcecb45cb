"""Quality flags: short stable words that travel with a value and say what to doubt.

Each set belongs to one container. A flag never changes a number; it explains its uncertainty. What
each one means stands in the one catalogue of words (`report.words.labels.FLAGS`).
"""

from __future__ import annotations

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
