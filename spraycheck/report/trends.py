"""Plots of many cards: faults over time and by nozzle, evenness, drift of single injectors.

`Trends` takes one card at a time and keeps counts, not cards, except of injectors that are named
in order to be followed.
"""

from __future__ import annotations

import datetime
import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from spraycheck.report.plots import AMBER, GREEN, INK, MUTED, RED, figure, inert, png
from spraycheck.stats.proportion import wilson_interval

if TYPE_CHECKING:
    from matplotlib.figure import Figure

FAIL, RECHECK, CLEAR = RED, AMBER, GREEN

MAX_NAMES: Final = 24
"""Nozzles or injectors in one plot: more cannot be read."""

MIN_DATES: Final = 3
"""Cards of an injector before it is drawn as a line over time: two always make one."""

_BINS: Final = 40
_WIDEST = 2.0
# A share spread of 2 is one hole with three times the mean share and another with one: off the
# scale already.


@dataclass(frozen=True, kw_only=True)
class PlottedCard:
    """What is plotted of one measured card; NaN where not known.

    Parameters
    ----------
    verdict : str
        ``pass``, ``fail`` or ``recheck``.
    date : str
        ISO 8601; empty when not known.
    nozzle, injector : str
        Names; empty when not known.
    share_spread_frac : float
        Largest minus smallest share over the mean share.
    area_ratio_min, area_ratio_min_u, deviation_max_deg, deviation_max_u_deg : float
        The weakest hole and the one furthest off line, with expanded uncertainties.
    area_low_ratio, direction_deg : float
        Their limits, drawn as lines.
    """

    verdict: str
    date: str = ""
    nozzle: str = ""
    injector: str = ""
    share_spread_frac: float = math.nan
    area_ratio_min: float = math.nan
    area_ratio_min_u: float = math.nan
    deviation_max_deg: float = math.nan
    deviation_max_u_deg: float = math.nan
    area_low_ratio: float = math.nan
    direction_deg: float = math.nan


