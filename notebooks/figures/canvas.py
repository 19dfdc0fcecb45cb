"""Figures of the notebooks, and their bytes: photographs as JPEG, drawings as PNG."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from spraycheck.report import plots
from spraycheck.report.plots import INK

if TYPE_CHECKING:
    from matplotlib.figure import Figure

DPI: Final = 90
"""Chosen because type of 9 points stays sharp on a page that is shown pixel for pixel."""

PHOTO_QUALITY: Final = 82
"""Of a JPEG in a notebook: paper grain survives, a page of a dozen stays below 1 MB (chosen)."""


def plain(axes: Any, *, grid: str = "y") -> Any:
    """Take the frame away, lay a faint grid under a plot, and return it."""
    axes.tick_params(labelsize=9, colors=INK)
    return plots.plain(axes, grid=grid)


def bare(axes: Any) -> Any:
    """Take everything away but the picture, and return the pane."""
    axes.set_xticks([])
    axes.set_yticks([])
    axes.spines[:].set_visible(False)
    return axes


def png(made: Figure) -> bytes:
    """Return a drawing as PNG; the same values give the same bytes."""
    return plots.png(made, dpi=DPI)


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
