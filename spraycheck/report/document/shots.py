"""The documents of several shots judged together, and of two compared, filled in."""

from __future__ import annotations

from typing import Any

from spraycheck.judge.result import Hole, HoleShots, Matching, Result, Shots
from spraycheck.judge.shots import Change, Comparison, HoleChange
from spraycheck.report.document import forms, result_document
from spraycheck.report.document.entries import as_document
from spraycheck.report.document.shared import evidence_entry, finding_entry
from spraycheck.report.model.shots import worst_checks
from spraycheck.report.words.findings import hole_reason, matching_reason


def shots_form(result: Result, shots: Shots) -> dict[str, Any]:
    """Return the document of several shots, with each photo's own."""
    form = forms.CombinationDocument(
        schema="spraycheck.combination/1",
        verdict=result.verdict,
        probability=result.probability,
        shots=shots.count,
        cards=shots.cards,
        matching=_matching(shots.matching),
        holes=tuple(
            _hole(hole, over, len(shots.photos))
            for hole, over in zip(result.holes, shots.holes, strict=True)
        ),
        extremes=tuple(evidence_entry(check) for check in worst_checks(result)),
        findings=tuple(finding_entry(finding) for finding in result.findings),
        widened=forms.Pair(direction=shots.widened[0], area=shots.widened[1]),
        photo_scatter=forms.Pair(direction=shots.photo_scatter[0], area=shots.photo_scatter[1]),
        photos=(),
    )
    # Each photo has a scale of its own.
    return {**as_document(form), "photos": [result_document(photo) for photo in shots.photos]}


def comparison_form(comparison: Comparison) -> dict[str, Any]:
    """Return the document of two photos compared, with each photo's own."""
    c = comparison
    parts = {
        "schema": "spraycheck.comparison/1",
        "matching": as_document(_matching(c.matching)),
        "risk": c.risk,
        "holes": [as_document(_changed_hole(hole)) for hole in c.holes],
        "least_area_ratio": as_document(_change(c.least)),
        "most_area_ratio": as_document(_change(c.most)),
        "furthest_deviation_deg": as_document(_change(c.furthest)),
    }
    return {**parts, "before": result_document(c.before), "after": result_document(c.after)}


def _hole(hole: Hole, over: HoleShots, photos: int) -> forms.CombinedHole:
    each = zip(over.states, over.ratios, over.deviations_deg, strict=True)
    return forms.CombinedHole(
        hole=hole.hole,
        state=hole.state,
        intermittent=over.intermittent,
        shots=over.shots,
        expected_deg=hole.expected_deg,
        deviation_deg=hole.deviation_deg,
        deviation_u_deg=hole.deviation_u_deg,
        area_frac=hole.area_frac,
        area_ratio=hole.area_ratio,
        area_ratio_u=hole.area_ratio_u,
        probability=hole.probability,
        reason=hole_reason(hole, photos),
        doubts=hole.doubts,
        shot_sd_deg=over.shot_sd_deg,
        photo_sd_deg=over.photo_sd_deg,
        shot_sd_ratio=over.shot_sd_ratio,
        photo_sd_ratio=over.photo_sd_ratio,
        each=tuple(
            forms.HoleOnPhoto(state=state, area_ratio=ratio, deviation_deg=turn)
            for state, ratio, turn in each
        ),
    )


def _matching(matching: Matching) -> forms.Matching:
    return forms.Matching(
        by=matching.by,
        probability=matching.probability,
        turn_deg=matching.turn_deg if matching.sure else None,
        note=matching_reason(matching),
    )


def _changed_hole(hole: HoleChange) -> forms.ChangedHole:
    return forms.ChangedHole(
        hole=hole.hole,
        after_hole=hole.after_hole,
        state_before=hole.state_before,
        state_after=hole.state_after,
        change=hole.change,
        area_ratio=_change(hole.area),
        deviation_deg=_change(hole.deviation),
    )


def _change(change: Change) -> forms.Change:
    return forms.Change(
        before=change.before,
        after=change.after,
        difference=change.difference,
        difference_u=change.difference_u,
        chance=change.chance,
        sure=bool(change.sure),
    )
