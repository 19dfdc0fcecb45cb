"""A gauge study in words, and what it means for the workshop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck.constants import COVERAGE_FACTOR_95
from spraycheck.errors import InputError
from spraycheck.stats.repeatability import (
    AnovaTable,
    GaugeStudy,
    anova_study,
    anova_table,
    range_control_limit,
    range_study,
)

GOOD_PERCENT, UNFIT_PERCENT = 10.0, 30.0
"""Under the first a gauge is good, over the second unfit (AIAG, Measurement Systems Analysis, 4th
ed. 2010, recalled)."""

TOLERANCE_SIGMAS = 6.0
"""Width of a gauge's scatter set against a tolerance, in standard deviations (AIAG, recalled)."""


@dataclass(frozen=True, kw_only=True)
class ValueStudy:
    """The study of one value.

    Parameters
    ----------
    name : str
        The value.
    shape : (int, int, int)
        Parts, people, repeats.
    by_range, by_anova : GaugeStudy
        Two ways to split the scatter.
    table : AnovaTable
        Behind the second.
    tolerance : float
        Width between the limits the value is held to; NaN when there are none.
    beyond : tuple of (str, str)
        Part and person of readings whose repeats differ more than chance explains.
    """

    name: str
    shape: tuple[int, int, int]
    by_range: GaugeStudy
    by_anova: GaugeStudy
    table: AnovaTable
    tolerance: float
    beyond: tuple[tuple[str, str], ...]

    @property
    def tolerance_percent(self) -> float:
        """Gauge scatter as a percentage of the tolerance; NaN without one."""
        return 100.0 * TOLERANCE_SIGMAS * self.by_anova.gauge / self.tolerance

    @property
    def decisive_percent(self) -> float:
        """What the gauge is judged by: the tolerance where there is one, else the total scatter.

        Against parts that differ much, such as the directions of different holes, any gauge looks
        good; only the tolerance says what matters.
        """
        percent = self.tolerance_percent
        return percent if math.isfinite(percent) else self.by_anova.gauge_percent

    @property
    def repeat_u(self) -> float:
        """Expanded uncertainty (95 %) of one reading by anyone, from this study alone."""
        return COVERAGE_FACTOR_95 * self.by_anova.gauge


def study_value(
    name: str,
    values: NDArray[np.float64],
    *,
    parts: Sequence[str],
    people: Sequence[str],
    tolerance: float = math.nan,
) -> ValueStudy:
    """Study one value.

    Parameters
    ----------
    name : str
        What it is.
    values : (parts, people, repeats) ndarray of float64
        Readings.
    parts, people : sequence of str
        Their names.
    tolerance : float
        Width between the limits; NaN when there are none.

    Raises
    ------
    InputError
        Too few readings, or no scatter at all.
    """
    if math.isfinite(tolerance) and tolerance <= 0:
        raise InputError(f"tolerance of {name} is {tolerance:g}, expected a width above 0")
    ranges = np.ptp(values, axis=2)
    limit = range_control_limit(values)
    beyond = [(parts[i], people[j]) for i, j in np.argwhere(ranges > limit)]
    return ValueStudy(
        name=name,
        shape=(values.shape[0], values.shape[1], values.shape[2]),
        by_range=range_study(values),
        by_anova=anova_study(values),
        table=anova_table(values),
        tolerance=tolerance,
        beyond=tuple(beyond),
    )


def value_text(study: ValueStudy) -> str:
    """Write a study as a person reads it: the figures, then what they mean."""
    parts, people, repeats = study.shape
    a, r = study.by_anova, study.by_range
    lines = [
        f"{study.name}: {parts} parts x {people} people x {repeats} repeats",
        "",
        f"  {'scatter (1 sigma)':<34}{'ANOVA':>12}{'range':>12}{'of total':>11}",
    ]
    for label, name in (
        ("same person, same part", "repeatability"),
        ("between people", "reproducibility"),
        ("both: the gauge", "gauge"),
        ("between parts", "parts"),
        ("everything", "total"),
    ):
        mine, other = getattr(a, name), getattr(r, name)
        share = 100 * mine / a.total if a.total > 0 else math.nan
        lines.append(f"  {label:<34}{mine:>12.4g}{other:>12.4g}{share:>9.1f} %")
    lines += [
        "",
        f"  gauge of total: {a.gauge_percent:.1f} % by ANOVA, {r.gauge_percent:.1f} % by range",
        f"  gauge of the variance: {a.gauge_percent**2 / 100:.1f} % by ANOVA; classes of parts "
        f"told apart: {a.categories}",
    ]
    if math.isfinite(study.tolerance):
        lines.append(
            f"  gauge of the tolerance of {study.tolerance:g}: {study.tolerance_percent:.0f} % "
            f"({TOLERANCE_SIGMAS:g} sigma)"
        )
    pooled = "pooled with the repeats" if study.table.pooled else "kept"
    lines.append(
        "  were people all alike, they would differ this much by chance: "
        f"{_chance(study.table.person.p)}; people and parts together: "
        f"{_chance(study.table.interaction.p)} ({pooled})"
    )
    return "\n".join([*lines, "", *(f"  {line}" for line in conclusion(study))]) + "\n"


def _chance(p: float) -> str:
    return "below 0.1 %" if p < 0.001 else f"{p:.1%}".replace("%", " %")


def conclusion(study: ValueStudy) -> list[str]:
    """Say in plain words what a study means, a sentence each."""
    a = study.by_anova
    percent = study.decisive_percent
    against = (
        "the tolerance" if math.isfinite(study.tolerance) else "the differences between these parts"
    )
    if percent < GOOD_PERCENT:
        verdict = f"Good: the gauge takes up {percent:.0f} % of {against}."
    elif percent <= UNFIT_PERCENT:
        verdict = (
            f"Usable with care: the gauge takes up {percent:.0f} % of {against}; near a limit take "
            "a second card."
        )
    else:
        verdict = (
            f"Not fit to judge single readings: the gauge takes up {percent:.0f} % of {against}."
        )
    lines = [
        verdict,
        f"One reading, by anyone, lies within ±{study.repeat_u:.2g} of the part's own value in 95 "
        "of 100 cases.",
    ]
    if a.gauge > 0:
        by_repeat = (a.repeatability / a.gauge) ** 2
        if by_repeat >= 0.7:
            lines.append(
                "Nearly all of it is one person's own scatter: improve how a card is sprayed and "
                "photographed, not who does it."
            )
        elif by_repeat <= 0.3:
            lines.append(
                "Most of it is between people: agree on one way to spray and photograph, and "
                "train it."
            )
        else:
            lines.append("Repeats and people both add to it.")
    if study.beyond:
        named = "; ".join(f"{part} by {person}" for part, person in study.beyond[:5])
        lines.append(
            f"Repeats further apart than chance explains: {named}. Look at these before trusting "
            "the rest."
        )
    if study.shape[0] < 5 or study.shape[0] * study.shape[1] * study.shape[2] < 30:
        lines.append(
            "Few readings: these figures are rough; ten parts, three people and three repeats are "
            "usual."
        )
    return lines
