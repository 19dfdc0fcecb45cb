"""How repeatable readings are: gauge studies, and agreement of verdicts.

A gauge study has every person read every part several times; its scatter is split into the gauge's
own (repeatability), the people's (reproducibility) and the parts'. All standard deviations are in
the unit of the readings.

References
----------
.. [1] AIAG, Measurement Systems Analysis, 4th ed., 2010 (constants and rules recalled, not seen;
   its worked example is reproduced in the tests).
.. [2] D. C. Montgomery, Design and Analysis of Experiments, Wiley 2012, section 13.3.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.float64]


# --- gauge studies --------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class GaugeStudy:
    """Where the scatter of a gauge study comes from, as standard deviations.

    Parameters
    ----------
    method : str
        ``range``, ``anova`` or ``anova-pooled`` (interaction pooled with the repeats).
    repeatability : float
        Same person, same part.
    reproducibility : float
        Between people, interaction with parts included.
    parts : float
        Between parts.
    """

    method: str
    repeatability: float
    reproducibility: float
    parts: float

    @property
    def gauge(self) -> float:
        """Repeatability and reproducibility together (GRR)."""
        return math.hypot(self.repeatability, self.reproducibility)

    @property
    def total(self) -> float:
        """Gauge and parts together."""
        return math.hypot(self.gauge, self.parts)

    @property
    def gauge_percent(self) -> float:
        """GRR as a percentage of the total; under 10 good, over 30 unfit (AIAG [1]_, recalled)."""
        return 100.0 * self.gauge / self.total if self.total > 0 else math.nan

    @property
    def categories(self) -> int:
        """Classes of parts that can be told apart (ndc), ``1.41 parts / gauge`` cut off."""
        if self.gauge == 0:
            raise InputError("gauge study: no gauge scatter at all; were the readings copied?")
        return max(1, math.floor(1.41 * self.parts / self.gauge))


class Source(NamedTuple):
    """One row of an analysis of variance; F and p are NaN for the error row."""

    squares: float
    dof: int
    f: float
    p: float

    @property
    def mean_square(self) -> float:
        """Sum of squares per degree of freedom."""
        return self.squares / self.dof


@dataclass(frozen=True, kw_only=True)
class AnovaTable:
    """Two-way analysis of variance of parts x people with repeats.

    Parameters
    ----------
    part, person : Source
        Tested against the interaction, or against the error when the interaction was pooled.
    interaction : Source
        Tested against the error of the full model; kept for the record when pooled.
    error : Source
        Repeats, with the interaction's share when pooled.
    pooled : bool
        Whether the interaction was pooled.
    """

    part: Source
    person: Source
    interaction: Source
    error: Source
    pooled: bool


def range_study(readings: NDArray[np.floating]) -> GaugeStudy:
    """Average-and-range method.

    Parameters
    ----------
    readings : (parts, people, repeats) ndarray of float
        Two or more of each.

    Notes
    -----
    AIAG [1]_: ``EV = Rbar / d2``, ``AV^2 = (Xdiff / d2*)^2 - EV^2 / (parts repeats)``,
    ``PV = Rp / d2*`` with ``d2*`` for a single range; the constants are computed, not tabulated,
    so more digits are kept than the printed 0.5908, 0.5231, 0.3146.
    """
    x = _study(readings)
    parts, people, repeats = x.shape
    ev = float(np.ptp(x, axis=2).mean()) / range_constants(repeats)[0]
    between = float(np.ptp(x.mean(axis=(0, 2)))) / _single_range(people)
    pv = float(np.ptp(x.mean(axis=(1, 2)))) / _single_range(parts)
    av = math.sqrt(max(between**2 - ev**2 / (parts * repeats), 0.0))
    return GaugeStudy(method="range", repeatability=ev, reproducibility=av, parts=pv)


def range_control_limit(readings: NDArray[np.floating]) -> float:
    """Upper control limit of a repeat range, ``D4 Rbar`` with ``D4 = 1 + 3 d3 / d2``.

    A range above it says that something went wrong with that part at that person.
    """
    x = _study(readings)
    d2, d3 = range_constants(x.shape[2])
    return float(np.ptp(x, axis=2).mean()) * (1.0 + 3.0 * d3 / d2)


def anova_table(readings: NDArray[np.floating], *, pool_above: float = 0.25) -> AnovaTable:
    """Two-way crossed analysis of variance.

    Parameters
    ----------
    readings : (parts, people, repeats) ndarray of float
        Two or more of each.
    pool_above : float
        The interaction is pooled with the error when its p-value is above this; 0 pools always
        (unless p is 0), 1 never. A quarter is AIAG's advice (recalled).
    """
    x = _study(readings)
    parts, people, repeats = x.shape
    mean = float(x.mean())
    cells = x.mean(axis=2)
    by_part, by_person = x.mean(axis=(1, 2)), x.mean(axis=(0, 2))
    ss_part = people * repeats * float(((by_part - mean) ** 2).sum())
    ss_person = parts * repeats * float(((by_person - mean) ** 2).sum())
    mixed = cells - by_part[:, None] - by_person[None, :] + mean
    ss_mixed = repeats * float((mixed**2).sum())
    ss_error = float(((x - cells[:, :, None]) ** 2).sum())
    dof_mixed, dof_error = (parts - 1) * (people - 1), parts * people * (repeats - 1)
    interaction = _test(ss_mixed, dof_mixed, ss_error / dof_error, dof_error)
    pooled = interaction.p > pool_above
    if pooled:
        ss_error, dof_error = ss_error + ss_mixed, dof_error + dof_mixed
        against, dof_against = ss_error / dof_error, dof_error
    else:
        against, dof_against = ss_mixed / dof_mixed, dof_mixed
    return AnovaTable(
        part=_test(ss_part, parts - 1, against, dof_against),
        person=_test(ss_person, people - 1, against, dof_against),
        interaction=interaction,
        error=Source(ss_error, dof_error, math.nan, math.nan),
        pooled=pooled,
    )


def anova_study(readings: NDArray[np.floating], *, pool_above: float = 0.25) -> GaugeStudy:
    """Gauge study from the variance components of `anova_table`; random parts and people [2]_.

    Components that come out negative are none.
    """
    table = anova_table(readings, pool_above=pool_above)
    parts, people, repeats = _study(readings).shape
    error = table.error.mean_square
    if table.pooled:
        against, mixed = error, 0.0
    else:
        against = table.interaction.mean_square
        mixed = max((against - error) / repeats, 0.0)
    person = max((table.person.mean_square - against) / (parts * repeats), 0.0)
    part = max((table.part.mean_square - against) / (people * repeats), 0.0)
    return GaugeStudy(
        method="anova-pooled" if table.pooled else "anova",
        repeatability=math.sqrt(error),
        reproducibility=math.sqrt(person + mixed),
        parts=math.sqrt(part),
    )


def range_constants(n: int) -> tuple[float, float]:
    """Mean ``d2`` and standard deviation ``d3`` of the range of n standard normal values.

    From ``E W = integral 1 - F^n - (1-F)^n`` and the double integral for ``E W^2`` (H. L. Harter,
    Ann. Math. Stat. 31 (1960) 1122-1147, doi:10.1214/aoms/1177705684); six digits or better.
    """
    if not 2 <= n <= 1000:
        raise InputError(f"range of {n} values: expected 2 to 1000")
    fine, coarse = _range_moments(n, 561), _range_moments(n, 281)
    # Richardson: the triangle's rim leaves an error in the square of the step.
    d2, square = (4.0 * fine - coarse) / 3.0
    return float(d2), math.sqrt(float(square - d2**2))


def _range_moments(n: int, nodes: int) -> Float:
    """``E W`` and ``E W^2`` on a grid over -7 to 7 standard deviations."""
    x = np.linspace(-7.0, 7.0, nodes)
    step = float(x[1] - x[0])
    below = np.array([0.5 * math.erfc(-v / math.sqrt(2.0)) for v in x])
    mean = float((1.0 - below**n - (1.0 - below) ** n).sum()) * step
    low, high = below[:, None], below[None, :]
    inner = 1.0 - high**n - (1.0 - low) ** n + np.maximum(high - low, 0.0) ** n
    # The diagonal counts half: the trapezoid rule on the triangle x < y.
    square = 2.0 * step**2 * float(np.triu(inner, 1).sum() + 0.5 * np.trace(inner))
    return np.array([mean, square])


def _single_range(n: int) -> float:
    """``d2*`` for one range: ``sqrt(d2^2 + d3^2)``."""
    return math.hypot(*range_constants(n))


def _test(squares: float, dof: int, against: float, dof_against: int) -> Source:
    from scipy.special import fdtrc  # NumPy has no F distribution

    if against == 0:
        raise InputError("gauge study: no scatter to test against; were the readings copied?")
    f = squares / dof / against
    return Source(squares, dof, f, float(fdtrc(dof, dof_against, f)))


def _study(readings: NDArray[np.floating]) -> Float:
    x = np.asarray(readings, float)
    if x.ndim != 3 or min(x.shape) < 2 or not np.isfinite(x).all():
        raise InputError(
            f"gauge study: expected finite readings (parts, people, repeats), two or more of each, "
            f"got shape {x.shape}"
        )
    return x


# --- agreement of verdicts ------------------------------------------------------------------------


class Kappa(NamedTuple):
    """Agreement beyond chance.

    Parameters
    ----------
    kappa : float
        1 full agreement, 0 no better than chance; NaN when only one verdict was ever given.
    u : float
        Standard uncertainty for many items; NaN where it is not worked out.
    agreement, chance : float
        Observed agreement, and what chance alone would give.
    """

    kappa: float
    u: float
    agreement: float
    chance: float


def cohen_kappa(first: Sequence[Hashable], second: Sequence[Hashable]) -> Kappa:
    """Agreement of two judges (a person and the tool) on the same items.

    Notes
    -----
    J. Cohen, Educ. Psychol. Meas. 20 (1960) 37-46, doi:10.1177/001316446002000104; uncertainty by
    J. L. Fleiss, J. Cohen, B. S. Everitt, Psychol. Bull. 72 (1969) 323-327, doi:10.1037/h0028106.
    """
    if len(first) != len(second) or not len(first):
        raise InputError(f"verdicts: {len(first)} and {len(second)}; expected as many, at least 1")
    place = {label: k for k, label in enumerate(dict.fromkeys([*first, *second]))}
    counts = np.zeros((len(place), len(place)))
    for a, b in zip(first, second, strict=True):
        counts[place[a], place[b]] += 1
    n = float(counts.sum())
    p = counts / n
    rows, cols = p.sum(axis=1), p.sum(axis=0)
    agreement, chance = float(np.trace(p)), float(rows @ cols)
    if chance >= 1.0:
        return Kappa(math.nan, math.nan, agreement, chance)
    kappa = (agreement - chance) / (1.0 - chance)
    own = float(np.diag(p) @ (1.0 - (rows + cols) * (1.0 - kappa)) ** 2)
    off = p * (cols[:, None] + rows[None, :]) ** 2
    others = (1.0 - kappa) ** 2 * float(off.sum() - np.trace(off))
    variance = own + others - (kappa - chance * (1.0 - kappa)) ** 2
    u = math.sqrt(max(variance, 0.0) / n) / (1.0 - chance)
    return Kappa(kappa, u, agreement, chance)


def fleiss_kappa(counts: NDArray[np.integer] | Sequence[Sequence[int]]) -> Kappa:
    """Agreement of several judges, as many on each item.

    Parameters
    ----------
    counts : (items, verdicts) array_like of int
        How many judges gave each verdict to each item; rows add up to the same number, 2 or more.

    Notes
    -----
    J. L. Fleiss, Psychol. Bull. 76 (1971) 378-382, doi:10.1037/h0031619.
    """
    c = np.asarray(counts, float)
    judges = c.sum(axis=1) if c.ndim == 2 and c.size else np.zeros(1)
    if judges.min() < 2 or (judges != judges[0]).any() or (c < 0).any():
        raise InputError("verdict counts: expected (items, verdicts), rows of equal sum, 2 or more")
    m = float(judges[0])
    agreement = float(((c**2).sum(axis=1) - m).mean()) / (m * (m - 1.0))
    chance = float(((c.sum(axis=0) / c.sum()) ** 2).sum())
    if chance >= 1.0:
        return Kappa(math.nan, math.nan, agreement, chance)
    return Kappa((agreement - chance) / (1.0 - chance), math.nan, agreement, chance)
