"""How well two things are told apart.

References
----------
.. [1] M. J. Hautus, "Corrections for extreme proportions and their biasing effects on estimated
   values of d'", Behav. Res. Methods 27 (1995) 46-51, doi:10.3758/BF03203619.
.. [2] V. Gourevitch, E. Galanter, "A significance test for one parameter isosensitivity
   functions", Psychometrika 32 (1967) 25-33, doi:10.1007/BF02289402.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from scipy import special

from spraycheck.errors import InputError


class Sensitivity(NamedTuple):
    """How well two things are told apart: ``d_prime``, its standard uncertainty, the criterion.

    ``criterion`` is 0 without a leaning, above 0 when "nothing there" is said too readily.
    """

    d_prime: float
    u: float
    criterion: float


def sensitivity(hits: int, faulty: int, false_alarms: int, good: int) -> Sensitivity:
    """Return d' of verdicts on faulty and good cards.

    Parameters
    ----------
    hits, faulty : int
        Faulty cards called faulty, and all faulty cards.
    false_alarms, good : int
        Good cards called faulty, and all good cards.

    Raises
    ------
    InputError
        No card of one sort, or impossible counts.

    Notes
    -----
    Half a card is added to each count and one to each total, so that perfect scores stay finite
    (log-linear correction, reference 1); the uncertainty is that of reference 2.
    """
    if not (0 <= hits <= faulty and 0 <= false_alarms <= good and faulty > 0 and good > 0):
        raise InputError(
            f"{hits} of {faulty} faulty and {false_alarms} of {good} good cards: expected at least "
            "one card of each sort"
        )
    hit, alarm = (hits + 0.5) / (faulty + 1), (false_alarms + 0.5) / (good + 1)
    z_hit, z_alarm = float(special.ndtri(hit)), float(special.ndtri(alarm))
    variance = sum(
        rate * (1 - rate) / (cards * (math.exp(-z * z / 2) / math.sqrt(2 * math.pi)) ** 2)
        for rate, z, cards in ((hit, z_hit, faulty), (alarm, z_alarm, good))
    )
    return Sensitivity(z_hit - z_alarm, math.sqrt(variance), -(z_hit + z_alarm) / 2)
