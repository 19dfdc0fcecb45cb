"""What has changed since the first freeze, stated one by one; the freeze itself is never rebuilt.

A step that renames something adds a line to `RENAMED`; a step that changes an answer adds the
documents, the keys and the reason to `EXPLAINED`.
"""

from __future__ import annotations

from typing import Final

RENAMED: Final[dict[str, dict[str, str]]] = {
    "key": {
        "patch.roundness": "patch.ellipse_ratio",
        "patch.roundness_u": "patch.ellipse_ratio_u",
        "patch.circularity": "patch.form_factor",
        "patch.circularity_u": "patch.form_factor_u",
        "limits.roundness_low_ratio": "limits.ellipse_low_ratio",
        "limits.circularity_low_ratio": "limits.form_factor_low_ratio",
    },
    "word": {
        "roundness": "ellipse_ratio",
        "circularity": "form_factor",
        "roundness_low_ratio": "ellipse_low_ratio",
        "circularity_low_ratio": "form_factor_low_ratio",
    },
    "field": {
        "hole-off-line.deviation_deg": "value",
        "hole-off-line.u_deg": "u",
        "hole-off-line.limit_deg": "limit",
        "hole-weak.area_ratio": "value",
        "hole-heavy.area_ratio": "value",
        "hole-solid-stream.ratio": "value",
        "hole-bushy.ratio": "value",
        "hole-short.ratio": "value",
        "hole-long.ratio": "value",
        "photo-poor.flag": "meaning",
        "spray-angle-off.deviation_deg": "value",
        "spray-angle-off.u_deg": "u",
        "spray-angle-off.limit_deg": "limit",
        "central-side-spray.share": "value",
        "central-not-hollow.ratio": "value",
        "central-not-filled.ratio": "value",
        "central-lopsided.share": "value",
        "central-hollow-off-centre.ratio": "value",
        "central-streaky.share": "value",
        "central-not-round.ratio": "value",
        "central-ragged.ratio": "value",
        "central-off-centre.ratio": "value",
        "central-angle.u_deg": "u",
        "central-angle.limit_deg": "limit",
    },
    "column": {
        "photos.roundness": "photos.ellipse_ratio",
        "photos.roundness_u": "photos.ellipse_ratio_u",
        "photos.circularity": "photos.form_factor",
        "photos.circularity_u": "photos.form_factor_u",
    },
    "command": {},
    "option": {},
    "name": {
        "Assessment": "Result",
        "CentralAssessment": "Result",
        "CentralLimits": "AxialLimits",
        "CentralNozzle": "AxialNozzle",
        "CentralPipeline": "Pipeline",
        "assess_layout": "check_spray",
        "measure_central_photo": "measure_photo",
    },
}
"""Old to new, by sort.

``key``
    Keys of documents, dotted without list places: ``"patch.roundness": "patch.ellipse_ratio"``. A
    leading part stands for everything below it; the longest that fits counts. Keys of a photo's
    document are the same within the document of several photos.
``word``
    Stable words that are values: finding codes, flags, states, limits' names, ways of finding.
``field``
    Fields of a finding: ``"hole-weak.u": "u_ratio"``.
``column``
    Columns of a batch's tables: ``"photos.roundness": "photos.ellipse_ratio"``.
``command``, ``option``
    Of the command line: ``"schema": "schemas"``, ``"measure --json": "measure --document"``.
``name``
    Public names of the package.
"""

_JUDGED: Final = (
    "the deviation shown is the one judged: beyond turn, centre shift and a small tilt, with its "
    "whole uncertainty"
)

_TERMS: Final = "the field's terms: axis ratio for roundness, form factor for circularity"

_MISFIT: Final = (
    "where the layout does not fit, nothing of the pattern is held against its limits any more"
)

_BIRGE: Final = "Birge's factor at any excess scatter of the cards, with Student's quantile"

_AREAS: Final = "an area is as certain as noise, slope and texture let it be (results version 5)"

EXPLAINED: Final[dict[str, dict[str, str]]] = {
    "practice/wild-faint-472*": {"findings.codes": _MISFIT},
    "practice/wild-reused-4703": {"findings.codes": _MISFIT},
    "practice/wild-written-4600": {"findings.codes": _MISFIT},
    "axial/*": {"findings.text": _TERMS},
    "small/axial*": {"findings.text": _TERMS},
    "shots/*": {"widened.*": _BIRGE, "holes.area_ratio_u": _BIRGE},
    "*": {
        "*holes.deviation_deg": _JUDGED,
        "*holes.deviation_u_deg": _JUDGED,
        "*holes.each.deviation_deg": _JUDGED,
    }
    | dict.fromkeys(
        (
            *("*area_u_*", "*area_ratio*_u", "*area_ratio.difference_u", "*evidence.u"),
            *("*probability", "*sd_ratio", "*photo_scatter.area"),
        ),
        _AREAS,
    ),
    # A layout's unequal holes, shown with less doubt.
    "small/layout-4000": {"findings.codes": _AREAS},
    "batch/manifest": {"photos.findings": _AREAS, "photos.deviation_max*": _JUDGED},
    "small/uneven-003": {
        "plumes.width_deg": "two plumes that touch are cut about the centre that is stated"
    },
    # Noisy paper: one hole is sure now that was not, and another the other way round.
    "small/wild-faint-4720": dict.fromkeys(("holes.state", "findings.codes"), _AREAS),
    "small/wild-fingerprint-4660": dict.fromkeys(("holes.state", "findings.codes"), _AREAS),
    # Two of its seven holes are faulty; one is proved now.
    "small/wild-round-4643": dict.fromkeys(
        ("verdict", "exit code", "holes.state", "findings.codes", "findings.evidence.*"), _AREAS
    ),
}
"""Document (or a pattern such as ``plain/*``) to key (or a pattern, as in the report: dotted,
frozen names) to the reason. What is explained is still counted, but apart."""
