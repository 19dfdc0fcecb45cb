"""The gate: how bad a photo may be before what is stated about it stops being true.

Each limit stands at the point where, on healthy drawn cards with one fault of the photo growing
(``tests/benchmarks/photo_quality.py``, three cards, 15 to 17 plumes), errors passed the standard
uncertainties stated for them; "ratio" below is the root mean square of error over uncertainty,
1 or less where the statement is true. The ratios are from before the judge doubled what is
stated beyond a limit; since then they are half of that there.
"""

from __future__ import annotations

import math
from typing import Final

from spraycheck import flags as flag
from spraycheck.judge.result import Finding, Kind, Limitation, PhotoQuality
from spraycheck.spray.measurement import Measurement

BLUR_LIMIT: Final = 0.20
"""Rise of an edge over a plume's width. Blurred to 0.14: ratios 0.86 (directions) and 1.01
(centre); to 0.21: 0.99 and 1.54. Smeared to 0.24: 0.80 and 0.46; to 0.28: 1.93 and 1.61. The worst
of 45 photographs with known truth reaches 0.05."""

MOVED_RATIO: Final = 1.5
"""Edges this many times wider one way than the other: the phone moved (chosen; without movement
the two agreed within a factor of 1.2 wherever blur was worth a word)."""

NOISE_LIMIT: Final = 0.08
"""Standard deviation of the filtered wetness on dry paper. At 0.048: 0.53 (directions) and 0.55
(centre); at 0.074: 1.17 and 1.29; a pattern so faint that it came to 0.09: 7 (shares). The noisiest
of 45 photographs with known truth has 0.054."""

LEAST_WIDTH_PX: Final = 11.0
"""Pixels across a plume's width: the fewest tried. At 12: 0.77 (directions), 0.82 (shares), 0.76
(centre)."""

CLIPPED_LIMIT: Final = 0.15
"""Share of dry paper's colour values at full scale. Photographs with known truth stay below 0.01;
the next level tried, 0.32 to 0.65 (exposure half as long again), gave 2.0 (shares); chosen
between the two."""

GLARE_TOLD: Final = 0.01
"""Share of the card under glare from which it is told: below it hides nothing (as the wetness stage
has it). No limit: what glare covers is not judged at all."""

QUALITY_LIMIT: Final = 20.0
"""JPEG quality. At 25: 1.04 (directions), 0.45 (shares), 1.17 (centre); at 12: 0.68, 2.01, 0.55;
at 5: 2.7, 8 and 2.7, or plumes lost."""

OBLIQUE_TOLD_DEG: Final = 20.0
"""View from which it is told. No limit: with the focal length stated, all ratios stay
below 0.6 up to 45 degrees. Without it the picture of a long lens is taken for a bent sheet: at 25
degrees the centre was out by 8 mm (ratio 4.7); so the advice is to send the original."""

FLOODED_LIMIT: Final = 0.27
"""Share of the card in the darker of two levels of light. Up to 0.19 (three times the fluid) all
plumes were found and shares held (ratio 0.05); from 0.38 on (six times) most plumes ran together.
Photographs with known truth reach 0.14."""

WEAK_DEPTH: Final = 0.25
WEAK_FILL: Final = 0.65
"""Optical depth of the wettest patches, and typical wetness inside plumes against them, both below
which a stroke was too weak to wet any plume through. With a fifth of the fluid: 0.12 to 0.22 and
0.55, ratio 1.2 (shares), with a sixteenth 7. Whole plumes of clear oil are as pale but filled
(above 0.75); photographs with known truth have a depth from 0.35 on."""


BEYOND_FACTOR: Final = 2.0
"""What stated uncertainties are multiplied by on a photo beyond a limit (chosen: errors reach 1.3
to 2 times what is stated at the first level tried beyond each)."""