class Trends:
    """Collects cards one by one, then draws."""

    def __init__(self) -> None:
        self._months: dict[tuple[int, int], Counter[str]] = defaultdict(Counter)
        self._nozzles: dict[str, Counter[str]] = defaultdict(Counter)
        self._spread: dict[str, Counter[int]] = defaultdict(Counter)
        self._injectors: dict[str, list[PlottedCard]] = defaultdict(list)

    def add(self, card: PlottedCard) -> None:
        """Take in one card."""
        day = _day(card.date)
        if day is not None:
            self._months[day.year, day.month][card.verdict] += 1
            if card.injector:
                self._injectors[card.injector].append(card)
        if card.nozzle:
            self._nozzles[card.nozzle][card.verdict] += 1
        if math.isfinite(card.share_spread_frac):
            spread = min(card.share_spread_frac, _WIDEST * (1 - 1e-9))
            self._spread[card.verdict][int(spread / _WIDEST * _BINS)] += 1

    def fault_rate(self) -> tuple[list[datetime.date], list[Counter[str]]]:
        """Return the periods with cards, and their verdicts: months, or quarters of long archives.

        Quarters are taken from three years of months on, where months would be too many to read.
        """
        merged: dict[datetime.date, Counter[str]] = defaultdict(Counter)
        by_quarter = len(self._months) > 36
        for (year, month), verdicts in self._months.items():
            begin = (month - 1) // 3 * 3 + 1 if by_quarter else month
            merged[datetime.date(year, begin, 1)].update(verdicts)
        dates = sorted(merged)
        return dates, [merged[date] for date in dates]

    def plots(self) -> list[tuple[str, str, str, bytes]]:
        """Draw what there is data for.

        Returns
        -------
        list of (str, str, str, bytes)
            File name without ending, title, what it tells, and the PNG.
        """
        drawn = (self._over_time(), self._by_nozzle(), self._evenness(), self._drift())
        return [plot for plot in drawn if plot is not None]

    def _over_time(self) -> tuple[str, str, str, bytes] | None:
        dates, verdicts = self.fault_rate()
        if len(dates) < 2:
            return None
        made, axes = _pane(7.2, 3.4)
        _rates(axes, dates, verdicts)
        axes.set_ylabel("cards (%)")
        axes.set_ylim(0, max(5.0, axes.get_ylim()[1]))
        _dates(axes)
        if axes.get_legend_handles_labels()[1]:
            axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=2, frameon=False,
                        fontsize=9)  # fmt: skip
        text = "Share of cards that fail and that need a recheck; bars hold the true rate with 95 %"
        return "fault-rate", "Fault rate over time", text + ".", png(made)

    def _by_nozzle(self) -> tuple[str, str, str, bytes] | None:
        if not self._nozzles:
            return None
        names = sorted(self._nozzles, key=lambda n: (-self._nozzles[n].total(), n))[:MAX_NAMES]
        made, axes = _pane(7.2, 1.3 + 0.34 * len(names))
        for row, name in enumerate(names):
            counts = self._nozzles[name]
            total, failed = counts.total(), counts["fail"]
            low, high = wilson_interval(failed, total)
            rate = 100 * failed / total
            axes.plot([100 * low, 100 * high], [row, row], color=INK, lw=1.6)
            axes.plot(rate, row, "s", color=FAIL, ms=7)
            axes.annotate(f"{failed} of {total}", (100 * high, row), (6, 0), fontsize=9,
                          textcoords="offset points", va="center", color=INK)  # fmt: skip
        axes.set_yticks(range(len(names)), [_name(name) for name in names])
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.set_xlim(-2, 112)
        axes.set_xlabel("cards that fail (%)")
        more = len(self._nozzles) - len(names)
        text = "Share of cards that fail, with the range that holds the true rate with 95 %"
        if more:
            text += f"; the {len(names)} nozzles with most cards, {more} more are in the table"
        return "nozzles", "Fault rate by nozzle", text + ".", png(made)

    def _evenness(self) -> tuple[str, str, str, bytes] | None:
        if not self._spread:
            return None
        made, axes = _pane(7.2, 3.2)
        width = _WIDEST / _BINS
        for verdict, colour, hatch in (
            ("pass", CLEAR, ""), ("recheck", RECHECK, "..."), ("fail", FAIL, "///"),
        ):  # fmt: skip
            counts = self._spread.get(verdict)
            if counts:
                heights = [counts[k] for k in range(_BINS)]
                left = [100 * k * width for k in range(_BINS)]
                bottom = [
                    sum(self._spread[v][k] for v in _below(verdict) if v in self._spread)
                    for k in range(_BINS)
                ]
                axes.bar(left, heights, 100 * width, bottom=bottom, align="edge", color=colour,
                         hatch=hatch, edgecolor="white", linewidth=0.5, label=verdict)  # fmt: skip
        axes.set_xlabel("largest minus smallest share, of the mean share (%)")
        axes.set_ylabel("cards")
        axes.yaxis.get_major_locator().set_params(integer=True)
        axes.legend(frameon=False, fontsize=9)
        text = "How unevenly the holes of a card wet it; 0 % would be all alike"
        return "share-spread", "Evenness", text + ".", png(made)

    def _drift(self) -> tuple[str, str, str, bytes] | None:
        followed = {
            name: sorted(shots, key=lambda shot: shot.date)
            for name, shots in self._injectors.items()
            if len({shot.date for shot in shots}) >= MIN_DATES
        }
        names = sorted(followed, key=lambda name: (-len(followed[name]), name))[:6]
        if not names:
            return None
        made, axes = figure(7.2, 0.6 + 1.7 * len(names), rows=len(names), columns=2, grid="y")
        for row, name in enumerate(names):
            shots = followed[name]
            days = [_day(shot.date) for shot in shots]
            weak, turned = axes[row]
            _with_bars(weak, days, [100 * s.area_ratio_min for s in shots],
                       [100 * s.area_ratio_min_u for s in shots], "o")  # fmt: skip
            for limit in {100 * s.area_low_ratio for s in shots if math.isfinite(s.area_low_ratio)}:
                weak.axhline(limit, color=FAIL, lw=1, ls="--")
            weak.set_title(f"{_name(name)}: weakest hole (%)", fontsize=9, loc="left")
            weak.set_ylim(bottom=0)
            _with_bars(turned, days, [s.deviation_max_deg for s in shots],
                       [s.deviation_max_u_deg for s in shots], "D")  # fmt: skip
            for limit in {s.direction_deg for s in shots if math.isfinite(s.direction_deg)}:
                turned.axhline(limit, color=FAIL, lw=1, ls="--")
            turned.set_title("furthest off line (degrees)", fontsize=9, loc="left")
            turned.set_ylim(bottom=0)
            for pane in (weak, turned):
                _dates(pane)
                pane.tick_params(axis="x", labelsize=8)
        more = len(followed) - len(names)
        text = "Bars are 95 % uncertainties, dashed lines the limits"
        if more:
            text += f"; the {len(names)} injectors with most cards, {more} more are in the table"
        return "drift", "Single injectors over time", text + ".", png(made)


