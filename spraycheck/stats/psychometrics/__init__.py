"""How small a fault a person sees: detection curves, an adaptive rule, and sensitivity.

`curves` fits how often something is noticed to its severity, `staircase` chooses the next severity
to show, and `discrimination` says how well two things are told apart.
"""

from spraycheck.stats.psychometrics.curves import (
    DetectionCurve,
    Interval,
    fit_detection,
    level_interval,
)
from spraycheck.stats.psychometrics.discrimination import Sensitivity, sensitivity
from spraycheck.stats.psychometrics.fitting import MAX_GUESS, MAX_LAPSE, WIDTHS
from spraycheck.stats.psychometrics.staircase import TARGET, Staircase
from spraycheck.stats.psychometrics.trials import Trials

__all__ = [
    "MAX_GUESS",
    "MAX_LAPSE",
    "TARGET",
    "WIDTHS",
    "DetectionCurve",
    "Interval",
    "Sensitivity",
    "Staircase",
    "Trials",
    "fit_detection",
    "level_interval",
    "sensitivity",
]
