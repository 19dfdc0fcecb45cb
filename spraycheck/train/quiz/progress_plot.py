"""The plot of a trainee's detection curves, one pane for each kind of fault."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from spraycheck.output_files import target_file
from spraycheck.report.plots import BLUE, INK, RED, figure, plain, png
from spraycheck.train.quiz.kinds import QUIZ_KINDS
from spraycheck.train.quiz.progress import KindProgress, Progress

_PERSON, _TOOL = BLUE, RED


def progress_plot(progress: Progress) -> bytes:
    """Draw one person's curves with the answers behind them and the tool's beside them.

    Filled circles are the person's shares of found faults, as large as the number behind them;
    open squares the tool's on the same cards; the bar on the line of one half is the 95 % interval
    of the threshold.

    Returns
    -------
    bytes
        A PNG.
    """
    graded = [k for k in progress.kinds if QUIZ_KINDS[k.kind].graded]
    made, grid = figure(10.0, 7.4, rows=2, columns=2)
    # parse_math off: a name may hold dollar signs.
    made.suptitle(
        f"{progress.trainee}: share of faults found against their severity",
        fontsize=13, color=INK, parse_math=False,
    )  # fmt: skip
    panes = grid.ravel()
    for pane in panes[len(graded) :]:
        pane.axis("off")
    for pane, kind in zip(panes, graded, strict=False):
        _pane(pane, kind)
    if graded:
        made.legend(
            *panes[0].get_legend_handles_labels(), frameon=False, fontsize=9, ncols=2,
            loc="outside upper right",
        )  # fmt: skip
    return png(made)


def plot_files(target: str, count: int) -> list[Path]:
    """Return where each of several plots goes: FILE for one, FILE-1, FILE-2 and so on for more."""
    path = target_file(target, "plot", (".png",), hint="for example --plot answers.png")
    if count == 1:
        return [path]
    return [path.with_name(f"{path.stem}-{k}{path.suffix}") for k in range(1, count + 1)]


def _pane(pane: Any, progress: KindProgress) -> None:
    kind = QUIZ_KINDS[progress.kind]
    factor = 100.0 if kind.unit == "%" else 1.0
    low, high = kind.least / 1.12, kind.most * 1.12
    pane.set_xscale("log")
    pane.set_xlim(low * factor, high * factor)
    pane.set_ylim(-0.04, 1.06)
    plain(pane, grid="both")
    ticks = _ticks(kind.least * factor, kind.most * factor)
    pane.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    pane.set_xticks([], minor=True)
    pane.set_yticks(np.linspace(0, 1, 5), ["0", "25 %", "50 %", "75 %", "100 %"])
    pane.set_xlabel(f"{kind.unit} {kind.measure}", fontsize=9, color=INK)
    pane.set_title(f"{kind.finding.title} ({progress.found} found)", loc="left", fontsize=11)
    level, shown, found, tool = (np.array(row) for row in zip(*progress.by_level, strict=True))
    pane.plot(level * factor, tool / shown, "s", mfc="none", mec=_TOOL, ms=8, mew=1.4, label="tool")
    pane.scatter(
        level * factor, found / shown, s=18 + 14 * shown, color=_PERSON, alpha=0.75, label="person"
    )
    curve = progress.curve
    if curve is None:
        pane.text(
            0.03, 0.5, "too few answers for a curve", transform=pane.transAxes, fontsize=9,
            color=INK,
        )  # fmt: skip
        return
    x = np.geomspace(low, high, 200)
    pane.plot(x * factor, curve.at(x), color=_PERSON, lw=2)
    half = curve.guess + (1 - curve.guess - curve.lapse) / 2
    ends = np.clip(np.array(progress.threshold), low, high) * factor
    pane.plot(ends, [half, half], color=INK, lw=5, alpha=0.35, solid_capstyle="butt")
    if low <= curve.threshold <= high:
        pane.plot([curve.threshold * factor], [half], "|", color=INK, ms=14, mew=2)
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
