"""Time from spraying to photo: how far wet rims may have crept, and what that does to areas.

A stain on absorbing paper goes on growing while it has fluid to give. Its rim advances at most with
the square root of time (Washburn 1921) and stops when the dose is used up. All plumes of a card
creep alike, so what is common to them cancels in shares; but the same rim makes up more of a small
plume than of a large one, which hides a weak hole on a card photographed late.

References
----------
Washburn, E. W. (1921), "The dynamics of capillary flow", Phys. Rev. 17, 273-283 (from memory).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time
from typing import Final

import numpy as np

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.spray.containers import PlumeCatalogue

USUAL_S: Final = 120.0
"""Up to this time areas are covered by their own uncertainty: photos are asked for about a minute
after the stroke, and the cards the uncertainty was tested on were 10 to 90 s old."""

WICKING_MM_PER_RT_S: Final = 0.25
"""Largest advance of a rim, mm per root second: quick office paper (0.15 mm per root second fed at
saturation is typical, from memory, times the spread of 1.6 between papers met)."""

LARGEST_GROWTH: Final = 1.0
"""A finite dose stops when it has drained to the saturation at which nothing moves, about half
(chosen: 0.1 to 0.5 are usual in porous media, from memory): the area can at most double."""

_CLOCK_SLACK_S: Final = 120.0
# A watch and a phone may differ by this much before one of them is called wrong (chosen).

_DAY_S: Final = 86_400.0
_SHORT = re.compile(r"(\d{1,2})[:.](\d{2})(?:[:.](\d{2}))?")


@dataclass(frozen=True, kw_only=True)
class SprayTime:
    """When a card was sprayed.

    Parameters
    ----------
    text : str
        As given.
    moment : datetime.datetime or datetime.time
        A time alone is that of the day the photo was taken, or of the evening before.
    """

    text: str
    moment: datetime | time


def parse_spray_time(text: str) -> SprayTime:
    """Read a time as a person writes it: ``14:30``, ``14:30:20``, ``2026-11-03T14:30``.

    Raises
    ------
    InputError
        Not a time.
    """
    given = text.strip()
    try:
        if short := _SHORT.fullmatch(given):
            hour, minute, second = (int(part or 0) for part in short.groups())
            return SprayTime(text=given, moment=time(hour, minute, second))
        if "-" not in given:
            raise ValueError(given)
        return SprayTime(text=given, moment=datetime.fromisoformat(given))
    except ValueError:
        raise InputError(
            f"time {text!r} not understood: expected when the card was sprayed",
            "write it like 14:30, or with the date like 2026-11-03T14:30",
        ) from None


def seconds_since(sprayed: SprayTime, taken_at: str) -> float:
    """Return the time from spraying to photo.

    Parameters
    ----------
    sprayed : SprayTime
        When the card was sprayed.
    taken_at : str
        When the photo was taken, ISO 8601; empty when it does not say.

    Returns
    -------
    float
        Seconds; NaN when the photo does not say.

    Raises
    ------
    InputError
        The photo was taken before the card was sprayed.
    """
    if not taken_at:
        return math.nan
    taken = datetime.fromisoformat(taken_at)
    moment = sprayed.moment
    if isinstance(moment, time):
        local = taken.replace(tzinfo=None)
        seconds = (local - datetime.combine(local.date(), moment)).total_seconds() % _DAY_S
        if seconds > _DAY_S / 2:  # rather a clock that is off than a card from yesterday
            seconds -= _DAY_S
    elif moment.tzinfo is not None and taken.tzinfo is not None:
        seconds = (taken.astimezone(UTC) - moment.astimezone(UTC)).total_seconds()
    else:
        seconds = (taken.replace(tzinfo=None) - moment.replace(tzinfo=None)).total_seconds()
    if seconds < -_CLOCK_SLACK_S:
        raise InputError(
            f"the card was sprayed at {sprayed.text}, but the photo says it was taken "
            f"{-seconds / 60:.0f} minutes before that ({taken_at})",
            "check the time given and the phone's clock; add the date when the card is older than "
            "half a day",
        )
    return max(seconds, 0.0)


def wicking_mm(seconds: float) -> float:
    """Return how far rims may have crept beyond what is usual; 0 for an unknown time."""
    if not seconds > USUAL_S:
        return 0.0
    return WICKING_MM_PER_RT_S * (math.sqrt(seconds) - math.sqrt(USUAL_S))


def widen_for_wicking(catalogue: PlumeCatalogue, wicking: float) -> PlumeCatalogue:
    """Return the catalogue with areas less certain by what the rims may have crept.

    Parameters
    ----------
    catalogue : PlumeCatalogue
        From stage 5.
    wicking : float
        mm, from `wicking_mm`.

    Notes
    -----
    A plume of area A and circumference P grows by at most ``min(P x, A)`` when rims creep by x. How
    far they really crept lies anywhere between 0 and x, the same for all plumes. What all plumes
    gain alike cancels, so what counts is a plume's growth less that of the typical one; as the
    half-width of a rectangle it has the standard uncertainty ``1 / sqrt(3)`` of it.
    """
    if wicking <= 0 or len(catalogue) == 0:
        return catalogue
    area = np.maximum(catalogue.area_mm2, 1e-9)
    growth = np.minimum(_circumference(catalogue) * wicking / area, LARGEST_GROWTH)
    unlike = np.abs(growth - np.median(growth)) * COVERAGE_FACTOR_95 / math.sqrt(3)
    mean = float(np.average(growth, weights=area))
    share = np.abs(growth - mean) * COVERAGE_FACTOR_95 / math.sqrt(3)
    return replace(
        catalogue,
        area_u_mm2=np.hypot(catalogue.area_u_mm2, unlike * area),
        area_u_frac=np.hypot(catalogue.area_u_frac, share * catalogue.area_frac),
    )


def _circumference(catalogue: PlumeCatalogue) -> Float:
    """Of the ellipse as long and as wide as each plume, mm (Ramanujan's first formula)."""
    a = (catalogue.reach_mm - catalogue.near_mm) / 2
    middle = (catalogue.reach_mm + catalogue.near_mm) / 2
    b = middle * np.sin(np.radians(np.minimum(catalogue.width_deg, 180.0) / 2))
    return np.asarray(math.pi * (3 * (a + b) - np.sqrt((3 * a + b) * (a + 3 * b))))
