"""What all plots share: figures without pyplot, colours, and the bytes of a PNG."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, MUTED, GRID = "#23272b", "#6f6a60", "#e3ddd0"
BLUE, RED, GREEN, AMBER = "#1b5d8f", "#b2301c", "#00705d", "#c98a00"
"""Told apart by marker, hatch or words as well; near the set of Okabe and Ito (2008, from memory).
"""

DPI: Final = 130
"""Of a PNG: sharp on a screen of twice the usual density, near 100 kB a plot (chosen)."""


def figure(
    width_in: float,
    height_in: float,
    *,
    rows: int = 1,
    columns: int = 1,
    grid: str = "",
    **ratios: Any,
) -> tuple[Figure, NDArray[Any]]:
    """Make a figure with a grid of panes, without pyplot, whose global state would pile up.

    Parameters
    ----------
    width_in, height_in : float
        Inches.
    rows, columns : int
        Of the grid.
    grid : str
        Axis of a faint grid under every pane, as `plain` draws it; empty leaves the panes alone.
    **ratios
        As matplotlib's ``subplots`` takes them.

    Returns
    -------
    Figure, (rows, columns) ndarray of Axes
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    made = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasAgg(made)
    panes = made.subplots(rows, columns, squeeze=False, **ratios)
    if grid:
        for pane in panes.flat:
            plain(pane, grid=grid)
    return made, panes


def plain(axes: Any, *, grid: str = "y") -> Any:
    """Take the frame away, lay a faint grid under a plot, and return it."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(axis=grid, color=GRID, lw=0.7)
    axes.set_axisbelow(True)
    return axes


def png(made: Figure, *, dpi: int = DPI) -> bytes:
    """Return a drawing as PNG; no date or version inside: the same values give the same bytes."""
    out = io.BytesIO()
    made.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def inert(name: str, longest: int = 60) -> str:
    """Return a name from outside that prints and starts no formula, shortened where it is long."""
    clean = "".join(c if c.isprintable() else "?" for c in name).replace("$", "\\$")
    return clean if len(clean) <= longest else f"{clean[: longest - 1]}…"
