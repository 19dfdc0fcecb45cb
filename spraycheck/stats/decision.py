"""Old name of `spraycheck.stats.conformity`, for rooms that are being rebuilt."""

from typing import Final

from spraycheck.stats.conformity import (
    DEFAULT_RISK,
    Tolerance,
    conformity_probability,
    guard_factor,
    joint_bounds,
    joint_conformity,
    risk_per_limit,
)

PASS: Final = "pass"
FAIL: Final = "fail"
RECHECK: Final = "recheck"

__all__ = [
    "DEFAULT_RISK",
    "FAIL",
    "PASS",
    "RECHECK",
    "Tolerance",
    "conformity_probability",
    "guard_factor",
    "joint_bounds",
    "joint_conformity",
    "risk_per_limit",
]