def _rates(axes: Any, dates: Sequence[datetime.date], verdicts: Sequence[Counter[str]]) -> None:
    # Side by side where both have bars: a twentieth of the usual gap between two periods.
    gap = (dates[-1] - dates[0]) / (20 * (len(dates) - 1))
    for name, colour, marker, shift in (("fail", FAIL, "s", -gap), ("recheck", RECHECK, "^", gap)):
        if not any(counts[name] for counts in verdicts):
            continue
        rates, below, above = [], [], []
        for counts in verdicts:
            total = counts.total()
            low, high = wilson_interval(counts[name], total)
            rate = counts[name] / total
            rates.append(100 * rate)
            below.append(100 * (rate - low))
            above.append(100 * (high - rate))
        axes.errorbar(
            [datetime.datetime.combine(date, datetime.time()) + shift for date in dates],
            rates,
            [below, above],
            color=colour,
            marker=marker,
            ms=6,
            lw=1.2,
            elinewidth=1,
            ls="-" if name == "fail" else ":",
            label=name,
        )
    if len(dates) <= 16:
        for date, counts in zip(dates, verdicts, strict=True):
            axes.annotate(str(counts.total()), (date, 1), (0, 2), fontsize=8, color=MUTED,
                          xycoords=("data", "axes fraction"), textcoords="offset points",
                          ha="center")  # fmt: skip
        axes.annotate("cards:", (0, 1), (-28, 2), xycoords="axes fraction", fontsize=8,
                      textcoords="offset points", color=MUTED)  # fmt: skip


def _dates(axes: Any) -> None:
    """Label a date axis with few words: the year once, months in between."""
    from matplotlib import dates

    kinds: Any = dates  # typed in parts only
    locator = kinds.AutoDateLocator(minticks=2, maxticks=6)
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(kinds.ConciseDateFormatter(locator))


def _with_bars(
    axes: Any, days: Sequence[Any], values: Sequence[float], u: Sequence[float], marker: str
) -> None:
    axes.errorbar(days, values, u, color=INK, marker=marker, ms=4, lw=1, elinewidth=1)


def _below(verdict: str) -> tuple[str, ...]:
    order = ("pass", "recheck", "fail")
    return order[: order.index(verdict)]


def _day(text: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text[:10])
    except ValueError:
        return None


def _pane(width_in: float, height_in: float) -> tuple[Figure, Any]:
    made, panes = figure(width_in, height_in, grid="y")
    return made, panes[0, 0]


def _name(name: str) -> str:
    return inert(name, 28)
