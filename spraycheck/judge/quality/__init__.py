"""How far a photo can be trusted: measured before the assessment, told after it.

A photo beyond a limit has its uncertainties widened before it is judged, so that only what is plain
even so is proof of a fault, and cannot pass.

`card.edge_rise`, `light` and `looking` measure; `creeping` knows what time does to wet paper;
`gate` says from where on the stated uncertainties are no longer true, with the evidence.
"""

from __future__ import annotations

import math
from dataclasses import replace

from spraycheck import flags as flag
from spraycheck.flags import Flags
from spraycheck.judge.findings import describe, most_important_first
from spraycheck.judge.layout import Assessment, Finding, PhotoQuality
from spraycheck.judge.quality.gate import limitations
from spraycheck.judge.quality.metrics import look_at_photo
from spraycheck.judge.quality.wicking import (
    SprayTime,
    crept_mm,
    parse_spray_time,
    seconds_since,
    widen_for_creep,
)
from spraycheck.spray.containers import NozzleCentre, PlumeCatalogue
from spraycheck.spray.seen import Seen

__all__ = [
    "SprayTime",
    "add_quality",
    "crept_mm",
    "less_certain",
    "limits_passed",
    "look_at_photo",
    "parse_spray_time",
    "seconds_since",
    "widen_for_creep",
]


BEYOND_FACTOR = 2.0
"""What stated uncertainties are multiplied by on a photo beyond a limit (chosen: errors reach 1.3
to 2 times what is stated at the first level tried beyond each, see `gate`)."""


def limits_passed(found: Seen, quality: PhotoQuality) -> Flags:
    """Return the flags of the limits of the gate that a photo is beyond."""
    beyond = (one.flag for one in limitations(quality, found) if one.beyond)
    return tuple(dict.fromkeys(beyond))


def less_certain(
    centre: NozzleCentre, catalogue: PlumeCatalogue, factor: float = BEYOND_FACTOR
) -> tuple[NozzleCentre, PlumeCatalogue]:
    """Return centre and plumes with every uncertainty multiplied."""
    return (
        replace(centre, covariance_mm2=factor**2 * centre.covariance_mm2),
        replace(
            catalogue,
            direction_u_deg=factor * catalogue.direction_u_deg,
            rotation_u_deg=factor * catalogue.rotation_u_deg,
            area_u_mm2=factor * catalogue.area_u_mm2,
            area_u_frac=factor * catalogue.area_u_frac,
        ),
    )


def add_quality(
    assessment: Assessment,
    *,
    elapsed_s: float | None = None,
    looked: PhotoQuality | None = None,
) -> Assessment:
    """Return the assessment with the photo's quality, and hold back a pass it does not support.

    Parameters
    ----------
    assessment : Assessment
        From stage 6.
    elapsed_s : float, optional
        Time from spraying to photo; NaN when the time of spraying was given but the photo does not
        say when it was taken, None when it was not given.
    looked : PhotoQuality, optional
        From `look_at_photo`, where the photo has been looked at already.

    Returns
    -------
    Assessment
        A pass becomes a recheck where the photo is beyond a limit of the gate; no verdict changes
        otherwise. What limits the photo is told where it is beyond a limit or the verdict is open.
    """
    time = math.nan if elapsed_s is None else elapsed_s
    quality = replace(looked or look_at_photo(assessment), elapsed_s=time, crept_mm=crept_mm(time))
    found = limitations(quality, assessment)
    beyond = [one for one in found if one.beyond]
    verdict = assessment.verdict
    if beyond and verdict == "pass":
        verdict = "recheck"
    told: list[Finding] = [one.finding for one in found if one.beyond or verdict == "recheck"]
    if elapsed_s is not None and math.isnan(elapsed_s):
        told.append(describe("photo-undated"))
    # The assessment tells some of the same without a number; the number is worth more.
    plain = {describe("photo-poor", flag=one.flag).text for one in found if one.flag in _PLAIN}
    kept = [f for f in assessment.findings if f.text not in plain]
    return replace(
        assessment,
        verdict=verdict,
        findings=most_important_first([*kept, *told]),
        quality=replace(quality, flags=tuple(dict.fromkeys(one.flag for one in beyond))),
    )


_PLAIN = (flag.BLURRED, flag.NOISY, flag.CLIPPED, flag.GLARE, flag.FAINT, flag.LOW_RESOLUTION)
