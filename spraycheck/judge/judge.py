"""One judge: the case of a photo is made, then decided, then told; whatever kind of nozzle it is.

`check_spray` holds everything measured against its limits, `decide_case` sets the verdict and says
what was found. Between them, quality and the tip's height may only add checks or doubts.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from spraycheck import flags as flag
from spraycheck.flags import Flags
from spraycheck.judge.case import Case, Rules
from spraycheck.judge.layout import HOLES, Layout
from spraycheck.judge.limits import AxialLimits, Limits, LimitSet
from spraycheck.judge.nozzle import KINDS, AxialNozzle
from spraycheck.judge.quality.gate import BEYOND_FACTOR, NOISE_LIMIT
from spraycheck.judge.result import (
    Doubt,
    Finding,
    Kind,
    PhotoQuality,
    Result,
    Verdict,
    most_important_first,
)
from spraycheck.judge.verdict import Ruling, decide
from spraycheck.spray.measurement import Measurement

if TYPE_CHECKING:
    from spraycheck.judge.standoff import Standoff

POOR: Final = (
    *(flag.DARK, flag.CLIPPED, flag.GLARE, flag.THING_ON_CARD, flag.THING_OVER_EDGE),
    *(flag.BLURRED, flag.NOISY, flag.FAINT),
)
"""Flags of photo and card that are told where they kept the verdict from being sure."""

POOR_UNMEASURED: Final = (
    *POOR,
    *(flag.LOW_RESOLUTION, flag.OBLIQUE, flag.LOSSY_COPY, flag.FLASH),
)
"""The same where the photo's quality was not measured."""


@dataclass(frozen=True, kw_only=True)
class _Judged:
    """What nozzles of a kind are judged on."""

    limits: type[Limits] | type[AxialLimits]
    check: Callable[..., Case]
    angles: Callable[[Case, Standoff | None], Case]
    findings: Callable[[Case, Ruling], list[Finding]]


def _holes() -> _Judged:
    from spraycheck.judge.matched import check_pattern
    from spraycheck.judge.pattern import pattern_findings
    from spraycheck.judge.standoff import pattern_angles

    return _Judged(
        limits=Limits, check=check_pattern, angles=pattern_angles, findings=pattern_findings
    )


def _axial() -> _Judged:
    from spraycheck.judge.axial import axial_findings, check_axial
    from spraycheck.judge.standoff import axial_angles

    return _Judged(
        limits=AxialLimits, check=check_axial, angles=axial_angles, findings=axial_findings
    )


JUDGED_ON: Final[Mapping[str, Callable[[], _Judged]]] = {
    HOLES: _holes,
    **dict.fromkeys(KINDS, _axial),
}
"""Kind of nozzle to what it is judged on; imported when it is asked for."""


def check_spray(
    found: Measurement,
    nozzle: Layout | AxialNozzle,
    limits: LimitSet | None = None,
    *,
    quality: PhotoQuality | None = None,
    lined_up: bool = False,
    rules: Rules | None = None,
) -> Case:
    """Hold everything measured on one photo against its limits.

    Parameters
    ----------
    found : Measurement
        What was measured.
    nozzle, limits
        What is expected and tolerated; default limits when none are given.
    quality : PhotoQuality, optional
        How far the photo can be trusted. Beyond one of its limits all uncertainties are widened.
    lined_up : bool
        12 o'clock on the card was lined up with the feature that a layout counts from.
    rules : Rules, optional
        Decision rules that are on; all of them when not given.
    """
    judged = JUDGED_ON[nozzle.kind]()
    exceeded: Flags = () if quality is None else quality.flags
    if quality is None and found.wetness.noise > NOISE_LIMIT:
        exceeded = (flag.NOISY,)
    if exceeded:
        found = replace(found, spray=found.spray.less_certain(BEYOND_FACTOR))
    given: dict[str, Any] = {}
    if nozzle.kind == HOLES:
        given = {"lined_up": lined_up, "exceeded": exceeded, "rules": rules}
    case = judged.check(found, nozzle, limits or judged.limits(), **given)
    return replace(case, doubts=(Doubt.QUALITY_LIMIT,)) if exceeded else case


def add_angles(case: Case, standoff: Standoff | None) -> Case:
    """Return the case with what the tip's height over the card adds: angles, and their check.

    Parameters
    ----------
    case : Case
        From `check_spray`.
    standoff : Standoff or None
        Height of the tip, where it is known.

    Raises
    ------
    MeasurementError
        A height is given for a nozzle with holes and the card's scale is not known.
    """
    return JUDGED_ON[case.nozzle.kind]().angles(case, standoff)


def decide_case(
    case: Case,
    *,
    quality: PhotoQuality | None = None,
    undated: bool = False,
    provenance: Mapping[str, object] | None = None,
) -> Result:
    """Set the verdict of a case, and say what was found.

    Parameters
    ----------
    case : Case
        From `check_spray`, with whatever was added to it since.
    quality : PhotoQuality, optional
        As of `check_spray`.
    undated : bool
        The time of spraying was given, but the photo does not say when it was taken.
    provenance : mapping, optional
        Versions and parameters to carry along.
    """
    ruling = decide(case)
    told = [*case.notes, *JUDGED_ON[case.nozzle.kind]().findings(case, ruling)]
    told += photo_findings(case.measurement, ruling.verdict, quality)
    if undated:
        told.append(Finding(kind=Kind.PHOTO_UNDATED))
    return Result(
        measurement=case.measurement,
        nozzle=case.nozzle,
        limits=case.limits,
        verdict=ruling.verdict,
        findings=most_important_first(told),
        checks=ruling.checks,
        holes=ruling.holes,
        strays=case.strays,
        probability=ruling.probability,
        provenance=dict(provenance or {}),
        angles=case.angles,
        quality=quality,
    )


def photo_findings(
    found: Measurement, verdict: Verdict, quality: PhotoQuality | None
) -> list[Finding]:
    """Tell what limits the photo; its quality only where it kept the verdict from being sure."""
    open_ = verdict is Verdict.RECHECK
    told = []
    if flag.NO_SHEET in found.card.flags:
        told.append(Finding(kind=Kind.SHEET_NOT_FOUND))
    if flag.SHEET_CROPPED in found.card.flags and open_:
        told.append(Finding(kind=Kind.SHEET_CROPPED))
    if not found.card.scale_known:
        told.append(Finding(kind=Kind.NO_SCALE))
    measured = () if quality is None else quality.limitations
    told += [one.finding for one in measured if one.beyond or open_]
    if open_:
        noted = {*found.wetness.flags, *found.card.flags, *found.photo.flags}
        noted -= {one.flag for one in measured}
        poor = POOR_UNMEASURED if quality is None else POOR
        told += [Finding(kind=Kind.PHOTO_POOR, fields={"flag": f}) for f in poor if f in noted]
    return told
