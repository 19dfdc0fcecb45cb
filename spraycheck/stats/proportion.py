"""How well a counted share is known."""

from __future__ import annotations

import math

from spraycheck.constants import COVERAGE_FACTOR_95


def wilson_interval(hits: int, total: int) -> tuple[float, float]:
    """Return the range that holds the true proportion with 95 %.

    Parameters
    ----------
    hits, total : int
        Of ``total`` trials so many were hits; 0 to 1 when nothing was tried.

    Notes
    -----
    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212, doi:10.1080/01621459.1927.10502953. Unlike
    the textbook formula it stays within 0 to 1 and keeps its coverage for few trials.
    """
    if total == 0:
        return 0.0, 1.0
    z2 = COVERAGE_FACTOR_95**2
    rate = hits / total
    middle = (rate + z2 / (2 * total)) / (1 + z2 / total)
    half = (
        COVERAGE_FACTOR_95
        * math.sqrt(rate * (1 - rate) / total + z2 / (4 * total**2))
        / (1 + z2 / total)
    )
    # At 0 of n and n of n the limit is 0 and 1 exactly; rounding must not miss them.
    return (0.0 if hits == 0 else middle - half), (1.0 if hits == total else middle + half)
