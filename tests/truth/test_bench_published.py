"""The bench test against published figures: set-points of manuals, JCGM 106, the force balance.

Sources: set-points as engine workshop manuals print them; JCGM 106:2012, worked examples; JCGM
100:2008; the textbook's force balance with a published range of spring rates. Tolerances are half
a unit of the last printed digit unless said otherwise. The standard's examples are shifted to
pressures: probabilities do not change when value, uncertainty and limit are scaled together.
"""

import math

import pytest
from bench_readings import DAY, bar, gauge

from spraycheck.bench.leakage import PUBLISHED_BACK_LEAKAGE
from spraycheck.bench.opening import OpeningPressure, OpeningTarget, check_opening
from spraycheck.bench.seat import PUBLISHED_HOLDS, Criterion, HoldReading, Seen, plan_hold
from spraycheck.bench.spring import (
    EXAMPLE_GAINS,
    SpacerReading,
    SpringModel,
    gain_from_readings,
)
from spraycheck.errors import InputError
from spraycheck.judge.injector import ReadingRuling
from spraycheck.judge.result import Verdict
from spraycheck.units import Pressure, TorqueUnit, convert_torque, read_pressure


def decide(
    y: float,
    u: float,
    low: float | None,
    high: float | None,
    *,
    pops: int = 1_000_000,
    risk: float = 0.05,
) -> ReadingRuling:
    """The opening-pressure decision for a value and its standard uncertainty, in bar."""
    opening = OpeningPressure(
        mean_bar=y,
        lowest_bar=y,
        pops=pops,
        sigma_pops_bar=u,
        step_bar=0.0,
        sigma_gauge_bar=0.0,
        gauge="",
    )
    target = OpeningTarget(
        low=None if low is None else bar(low), high=None if high is None else bar(high)
    )
    return check_opening(opening, target, risk=risk)


def test_jcgm_106_7_3_3_example_2_a_lowest_pressure() -> None:
    # Bursting strength 509.7, u 8.6, lower limit 490: p_c = 0.99 (0.989010), a pass at 5 %.
    ruling = decide(509.7, 8.6, 490, None)
    assert ruling.probability == pytest.approx(0.99, abs=5e-3)
    assert ruling.probability == pytest.approx(0.989010, abs=2e-6)
    assert ruling.verdict is Verdict.PASS


def test_jcgm_106_7_4_a_window() -> None:
    # Viscosity 13.6, u 1.8, [12.5, 16.3]: 0.93 - 0.27 = 0.66 (0.662630 without rounding z).
    # Ten times as large to be a pressure.
    ruling = decide(136, 18, 125, 163)
    assert ruling.probability == pytest.approx(0.662630, abs=2e-6)
    assert ruling.verdict is Verdict.RECHECK


def test_jcgm_106_7_3_3_example_1_a_highest_pressure() -> None:
    # Breakdown voltage -5.47, u 0.05, upper limit -5.40: p_c = 0.92 (0.919243). Shifted by 10 V
    # and a hundred times as large.
    assert decide(453, 5, None, 460).probability == pytest.approx(0.919243, abs=2e-6)


def test_jcgm_106_8_3_3_example_2_students_t_decides_a_rejection() -> None:
    # Upper limit 2.00, s 0.20 from ten repeats (nine degrees of freedom): rejected from
    # A = 2.00 + 1.83 * 0.20 = 2.37 on (2.366623). A hundred times as large.
    assert decide(236.67, 20, None, 200, pops=10).verdict is Verdict.FAIL
    assert decide(236.65, 20, None, 200, pops=10).verdict is Verdict.RECHECK
    # With a normal distribution it would be rejected from 200 + 1.645 * 20 = 232.9 on.
    assert decide(233.0, 20, None, 200).verdict is Verdict.FAIL


def test_gum_table_g2_widens_the_interval_of_few_pops() -> None:
    # t95: 12.71 for one degree of freedom, 4.30 for two, 2.26 for nine.
    for pops, t in ((2, 12.71), (3, 4.30), (10, 2.26)):
        check = decide(200, 1.0, 190, 210, pops=pops).checks[0]
        assert check.u == pytest.approx(t, abs=5e-3)


def test_the_force_balance_gains_9_65_to_12_06_bar() -> None:
    # Springs of 180 to 225 N/mm, guide 6 mm, seat 3.5 mm: ring of 18.653 mm2, 9.65 to 12.06 bar
    # per 0.1 mm, 35.5 to 44.4 psi per 0.001 in. Seat 4.0 mm and 200 N/mm: 12.7 bar.
    def gain(rate: float, seat: float = 3.5) -> float:
        model = SpringModel(
            rate_low_n_per_mm=rate, rate_high_n_per_mm=rate, guide_mm=6.0, seat_mm=seat
        )
        return model.gain().bar

    model = SpringModel(rate_low_n_per_mm=180, rate_high_n_per_mm=225, guide_mm=6.0, seat_mm=3.5)
    assert model.lift_area_mm2 == pytest.approx(18.653, abs=5e-4)
    assert gain(180) == pytest.approx(9.65, abs=5e-3)
    assert gain(225) == pytest.approx(12.06, abs=5e-3)
    per_thou = bar(gain(180)).to("psi") * 0.0254 / 0.1, bar(gain(225)).to("psi") * 0.0254 / 0.1
    assert per_thou == pytest.approx((35.5, 44.4), abs=0.06)
    assert gain(200, 4.0) == pytest.approx(12.7, abs=0.05)
    # The whole range is a rectangle around its middle.
    assert model.gain().bar == pytest.approx((9.65 + 12.06) / 2, abs=0.01)
    assert model.gain().sigma_bar > (12.06 - 9.65) / 2 / math.sqrt(3)


