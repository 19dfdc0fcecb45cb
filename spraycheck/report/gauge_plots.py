"""Plots of a gauge study: the readings themselves, the ranges, and where the scatter comes from."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.report.gauge import ValueStudy
from spraycheck.report.plots import BLUE, GREEN, INK, RED, figure, inert, plain, png
from spraycheck.stats.repeatability import range_control_limit

_COLOURS = (BLUE, RED, GREEN, "#8a5a00", "#6b3f86", "#444444")
_MARKERS = ("o", "s", "^", "D", "v", "P")
_MAX_PARTS = 40
# Chosen because more names than this cannot be read along one axis.


def study_plot(
    study: ValueStudy,
    values: NDArray[np.float64],
    *,
    parts: Sequence[str],
    people: Sequence[str],
) -> bytes:
    """Draw one study; people differ by marker as well as colour.

    Parameters
    ----------
    study : ValueStudy
        The study.
    values : (parts, people, repeats) ndarray of float64
        Its readings.
    parts, people : sequence of str
        Their names.

    Returns
    -------
    bytes
        A PNG.
    """
    made, panes = figure(9.0, 7.6, rows=3, height_ratios=(1.6, 1.1, 0.9))
    top, low, bars = panes[:, 0]
    for pane, grid in ((top, "y"), (low, "y"), (bars, "x")):
        plain(pane, grid=grid)
    _readings(top, values[:_MAX_PARTS], parts[:_MAX_PARTS], people)
    top.set_title(f"{study.name}: every reading, less the part's mean", loc="left", fontsize=11)
    _ranges(low, values[:_MAX_PARTS], parts[:_MAX_PARTS], people, range_control_limit(values))
    low.set_title("range of repeats; above the line is more than chance", loc="left", fontsize=11)
    _components(bars, study)
    return png(made)


def _readings(
    axes: Any, values: NDArray[np.float64], parts: Sequence[str], people: Sequence[str]
) -> None:
    centred = values - values.mean(axis=(1, 2), keepdims=True)
    for j, person in enumerate(people):
        shift = (j - (len(people) - 1) / 2) * 0.22
        where = np.repeat(np.arange(len(parts)) + shift, values.shape[2])
        axes.plot(where, centred[:, j].ravel(), _MARKERS[j % 6], ms=4.5, mfc="none", mew=1.2,
                  color=_COLOURS[j % 6], label=inert(person))  # fmt: skip
    axes.axhline(0, color=INK, lw=0.8)
    axes.set_xticks(range(len(parts)), [])
    axes.legend(frameon=False, fontsize=9, ncols=min(len(people), 6), loc="upper right")


def _ranges(
    axes: Any,
    values: NDArray[np.float64],
    parts: Sequence[str],
    people: Sequence[str],
    limit: float,
) -> None:
    ranges = np.ptp(values, axis=2)
    for j, _ in enumerate(people):
        axes.plot(range(len(parts)), ranges[:, j], _MARKERS[j % 6] + "-", ms=4.5, lw=0.8,
                  color=_COLOURS[j % 6])  # fmt: skip
    axes.axhline(limit, color=RED, ls="--", lw=1.2)
    axes.set_ylim(bottom=0)
    long = max(len(part) for part in parts) > 4
    axes.set_xticks(range(len(parts)), [inert(part, 18) for part in parts], fontsize=8,
                    rotation=40 if long else 0, ha="right" if long else "center")  # fmt: skip


def _components(axes: Any, study: ValueStudy) -> None:
    a = study.by_anova
    rows = (
        ("same person, same part", a.repeatability),
        ("between people", a.reproducibility),
        ("the gauge: both", a.gauge),
        ("between parts", a.parts),
    )
    for row, (_, value) in enumerate(rows):
        axes.barh(row, value, color="#9fb3c4" if row != 2 else BLUE, edgecolor=INK, lw=0.7)
        axes.annotate(f"{value:.3g}", (value, row), (4, 0), textcoords="offset points",
                      va="center", fontsize=9)  # fmt: skip
    axes.set_yticks(range(len(rows)), [label for label, _ in rows])
    axes.invert_yaxis()
    title = "standard deviations"
    if math.isfinite(study.tolerance):
        title += f"; the gauge takes up {study.tolerance_percent:.0f} % of the tolerance"
    axes.set_title(title, loc="left", fontsize=11)
    axes.margins(x=0.12)
