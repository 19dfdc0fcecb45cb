"""Does the layout fit what was found at all: wrong count, wrong or mirrored layout."""

from __future__ import annotations

import math

from spraycheck.judge.findings import describe
from spraycheck.judge.layout import Finding, Layout
from spraycheck.judge.matching import Match, even_pattern, match_plumes
from spraycheck.spray.containers import PlumeCatalogue

FITS_DEG = 4.0
"""Plumes within this of an even pattern are that pattern (healthy plumes stray by about 1 degree;
chosen a little below the direction limit)."""

MIRROR_DEG = 2.0
"""Mean misfit from which the mirrored layout is compared (twice what healthy plumes show); it must
then fit with less than 0.4 of it, which one off-line plume alone cannot bring about."""


def misfit(catalogue: PlumeCatalogue, layout: Layout, match: Match) -> list[Finding]:
    """Findings that keep every hole from being judged."""
    direction = catalogue.direction_deg
    n, k = len(layout), len(direction)
    matched = [d for d in match.deviation_deg.tolist() if math.isfinite(d)]
    gone = n - len(matched)
    extra = k - len(matched)
    if not layout.even:
        other = match_plumes(catalogue, layout.mirrored())
        if match.misfit_deg > MIRROR_DEG and other.misfit_deg < 0.4 * match.misfit_deg:
            return [
                describe(
                    "mirrored-layout",
                    as_given_deg=match.misfit_deg,
                    mirrored_deg=other.misfit_deg,
                )
            ]
    off = sum(abs(d) > 2 * FITS_DEG for d in matched)
    wrong = gone + extra > n / 2 or gone + extra + off > max(n / 2, 2)
    if layout.even and not wrong and k != n and k >= 3:
        # Would another even count explain the plumes with nothing missing?
        count, apart = even_pattern(direction)
        worst = max((abs(d) for d in matched), default=0.0)
        wrong = count == k and apart < FITS_DEG and (extra > 0 or worst > 2 * FITS_DEG)
    if layout.even and not wrong and k >= 3 and gone > 1:
        count, apart = even_pattern(direction)
        wrong = count == k and apart < FITS_DEG
    if wrong:
        return [describe("count-does-not-fit", expected=n, found=k)]
    return []
