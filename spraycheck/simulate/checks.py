"""One clear line for every impossible input of the simulator."""

from __future__ import annotations

import math
import operator
from collections.abc import Sequence
from typing import SupportsIndex, cast

import numpy as np

from spraycheck.errors import InputError

Seed = int | np.random.Generator


def as_rng(seed: Seed) -> np.random.Generator:
    """Turn a seed into a generator; a generator is used as it is.

    Raises
    ------
    InputError
        ``seed`` is neither a whole number of at least 0 nor a ``numpy.random.Generator``.
    """
    if isinstance(seed, np.random.Generator):
        return seed
    try:
        if isinstance(seed, bool):
            raise TypeError
        number = operator.index(cast(SupportsIndex, seed))
    except TypeError:
        raise InputError(
            f"seed {seed!r}: expected a whole number, for example 7 (same seed, same picture)"
        ) from None
    if number < 0:
        raise InputError(f"seed {number}: expected 0 or more")
    return np.random.default_rng(number)


def check_range(
    name: str, value: float, low: float, high: float, *, unit: str = "", above: bool = False
) -> float:
    """Return ``value`` as a float when it is finite and inside the range.

    Parameters
    ----------
    name : str
        What the value is, for the message.
    value : float
        To be checked.
    low, high : float
        Limits, both allowed.
    unit : str
        For the message.
    above : bool
        ``low`` itself is not allowed.

    Raises
    ------
    InputError
        Not a number, not finite, or out of range.
    """
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise InputError(f"{name}: expected a number, got {value!r}") from None
    if not math.isfinite(number) or not low <= number <= high or (above and number == low):
        word = "more than " if above else ""
        tail = f" {unit}" if unit else ""
        raise InputError(f"{name} {number:g}{tail}: expected {word}{low:g} to {high:g}{tail}")
    return number


def check_row(
    name: str, values: Sequence[float] | float, count: int, low: float, high: float
) -> tuple[float, ...]:
    """Return one checked value per hole; a single number counts for every hole.

    Raises
    ------
    InputError
        The wrong number of values, or one out of range.
    """
    row = (values,) * count if isinstance(values, (int, float)) else tuple(values)
    if len(row) != count:
        raise InputError(f"{name}: expected {count} values, one per hole, got {len(row)}")
    return tuple(check_range(f"{name} of hole {k}", v, low, high) for k, v in enumerate(row, 1))


def check_choice(name: str, value: str, choices: Sequence[str]) -> str:
    """Return ``value`` when it is one of ``choices``.

    Raises
    ------
    InputError
        It is not.
    """
    if value not in choices:
        raise InputError(f"{name} {value!r}: expected one of {', '.join(choices)}")
    return value
