"""What was shown and noticed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Trials:
    """What was shown and noticed.

    Parameters
    ----------
    level : (K,) ndarray of float64
        Severity; 0 for nothing to notice, infinite for what nobody can miss.
    noticed, shown : (K,) ndarray of float64
        Counts at each level.

    Raises
    ------
    InputError
        Shapes differ, counts are impossible, or a level is negative or not a number.
    """

    level: Float
    noticed: Float
    shown: Float

    def __post_init__(self) -> None:
        for name in ("level", "noticed", "shown"):
            row = np.array(getattr(self, name), np.float64)
            row.flags.writeable = False
            object.__setattr__(self, name, row)
        shapes = {self.level.shape, self.noticed.shape, self.shown.shape}
        if len(shapes) != 1 or self.level.ndim != 1:
            raise InputError(f"trials: expected three rows of one length, got shapes {shapes}")
        if not (self.level >= 0).all() or len(self.level) == 0:
            raise InputError("trials: expected levels of 0 or more")
        if not ((self.noticed >= 0) & (self.noticed <= self.shown)).all():
            raise InputError("trials: expected 0 <= noticed <= shown")

    @property
    def graded(self) -> Float:
        """Levels strictly between nothing and infinite, of which something was shown."""
        some = (self.level > 0) & np.isfinite(self.level) & (self.shown > 0)
        return np.asarray(self.level[some])
