"""Several shots of one nozzle, combined or compared, as plain JSON values.

The published descriptions are ``combination.schema.json`` and ``comparison.schema.json`` beside
this module. Keys are public for ever; a reader must accept keys it does not know.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib import resources
from typing import Any, Final

from spraycheck.errors import InputError, MeasurementError
from spraycheck.judge.findings.words import hole_in_words, intermittent_in_words, matching_in_words
from spraycheck.judge.result import Doubt, Hole, HoleShots, Kind, LimitCheck, Matching, Result
from spraycheck.judge.shots.comparing import Change, Comparison, HoleChange
from spraycheck.report.document import assessment_document, check_entry, finding_entry, plain

COMBINATION: Final = "spraycheck.combination/1"
COMPARISON: Final = "spraycheck.comparison/1"
"""Names and versions of the documents' forms."""

_DIGITS: Final = 6
"""Significant digits, chosen far beyond the smallest uncertainty met."""


def combination_document(combination: Result) -> dict[str, Any]:
    """Return the document of several shots judged together, ready for `dumps`."""
    c, shots = combination, combination.together
    rows = zip(c.holes, shots.holes, strict=True) if c.holes else ()
    return {
        "schema": COMBINATION,
        "verdict": c.verdict,
        "probability": _tidy(c.probability),
        "shots": shots.count,
        "cards": list(shots.cards),
        "matching": _matching(shots.matching),
        "holes": [_hole(c, hole, each) for hole, each in rows],
        "extremes": [_tidy(check_entry(check)) for check in extremes_of(c)],
        "findings": [finding_entry(finding) for finding in c.findings],
        "widened": {"direction": _tidy(shots.widened[0]), "area": _tidy(shots.widened[1])},
        "photo_scatter": {
            "direction": _tidy(shots.photo_scatter[0]),
            "area": _tidy(shots.photo_scatter[1]),
        },
        "photos": [assessment_document(photo) for photo in shots.photos],
    }


def extremes_of(combination: Result) -> tuple[LimitCheck, ...]:
    """Return what is true of any hole, where holes could not be followed."""
    return tuple(c for c in combination.checks if Doubt.NOT_FOLLOWED in c.doubts)


def comparison_document(comparison: Comparison) -> dict[str, Any]:
    """Return the document of two photos compared, ready for `dumps`."""
    c = comparison
    return {
        "schema": COMPARISON,
        "matching": _matching(c.matching),
        "risk": c.risk,
        "holes": [_change_of_hole(hole) for hole in c.holes],
        "least_area_ratio": _change(c.least),
        "most_area_ratio": _change(c.most),
        "furthest_deviation_deg": _change(c.furthest),
        "before": assessment_document(c.before),
        "after": assessment_document(c.after),
    }


def refusal_document(schema: str, files: Sequence[str], error: Exception) -> dict[str, Any]:
    """Return the document of photos that could not be combined or compared."""
    stage = error.stage if isinstance(error, MeasurementError) else "combination"
    message = error.message if isinstance(error, InputError) else str(error)
    hint = error.hint if isinstance(error, InputError | MeasurementError) else ""
    return {
        "schema": schema,
        "verdict": None,
        "files": list(files),
        "error": {"stage": stage, "message": message, "hint": hint},
    }


def combined_schema_text(name: str) -> str:
    """Return a JSON Schema: ``combination`` or ``comparison``."""
    folder = resources.files("spraycheck.report")
    return folder.joinpath(f"{name}.schema.json").read_text("utf-8")


def _hole(c: Result, hole: Hole, each: HoleShots) -> dict[str, Any]:
    return {
        "hole": hole.hole,
        "state": hole.state,
        "intermittent": each.intermittent,
        "shots": each.shots,
        "expected_deg": _tidy(hole.expected_deg),
        "deviation_deg": _tidy(hole.deviation_deg),
        "deviation_u_deg": _tidy(hole.deviation_u_deg),
        "area_frac": _tidy(hole.area_frac),
        "area_ratio": _tidy(hole.area_ratio),
        "area_ratio_u": _tidy(hole.area_ratio_u),
        "probability": _tidy(hole.probability),
        "reason": _reason(c, hole),
        "shot_sd_deg": _tidy(each.shot_sd_deg),
        "photo_sd_deg": _tidy(each.photo_sd_deg),
        "shot_sd_ratio": _tidy(each.shot_sd_ratio),
        "photo_sd_ratio": _tidy(each.photo_sd_ratio),
        "each": [
            {"state": state, "area_ratio": _tidy(ratio), "deviation_deg": _tidy(turn)}
            for state, ratio, turn in zip(
                each.states, each.ratios, each.deviations_deg, strict=True
            )
        ],
    }


def _reason(c: Result, hole: Hole) -> str:
    """Say why a hole is unsure; of one that comes and goes, on which photos."""
    reason = hole_in_words(hole, len(c.together.photos))
    for finding in c.findings:
        if finding.hole == hole.hole and finding.kind is Kind.HOLE_INTERMITTENT:
            return f"{reason}: {intermittent_in_words(**dict(finding.fields))}"  # type: ignore[arg-type]
    return reason


def _change_of_hole(h: HoleChange) -> dict[str, Any]:
    return {
        "hole": h.hole,
        "after_hole": h.after_hole,
        "state_before": h.state_before,
        "state_after": h.state_after,
        "change": h.change,
        "area_ratio": _change(h.area),
        "deviation_deg": _change(h.deviation),
    }


def _change(change: Change) -> dict[str, Any]:
    return {str(name): _tidy(value) for name, value in asdict(change).items()}


def _matching(matching: Matching) -> dict[str, Any]:
    return {
        "by": matching.by,
        "probability": _tidy(matching.probability),
        "turn_deg": _tidy(matching.turn_deg) if matching.sure else None,
        "note": matching_in_words(matching),
    }


def _tidy(value: object) -> Any:
    """Return plain values, rounded; what is not finite becomes None."""
    if isinstance(value, Mapping):
        return {str(key): _tidy(item) for key, item in value.items()}
    if isinstance(value, float):
        return float(f"{value:.{_DIGITS}g}") if math.isfinite(value) else None
    if isinstance(value, tuple | list):
        return [_tidy(item) for item in value]
    return plain(value)
