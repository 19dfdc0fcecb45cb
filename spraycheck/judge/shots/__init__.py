"""Several photos of one nozzle: judged together, or compared before and after.

In order: `shots` (a photo's values hole by hole), `mismatch` and `pictures` (what does not belong
together is refused), `matching` (which hole is which), `wavering` (faults that come and go),
`averaging` (means, and what is left of their uncertainty); then the same judgement as for one
photo, from `spraycheck.judge.assessment`.
"""

from __future__ import annotations

from spraycheck.judge.shots.combining import combine_shots
from spraycheck.judge.shots.comparing import compare_cards
from spraycheck.judge.shots.containers import (
    Change,
    Combination,
    CombinedHole,
    Comparison,
    HoleChange,
    Matching,
    Scatter,
)

__all__ = [
    "Change",
    "Combination",
    "CombinedHole",
    "Comparison",
    "HoleChange",
    "Matching",
    "Scatter",
    "combine_shots",
    "compare_cards",
]
