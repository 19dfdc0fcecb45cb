"""Pressures keep the unit they were read in; two units that disagree are pointed out."""

from __future__ import annotations

import dataclasses

import pytest
from bench_readings import bar
from hypothesis import given, settings
from hypothesis import strategies as st

from spraycheck.errors import InputError
from spraycheck.units import PASCALS, Pressure, PressureUnit, disagreement, read_pressure

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=60)


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("2800 psi", 2800, "psi"),
        ("19,3 MPa", 19.3, "MPa"),
        ("200 kg/cm2", 200, "kgf/cm2"),
        ("19.3 MPa = 193 bar", 19.3, "MPa"),
        ("3600 psi (24820 kPa)", 3600, "psi"),
        ("125 kgf/cm2(1778 psi)", 125, "kgf/cm2"),
    ],
)
def test_what_was_read_keeps_its_unit(text: str, value: float, unit: str) -> None:
    assert read_pressure(text) == Pressure(value=value, unit=unit)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("200", "no unit"),
        ("200 (2900)", "no unit"),
        ("125 kgf/cm2 (1978 psi)", "look which of the two is right"),
        ("200 bar (2901 psi) (20 MPa)", "expected one of"),
        ("200 bar / 2901 psi", "expected one of"),
        ("", "no number"),
    ],
)
def test_what_cannot_be_meant_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read_pressure(text)


def test_a_disagreement_is_data_too() -> None:
    found = disagreement(Pressure(value=125, unit="kgf/cm2"), Pressure(value=1978, unit="psi"))
    assert found is not None
    assert found.expected.unit == PressureUnit.PSI
    assert found.expected.value == pytest.approx(1777.918, abs=5e-4)
    assert disagreement(bar(200), Pressure(value=2901, unit="psi")) is None


@repeatable
@given(st.floats(1, 4000), st.sampled_from(list(PressureUnit)), st.sampled_from(list(PressureUnit)))
def test_the_same_pressure_in_two_units_never_disagrees(value: float, a: str, b: str) -> None:
    first = Pressure(value=value, unit=a)
    assert disagreement(first, Pressure(value=first.to(b), unit=b)) is None
    wrong = Pressure(value=first.to(b) * 1.01, unit=b)
    assert disagreement(first, wrong) == (first, wrong, Pressure(value=first.to(b), unit=b))


def test_every_unit_has_its_pascals() -> None:
    assert set(PASCALS) == set(PressureUnit)


def test_a_pressure_cannot_be_changed_or_be_no_number() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        bar(200).value = 210  # type: ignore[misc]
    with pytest.raises(InputError, match="finite"):
        bar(float("nan"))
    with pytest.raises(InputError, match="furlong"):
        Pressure(value=1, unit="furlong")
