"""Photos that do not belong together: other nozzles, other layouts, other cards, the same twice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraycheck.arrays import Float
from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.judge.limits import AxialLimits, Limits
from spraycheck.judge.result import Finding, Kind, Result
from spraycheck.judge.shots.same_card import SAME_CARD, likeness
from spraycheck.judge.shots.shot import Shot, name_of
from spraycheck.stats.circular import wrap_180
from spraycheck.stats.conformity import risk_per_limit

_TRY = "give only photos of one nozzle, and look at each photo by itself first"
_ONE_CARD = "leave --same-card or --photos-per-card out where every photo shows a shot of its own"


class Apart(NamedTuple):
    """Which holes two photos surely and materially disagree about; ``(n,)`` masks."""

    direction: NDArray[np.bool_]
    area: NDArray[np.bool_]


def check_photos(photos: Sequence[Result], *, same_job: bool) -> None:
    """Refuse photos that cannot be of one nozzle before anything is matched.

    Parameters
    ----------
    photos : sequence of Result
        Two or more.
    same_job : bool
        Whether labels of different jobs are refused; before and after may be two jobs.

    Raises
    ------
    InputError
        Fewer than two, the same photo twice, differing layouts or limits, labels that differ, or a
        photo that the layout does not fit.
    """
    if len(photos) < 2:
        raise InputError(f"{len(photos)} photo, expected two or more")
    first = photos[0]
    names = [name_of(photo, k) for k, photo in enumerate(photos)]
    digests: dict[str, str] = {}
    for photo, name in zip(photos, names, strict=True):
        digest = photo.photo.sha256
        if digest and digest in digests:
            raise InputError(
                f"{digests[digest]} and {name} are the same photo, expected another photo each",
                "one photo counted twice is no second measurement",
            )
        digests[digest] = name
        # By their words: a layout's unknown angles are NaN, which equals nothing.
        if repr((photo.layout, photo.limits)) != repr((first.layout, first.limits)):
            raise InputError(
                f"{names[0]} and {name} were judged by different layouts or limits, expected one",
                "measure them again with the same settings",
            )
    for what in ("injector", *(("job",) if same_job else ())):
        said = {
            getattr(photo.card.printed, what): name
            for photo, name in zip(photos, names, strict=True)
            if photo.card.printed is not None and getattr(photo.card.printed, what)
        }
        if len(said) > 1:
            told = ", ".join(f"{name} says {value}" for value, name in said.items())
            raise InputError(f"the cards' labels name different {what}s: {told}", _TRY)
    for photo, name in zip(photos, names, strict=True):
        for found in photo.findings:
            if found.kind in MISFITS:
                raise InputError(
                    f"{name} does not fit the layout {first.layout.name!r}: {_misfit(found)}", _TRY
                )


MISFITS = (Kind.COUNT_DOES_NOT_FIT, Kind.MIRRORED_LAYOUT)
"""Findings with which no hole was judged."""


def _misfit(found: Finding) -> str:
    """Say how a layout does not fit a photo."""
    fields = found.fields
    if found.kind is Kind.MIRRORED_LAYOUT:
        return "it fits clearly better when it is mirrored"
    return f"{fields['expected']} holes were asked for, but the card shows {fields['found']} plumes"


def check_seen(shots: Sequence[Shot]) -> None:
    """Refuse a photo on which no plume stands for a hole by itself.

    Raises
    ------
    InputError
        By its name.
    """
    for k, shot in enumerate(shots):
        if (shot.values.plume < 0).all():
            raise InputError(
                f"{name_of(shot.photo, k)}: no plume stands for one hole by itself, expected some",
                "leave this photo out, or spray a fresh card",
            )


def apart(one: Shot, other: Shot) -> Apart:
    """Tell which holes of two matched photos differ surely, and by more than half a limit.

    A difference counts as sure at the photo's risk shared among all values compared.
    """
    a, b, limits = one.values, other.values, one.photo.limits
    certain = two_sided(risk_per_limit(2 * len(one), limits.risk))
    off = _turned_off(one, other)
    with np.errstate(invalid="ignore"):
        direction = np.abs(off) > np.maximum(
            certain * np.hypot(a.sigma_deg, b.sigma_deg), material(limits, True)
        )
        area = np.abs(b.area.log - a.area.log) > np.maximum(
            certain * np.hypot(a.area.sigma, b.area.sigma), material(limits, False)
        )
    gone = one.blocked & np.isfinite(b.area.log) | other.blocked & np.isfinite(a.area.log)
    return Apart(direction, area | gone)


def material(limits: Limits | AxialLimits, direction: bool) -> float:
    """Smallest difference that matters: half a limit, in degrees or in the logarithm of an area.

    Where a limit is off, half of its default.
    """
    if not isinstance(limits, Limits):
        raise TypeError("shots of an axial spray are not combined")
    if direction:
        on = limits.held("direction_deg")
        return (limits.direction_deg if on else Limits.direction_deg) / 2
    low = limits.area_low_ratio if limits.held("area_low_ratio") else Limits.area_low_ratio
    high = limits.area_high_ratio if limits.held("area_high_ratio") else Limits.area_high_ratio
    return min(-math.log(low), math.log(high)) / 2


def check_one_nozzle(shots: Sequence[Shot]) -> None:
    """Refuse matched photos whose patterns cannot come from one nozzle.

    Two plumes that moved, or more than half of all areas that changed, are another nozzle; less
    may be one hole that comes and goes.

    Raises
    ------
    InputError
        With the holes and figures that disagree.
    """
    for k, shot in enumerate(shots[1:], start=1):
        found = apart(shots[0], shot)
        moved, changed = int(found.direction.sum()), int(found.area.sum())
        if moved < 2 and changed <= len(shot) / 2:
            continue
        raise InputError(
            f"{name_of(shots[0].photo, 0)} and {name_of(shot.photo, k)} look like different "
            f"nozzles: even at their best fit {_told(shots[0], shot, found)}",
            _TRY,
        )


def check_one_card(one: Result, other: Result, names: tuple[str, str]) -> float:
    """Refuse two photos said to be of one card whose wet patches are not shaped alike.

    `check_same_values` is the other half, once the photos are matched.

    Returns
    -------
    float
        Turn of the other photo's card against the one's.

    Raises
    ------
    InputError
        The photos are of different cards.
    """
    correlation, turn = likeness(one, other)
    if correlation < SAME_CARD:
        raise InputError(
            f"{names[0]} and {names[1]} show different cards: the edges of their wet patches agree "
            f"by {correlation:.0%} only, expected {SAME_CARD:.0%} or more of one card",
            _ONE_CARD,
        )
    return turn


def check_same_values(one: Shot, other: Shot, names: tuple[str, str]) -> None:
    """Refuse two matched photos said to be of one card whose values surely differ.

    Raises
    ------
    InputError
        With the holes and figures that disagree.
    """
    found = apart(one, other)
    if found.direction.any() or found.area.any():
        raise InputError(
            f"{names[0]} and {names[1]} show different cards: {_told(one, other, found)}",
            _ONE_CARD,
        )


def _told(one: Shot, other: Shot, found: Apart) -> str:
    parts = []
    off = _turned_off(one, other)
    sigma = np.hypot(one.values.sigma_deg, other.values.sigma_deg)
    for hole in np.flatnonzero(found.direction).tolist():
        u = COVERAGE_FACTOR_95 * float(sigma[hole])
        number = one.rows[hole].hole
        parts.append(f"hole {number} points {abs(off[hole]):.1f}° (± {u:.1f}°) elsewhere")
    for hole in np.flatnonzero(found.area).tolist():
        before, after = one.rows[hole].area_ratio, other.rows[hole].area_ratio
        parts.append(f"hole {one.rows[hole].hole} wets {before:.0%} and {after:.0%}")
    return ", ".join(parts)


def _turned_off(one: Shot, other: Shot) -> Float:
    """Difference of directions, without what both photos' holes share."""
    off = np.asarray(wrap_180(other.values.deviation_deg - one.values.deviation_deg))
    return off - np.nanmedian(off) if np.isfinite(off).any() else off


def two_sided(risk: float) -> float:
    """Standard normal quantile that is passed, either way, with this probability."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(1 - risk / 2)
