"""The adaptive rule: which severity to show next.

References
----------
.. [1] C. Kaernbach, "Simple adaptive testing with the weighted up-down method", Percept.
   Psychophys. 49 (1991) 227-229, doi:10.3758/BF03214307.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from spraycheck.errors import InputError

TARGET: Final = 0.75
"""What share the adaptive rule settles at; reference 1's own example."""


@dataclass(frozen=True, kw_only=True)
class Staircase:
    """A weighted up-down staircase on a log scale (Kaernbach 1991).

    A level that was noticed is followed by one smaller by the factor ``exp(step)``, one that was
    missed by one larger by ``exp(step * target / (1 - target))``; it settles where these balance,
    at the share ``target``. Until the first miss steps down are doubled, to come near quickly.

    Parameters
    ----------
    first, lowest, highest : float
        Where it starts, and what it never leaves.
    step : float
        In natural-log units. Default ln 1.2: about a dozen steps across a tenfold range (chosen).
    target : float
        Share noticed that it settles at.
    """

    first: float
    lowest: float
    highest: float
    step: float = math.log(1.2)
    target: float = TARGET

    def __post_init__(self) -> None:
        if not 0 < self.lowest <= self.first <= self.highest < math.inf:
            raise InputError(
                f"staircase from {self.first:g} within {self.lowest:g} to {self.highest:g}: "
                "expected 0 < lowest <= first <= highest"
            )
        if not (self.step > 0 and 0 < self.target < 1):
            raise InputError("staircase: expected a step above 0 and a target between 0 and 1")

    def level(self, answers: Sequence[bool]) -> float:
        """Return the level to show next, after these answers (True: noticed) in order."""
        at, missed = math.log(self.first), False
        up = self.step * self.target / (1 - self.target)
        for noticed in answers:
            missed = missed or not noticed
            at += up if not noticed else -self.step * (1 if missed else 2)
            at = min(max(at, math.log(self.lowest)), math.log(self.highest))
        return math.exp(at)
