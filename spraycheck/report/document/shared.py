"""Entries that documents of every kind share, filled in."""

from __future__ import annotations

import functools
import math
from typing import Any

import numpy as np

from spraycheck.card.containers import RectifiedCard
from spraycheck.judge.limits import LimitSet, limit_fields
from spraycheck.judge.result import Finding, LimitCheck
from spraycheck.report.document import entries
from spraycheck.report.document.entries import as_document, entry_of
from spraycheck.report.words.findings import text_of


def limits_entry(limits: LimitSet) -> dict[str, Any]:
    """Return the entry for a set of limits: each with unit and source.

    The value of a limit that is switched off is None, and ``off`` says so.
    """
    return {
        key: value if isinstance(value, str) else dict(value)
        for key, value in _limits_entry(limits).items()
    }


@functools.lru_cache(maxsize=16)
def _limits_entry(limits: LimitSet) -> dict[str, Any]:
    each: dict[str, Any] = {"name": limits.name}
    for one in limit_fields(type(limits)):
        on = limits.held(one.name)
        entry = entries.LimitEntry(
            value=float(getattr(limits, one.name)) if on else None,
            unit=limits.unit(one.name),
            source=limits.source(one.name),
            off=not on,
        )
        each[one.name] = as_document(entry)
    return each


def card_entry(card: RectifiedCard, scale: float) -> entries.CardEntry:
    """Return the entry for the sheet; ``scale`` is in photo pixels per mm."""
    corners = np.asarray(card.corners_px)
    printed = None if card.printed is None else entry_of(entries.PrintedEntry, card.printed)
    return entry_of(
        entries.CardEntry,
        card,
        mm_per_px=1 / scale if scale > 0 else None,
        corners_px=points(corners) if np.isfinite(corners).all() else None,
        printed=printed,
    )


def finding_entry(finding: Finding) -> entries.FindingEntry:
    """Return the entry for a finding."""
    return entries.FindingEntry(
        code=finding.code,
        hole=finding.hole if finding.hole > 0 else None,
        text=text_of(finding),
        evidence=evidence_entry(finding.check) if finding.check is not None else None,
    )


def evidence_entry(check: LimitCheck) -> entries.EvidenceEntry:
    """Return the entry for a value and its limit."""
    return entry_of(entries.EvidenceEntry, check)


def points(places: Any) -> Any:
    """Return places as tuples of two numbers."""
    return tuple((float(x), float(y)) for x, y in places)


def in_photo(card: RectifiedCard, x_mm: float, y_mm: float) -> entries.Point:
    """Return where a place on the card lies in the photo; NaN where that is not known."""
    if not (math.isfinite(x_mm) and math.isfinite(y_mm)):
        return (math.nan, math.nan)
    x, y = card.to_photo(np.array([[x_mm, y_mm]]))[0]
    return (float(x), float(y))
