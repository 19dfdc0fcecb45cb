"""What is tolerated of readings at the bench, in the form in which the judge holds everything.

All of them are off until a maker's data or the workshop sets them: no figure suits all nozzles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Final

from spraycheck.judge.limits import COMMON, OFF, LimitSet
from spraycheck.stats.conformity import DEFAULT_RISK

OPENING_RANGE_BAR: Final = (10.0, 2000.0)
"""Opening pressures that are not absurd (chosen wide: mechanical injectors open at 80 to 400 bar,
common practice, no source; the ends catch a missing digit and a wrong unit)."""

MAKER: Final = "the maker's data; off until they are given"

SET_SPREAD_BAR: Final = 10.0
"""Largest less smallest opening pressure of an engine's set (common practice, no source: workshops
name 5 to 10 bar)."""


def _limit(
    about: str,
    unit: str,
    most: float,
    *,
    least: float = 0.0,
    default: float = OFF,
    off: float = OFF,
    why: str = MAKER,
) -> Any:
    """Declare a limit: the same metadata as the limits of a spray have."""
    told = {
        "about": about,
        "unit": unit,
        "source": why,
        "least": least,
        "most": most,
        "off": off,
    }
    return field(default=default, metadata=told)


@dataclass(frozen=True, kw_only=True)
class BenchLimits(LimitSet):
    """What is tolerated; see the metadata of each field.

    Parameters
    ----------
    opening_low_bar, opening_high_bar : float
        Window of the opening pressure.
    set_spread_bar : float
        Largest less smallest opening pressure of an engine's set.
    seat_wet_grade : float
        Wettest that the tip may be after a hold: 0 dry, 1 damp without a drop.
    seat_drops : float
        Most drops during a hold, in the time that the criterion names.
    seat_fall_bar : float
        Most that the pressure may fall during a hold.
    back_leakage_low_drops, back_leakage_high_drops : float
        Fewest and most drops of back leakage in the time that the maker names.
    risk : float
        Largest probability that the verdict on a reading is wrong.
    name : str
        What this set of limits is called.
    sources : tuple of (str, str)
        Name of a limit and where its value comes from.
    """

    opening_low_bar: float = _limit(
        "lowest opening pressure", "bar", OPENING_RANGE_BAR[1], default=0.0, off=0.0
    )
    opening_high_bar: float = _limit("highest opening pressure", "bar", OPENING_RANGE_BAR[1])
    set_spread_bar: float = _limit(
        "largest less smallest opening pressure of a set",
        "bar",
        200.0,
        least=0.1,
        default=SET_SPREAD_BAR,
        why=COMMON,
    )
    seat_wet_grade: float = _limit("how wet the tip may be after a hold", "grade", 1.0)
    seat_drops: float = _limit("drops during a hold", "drops", 1000.0)
    seat_fall_bar: float = _limit("fall of the pressure during a hold", "bar", 1000.0, least=0.01)
    back_leakage_low_drops: float = _limit(
        "fewest drops of back leakage", "drops", 1000.0, default=0.0, off=0.0
    )
    back_leakage_high_drops: float = _limit("most drops of back leakage", "drops", 1000.0)
    risk: float = _limit(
        "probability that the verdict on a reading is wrong",
        "probability",
        0.4,
        least=0.0001,
        default=DEFAULT_RISK,
        off=math.nan,  # there is no verdict without a risk
        why="default of ISO 14253-1:2017 (from memory) and of the examples of JCGM 106:2012",
    )
    name: str = "bench settings"
    sources: tuple[tuple[str, str], ...] = ()
