"""Nozzles that spray along their own axis: one central patch, measured and judged by itself."""

from spraycheck.judge.axial.assessment import assess_central
from spraycheck.judge.axial.containers import (
    QUANTITIES,
    Aim,
    CentralAssessment,
    CentralPatch,
    Judged,
    SidePatch,
)
from spraycheck.judge.axial.measurement import measure_central
from spraycheck.judge.axial.nozzle import CentralNozzle

__all__ = [
    "QUANTITIES",
    "Aim",
    "CentralAssessment",
    "CentralNozzle",
    "CentralPatch",
    "Judged",
    "SidePatch",
    "assess_central",
    "measure_central",
]
