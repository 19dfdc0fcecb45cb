"""Units: round trips, what people type, and what is refused."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck import units
from spraycheck.errors import InputError

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=100)


@repeatable
@given(
    st.floats(-1e5, 1e5), st.sampled_from(list(units.PASCALS)), st.sampled_from(list(units.PASCALS))
)
def test_pressures_go_there_and_back(value: float, a: str, b: str) -> None:
    there = units.convert_pressure(value, a, b)
    assert units.convert_pressure(there, b, a) == pytest.approx(value, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "bar"),
    [
        ("200 bar", 200.0),
        ("200bar", 200.0),
        (" 19.3 MPa ", 193.0),
        ("19,3 Mpa", 193.0),
        ("2800 PSI", 193.053),
        ("2 800 psi", 193.053),
        ("200 kgf/cm²", 196.133),
        ("200 kgf/cm^2", 196.133),
        ("200 kg/cm2", 196.133),
        ("0,125 bar", 0.125),
        ("12,5 bar", 12.5),
        ("-0.5 bar", -0.5),
    ],
)
def test_what_people_type_is_understood(text: str, bar: float) -> None:
    assert units.read_pressure(text).bar == pytest.approx(bar, abs=5e-4)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("200", "no unit"),
        ("", "no number"),
        ("bar", "no number"),
        ("2,800 psi", "2800 or 2.800"),
        ("20 mPa", "MPa"),
        ("3 mm", "expected one of Pa"),
        ("200 barn", "expected one of Pa"),
        ("2..8 bar", "expected one of"),
        ("2 80 psi", "expected one of"),
        ("1e3 psi", "expected one of"),
        ("nan bar", "no number"),
    ],
)
def test_what_cannot_be_meant_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        units.read_pressure(text)


def test_unknown_units_are_named() -> None:
    with pytest.raises(InputError, match="'furlong'"):
        units.convert_pressure(1.0, "bar", "furlong")


def test_same_pressure_in_two_units() -> None:
    assert units.same_pressure("200 bar", "2901 psi")
    assert not units.same_pressure("200 bar", "2991 psi")
