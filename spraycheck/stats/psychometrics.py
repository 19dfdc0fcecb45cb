"""Old name of `spraycheck.stats.detection`, for rooms that are being rebuilt."""

from spraycheck.stats.detection import (
    DetectionCurve,
    Interval,
    Sensitivity,
    Staircase,
    Trials,
    fit_detection,
    level_interval,
    sensitivity,
)

__all__ = [
    "DetectionCurve",
    "Interval",
    "Sensitivity",
    "Staircase",
    "Trials",
    "fit_detection",
    "level_interval",
    "sensitivity",
]
