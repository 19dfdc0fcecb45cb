"""Spacers: gain, choice from a stock, signs of wear; worked out again here by other means."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pytest
from bench_readings import bar, opening
from scipy.optimize import curve_fit

from spraycheck.bench.opening import OpeningTarget
from spraycheck.bench.spacers import (
    Recommendation,
    SpacerSpecification,
    WearHint,
    find_wear,
    recommend_spacers,
)
from spraycheck.bench.spring import (
    Gain,
    GainSource,
    SpacerReading,
    SpringModel,
    combine_gains,
    gain_from_maker,
    gain_from_readings,
)
from spraycheck.errors import InputError
from spraycheck.judge.injector import REQUIRED
from spraycheck.units import Pressure

TEN = Gain(bar=10.0, sigma_bar=0.5, sources=(GainSource.MAKER,))
WINDOW = OpeningTarget.around(bar(200), bar(5))


def read(mm: float, pressure: float, sigma: float = 1.0, **changed: Any) -> SpacerReading:
    new_spring = changed.pop("new_spring", False)
    return SpacerReading(
        spacer_mm=mm, opening=opening(pressure, sigma, **changed), new_spring=new_spring
    )


def choose(pressure: float, fitted: list[float], stock: list[float], **more: Any) -> Recommendation:
    given = {"gain": TEN, "target": WINDOW, **more}
    sigma = given.pop("sigma", 1.5)
    return recommend_spacers(opening(pressure, sigma), fitted, stock, **given)


# --- the gain -------------------------------------------------------------------------------------


def test_the_springs_gain_scatters_as_it_says() -> None:
    model = SpringModel(
        rate_low_n_per_mm=180, rate_high_n_per_mm=225, guide_mm=6.0, seat_mm=3.5, seat_u_mm=0.2
    )
    rng = np.random.default_rng(7)
    n = 200_000
    rate = rng.uniform(180, 225, n)
    guide = rng.uniform(5.99, 6.01, n)
    seat = rng.uniform(3.3, 3.7, n)
    bar_per_tenth = rate * 0.1 / (np.pi / 4 * (guide**2 - seat**2)) * 10
    gain = model.gain()
    assert gain.bar == pytest.approx(bar_per_tenth.mean(), rel=3e-3)
    assert gain.sigma_bar == pytest.approx(bar_per_tenth.std(), rel=0.02)
    assert model.closing_ratio == pytest.approx(1 - (3.5 / 6) ** 2)


def test_a_line_through_readings_against_scipy() -> None:
    s = np.array([1.00, 1.10, 1.10, 1.25, 1.30])
    p = np.array([180.0, 190.8, 191.5, 206.3, 211.0])
    sigma = np.array([1.0, 2.0, 1.5, 1.0, 3.0])
    gain = gain_from_readings([read(*one) for one in zip(s, p, sigma, strict=True)])
    fitted, covariance = curve_fit(
        lambda x, a, b: a + b * x, s * 10, p, sigma=sigma, absolute_sigma=True
    )
    assert gain.bar == pytest.approx(fitted[1], rel=1e-6)
    assert gain.birge < 1
    assert gain.sigma_bar == pytest.approx(math.sqrt(covariance[1, 1]), rel=1e-5)
    # Ten times surer readings scatter more than they say, and are widened by as much.
    surer = gain_from_readings([read(*one) for one in zip(s, p, sigma / 10, strict=True)])
    _, scaled = curve_fit(lambda x, a, b: a + b * x, s * 10, p, sigma=sigma)
    assert surer.birge > 1
    assert surer.sigma_bar == pytest.approx(math.sqrt(scaled[1, 1]), rel=1e-5)


def test_the_gauges_class_drops_out_of_a_slope_unless_gauges_were_changed() -> None:
    one = [read(1.0, 190, sigma_gauge_bar=4.0), read(1.1, 200, sigma_gauge_bar=4.0)]
    two = [one[0], read(1.1, 200, sigma_gauge_bar=4.0, gauge="tester 2")]
    assert gain_from_readings(one).sigma_bar == pytest.approx(math.sqrt(2))
    assert gain_from_readings(two).sigma_bar == pytest.approx(math.sqrt(2 * (1 + 16)))


def test_gains_are_weighted_by_their_uncertainty() -> None:
    spring = Gain(bar=11.0, sigma_bar=0.8, sources=(GainSource.SPRING,))
    readings = Gain(bar=10.0, sigma_bar=2.0, sources=(GainSource.READINGS,))
    both = combine_gains([spring, readings])
    weight = np.array([1 / 0.64, 1 / 4.0])
    assert both.bar == pytest.approx((weight @ [11.0, 10.0]) / weight.sum())
    assert both.sigma_bar == pytest.approx(weight.sum() ** -0.5)
    assert both.sources == (GainSource.SPRING, GainSource.READINGS)
    # A spring that cannot explain the readings makes both less sure.
    apart = combine_gains([spring, Gain(bar=18.0, sigma_bar=1.0, sources=(GainSource.READINGS,))])
    assert apart.birge > 1
    assert apart.sigma_bar > 2
    assert combine_gains([spring]) == spring


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: combine_gains([]), "none is assumed"),
        (lambda: gain_from_readings([read(1.0, 190)]), "two thicknesses"),
        (lambda: gain_from_readings([read(1.0, 190), read(1.0, 192)]), "two thicknesses"),
        (lambda: gain_from_readings([read(1.0, 200), read(1.1, 190)]), "right visits"),
        (
            lambda: gain_from_readings([read(1.0, 190), read(1.1, 200, float("nan"))]),
            "two pops or more",
        ),
        (lambda: read(-1.0, 190), "expected 0 to 10 mm"),
        (lambda: read(145.0, 190), "expected 0 to 10 mm"),
        (lambda: gain_from_maker(bar(10), bar(7)), "and a range"),
        (lambda: gain_from_maker(bar(-7), bar(7)), "and a range"),
        (lambda: SpacerSpecification(most_pieces=0), "expected 1 to 4"),
        (lambda: SpacerSpecification(gain_low=bar(7)), "both or none"),
        (lambda: SpacerSpecification(sizes_mm=(1.0, -0.1)), "above 0 to 10 mm"),
        (
            lambda: SpringModel(
                rate_low_n_per_mm=180, rate_high_n_per_mm=170, guide_mm=6, seat_mm=3
            ),
            "the lower rate first",
        ),
        (
            lambda: SpringModel(
                rate_low_n_per_mm=180, rate_high_n_per_mm=190, guide_mm=3, seat_mm=6
            ),
            "seat smaller than the guide",
        ),
        (lambda: choose(190, [1.0], [0.0]), "above 0 to 10 mm"),
        (lambda: choose(190, [1.0], [1.1], most_pieces=9), "expected 1 to 4"),
        (lambda: choose(190, [1.0], [1.1], sigma=float("nan")), "two pops"),
    ],
)
def test_what_cannot_be_is_refused(make: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()


def test_a_makers_data_give_what_they_hold() -> None:
    assert SpacerSpecification().gains() == ()
    spring = SpringModel(rate_low_n_per_mm=180, rate_high_n_per_mm=225, guide_mm=6, seat_mm=3.5)
    printed = Pressure(value=7, unit="kgf/cm2"), Pressure(value=10, unit="kgf/cm2")
    both = SpacerSpecification(spring=spring, gain_low=printed[0], gain_high=printed[1])
    assert [one.sources for one in both.gains()] == [(GainSource.SPRING,), (GainSource.MAKER,)]


# --- the choice -----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("most", [1, 2, 3])
def test_the_choice_against_trying_everything(seed: int, most: int) -> None:
    rng = np.random.default_rng(seed)
    stock = [float(x) for x in rng.choice([0.10, 0.13, 0.15, 0.18, 0.40, 0.50, 0.80], 6)]
    fitted = [0.5]
    pressure = float(rng.uniform(165, 185))
    found = choose(pressure, fitted, stock, most_pieces=most)
    there = fitted + stock
    tried = []
    for count in range(1, most + 1):
        for places in itertools.combinations(range(len(there)), count):
            pieces = tuple(sorted(there[i] for i in places))
            expected = pressure + 100 * (sum(pieces) - 0.5)
            tried.append((round(abs(expected - 200), 6), count, pieces))
    assert found.best.expected_bar == pytest.approx(pressure + 100 * (found.best.total_mm - 0.5))
    assert abs(found.best.expected_bar - 200) == pytest.approx(min(tried)[0], abs=1e-6)
    assert len(found.best.pieces_mm) == min(tried)[1]
    assert len(found.options) == len({pieces for _, _, pieces in tried} - {(0.5,)})


def test_expected_pressure_and_uncertainty_scatter_as_they_say() -> None:
    found = choose(180, [0.5], [0.7], sigma=1.5)
    rng = np.random.default_rng(3)
    n = 200_000
    now = rng.normal(180, 1.5, n)
    gain = rng.normal(10.0, 0.5, n)
    thicker = 0.2 + rng.uniform(-0.005, 0.005, (2, n)).sum(axis=0)
    then = now + gain * 10 * thicker
    assert found.best.pieces_mm == (0.7,)
    assert found.best.expected_bar == pytest.approx(200)
    assert found.best.sigma_bar == pytest.approx(then.std(), rel=0.01)
    assert found.best.u_bar == pytest.approx(1.96 * then.std(), rel=0.01)
    kept = ((then >= 195) & (then <= 205)).mean()
    assert found.best.probability == pytest.approx(kept, abs=5e-3)
    assert found.then == REQUIRED


def test_a_piece_that_stays_in_brings_no_uncertainty_of_its_own() -> None:
    exact = Gain(bar=10.0, sigma_bar=0.0, sources=(GainSource.MAKER,))
    found = choose(180, [0.5], [0.2, 0.7], sigma=0.1, gain=exact, most_pieces=2)
    sigma = {one.pieces_mm: one.sigma_bar for one in found.options}
    one_piece = 100 * 0.005 / math.sqrt(3)
    assert sigma[(0.2, 0.5)] == pytest.approx(math.hypot(0.1, one_piece))
    assert sigma[(0.7,)] == pytest.approx(math.hypot(0.1, math.sqrt(2) * one_piece))


def test_stacking_only_where_it_is_allowed() -> None:
    single = choose(180, [0.5], [0.2, 0.6])
    assert single.best.pieces_mm == (0.6,)
    stacked = choose(180, [0.5], [0.2, 0.6], most_pieces=2)
    assert stacked.best.pieces_mm == (0.2, 0.5)
    assert not single.likely
    assert stacked.likely


def test_an_injector_that_keeps_its_window_is_left_alone() -> None:
    found = choose(199, [0.5], [0.51])
    assert found.best is found.fitted
    assert found.then == ()
    # A matched set may ask for more: a narrower target is another question.
    narrow = OpeningTarget.around(bar(200), bar(0.8))
    assert choose(199, [0.5], [0.51], target=narrow).best.pieces_mm == (0.51,)


def test_a_new_spring_is_set_higher() -> None:
    target = OpeningTarget.around(bar(200), bar(5), settling=bar(5))
    old = choose(180, [0.5], [0.70, 0.75], target=target)
    new = choose(180, [0.5], [0.70, 0.75], target=target, new_spring=True)
    assert (old.best.pieces_mm, new.best.pieces_mm) == ((0.70,), (0.75,))


def test_nothing_in_and_nothing_in_the_drawer() -> None:
    assert choose(180, [], [0.2]).best.pieces_mm == (0.2,)
    empty = choose(180, [], [])
    assert empty.best is empty.fitted
    assert empty.best.probability < 0.01


# --- wear -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("visits", "hints"),
    [
        ([read(0.5, 200), read(0.5, 199)], []),
        ([read(0.5, 200), read(0.5, 190)], [WearHint.PRESSURE_FELL]),
        ([read(0.5, 200), read(0.7, 200)], [WearHint.MORE_SPACER]),
        ([read(0.5, 200), read(0.7, 220)], []),
        ([read(0.7, 220), read(0.5, 190)], [WearHint.PRESSURE_FELL]),
        ([read(0.5, 200), read(0.5, 190), read(0.6, 200)], [WearHint.PRESSURE_FELL]),
        ([read(0.5, 200), read(0.5, 190, new_spring=True)], []),
        ([read(0.5, 205, new_spring=True), read(0.5, 200)], [WearHint.SETTLED]),
        ([read(0.5, 205, new_spring=True), read(0.5, 190)], [WearHint.PRESSURE_FELL]),
        ([read(0.5, 200), read(0.5, 190, gauge="tester 2", sigma_gauge_bar=6.0)], []),
        ([read(0.5, 200)], []),
        # few pops prove less, and a single one nothing
        ([read(0.5, 200), read(0.5, 196)], [WearHint.PRESSURE_FELL]),
        ([read(0.5, 200, pops=2), read(0.5, 196, pops=2)], []),
        ([read(0.5, 200), read(0.5, 150, math.nan)], []),
    ],
)
def test_signs_of_wear(visits: list[SpacerReading], hints: list[WearHint]) -> None:
    found = find_wear(visits, TEN, settling=bar(5))
    assert [one.hint for one in found] == hints


def test_what_is_lost_is_beyond_what_the_spacer_explains() -> None:
    (found,) = find_wear([read(0.5, 200), read(0.7, 205)], TEN)
    assert found.lost_bar == pytest.approx(15.0)
    # Two readings of 1 bar, and the gain's 0.5 bar per 0.1 mm over 0.2 mm.
    assert found.u_bar == pytest.approx(1.96 * math.sqrt(3), rel=1e-3)
    assert found.visit == 1
