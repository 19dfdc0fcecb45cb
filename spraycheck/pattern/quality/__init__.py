"""How far a photo can be trusted: measured after the assessment, it may only hold a pass back.

`sharpness`, `light` and `looking` measure; `creeping` knows what time does to wet paper; `gate`
says from where on the stated uncertainties are no longer true, with the evidence.
"""

from __future__ import annotations

import math
from dataclasses import replace

from spraycheck.pattern import flags as flag
from spraycheck.pattern.containers import RectifiedCard
from spraycheck.pattern.findings import describe, most_important_first
from spraycheck.pattern.layout import Assessment, Finding
from spraycheck.pattern.quality.creeping import (
    SprayTime,
    crept_mm,
    parse_spray_time,
    seconds_since,
    widen_for_creep,
)
from spraycheck.pattern.quality.gate import limitations
from spraycheck.pattern.quality.looking import look_at_photo

__all__ = [
    "SprayTime",
    "add_quality",
    "crept_mm",
    "look_at_photo",
    "parse_spray_time",
    "seconds_since",
    "widen_for_creep",
]


def add_quality(
    assessment: Assessment,
    *,
    elapsed_s: float | None = None,
    seen: RectifiedCard | None = None,
    clean: RectifiedCard | None = None,
) -> Assessment:
    """Return the assessment with the photo's quality, and hold back a pass it does not support.

    Parameters
    ----------
    assessment : Assessment
        From stage 6.
    elapsed_s : float, optional
        Time from spraying to photo; NaN when the time of spraying was given but the photo does not
        say when it was taken, None when it was not given.
    seen, clean : RectifiedCard, optional
        The card as photographed, and as photographed before spraying, where the first was divided
        by the second before it was measured.

    Returns
    -------
    Assessment
        A pass becomes a recheck where the photo is beyond a limit of the gate; no verdict changes
        otherwise. What limits the photo is told where it is beyond a limit or the verdict is open.
    """
    time = math.nan if elapsed_s is None else elapsed_s
    looked = look_at_photo(assessment, seen=seen, clean=clean)
    quality = replace(looked, elapsed_s=time, crept_mm=crept_mm(time))
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
