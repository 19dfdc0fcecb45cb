"""Photos that do not belong together: other nozzles, other layouts, other cards, the same twice."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError
from spraycheck.judge.layout import Assessment
from spraycheck.judge.limits import Limits
from spraycheck.judge.shots.same_card import SAME_CARD, likeness
from spraycheck.judge.shots.shots import TROUBLE, Shot
from spraycheck.stats.circular import wrap_180
from spraycheck.stats.conformity import risk_per_limit

_TRY = "give only photos of one nozzle, and look at each photo by itself first"
_ONE_CARD = "leave --same-card or --photos-per-card out where every photo shows a shot of its own"


class Apart(NamedTuple):
    """Which holes two photos surely and materially disagree about; ``(n,)`` masks."""

    direction: NDArray[np.bool_]
    area: NDArray[np.bool_]


def check_photos(photos: Sequence[Assessment], *, same_job: bool) -> None:
    """Refuse photos that cannot be of one nozzle before anything is matched.

    Parameters
    ----------
    photos : sequence of Assessment
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
    wrong = [
        f"{name}: {found.text.partition(';')[0].partition('. ')[0]}"
        for photo, name in zip(photos, names, strict=True)
        for found in photo.findings
        if found.code in TROUBLE
    ]
    if wrong:
        one = "the photos do not fit" if len(wrong) == len(photos) else "not all photos fit"
        raise InputError(f"{one} the layout {first.layout.name!r}: {'. '.join(wrong)}", _TRY)


def check_seen(shots: Sequence[Shot]) -> None:
    """Refuse a photo on which no plume stands for a hole by itself.

    Raises
    ------
    InputError
        By its name.
    """
    for k, shot in enumerate(shots):
        if (shot.plume < 0).all():
            raise InputError(
                f"{name_of(shot.photo, k)}: no plume stands for one hole by itself, expected some",
                "leave this photo out, or spray a fresh card",
            )


def apart(one: Shot, other: Shot) -> Apart:
    """Tell which holes of two matched photos differ surely, and by more than half a limit.

    A difference counts as sure at the photo's risk shared among all values compared.
    """
    limits = one.photo.limits
    certain = two_sided(risk_per_limit(2 * len(one), limits.risk))
    off = np.asarray(wrap_180(other.deviation_deg - one.deviation_deg))
    if np.isfinite(off).any():
        off = off - np.nanmedian(off)
    with np.errstate(invalid="ignore"):
        direction = np.abs(off) > np.maximum(
            certain * np.hypot(one.direction_u_deg, other.direction_u_deg),
            material(limits, True),
        )
        area = np.abs(other.log_area - one.log_area) > np.maximum(
            certain * np.hypot(one.log_area_u, other.log_area_u), material(limits, False)
        )
    gone = (one.blocked & np.isfinite(other.log_area)) | (other.blocked & np.isfinite(one.log_area))
    return Apart(direction, area | gone)


def material(limits: Limits, direction: bool) -> float:
    """Smallest difference that matters: half a limit, in degrees or in the logarithm of an area.

    Where a limit is off, half of its default.
    """
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


def check_one_card(one: Assessment, other: Assessment, names: tuple[str, str]) -> float:
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


def name_of(photo: Assessment, index: int) -> str:
    """Name a photo in a message: its file, or its number where it has none."""
    return photo.photo.file or f"photo {index + 1}"


def _told(one: Shot, other: Shot, found: Apart) -> str:
    parts = []
    off = np.asarray(wrap_180(other.deviation_deg - one.deviation_deg))
    if np.isfinite(off).any():
        off = off - np.nanmedian(off)
    for hole in np.flatnonzero(found.direction).tolist():
        u = 1.96 * math.hypot(float(one.direction_u_deg[hole]), float(other.direction_u_deg[hole]))
        number = one.rows[hole].hole
        parts.append(f"hole {number} points {abs(off[hole]):.1f}° (± {u:.1f}°) elsewhere")
    for hole in np.flatnonzero(found.area).tolist():
        before, after = one.rows[hole].area_ratio, other.rows[hole].area_ratio
        parts.append(f"hole {one.rows[hole].hole} wets {before:.0%} and {after:.0%}")
    return ", ".join(parts)


def two_sided(risk: float) -> float:
    """Standard normal quantile that is passed, either way, with this probability."""
    from statistics import NormalDist

    return NormalDist().inv_cdf(1 - risk / 2)
