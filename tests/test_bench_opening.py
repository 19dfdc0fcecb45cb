"""Opening pressure: mean, uncertainty, window; worked out again here by other means."""

from __future__ import annotations

import math
import statistics
from datetime import date

import numpy as np
import pytest
from bench_readings import DAY, bar, gauge, opening, pops
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from spraycheck.bench.engine_set import SetMember, check_set
from spraycheck.bench.gauge import Conditions
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.opening import OpeningTarget, check_opening, measure_opening
from spraycheck.errors import InputError
from spraycheck.judge.limits import limit_fields
from spraycheck.judge.result import Doubt, Outcome, Remedy, Verdict
from spraycheck.units import Pressure

repeatable = settings(derandomize=True, deadline=None, database=None, max_examples=60)

WINDOW = OpeningTarget.around(bar(200), bar(8))


def test_mean_and_budget_against_the_guide_by_hand() -> None:
    found = measure_opening(pops(212, 203, 200, 201, 202, discarded=1))
    counted = [203, 200, 201, 202]
    type_a = statistics.stdev(counted) / 2
    step, class_ = 2 / 2 / math.sqrt(3), 0.01 * 400 / math.sqrt(3)
    u = math.sqrt(type_a**2 + step**2 + class_**2)
    dof = u**4 / (type_a**4 / 3)
    assert found.mean_bar == pytest.approx(201.5)
    assert found.sigma_bar == pytest.approx(u, rel=1e-12)
    assert found.dof == pytest.approx(dof, rel=1e-12)
    assert found.u_bar == pytest.approx(student.ppf(0.975, dof) * u, rel=1e-9)
    assert found.sigma_own_bar == pytest.approx(math.hypot(type_a, step), rel=1e-12)
    assert (found.pops, found.lowest_bar, found.unit) == (4, 200, "bar")


def test_the_decision_against_students_t_by_hand() -> None:
    found = measure_opening(pops(212, 203, 200, 207))
    ruling = check_opening(found, WINDOW)
    law = student(found.dof)
    z = [(end - found.mean_bar) / found.sigma_bar for end in (192, 208)]
    assert ruling.probability == pytest.approx(law.cdf(z[1]) - law.cdf(z[0]), abs=1e-9)
    assert ruling.verdict is Verdict.RECHECK
    assert ruling.remedy is Remedy.READ_AGAIN
    assert [check.limit for check in ruling.checks] == ["opening_low_bar", "opening_high_bar"]


@pytest.mark.parametrize(
    ("pressure", "verdict"),
    [(200, Verdict.PASS), (196, Verdict.PASS), (193, Verdict.RECHECK), (191, Verdict.RECHECK),
     (186, Verdict.FAIL), (214, Verdict.FAIL)],
)  # fmt: skip
def test_verdicts_over_the_window(pressure: float, verdict: Verdict) -> None:
    # The gauge alone has 4 bar / sqrt(3) = 2.3: proof from 1.645 * 2.4 = 4 bar beyond on.
    found = measure_opening(pops(pressure + 9, pressure, pressure, pressure, pressure))
    assert check_opening(found, WINDOW).verdict is verdict


def test_neither_end_alone_but_both_together_leave_it_open() -> None:
    # In the middle of a window of 1.8 sigma either way: each end is kept with 0.964, both 0.928.
    ruling = check_opening(opening(200, 5), OpeningTarget.around(bar(200), bar(9)))
    assert [check.probability > 0.95 for check in ruling.checks] == [True, True]
    assert ruling.verdict is Verdict.RECHECK
    assert Outcome.UNSURE in {check.outcome for check in ruling.checks}
    assert Doubt.NEAR_LIMIT_TOGETHER in {d for check in ruling.checks for d in check.doubts}


@repeatable
@given(st.floats(150, 250), st.sampled_from(["psi", "MPa", "kgf/cm2"]))
def test_the_unit_that_is_read_changes_nothing(pressure: float, unit: str) -> None:
    def as_read(value: float) -> Pressure:
        return Pressure(value=bar(value).to(unit), unit=unit)

    values = [pressure, pressure + 1.5, pressure - 2.0]
    plain = check_opening(measure_opening(pops(*values)), WINDOW)
    other = measure_opening(pops(1, pops=tuple(as_read(one) for one in values)))
    target = OpeningTarget.around(as_read(200), as_read(8))
    ruling = check_opening(other, target)
    assert other.unit == unit
    assert ruling.probability == pytest.approx(plain.probability, abs=1e-9)


def test_the_gauges_class_counts_against_the_target_and_not_in_a_set() -> None:
    coarse, fine = gauge(class_percent=2.5), gauge(class_percent=0.25)
    read = {
        g.class_percent: [measure_opening(pops(p + 6, p, p, p, gauge=g)) for p in (194, 196, 198)]
        for g in (coarse, fine)
    }
    window = OpeningTarget.around(bar(196), bar(6))
    assert check_opening(read[0.25][1], window).verdict is Verdict.PASS
    assert check_opening(read[2.5][1], window).verdict is Verdict.RECHECK
    spread = [
        check_set([SetMember(injector=str(i), opening=one) for i, one in enumerate(many)])
        for many in read.values()
    ]
    assert spread[0].ruling.probability == spread[1].ruling.probability
    assert spread[0].ruling.verdict is Verdict.PASS


def test_a_new_spring_is_set_higher_by_what_it_settles() -> None:
    target = OpeningTarget.around(bar(200), bar(8), settling=Pressure(value=0.5, unit="MPa"))
    assert target.aim_bar() == 200
    assert target.aim_bar(new_spring=True) == pytest.approx(205)
    assert check_opening(opening(212, 0.3), target).verdict is Verdict.FAIL
    assert check_opening(opening(212, 0.3), target, new_spring=True).verdict is Verdict.PASS
    assert check_opening(opening(194, 0.3), target, new_spring=True).verdict is Verdict.FAIL


