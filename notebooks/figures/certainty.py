"""What a study of many drawn cards says about the tool: coverage, detection, photo quality.

The studies are the scripts ``verdict_study.py`` and ``photo_quality.py`` beside the tests; each
function takes a part of what they write as JSON and gives the bytes of a PNG.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Final

from figures.canvas import plain, png
from figures.tables import markdown_table
from spraycheck.judge.limits import Limits
from spraycheck.report.plots import AMBER, BLUE, GREEN, GRID, INK, MUTED, RED, figure
from spraycheck.stats.conformity import guard_factor
from spraycheck.stats.proportion import wilson_interval

ASKED: Final = (92.0, 98.0)
"""Per cent of true values that 95 % intervals are asked to hold, the study's own scatter allowed
for."""

FAMILIES: Final = {
    "bench": "bench: square-on, good light",
    "workshop": "workshop: slanted, shadows, clutter",
    "hard": "hard: blurred, noisy, dark, cropped",
    "layout": "unequal holes, good photo",
    "all": "all cards",
}
"""Kind of card and photo in words."""

FACTORS: Final = {
    "blur_px": "out of focus (blur, pixels)",
    "motion_px": "moved (pixels)",
    "tilt_deg": "camera askew (degrees)",
    "noise": "noise (of full light)",
    "megapixels": "size (megapixels)",
    "jpeg_quality": "JPEG quality",
    "exposure": "exposure (1 is full white)",
    "gloss": "flash mirrored (strength)",
    "volume_frac": "fuel (of a usual stroke)",
}
"""What is made worse in the study of photo quality, in the order of drawing."""

_FALLING: Final = ("megapixels", "jpeg_quality")
# Worse as they fall.

_SERIES: Final = (
    ("direction_ratio", "directions", "o", BLUE),
    ("share_ratio", "shares", "s", AMBER),
    ("centre_ratio", "centre", "^", GREEN),
)

_VERDICTS: Final = (("pass", GREEN, ""), ("recheck", AMBER, "..."), ("fail", RED, "///"))

_LABEL: Final = {"boxstyle": "round,pad=0.15", "fc": "white", "ec": "none"}

Rows = Sequence[Mapping[str, Any]]


def draw_coverage(coverage: Mapping[str, Mapping[str, Mapping[str, Any]]]) -> bytes:
    """Draw how many true values lie inside their stated 95 % intervals.

    Parameters
    ----------
    coverage : mapping
        Quantity to family to ``n`` and ``inside_frac``.
    """
    made, panes = figure(9.2, 2.9, columns=len(coverage), sharey=True)
    for pane, (quantity, families) in zip(panes[0], coverage.items(), strict=True):
        plain(pane, grid="x").axvspan(*ASKED, color=GRID)
        names = [name for name in FAMILIES if name in families]
        for row, name in enumerate(names):
            one = families[name]
            inside = round(one["inside_frac"] * one["n"])
            low, high = wilson_interval(inside, one["n"])
            pane.plot([100 * low, 100 * high], [row, row], color=INK, lw=1.6)
            pane.plot(100 * one["inside_frac"], row, "D" if name == "all" else "o", color=BLUE,
                      ms=8 if name == "all" else 6)  # fmt: skip
            pane.annotate(f"{100 * one['inside_frac']:.0f} %", (100 * high, row), (5, 0),
                          textcoords="offset points", va="center", fontsize=9)  # fmt: skip
        pane.axvline(95, color=RED, lw=1, ls="--")
        pane.set_yticks(range(len(names)), [FAMILIES[name] for name in names])
        pane.set_ylim(len(names) - 0.5, -0.5)
        least = min(one["inside_frac"] for one in families.values())
        pane.set_xlim(min(78.0, 100 * least - 6), 104)
        pane.set_title(f"{quantity}: inside (%)", loc="left", fontsize=10)
    return png(made)


def draw_verdicts(verdicts: Rows) -> bytes:
    """Draw the verdicts on good, near-the-limit and faulty cards.

    Parameters
    ----------
    verdicts : sequence of mapping
        Rows with ``truth``, ``verdict`` and ``count``.
    """
    words = {"good": "good", "near": "near a limit", "faulty": "faulty"}
    table: dict[str, Counter[str]] = {truth: Counter() for truth in words}
    for row in verdicts:
        table[row["truth"]][row["verdict"]] += row["count"]
    made, panes = figure(9.2, 2.2)
    pane = plain(panes[0, 0], grid="x")
    _stacked(pane, [table[truth] for truth in words], level=True)
    pane.set_yticks(range(3), [f"{words[t]} ({table[t].total()})" for t in words])
    pane.set_ylim(2.5, -0.5)
    pane.set_title("verdict (%) on cards that are truly ...", loc="left", fontsize=10)
    return png(made)


def draw_detection(verdicts: Rows) -> bytes:
    """Draw the share of truly faulty cards that fail, by fault and kind of photo."""
    kinds = {"blocked": "a blocked hole", "weak": "a weak hole", "off-line": "one off line",
             "two": "two faults"}  # fmt: skip
    families = [name for name in FAMILIES if name != "all"]
    styles = dict(zip(families, (("o", BLUE), ("s", AMBER), ("X", RED), ("^", GREEN)), strict=True))
    made, panes = figure(9.2, 3.0)
    pane = plain(panes[0, 0], grid="x")
    for row, fault in enumerate(kinds):
        for k, family in enumerate(families):
            wanted = ("faulty", fault, family)
            mine = [v for v in verdicts if (v["truth"], v["fault"], v["family"]) == wanted]
            total = sum(v["count"] for v in mine)
            if not total:
                continue
            found = sum(v["count"] for v in mine if v["verdict"] == "fail")
            low, high = wilson_interval(found, total)
            at = row + (k - 1.5) * 0.19
            marker, colour = styles[family]
            pane.plot([100 * low, 100 * high], [at, at], color=colour, lw=1.4)
            pane.plot(100 * found / total, at, marker, color=colour, ms=6)
    pane.set_yticks(range(len(kinds)), list(kinds.values()))
    pane.set_ylim(len(kinds) - 0.5, -0.5)
    pane.set_xlim(-2, 102)
    pane.set_title("cards that fail (%), of those truly faulty; bars: 95 %", loc="left",
                   fontsize=10)  # fmt: skip
    for family, (marker, colour) in styles.items():
        pane.plot([], [], marker, color=colour, ms=6, label=FAMILIES[family])
    pane.legend(frameon=False, fontsize=9, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return png(made)


def draw_severity(
    severity: Mapping[str, Rows], threshold: Mapping[str, Mapping[str, Any]]
) -> bytes:
    """Draw the verdict against how bad the one fault is, with the severity found at 95 %.

    Parameters
    ----------
    severity : mapping
        Fault to bins with ``from``, ``to``, ``n``, ``pass``, ``recheck`` and ``fail``.
    threshold : mapping
        Fault to ``value``, ``low`` and ``high``; empty where too few cards were drawn.
    """
    made, panes = figure(9.2, 3.5, columns=len(severity))
    for pane, (fault, bins) in zip(panes[0], severity.items(), strict=True):
        factor, what = (
            (100.0, "missing part of its area (%)") if fault == "weak" else (1.0, "degrees")
        )
        plain(pane)
        for one in (b for b in bins if b["n"]):
            left, right = factor * one["from"], factor * one["to"]
            bottom = 0.0
            for verdict, colour, hatch in _VERDICTS:
                share = 100 * one[verdict] / one["n"]
                pane.bar(left, share, right - left, bottom, align="edge", color=colour, hatch=hatch,
                         edgecolor="white", lw=0.6)  # fmt: skip
                bottom += share
            pane.annotate(str(one["n"]), ((left + right) / 2, 101), ha="center", fontsize=8,
                          color=MUTED)  # fmt: skip
        limits = Limits()
        edge = 100 * (1 - limits.area_low_ratio) if fault == "weak" else limits.direction_deg
        pane.axvline(edge, color=INK, lw=1.2, ls="--")
        pane.annotate("limit", (edge, 109), ha="center", fontsize=9)
        found = threshold.get(fault) or {}
        if found:
            high = found["high"] if found.get("high") is not None else bins[-1]["to"]
            pane.plot([factor * found["low"], factor * high], [118, 118], color=INK, lw=1.6)
            pane.plot(factor * found["value"], 118, "D", color=INK, ms=7)
            pane.annotate(f"found with 95 %: {factor * found['value']:.3g}",
                          (factor * found["value"], 122), ha="center", fontsize=9)  # fmt: skip
        pane.set_ylim(0, 130 if found else 116)
        pane.set_yticks([0, 25, 50, 75, 100])
        pane.set_xlabel(what)
        pane.set_title(f"{fault}: verdicts (%)", loc="left", fontsize=10)
    _legend(panes[0, 0])
    return png(made)


def draw_blocked(bins: Rows) -> bytes:
    """Draw how many blocked holes are named as such, against the noise of dry paper.

    Parameters
    ----------
    bins : sequence of mapping
        ``from``, ``to``, ``n`` and ``detected``.
    """
    made, panes = figure(9.2, 2.8)
    pane = plain(panes[0, 0])
    for place, one in enumerate(bins):
        low, high = wilson_interval(one["detected"], one["n"])
        pane.plot([place, place], [100 * low, 100 * high], color=INK, lw=1.6)
        pane.plot(place, 100 * one["detected"] / one["n"], "s", color=BLUE, ms=7)
        pane.annotate(f"{one['detected']} of {one['n']}", (place, 100 * high), (0, 4),
                      textcoords="offset points", ha="center", fontsize=9)  # fmt: skip
    names = [
        f"{100 * one['from']:g} to {100 * one['to']:g} %"
        if one["to"] < 1
        else f"above {100 * one['from']:g} %"
        for one in bins
    ]
    pane.set_xticks(range(len(bins)), names)
    pane.set_ylim(0, 112)
    pane.set_yticks([0, 25, 50, 75, 100])
    pane.set_xlabel("noise of dry paper, of full wetness")
    pane.set_title("blocked holes named (%); bars: 95 %", loc="left", fontsize=10)
    return png(made)


def draw_factors(curves: Rows) -> bytes:
    """Draw errors over what was stated for them, as one thing about the photo gets worse.

    Parameters
    ----------
    curves : sequence of mapping
        Lines of the study: ``factor``, ``level``, ``photos``, ``measured`` and the ratios.
    """
    made, panes, present = _factor_panes(curves, 6.2)
    for pane, (name, lines) in zip(panes.flat, present.items(), strict=False):
        pane.axhspan(0, 1, color="#eef3ee")
        for key, label, marker, colour in _SERIES:
            told = [(line["level"], line[key]) for line in lines if line[key] is not None]
            pane.plot([at for at, _ in told], [min(value, 2.9) for _, value in told], marker + "-",
                      color=colour, ms=5, lw=1.1, label=label)  # fmt: skip
        _unread(pane, lines, 3.3)
        pane.set_ylim(0, 4.1)
        pane.set_title(FACTORS[name], loc="left", fontsize=9.5)
    panes.flat[0].legend(frameon=False, fontsize=8.5, loc="upper left")
    return png(made)


def answers_table(curves: Rows) -> str:
    """Set what was said of the healthy cards behind the curves, as Markdown; fails stand out.

    Parameters
    ----------
    curves : sequence of mapping
        As of `draw_factors`; ``verdicts`` holds a verdict or an error's name per photo.
    """
    kinds = {"pass": "pass", "recheck": "recheck", "fail": "**fail**"}
    rows = []
    for name, words in FACTORS.items():
        lines = [line for line in curves if line["factor"] == name]
        if name in _FALLING:
            lines = sorted(lines, key=lambda line: -line["level"])
        cells = []
        for line in lines:
            said = Counter(kinds.get(v.split(",")[0], "not read") for v in line["verdicts"])
            told = ", ".join(f"{n} {word}" if len(said) > 1 else word for word, n in said.items())
            cells.append(f"{line['level']:g}: {told}")
        rows.append((words, " · ".join(cells)))
    return markdown_table(("what", "level: what was said of healthy cards"), rows)


def smallest_shown(limit: float, u: float, risk: float = 0.05) -> float:
    """Return the smallest true value that is shown to exceed a limit in 95 of 100 cases.

    Parameters
    ----------
    limit : float
        What is held.
    u : float
        Standard uncertainty of a reading.
    risk : float
        Of a wrong fail.

    Notes
    -----
    A reading fails beyond ``limit + g u``, ``g`` the one-sided factor of the risk (JCGM 106:2012,
    8.3.3); readings scatter about the true value with ``u``, so 95 of 100 lie beyond when the true
    value is another ``1.645 u`` away.
    """
    return limit + (guard_factor(risk) + guard_factor(0.05)) * u


def draw_smallest(curves: Rows) -> bytes:
    """Draw the smallest turn of one hole that is sure to be failed, from the errors found.

    Parameters
    ----------
    curves : sequence of mapping
        As of `draw_factors`; ``direction_rms_deg`` stands for the standard uncertainty, or what
        was stated for it where that is more.
    """
    limit = Limits().direction_deg
    made, panes, present = _factor_panes(curves, 6.2)
    for pane, (name, lines) in zip(panes.flat, present.items(), strict=False):
        told = [(line["level"], smallest_shown(limit, _direction_u(line)))
                for line in lines if line["direction_rms_deg"] is not None]  # fmt: skip
        pane.axhline(limit, color=INK, lw=1.1, ls="--")
        pane.plot([at for at, _ in told], [min(value, 13.0) for _, value in told], "D-", color=BLUE,
                  ms=5, lw=1.1)  # fmt: skip
        _unread(pane, lines, 14.1)
        pane.set_ylim(4, 16.5)
        pane.set_title(FACTORS[name], loc="left", fontsize=9.5)
    panes.flat[0].annotate("limit", (0.98, limit + 0.15), fontsize=8.5, ha="right",
                           xycoords=("axes fraction", "data"))  # fmt: skip
    return png(made)


def _direction_u(line: Mapping[str, Any]) -> float:
    found = float(line["direction_rms_deg"])
    return max(found, found / line["direction_ratio"]) if line["direction_ratio"] else found


def _factor_panes(curves: Rows, height: float) -> tuple[Any, Any, dict[str, list[Any]]]:
    present = {
        name: lines for name in FACTORS if (lines := [c for c in curves if c["factor"] == name])
    }
    made, panes = figure(9.2, height, rows=math.ceil(len(present) / 3), columns=3)
    for pane, (_, lines) in zip(panes.flat, present.items(), strict=False):
        plain(pane)
        levels = [line["level"] for line in lines]
        if min(levels) > 0 and max(levels) > 8 * min(levels):
            pane.set_xscale("log")
            pane.set_xticks(levels, [f"{level:g}" for level in levels])
            pane.minorticks_off()
        else:
            pane.set_xticks(levels, [f"{level:g}" for level in levels])
        if lines[0]["factor"] in _FALLING:
            pane.invert_xaxis()  # worse to the right, as everywhere else
        pane.tick_params(labelsize=8)
    for pane in panes.flat[len(present) :]:
        pane.axis("off")
    return made, panes, present


def _unread(pane: Any, lines: Rows, at: float) -> None:
    """Mark levels at which not every photo gave all its plumes."""
    for line in lines:
        if line["measured"] < line["photos"]:
            pane.plot(line["level"], at, "x", color=RED, ms=7, mew=1.6)
            pane.annotate(f"{line['measured']}/{line['photos']}", (line["level"], at), (0, 5),
                          textcoords="offset points", ha="center", fontsize=8,
                          color=RED)  # fmt: skip


def _stacked(pane: Any, counts: Sequence[Counter[str]], *, level: bool) -> None:
    for row, count in enumerate(counts):
        left, total = 0.0, max(count.total(), 1)
        for verdict, colour, hatch in _VERDICTS:
            share = 100 * count[verdict] / total
            pane.barh(row, share, 0.62, left, color=colour, hatch=hatch, edgecolor="white", lw=0.6,
                      label=verdict if row == 0 else None)  # fmt: skip
            if share > 5:
                pane.annotate(f"{share:.0f}", (left + share / 2, row), ha="center", va="center",
                              fontsize=9, color=INK, bbox=_LABEL)  # fmt: skip
            left += share
    pane.set_xlim(0, 100)
    if level:
        pane.legend(frameon=False, fontsize=9, loc="center left", bbox_to_anchor=(1.0, 0.5))


def _legend(pane: Any) -> None:
    from matplotlib.patches import Patch

    patches = [Patch(facecolor=colour, hatch=hatch, edgecolor="white", label=verdict)
               for verdict, colour, hatch in _VERDICTS]  # fmt: skip
    pane.figure.legend(
        handles=patches, frameon=False, fontsize=9, ncols=3, loc="outside lower center"
    )
