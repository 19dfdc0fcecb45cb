"""Figures without pyplot, and their bytes: photographs as JPEG, drawings as PNG."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.figure import Figure

INK, MUTED, GRID = "#23272b", "#6f6a60", "#e3ddd0"
BLUE, RED, GREEN, AMBER = "#1b5d8f", "#b2301c", "#00705d", "#c98a00"
"""Told apart by marker, hatch or words as well; the colours of the other plots of the package."""

DPI: Final = 90
"""Chosen because type of 9 points stays sharp on a page that is shown pixel for pixel."""

PHOTO_QUALITY: Final = 82
"""Of a JPEG in a notebook: paper grain survives, a page of a dozen stays below 1 MB (chosen)."""


def figure(
    width: float, height: float, *, rows: int = 1, columns: int = 1, **ratios: Any
) -> tuple[Figure, NDArray[Any]]:
    """Make a figure with a grid of panes.

    Parameters
    ----------
    width, height : float
        Inches.
    rows, columns : int
        Of the grid.
    **ratios
        As matplotlib's ``subplots`` takes them.

    Returns
    -------
    Figure, (rows, columns) ndarray of Axes
    """
    # Without pyplot, whose global state a long-running program would pile up.
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    made = Figure(figsize=(width, height), layout="constrained", dpi=DPI)
    FigureCanvasAgg(made)
    return made, made.subplots(rows, columns, squeeze=False, **ratios)


def plain(axes: Any, *, grid: str = "y") -> Any:
    """Take the frame away, lay a faint grid under a plot, and return it."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.grid(axis=grid, color=GRID, lw=0.7)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=9, colors=INK)
    return axes


def bare(axes: Any) -> Any:
    """Take everything away but the picture, and return the pane."""
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(False)
    return axes


def png(made: Figure) -> bytes:
    """Return a drawing as PNG; the same values give the same bytes."""
    out = io.BytesIO()
    # No version inside.
    made.savefig(out, format="png", dpi=DPI, metadata={"Software": None})
    return out.getvalue()


def jpeg(made: Figure) -> bytes:
    """Return a figure that shows photographs as JPEG: a fifth of the PNG's size."""
    out = io.BytesIO()
    made.savefig(
        out, format="jpeg", dpi=DPI, pil_kwargs={"quality": PHOTO_QUALITY, "optimize": True}
    )
    return out.getvalue()


def decoded(data: bytes) -> NDArray[np.uint8]:
    """Return the pixels of a JPEG or PNG."""
    from PIL import Image

    with Image.open(io.BytesIO(data)) as image:
        return np.asarray(image.convert("RGB"))
