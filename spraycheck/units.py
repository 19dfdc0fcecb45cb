"""Pressures in the units found on gauges and in manuals; exact by definition.

A value typed without a unit is refused: 200 read as psi instead of bar is a factor of 14.5.

References
----------
.. [1] NIST Special Publication 811 (2008), appendix B, doi:10.6028/NIST.SP.811e2008.
"""

from __future__ import annotations

import math
import re
from typing import Final, NamedTuple

from spraycheck.errors import InputError

INCH_M: Final = 0.0254
"""International inch, exact."""

POUND_FORCE_N: Final = 0.45359237 * 9.80665
"""Avoirdupois pound times standard gravity, exact."""

PASCALS: Final[dict[str, float]] = {
    "Pa": 1.0,
    "kPa": 1e3,
    "MPa": 1e6,
    "bar": 1e5,
    "psi": POUND_FORCE_N / INCH_M**2,
    "kgf/cm2": 98066.5,  # standard gravity on 1 kg per square centimetre
    "atm": 101325.0,
}
"""Unit of pressure to pascals."""

SPELLINGS: Final[dict[str, str]] = {
    "pa": "Pa",
    "kpa": "kPa",
    "mpa": "MPa",
    "bar": "bar",
    "bars": "bar",
    "psi": "psi",
    "psig": "psi",
    "lbf/in2": "psi",
    "lb/in2": "psi",
    "kgf/cm2": "kgf/cm2",
    "kg/cm2": "kgf/cm2",
    "kp/cm2": "kgf/cm2",
    "at": "kgf/cm2",
    "atm": "atm",
}
"""Lower-case spellings met on gauges and in manuals, to the unit meant."""

_NUMBER = re.compile(
    r"\s*([+-]?)(\d{1,3}(?:[ \u00a0\u2009\u202f]\d{3})+|\d+)(?:([.,])(\d+))?\s*(.*)"
)


class Quantity(NamedTuple):
    """A number and the unit it was written in."""

    value: float
    unit: str


def convert_pressure(value: float, unit: str, to: str) -> float:
    """Convert a pressure between units of `PASCALS`; unknown units raise `InputError`."""
    return value * PASCALS[_unit(unit)] / PASCALS[_unit(to)]


def parse_pressure(text: str, to: str = "bar") -> float:
    """Read a pressure such as ``2800 psi``, ``19,3 MPa`` or ``200 kgf/cm²`` and convert it.

    Raises
    ------
    InputError
        No number, no unit, a unit that is not one of pressure, or a number that can be read in two
        ways (``2,800``).
    """
    return convert_pressure(*_parse(text), to)


def same_pressure(first: str, second: str, *, rel_tol: float = 0.005) -> bool:
    """Whether two written pressures mean the same, as printed side by side in manuals.

    ``rel_tol`` is relative; half a per cent chosen because manuals round to three figures, while
    a mistyped digit is mostly off by more.
    """
    return math.isclose(parse_pressure(first, "Pa"), parse_pressure(second, "Pa"), rel_tol=rel_tol)


def _parse(text: str) -> Quantity:
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise InputError(f"pressure {text!r}: no number found; write it like '2800 psi'")
    sign, whole, point, decimals, unit = found.groups()
    if point == "," and len(decimals) == 3 and len(whole) <= 3 and whole != "0":
        raise InputError(
            f"pressure {text!r}: can mean {whole}{decimals} or {whole}.{decimals}; write it "
            "without the comma"
        )
    if not unit:
        raise InputError(f"pressure {text!r}: no unit; write it like '2800 psi'")
    value = float(sign + re.sub(r"\D", "", whole) + "." + (decimals or "0"))
    return Quantity(value, _unit(unit))


def _unit(text: str) -> str:
    plain = text.strip().replace("²", "2").replace("^", "").replace(" ", "")
    if plain == "mPa":
        raise InputError("pressure unit 'mPa' is a thousandth of a pascal; did you mean 'MPa'?")
    unit = SPELLINGS.get(plain.lower(), "")
    if unit not in PASCALS:
        raise InputError(f"pressure unit {text!r}: expected one of {', '.join(PASCALS)}")
    return unit
