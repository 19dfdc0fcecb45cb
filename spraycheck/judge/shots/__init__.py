"""Several photos of one nozzle: judged together, or compared before and after.

In order: `shot` (a photo's values hole by hole), `consistency` and `same_card` (what does not
belong together is refused), `matching` (which hole is which), `intermittent` (faults that come
and go), `means` (weighted means, and what is left of their uncertainty), `combining` (the case that
goes to the judge); `comparing` sets two photos side by side.
"""

from __future__ import annotations

from spraycheck.judge.shots.combining import combine_shots
from spraycheck.judge.shots.comparing import Change, Comparison, HoleChange, compare_cards

__all__ = ["Change", "Comparison", "HoleChange", "combine_shots", "compare_cards"]
