"""Pressures and torques in the units found on gauges and in manuals; exact by definition.

A value typed without a unit is refused: 200 read as psi instead of bar is a factor of 14.5. What
was read keeps its own unit; a value given in two units that disagree is pointed out.

References
----------
.. [1] NIST Special Publication 811 (2008), appendix B, doi:10.6028/NIST.SP.811e2008.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, NamedTuple

from spraycheck.errors import InputError

INCH_M: Final = 0.0254
"""International inch, exact."""

POUND_FORCE_N: Final = 0.45359237 * 9.80665
"""Avoirdupois pound times standard gravity, exact."""


class PressureUnit(StrEnum):
    """Units that a pressure may be read in."""

    PA = "Pa"
    KPA = "kPa"
    MPA = "MPa"
    BAR = "bar"
    PSI = "psi"
    KGF_CM2 = "kgf/cm2"
    ATM = "atm"


PASCALS: Final[dict[str, float]] = {
    PressureUnit.PA: 1.0,
    PressureUnit.KPA: 1e3,
    PressureUnit.MPA: 1e6,
    PressureUnit.BAR: 1e5,
    PressureUnit.PSI: POUND_FORCE_N / INCH_M**2,
    PressureUnit.KGF_CM2: 98066.5,  # standard gravity on 1 kg per square centimetre
    PressureUnit.ATM: 101325.0,
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


class TorqueUnit(StrEnum):
    """Units that a tightening torque may be given in."""

    NM = "N.m"
    KGF_M = "kgf.m"
    LBF_FT = "lbf.ft"
    LBF_IN = "lbf.in"


NEWTON_METRES: Final[dict[TorqueUnit, float]] = {
    TorqueUnit.NM: 1.0,
    TorqueUnit.KGF_M: 9.80665,
    TorqueUnit.LBF_FT: POUND_FORCE_N * 12 * INCH_M,
    TorqueUnit.LBF_IN: POUND_FORCE_N * INCH_M,
}
"""Unit of torque to newton metres."""

_NUMBER = re.compile(
    r"\s*([+-]?)(\d{1,3}(?:[ \u00a0\u2009\u202f]\d{3})+|\d+)(?:([.,])(\d+))?\s*(.*)"
)


_BESIDE = re.compile(r"([^(=]+?)\s*(?:\(|=)\s*([^()=]+?)\s*\)?\s*")

SAME_FRAC: Final = 0.005
"""Relative difference up to which two printed pressures mean the same: half a per cent chosen
because manuals round to three figures, while a mistyped digit is mostly off by more."""


@dataclass(frozen=True, kw_only=True)
class Pressure:
    """A pressure as it was read: number and unit stay as they were written.

    Parameters
    ----------
    value : float
        In ``unit``.
    unit : str
        One of `PressureUnit`; other spellings are changed to it.

    Raises
    ------
    InputError
        Not a finite number, or an unknown unit.
    """

    value: float
    unit: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "unit", _unit(self.unit))
        if not math.isfinite(self.value):
            raise InputError(f"pressure {self.value}: expected a finite number")

    def to(self, unit: str) -> float:
        """Return the value in another unit."""
        return convert_pressure(self.value, self.unit, unit)

    @property
    def bar(self) -> float:
        """The value in bar."""
        return self.to(PressureUnit.BAR)


class Disagreement(NamedTuple):
    """One pressure written in two units that do not mean the same.

    Parameters
    ----------
    first, second : Pressure
        As written.
    expected : Pressure
        What the first is in the second's unit.
    """

    first: Pressure
    second: Pressure
    expected: Pressure


def convert_pressure(value: float, unit: str, to: str) -> float:
    """Convert a pressure between units of `PASCALS`; unknown units raise `InputError`."""
    return value * PASCALS[_unit(unit)] / PASCALS[_unit(to)]


def read_pressure(text: str) -> Pressure:
    """Read a pressure and keep its unit; a second one beside it has to mean the same.

    Parameters
    ----------
    text : str
        For example ``2800 psi`` or, as manuals print it, ``125 kgf/cm2 (1778 psi)`` or
        ``19.3 MPa = 193 bar``. The first one is kept.

    Raises
    ------
    InputError
        No number, no unit, a unit that is not one of pressure, a number that can be read in two
        ways (``2,800``), or two pressures that disagree.
    """
    written = _BESIDE.fullmatch(text)
    if written is None:
        return _parse(text)
    first, second = (_parse(part) for part in written.groups())
    found = disagreement(first, second)
    if found is not None:
        raise InputError(
            f"pressure {text!r}: {first.value:g} {first.unit} is {found.expected.value:.5g} "
            f"{second.unit}, not {second.value:g}; expected two ways to write the same pressure",
            "look which of the two is right and give that one alone",
        )
    return first


def disagreement(
    first: Pressure, second: Pressure, *, rel_tol: float = SAME_FRAC
) -> Disagreement | None:
    """Point out two pressures, printed as the same, that are not; None where they agree."""
    if math.isclose(first.to("Pa"), second.to("Pa"), rel_tol=rel_tol):
        return None
    expected = Pressure(value=first.to(second.unit), unit=second.unit)
    return Disagreement(first, second, expected)


def convert_torque(value: float, unit: TorqueUnit, to: TorqueUnit) -> float:
    """Convert a torque between units of `NEWTON_METRES`."""
    return value * NEWTON_METRES[unit] / NEWTON_METRES[to]


def same_pressure(first: str, second: str, *, rel_tol: float = SAME_FRAC) -> bool:
    """Whether two written pressures mean the same, as printed side by side in manuals."""
    return disagreement(read_pressure(first), read_pressure(second), rel_tol=rel_tol) is None


def _parse(text: str) -> Pressure:
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
    return Pressure(value=value, unit=unit)


def _unit(text: str) -> str:
    plain = text.strip().replace("²", "2").replace("^", "").replace(" ", "")
    if plain == "mPa":
        raise InputError("pressure unit 'mPa' is a thousandth of a pascal; did you mean 'MPa'?")
    unit = SPELLINGS.get(plain.lower(), "")
    if unit not in PASCALS:
        raise InputError(f"pressure unit {text!r}: expected one of {', '.join(PASCALS)}")
    return unit
