"""Units against their definitions and against pressures printed in manuals.

Sources: NIST SP 811 (2008); engine and test-stand manuals' set-points as printed. Conversions are
exact; tolerances are half a unit of the last printed digit, manuals' pairs 0.1 per cent.
"""

import pytest

from spraycheck import units


@pytest.mark.parametrize(
    ("value", "a", "b", "printed", "tolerance"),
    [
        (1, "psi", "Pa", 6894.757293168361, 1e-11),
        (1, "kgf/cm2", "Pa", 98066.5, 0),
        (1, "bar", "Pa", 100_000, 0),
        (1, "atm", "Pa", 101_325, 0),
        (1, "bar", "psi", 14.503773773, 5e-10),
        (1, "bar", "kgf/cm2", 1.019716213, 5e-10),
        (1, "kgf/cm2", "psi", 14.223343307, 5e-10),
        (1, "MPa", "psi", 145.0377377, 5e-8),
        (1, "MPa", "bar", 10.0, 0),
    ],
)
def test_definitions(value: float, a: str, b: str, printed: float, tolerance: float) -> None:
    assert units.convert_pressure(value, a, b) == pytest.approx(printed, abs=tolerance, rel=1e-15)


@pytest.mark.parametrize(
    ("bar", "psi", "kgf", "mpa"),
    [(120, 1740.5, 122.37, 12.0), (175, 2538.2, 178.45, 17.5), (200, 2900.8, 203.94, 20.0),
     (245, 3553.4, 249.83, 24.5), (275, 3988.5, 280.42, 27.5)],
)  # fmt: skip
def test_opening_pressures_side_by_side(bar: float, psi: float, kgf: float, mpa: float) -> None:
    assert units.convert_pressure(bar, "bar", "psi") == pytest.approx(psi, abs=0.051)
    assert units.convert_pressure(bar, "bar", "kgf/cm2") == pytest.approx(kgf, abs=0.0051)
    assert units.convert_pressure(bar, "bar", "MPa") == pytest.approx(mpa, abs=1e-9)
    assert units.read_pressure(f"{psi} psi").bar == pytest.approx(bar, abs=0.005)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("3750 psi", "25855 kPa"),
        ("3600 psi", "24820 kPa"),
        ("500 psi", "3448 kPa"),
        ("27.5 MPa", "3988 psi"),
        ("25.5 MPa", "3698 psi"),
        ("16.67 MPa", "170 kgf/cm2"),
        ("16.67 MPa", "2418 psi"),
    ],
)
def test_pairs_printed_in_manuals_agree(first: str, second: str) -> None:
    assert units.same_pressure(first, second, rel_tol=0.001)


def test_the_misprint_is_caught() -> None:
    # A manual prints 125 kgf/cm2 as 1978 psi; it is 1778 psi. Its tolerance, 5 kgf/cm2 and 71 psi,
    # is printed right.
    assert not units.same_pressure("125 kgf/cm²", "1978 psi")
    assert units.same_pressure("125 kgf/cm²", "1778 psi")
    assert units.same_pressure("5 kgf/cm²", "71 psi")
    assert units.convert_pressure(125, "kgf/cm2", "psi") == pytest.approx(1778, abs=0.5)


@pytest.mark.parametrize(
    ("per_tenth_mm", "unit", "psi_per_thou"),
    [(7, "kgf/cm2", 25.3), (10, "kgf/cm2", 36.1), (1.87, "MPa", 68.9)],
)
def test_gain_of_a_spacer_in_both_systems(
    per_tenth_mm: float, unit: str, psi_per_thou: float
) -> None:
    # Manuals give the gain per 0.1 mm; worked out per 0.001 in: x psi * 0.0254 / 0.1.
    gain = units.convert_pressure(per_tenth_mm, unit, "psi") * 0.0254 / 0.1
    assert gain == pytest.approx(psi_per_thou, abs=0.05)
