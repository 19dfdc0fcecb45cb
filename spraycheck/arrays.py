"""Array types that the stages exchange, and the check of their shape and type."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from spraycheck.errors import InputError

Float = NDArray[np.floating[Any]]
FloatMap = NDArray[np.float32]
Mask = NDArray[np.bool_]
Labels = NDArray[np.int32]


def check_array(
    name: str, array: NDArray[Any], shape: tuple[int | None, ...], dtype: type[np.generic]
) -> None:
    """Raise when an array has the wrong shape or dtype, and make it read-only."""
    fits = len(array.shape) == len(shape) and all(
        want is None or want == got for want, got in zip(shape, array.shape, strict=True)
    )
    if not fits:
        wanted = "(" + ", ".join("any" if n is None else str(n) for n in shape) + ")"
        raise InputError(f"{name}: expected shape {wanted}, got {array.shape}")
    if array.dtype != dtype:
        raise InputError(f"{name}: expected dtype {np.dtype(dtype)}, got {array.dtype}")
    array.flags.writeable = False