def limitations(quality: PhotoQuality, found: Measurement) -> tuple[Limitation, ...]:
    """List what limits a photo, beyond its limit or only worth telling when the verdict is open.

    Parameters
    ----------
    quality : PhotoQuality
        Of the photo.
    found : Measurement
        What was measured on the same photo.
    """
    photo, wet = found.photo, found.wetness
    pale = wet.contrast < WEAK_DEPTH
    width_px = quality.plume_width_mm / quality.mm_per_px
    flooded = quality.dark_frac > FLOODED_LIMIT
    # Flag, kind, whether it is so, whether the uncertainties no longer hold, and its numbers.
    rows: tuple[tuple[str, Kind, bool, bool, dict[str, object]], ...] = (
        (flag.TOO_WET, Kind.TOO_WET, flooded, True, {}),
        (
            flag.WEAK_STROKE,
            Kind.WEAK_STROKE,
            not flooded and pale and quality.fill_frac < WEAK_FILL,
            True,
            {},
        ),
        _sharpness(quality, blurred=flag.BLURRED in found.card.flags),
        # The spray is pale rather than the photo noisy.
        (
            flag.FAINT,
            Kind.PHOTO_POOR,
            wet.noise > NOISE_LIMIT and pale,
            True,
            {"flag": flag.FAINT},
        ),
        (
            flag.NOISY,
            Kind.PHOTO_NOISY,
            wet.noise > NOISE_LIMIT and not pale,
            True,
            {"noise_frac": wet.noise, "limit_frac": NOISE_LIMIT},
        ),
        (
            flag.LOW_RESOLUTION,
            Kind.PHOTO_COARSE,
            width_px < LEAST_WIDTH_PX,
            True,
            {"width_px": width_px, "limit_px": LEAST_WIDTH_PX},
        ),
        (
            flag.CLIPPED,
            Kind.PHOTO_OVEREXPOSED,
            quality.clipped_frac > CLIPPED_LIMIT,
            True,
            {"clipped_frac": quality.clipped_frac, "limit_frac": CLIPPED_LIMIT},
        ),
        (
            flag.GLARE,
            Kind.PHOTO_GLARE,
            quality.glare_frac > GLARE_TOLD,
            False,
            {"glare_frac": quality.glare_frac},
        ),
        (
            flag.LOSSY_COPY,
            Kind.PHOTO_COMPRESSED,
            photo.jpeg_quality < QUALITY_LIMIT,
            True,
            {"quality": photo.jpeg_quality, "limit": QUALITY_LIMIT},
        ),
        (
            flag.LOSSY_COPY,
            Kind.PHOTO_POOR,
            flag.LOSSY_COPY in photo.flags and not photo.jpeg_quality < QUALITY_LIMIT,
            False,
            {"flag": flag.LOSSY_COPY},
        ),
        (flag.FLASH, Kind.PHOTO_POOR, flag.FLASH in photo.flags, False, {"flag": flag.FLASH}),
        (
            flag.OBLIQUE,
            Kind.PHOTO_OBLIQUE,
            quality.view_deg > OBLIQUE_TOLD_DEG or flag.OBLIQUE in found.card.flags,
            False,
            {"view_deg": max(quality.view_deg, OBLIQUE_TOLD_DEG)},
        ),
        (
            flag.LATE,
            Kind.PHOTO_LATE,
            quality.wicking_mm > 0,
            False,
            {"minutes": quality.elapsed_s / 60},
        ),
    )
    return tuple(
        Limitation(flag=name, finding=Finding(kind=kind, fields=fields), beyond=beyond)
        for name, kind, so, beyond, fields in rows
        if so
    )


def _sharpness(
    quality: PhotoQuality, *, blurred: bool
) -> tuple[str, Kind, bool, bool, dict[str, object]]:
    known = sorted(e for e in (quality.edge_x_mm, quality.edge_y_mm) if math.isfinite(e))
    width = quality.plume_width_mm
    if not known or not width > 0:
        return flag.BLURRED, Kind.PHOTO_BLURRED, False, False, {}
    parts = [edge / width for edge in known]
    beyond = parts[-1] > BLUR_LIMIT
    fields: dict[str, object] = {"edge_frac": parts[-1], "limit_frac": BLUR_LIMIT}
    if len(parts) == 2 and parts[1] > MOVED_RATIO * parts[0]:
        fields["other_frac"] = parts[0]
        return flag.BLURRED, Kind.PHOTO_MOVED, beyond or blurred, beyond, fields
    return flag.BLURRED, Kind.PHOTO_BLURRED, beyond or blurred, beyond, fields
