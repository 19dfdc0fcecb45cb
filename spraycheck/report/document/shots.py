"""The documents of several shots judged together, and of two compared, filled in."""

from __future__ import annotations

from typing import Any

from spraycheck.judge.result import Hole, HoleShots, Matching, Result, Shots
from spraycheck.judge.shots import Change, Comparison, HoleChange
from spraycheck.report.document import forms, result_document
from spraycheck.report.document.entries import as_document, entry_of
from spraycheck.report.document.shared import evidence_entry, finding_entry
from spraycheck.report.model.shots import worst_checks
from spraycheck.report.words.findings import hole_reason, matching_reason


def shots_form(result: Result, shots: Shots) -> dict[str, Any]:
    """Return the document of several shots, with each photo's own."""
    rows = zip(result.holes, shots.holes, strict=True)
    form = entry_of(
        forms.CombinationDocument,
        result,
        schema="spraycheck.combination/1",
        shots=shots.count,
        cards=shots.cards,
        matching=_matching(shots.matching),
        holes=tuple(_hole(hole, over, len(shots.photos)) for hole, over in rows),
        extremes=tuple(evidence_entry(check) for check in worst_checks(result)),
        findings=tuple(finding_entry(finding) for finding in result.findings),
        widened=forms.PairEntry(direction=shots.widened[0], area=shots.widened[1]),
        photo_scatter=forms.PairEntry(
            direction=shots.photo_scatter[0], area=shots.photo_scatter[1]
        ),
        photos=(),
    )
    # Each photo has a scale of its own.
    return {**as_document(form), "photos": [result_document(photo) for photo in shots.photos]}


def comparison_form(comparison: Comparison) -> dict[str, Any]:
    """Return the document of two photos compared, with each photo's own."""
    c = comparison
    changes = {
        "least_area_ratio": c.least,
        "most_area_ratio": c.most,
        "furthest_deviation_deg": c.furthest,
    }
    return {
        "schema": "spraycheck.comparison/1",
        "matching": as_document(_matching(c.matching)),
        "risk": c.risk,
        "holes": [as_document(_changed_hole(hole)) for hole in c.holes],
        **{name: as_document(_change(change)) for name, change in changes.items()},
        "before": result_document(c.before),
        "after": result_document(c.after),
    }


def _hole(hole: Hole, over: HoleShots, photos: int) -> forms.CombinedHoleEntry:
    each = tuple(
        forms.HoleOnPhotoEntry(state=state, area_ratio=ratio, deviation_deg=turn)
        for state, ratio, turn in zip(over.states, over.ratios, over.deviations_deg, strict=True)
    )
    reason = hole_reason(hole, photos)
    return entry_of(forms.CombinedHoleEntry, hole, over, reason=reason, each=each)


def _matching(matching: Matching) -> forms.MatchingEntry:
    turns = matching.turn_deg if matching.sure else None
    return entry_of(forms.MatchingEntry, matching, turn_deg=turns, note=matching_reason(matching))


def _changed_hole(hole: HoleChange) -> forms.ChangedHoleEntry:
    changes = {"area_ratio": _change(hole.area), "deviation_deg": _change(hole.deviation)}
    return entry_of(forms.ChangedHoleEntry, hole, **changes)


def _change(change: Change) -> forms.ChangeEntry:
    return entry_of(forms.ChangeEntry, change, sure=bool(change.sure))