def test_printed_gains_of_two_kinds_of_nozzle_are_far_apart() -> None:
    # 7 to 10 kgf/cm2 per 0.1 mm (6.9 to 9.8 bar) and 1.87 MPa (19 kgf/cm2): 1.9 to 2.7 times.
    small, direct = EXAMPLE_GAINS["small indirect"], EXAMPLE_GAINS["direct injection"]
    assert small.bar - math.sqrt(3) * small.sigma_bar == pytest.approx(6.9, abs=0.05)
    assert small.bar + math.sqrt(3) * small.sigma_bar == pytest.approx(9.8, abs=0.05)
    assert bar(direct.bar).to("kgf/cm2") == pytest.approx(19, abs=0.5)
    assert direct.bar / 6.9 == pytest.approx(2.7, abs=0.05)


def test_two_readings_10_bar_apart_give_the_gain_to_a_fifth() -> None:
    # 1.5 bar each: sqrt(2) * 1.5 / 10 = 21 %.
    def read(mm: float, p: float) -> SpacerReading:
        opening = OpeningPressure(
            mean_bar=p, lowest_bar=p, pops=9, sigma_pops_bar=1.5, step_bar=0.0,
            sigma_gauge_bar=2.3, gauge="one",
        )  # fmt: skip
        return SpacerReading(spacer_mm=mm, opening=opening)

    gain = gain_from_readings([read(1.0, 195.0), read(1.1, 205.0)])
    assert gain.bar == pytest.approx(10.0)
    assert gain.sigma_bar / gain.bar == pytest.approx(0.2, abs=0.02)
    assert gain.sigma_bar / gain.bar == pytest.approx(math.sqrt(2) * 0.15, rel=1e-9)


def test_hold_pressures_printed_beside_opening_pressures() -> None:
    # 2.0 MPa below 27.5 MPa is 25.5 MPa (3698 psi); 170 kgf/cm2 is 16.67 MPa and 2418 psi.
    at_275 = OpeningPressure(
        mean_bar=275, lowest_bar=274, pops=5, sigma_pops_bar=0.5, step_bar=1.0,
        sigma_gauge_bar=2.3, gauge="one",
    )  # fmt: skip
    a = plan_hold(PUBLISHED_HOLDS["a"], at_275)
    assert a.low_bar == a.high_bar == pytest.approx(255.0)
    assert bar(a.low_bar).to("psi") == pytest.approx(3698, abs=0.5)
    c = plan_hold(PUBLISHED_HOLDS["c"], at_275)
    assert bar(c.low_bar).to("kgf/cm2") == pytest.approx(170, abs=0.5)
    assert bar(c.low_bar).to("psi") == pytest.approx(2418, abs=0.5)
    b = plan_hold(PUBLISHED_HOLDS["b"], at_275)
    assert 275 - b.low_bar == pytest.approx(19.6, abs=0.05)
    d, e = (plan_hold(PUBLISHED_HOLDS[key], at_275) for key in "de")
    assert (275 - d.low_bar) * 100 == pytest.approx(3448, abs=1)  # 500 psi is 3448 kPa
    assert e.low_bar == d.low_bar
    assert 275 - e.high_bar == pytest.approx(27.58, abs=5e-3)
    assert [one.seconds for one in PUBLISHED_HOLDS.values()] == [10, 10, 10, 5, 5]
    assert PUBLISHED_HOLDS["d"].criterion is Criterion.NO_DROP


def test_a_fall_to_half_in_30_s_has_a_time_constant_of_43_3_s() -> None:
    # 7000 to 3500 kPa in 30 s: 30 / ln 2 = 43.3 s.
    reading = HoldReading(
        start=Pressure(value=7.0, unit="MPa"), end=Pressure(value=3.5, unit="MPa"), seconds=30,
        seen=Seen.DRY, gauge=gauge(), on=DAY,
    )  # fmt: skip
    assert reading.time_constant_s == pytest.approx(43.3, abs=0.05)


def test_back_leakage_as_printed() -> None:
    # 3 to 10 drops in 30 s at 1500 psi, 65 to 75 degrees Fahrenheit: 103.4 bar, 18.3 to 23.9.
    printed = PUBLISHED_BACK_LEAKAGE
    assert printed.pressure.bar == pytest.approx(103.4, abs=0.05)
    assert (printed.low_degc, printed.high_degc) == pytest.approx((18.3, 23.9), abs=0.05)


def test_a_manuals_misprint_is_pointed_out() -> None:
    # Printed: 125 kgf/cm2 (1978 psi). It is 1778 psi.
    with pytest.raises(InputError, match=r"125 kgf/cm2 is 1777\.9 psi, not 1978"):
        read_pressure("125 kgf/cm² (1978 psi)")
    assert read_pressure("125 kgf/cm² (1778 psi)") == Pressure(value=125, unit="kgf/cm2")


@pytest.mark.parametrize(
    ("value", "unit", "nm"),
    [(1, TorqueUnit.LBF_FT, 1.355818), (1, TorqueUnit.LBF_IN, 0.1129848),
     (1, TorqueUnit.KGF_M, 9.80665)],
)  # fmt: skip
def test_torques_of_nist_sp_811(value: float, unit: TorqueUnit, nm: float) -> None:
    # NIST SP 811, B.8: to seven digits.
    assert convert_torque(value, unit, TorqueUnit.NM) == pytest.approx(nm, rel=5e-7)