def test_a_window_open_on_one_side_waives_the_other_end() -> None:
    # A published reject level: below 20.0 MPa.
    target = OpeningTarget(low=Pressure(value=20.0, unit="MPa"), source="a manual")
    ruling = check_opening(opening(248, 2), target)
    assert ruling.verdict is Verdict.PASS
    assert [check.outcome for check in ruling.checks] == [Outcome.KEPT, Outcome.NOT_JUDGED]
    assert check_opening(opening(190, 2), target).verdict is Verdict.FAIL
    assert target.limits().source("opening_low_bar") == "a manual"


def test_a_single_pop_shows_no_scatter_and_decides_nothing() -> None:
    found = measure_opening(pops(203, 200))
    assert found.pops == 1
    assert math.isnan(found.u_bar)
    ruling = check_opening(found, WINDOW)
    assert ruling.verdict is Verdict.RECHECK
    assert Doubt.FEW_POPS in ruling.checks[0].doubts
    # Far beyond the window it still proves nothing.
    assert check_opening(measure_opening(pops(303, 300)), WINDOW).verdict is Verdict.RECHECK


@pytest.mark.parametrize(
    ("due", "verdict", "doubts"),
    [(date(2026, 3, 17), Verdict.PASS, ()),
     (date(2026, 3, 16), Verdict.RECHECK, (Doubt.GAUGE_OVERDUE,)),
     (None, Verdict.PASS, (Doubt.GAUGE_UNDATED,))],
)  # fmt: skip
def test_calibration_is_due(due: date | None, verdict: Verdict, doubts: tuple[Doubt, ...]) -> None:
    found = measure_opening(pops(209, 200, 200, 201, gauge=gauge(calibration_due=due), on=DAY))
    assert found.doubts == doubts
    assert check_opening(found, WINDOW).verdict is verdict


def test_intervals_and_verdicts_hold_what_they_say() -> None:
    # Pops that scatter by 3 bar, a gauge whose own error is small beside it, the true pressure on
    # the lower limit: intervals hold it in 95 of 100, and either verdict is wrong in at most 5.
    rng = np.random.default_rng(5)
    fine = gauge(class_percent=0.25, step=bar(0.5))
    held, verdicts = 0, []
    runs = 1500
    for _ in range(runs):
        off = rng.uniform(-1, 1)
        read = np.round((192 + off + rng.normal(0, 3, 5)) * 2) / 2
        found = measure_opening(pops(*map(float, read), gauge=fine))
        held += abs(found.mean_bar - 192) <= found.u_bar
        verdicts.append(check_opening(found, OpeningTarget(low=bar(192))).verdict)
    assert held / runs == pytest.approx(0.95, abs=0.015)
    for wrong in (Verdict.PASS, Verdict.FAIL):
        assert verdicts.count(wrong) / runs == pytest.approx(0.05, abs=0.015)


def test_pops_that_read_alike_are_known_to_the_step_only() -> None:
    found = measure_opening(pops(209, 200, 200, 200, 200, 200, 200))
    assert found.sigma_own_bar == pytest.approx(2 / math.sqrt(12))


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: pops(200), "at least one that is left"),
        (lambda: pops(discarded=0), "at least one that is left"),
        (lambda: pops(200, -200), "above 0 and at most 400 bar"),
        (lambda: pops(200, 0), "above 0 and at most 400 bar"),
        (lambda: pops(200, 410), "above 0 and at most 400 bar"),
        (lambda: pops(200, 2), "expected 10 to 2000 bar"),
        (lambda: pops(1, pops=(bar(200), Pressure(value=2900, unit="psi"))), "expected one unit"),
        (lambda: gauge(name=" "), "no name"),
        (lambda: gauge(full_scale=bar(0)), "end of the scale"),
        (lambda: gauge(full_scale=Pressure(value=600, unit="MPa")), "expected 10 to 4000 bar"),
        (lambda: gauge(class_percent=160), "expected 0.01 to 10"),
        (lambda: gauge(class_percent=-1), "expected 0.01 to 10"),
        (lambda: gauge(step=bar(0)), "smallest step"),
        (lambda: gauge(step=bar(300)), "smallest step"),
        (lambda: Conditions(temperature_degc=70), "70 degrees Fahrenheit are 21"),
        (lambda: OpeningTarget(), "lowest or a highest"),
        (lambda: OpeningTarget(low=bar(210), high=bar(200)), "to rise"),
        (lambda: OpeningTarget(low=bar(190), nominal=bar(215), high=bar(200)), "to rise"),
        (lambda: OpeningTarget(low=Pressure(value=190, unit="psi"), high=bar(5000)), "10 to 2000"),
        (lambda: OpeningTarget.around(bar(200), bar(0)), "expected above 0"),
        (lambda: OpeningTarget.around(bar(200), bar(5), settling=bar(150)), "settling"),
        (lambda: OpeningTarget.around(bar(200), bar(5), settling=bar(-5)), "settling"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make: object, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()  # type: ignore[operator]


def test_every_limit_of_the_bench_says_what_it_is() -> None:
    limits = BenchLimits()
    on = {one.name for one in limit_fields(BenchLimits) if limits.held(one.name)}
    assert on == {"set_spread_bar", "risk"}
    for one in limit_fields(BenchLimits):
        assert one.metadata["about"]
        assert limits.unit(one.name)
        assert limits.source(one.name)
    with pytest.raises(InputError, match=r"expected 0\.1 to 200"):
        BenchLimits(set_spread_bar=-3)
