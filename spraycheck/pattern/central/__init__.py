"""Nozzles that spray along their own axis: one central patch, measured and judged by itself."""

from spraycheck.pattern.central.assessment import assess_central
from spraycheck.pattern.central.containers import (
    QUANTITIES,
    Aim,
    CentralAssessment,
    CentralPatch,
    Judged,
    SidePatch,
)
from spraycheck.pattern.central.measurement import measure_central
from spraycheck.pattern.central.nozzle import CentralNozzle
from spraycheck.pattern.central.pipeline import CentralPipeline, aim_on

__all__ = [
    "QUANTITIES",
    "Aim",
    "CentralAssessment",
    "CentralNozzle",
    "CentralPatch",
    "CentralPipeline",
    "Judged",
    "SidePatch",
    "aim_on",
    "assess_central",
    "measure_central",
]
