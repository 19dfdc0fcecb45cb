"""Pass, fail or recheck for a measured value that carries an uncertainty.

A value y with standard uncertainty u stands for what is known about the true value: a normal
distribution (Student's, when u rests on few repeats). *Pass* needs proof of conformity, *fail*
proof of non-conformity, both at a stated risk; between the two the honest answer is *recheck*.

References
----------
.. [1] JCGM 106:2012, Evaluation of measurement data: the role of measurement uncertainty in
   conformity assessment.
.. [2] ISO 14253-1, Decision rules for verifying conformity or nonconformity with specifications.
"""

from spraycheck.stats.decision.conformity import (
    DEFAULT_RISK,
    FAIL,
    PASS,
    RECHECK,
    Decision,
    Tolerance,
    acceptance_limits,
    capability_index,
    conformity_probability,
    decide,
    guard_factor,
    outcome,
)
from spraycheck.stats.decision.joint import joint_bounds, joint_conformity, risk_per_limit
from spraycheck.stats.decision.risks import (
    GammaPrior,
    NormalPrior,
    Prior,
    Risks,
    global_risks,
    update,
)

__all__ = [
    "DEFAULT_RISK",
    "FAIL",
    "PASS",
    "RECHECK",
    "Decision",
    "GammaPrior",
    "NormalPrior",
    "Prior",
    "Risks",
    "Tolerance",
    "acceptance_limits",
    "capability_index",
    "conformity_probability",
    "decide",
    "global_risks",
    "guard_factor",
    "joint_bounds",
    "joint_conformity",
    "outcome",
    "risk_per_limit",
    "update",
]
