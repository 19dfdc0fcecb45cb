"""The plot of a trainee's detection curves, one pane for each kind of fault."""

from __future__ import annotations

import io
import math
from typing import Any

import numpy as np

from spraycheck.report.quiz.kinds import QUIZ_KINDS
from spraycheck.report.quiz.standing import KindStanding, Standing

_INK, _GRID, _PERSON, _TOOL = "#23272b", "#e3ddd0", "#1b5d8f", "#b2301c"


def standing_plot(standing: Standing) -> bytes:
    """Draw one person's curves with the answers behind them and the tool's beside them.

    Filled circles are the person's shares of found faults, as large as the number behind them;
    open squares the tool's on the same cards; the bar on the line of one half is the 95 % interval
    of the threshold.

    Returns
    -------
    bytes
        A PNG.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    graded = [k for k in standing.kinds if QUIZ_KINDS[k.kind].graded]
    figure = Figure(figsize=(10.0, 7.4), layout="constrained")
    FigureCanvasAgg(figure)
    # parse_math off: a name may hold dollar signs.
    figure.suptitle(
        f"{standing.trainee}: share of faults found against their severity",
        fontsize=13, color=_INK, parse_math=False,
    )  # fmt: skip
    panes = figure.subplots(2, 2).ravel()
    for pane in panes[len(graded) :]:
        pane.axis("off")
    for pane, kind in zip(panes, graded, strict=False):
        _pane(pane, kind)
    if graded:
        figure.legend(
            *panes[0].get_legend_handles_labels(), frameon=False, fontsize=9, ncols=2,
            loc="outside upper right",
        )  # fmt: skip
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=130, metadata={"Software": None})
    return out.getvalue()


def _pane(pane: Any, standing: KindStanding) -> None:
    kind = QUIZ_KINDS[standing.kind]
    factor = 100.0 if kind.unit == "%" else 1.0
    low, high = kind.least / 1.12, kind.most * 1.12
    pane.set_xscale("log")
    pane.set_xlim(low * factor, high * factor)
    pane.set_ylim(-0.04, 1.06)
    pane.spines[["top", "right"]].set_visible(False)
    pane.grid(color=_GRID, lw=0.7)
    pane.set_axisbelow(True)
    ticks = _ticks(kind.least * factor, kind.most * factor)
    pane.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    pane.set_xticks([], minor=True)
    pane.set_yticks(np.linspace(0, 1, 5), ["0", "25 %", "50 %", "75 %", "100 %"])
    pane.set_xlabel(f"{kind.unit} {kind.measure}", fontsize=9, color=_INK)
    pane.set_title(f"{kind.finding.title} ({standing.found} found)", loc="left", fontsize=11)
    level, shown, found, tool = (np.array(row) for row in zip(*standing.by_level, strict=True))
    pane.plot(level * factor, tool / shown, "s", mfc="none", mec=_TOOL, ms=8, mew=1.4, label="tool")
    pane.scatter(
        level * factor, found / shown, s=18 + 14 * shown, color=_PERSON, alpha=0.75, label="person"
    )
    curve = standing.curve
    if curve is None:
        pane.text(
            0.03, 0.5, "too few answers for a curve", transform=pane.transAxes, fontsize=9,
            color=_INK,
        )  # fmt: skip
        return
    x = np.geomspace(low, high, 200)
    pane.plot(x * factor, curve.at(x), color=_PERSON, lw=2)
    half = curve.guess + (1 - curve.guess - curve.lapse) / 2
    ends = np.clip(np.array(standing.threshold), low, high) * factor
    pane.plot(ends, [half, half], color=_INK, lw=5, alpha=0.35, solid_capstyle="butt")
    if low <= curve.threshold <= high:
        pane.plot([curve.threshold * factor], [half], "|", color=_INK, ms=14, mew=2)
    pane.axhline(curve.guess, color=_PERSON, lw=0.9, ls=":")
    if curve.guess > 0.02:
        pane.text(high * factor, curve.guess + 0.015, "by chance", ha="right", fontsize=8)


def _ticks(least: float, most: float) -> list[float]:
    steps = [1, 1.5, 2, 3, 4, 5, 7, 10, 15]
    every = [s * 10**p for p in range(-1, 4) for s in steps]
    inside = sorted({round(t, 3) for t in every if least * 0.99 <= t <= most * 1.01})
    # Ticks closer than a sixth on a log scale would run into each other.
    kept: list[float] = []
    for tick in inside:
        if not kept or math.log(tick / kept[-1]) > 0.16:
            kept.append(tick)
    return kept
