"""Pictures of formulas beside what the package makes of them, as PNG."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from figures.canvas import plain, png
from spraycheck.report.plots import AMBER, BLUE, GREEN, INK, MUTED, RED, figure
from spraycheck.simulate.soaking import wick
from spraycheck.stats.conformity import Tolerance, conformity_probability


def draw_cone(axis_angle_deg: float, half_cone_deg: float, height_mm: float) -> bytes:
    """Draw a cone of spray from the side and the ellipse it leaves on the card.

    Parameters
    ----------
    axis_angle_deg, half_cone_deg : float
        Between nozzle axis and plume axis; half angle of the plume.
    height_mm : float
        Of the tip over the card.
    """
    a, b = math.radians(axis_angle_deg), math.radians(half_cone_deg)
    # The stain is an ellipse from H tan(a - b) to H tan(a + b), wider than a circle's section.
    near, axis, far = (height_mm * math.tan(at) for at in (a - b, a, a + b))
    centre, along = (near + far) / 2, (far - near) / 2
    across = height_mm * math.sin(b) / math.sqrt(math.cos(a) ** 2 - math.sin(b) ** 2)
    seen_under = math.asin(math.sin(b) / math.sin(a))
    slope = math.tan(seen_under)
    edge = 1.15 * far * slope
    down = -edge - 0.2 * height_mm  # where the card is drawn, seen from above, under the side view
    made, panes = figure(9.2, 9.2 * (height_mm + 2 * edge + 0.4 * height_mm) / (1.2 * far))
    pane = plain(panes[0, 0], grid="x")
    pane.set_aspect("equal")
    pane.fill([0, near, far], [height_mm, 0, 0], color=BLUE, alpha=0.22)
    pane.plot([0, axis], [height_mm, 0], color=BLUE, lw=1.2, ls="--")
    pane.axhline(0, color=INK, lw=1.2)
    pane.plot([0, 0], [height_mm, down], color=MUTED, lw=0.9, ls=":")
    t = np.linspace(0, 2 * math.pi, 200)
    pane.fill(centre + along * np.cos(t), down + across * np.sin(t), color=BLUE,
              alpha=0.22)  # fmt: skip
    for way in (-1, 1):
        pane.plot([0, 1.08 * far], [down, down + way * 1.08 * far * slope], color=MUTED, lw=0.9,
                  ls=":")  # fmt: skip
    pane.plot([axis, axis], [0, down], color=RED, lw=0.9, ls=":")
    pane.plot(axis, down, "x", color=RED, ms=8, mew=1.8)
    pane.plot(centre, down, "+", color=INK, ms=10, mew=1.6)
    pane.plot([0, 0], [height_mm, down], "v", color=INK, ms=8)
    for text, at, shift, colour in (
        ("tip", (0, height_mm), (8, -3), INK),
        ("from the side", (0.55 * far, height_mm), (0, -4), INK),
        ("the card, from above", (0, down), (14, 22), INK),
        (f"seen under ±{math.degrees(seen_under):.1f}°", (0.2 * far, down), (0, -46), MUTED),
        ("the axis meets it here", (axis, down), (-6, 8), RED),
        ("middle of the stain", (centre, down), (6, -14), INK),
    ):
        pane.annotate(text, at, shift, textcoords="offset points", fontsize=9, color=colour,
                      ha="right" if colour == RED else "left")  # fmt: skip
    pane.set_yticks([0, height_mm], ["card", f"{height_mm:g} mm"])
    pane.set_xlim(-0.04 * far, 1.15 * far)
    pane.set_ylim(down - edge, 1.1 * height_mm)
    pane.set_xlabel("mm from below the tip")
    return png(made)


def draw_decision(tolerance: Tolerance, u: float, *, risk: float = 0.05) -> bytes:
    """Draw the probability of conformity against the reading, with the three verdicts.

    Parameters
    ----------
    tolerance : Tolerance
        With both limits.
    u : float
        Standard uncertainty of a reading.
    risk : float
        Tolerated probability of a wrong pass, or fail.
    """
    low, high = tolerance.lower, tolerance.upper
    readings = np.linspace(low - 4 * u, high + 4 * u, 600)
    p = np.array([conformity_probability(float(y), u, tolerance) for y in readings])
    made, panes = figure(9.2, 3.0)
    pane = plain(panes[0, 0])
    zones: tuple[tuple[str, NDArray[np.bool_], str, str], ...] = (
        ("pass", p >= 1 - risk, GREEN, ""),
        ("recheck", (p > risk) & (p < 1 - risk), AMBER, "..."),
        ("fail", p <= risk, RED, "///"),
    )
    for name, where, colour, hatch in zones:
        pane.fill_between(readings, 0, 100, where=where.tolist(), color=colour, alpha=0.18,
                          hatch=hatch, lw=0, label=name)  # fmt: skip
    pane.plot(readings, 100 * p, color=INK, lw=1.8)
    for limit in (low, high):
        pane.axvline(limit, color=INK, lw=1.1, ls="--")
    pane.set_ylim(0, 103)
    pane.set_xlim(readings[0], readings[-1])
    pane.set_xlabel("reading; dashed: the limits")
    pane.set_title("probability that the true value keeps the limits (%)", loc="left", fontsize=10)
    pane.legend(frameon=False, fontsize=9, loc="center left", bbox_to_anchor=(1.0, 0.5))
    return png(made)


def fed_front(seconds: Sequence[float], *, cell_mm: float = 0.1) -> NDArray[np.float64]:
    """Return how far the simulator's fluid has crept in a strip fed at one end.

    Parameters
    ----------
    seconds : sequence of float
        Times.
    cell_mm : float
        Of the strip, which is 42 mm long at the default.

    Returns
    -------
    (K,) ndarray of float64
        Front of half saturation in mm from the fed edge; the paper's constant is 1 mm per root
        second.
    """
    fronts = []
    for time in seconds:
        capacity = np.ones((5, 420), np.float32)
        fed = np.zeros(capacity.shape, bool)
        fed[:, :2] = True
        row = wick(
            np.zeros_like(capacity), capacity, cell_mm, seconds=float(time), wick_mm_per_rt_s=1.0,
            immobile_frac=0.4, source=fed,
        )[2]  # fmt: skip
        k = int(np.argmax(row < 0.5))
        fronts.append((k - 2 + (row[k - 1] - 0.5) / (row[k - 1] - row[k])) * cell_mm)
    return np.array(fronts, float)


def growth_exponent(seconds: Sequence[float], fronts: NDArray[np.float64]) -> float:
    """Return the exponent of a power law through the points."""
    return float(np.polyfit(np.log(np.asarray(seconds, float)), np.log(fronts), 1)[0])


def draw_growth(seconds: Sequence[float], fronts: NDArray[np.float64]) -> bytes:
    """Draw a front against time, both on logarithmic axes, with the square-root law."""
    made, panes = figure(9.2, 3.0)
    pane: Any = plain(panes[0, 0], grid="both")
    pane.loglog(seconds, fronts, "o", color=BLUE, ms=7, label="simulator")
    t = np.geomspace(min(seconds), max(seconds), 50)
    pane.plot(t, np.sqrt(t), color=RED, lw=1.3, ls="--", label="1 mm per root second")
    pane.set_xticks(seconds, [f"{s:g}" for s in seconds])
    pane.set_yticks([2, 3, 5, 8], ["2", "3", "5", "8"])
    pane.minorticks_off()
    pane.set_xlabel("seconds")
    pane.set_title("how far fluid crept into a strip (mm)", loc="left", fontsize=10)
    pane.legend(frameon=False, fontsize=9)
    return png(made)
