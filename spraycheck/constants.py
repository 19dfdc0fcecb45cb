"""Numbers that more than one module needs, each with its source."""

from __future__ import annotations

from typing import Final

RESULTS_VERSION: Final = 5
"""Bumped whenever the same photo may give another number (see "Changes" in DEVELOPERS.md)."""

COVERAGE_FACTOR_95: Final = 1.959963984540054
"""Two-sided 95 % factor of the normal distribution (JCGM 100:2008, table G.2, infinite degrees)."""

WET_THRESHOLD_FRAC: Final = 0.30
"""Paper counts as wetted from this wetness on (0 dry, 1 saturated).

Chosen because a faint halo below it depends on paper and lighting more than on the hole; the value
stands in every result's provenance.
"""

SHEET_SIZES_MM: Final[dict[str, tuple[float, float]]] = {
    "a4": (210.0, 297.0),  # ISO 216
    "a5": (148.0, 210.0),  # ISO 216
    "a6": (105.0, 148.0),  # ISO 216
    "letter": (215.9, 279.4),  # ANSI/ASME Y14.1 size A: 8.5 x 11 in
}
"""Sheet name to width and height in mm, portrait."""

MAD_TO_SIGMA: Final = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""

TINY: Final = 1e-6
"""What keeps a division or a logarithm from zero; small against everything that it stands beside
here (depths, mm, areas), so it decides nothing."""

PERCENT: Final = 100.0
"""Per cent in a whole: for numbers that a message says in per cent."""
