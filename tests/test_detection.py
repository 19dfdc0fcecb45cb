"""Detection curves, the adaptive rule and d'."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import special

from spraycheck.errors import InputError
from spraycheck.stats.detection import (
    Staircase,
    Trials,
    fit_detection,
    level_interval,
    sensitivity,
)


def test_guesses_alone_are_taken_for_guesses_and_lapses_for_lapses() -> None:
    levels = np.array([0.0, 4, 6, 8, 11, 15, math.inf])
    p = 0.2 + (1 - 0.2 - 0.06) * special.ndtr(np.log(np.maximum(levels, 1e-300) / 8) / 0.3)
    shown = np.full(7, 4000.0)
    curve = fit_detection(Trials(level=levels, noticed=shown * p, shown=shown))
    assert curve.threshold == pytest.approx(8, rel=1e-3)
    assert curve.log_sd == pytest.approx(0.3, rel=1e-3)
    assert (curve.guess, curve.lapse) == pytest.approx((0.2, 0.06), abs=1e-3)
    assert curve.at([0.0, 8.0, math.inf]) == pytest.approx([0.2, 0.2 + 0.74 / 2, 0.94], abs=1e-3)
    # Without a guess rate the same answers give a threshold that is too good.
    ignored = fit_detection(Trials(level=levels, noticed=shown * p, shown=shown), max_guess=0)
    assert ignored.threshold < 7.5


def _observer(threshold: float, *, seed: int, questions: int = 40) -> Trials:
    """A simulated trainee on the staircase, with 40 good cards and 10 nobody can miss."""
    rng = np.random.default_rng(seed)
    stairs = Staircase(first=15, lowest=2, highest=25)
    answers: list[bool] = []
    levels = []
    for _ in range(questions):
        level = stairs.level(answers)
        p = 0.04 + 0.93 * special.ndtr(math.log(level / threshold) / 0.35)
        answers.append(bool(rng.uniform() < p))
        levels.append(level)
    noticed = [*answers, rng.binomial(40, 0.04), rng.binomial(10, 0.97)]
    return Trials(level=[*levels, 0, math.inf], noticed=noticed, shown=[1] * questions + [40, 10])


def test_known_observers_are_recovered_within_the_stated_uncertainty() -> None:
    # 24 observers: with 95 % coverage fewer than 20 would come by chance in 0.6 % of runs.
    held, found = 0, []
    for seed in range(24):
        threshold = 4.0 + 0.25 * seed
        trials = _observer(threshold, seed=seed)
        interval = level_interval(trials)
        held += interval.low <= threshold <= interval.high
        found.append(math.log(fit_detection(trials).threshold / threshold))
    assert held >= 20
    assert abs(np.median(found)) < 0.08


def test_the_interval_is_open_where_the_trials_bound_nothing() -> None:
    saw_all = Trials(level=[0, 5, 5, 8], noticed=[0, 6, 6, 8], shown=[20, 6, 6, 8])
    assert level_interval(saw_all).low == 0.0
    assert math.isfinite(level_interval(saw_all).high)
    saw_none = Trials(level=[0, 5, 20], noticed=[0, 0, 0], shown=[20, 10, 10])
    assert level_interval(saw_none).high == math.inf


def test_the_level_for_nine_in_ten_lies_above_the_threshold_and_inside_its_interval() -> None:
    trials = _observer(6.0, seed=3, questions=80)
    curve = fit_detection(trials)
    nine = curve.level_for(0.9)
    interval = level_interval(trials, share=0.9)
    assert curve.threshold < nine
    assert interval.low < nine < interval.high
    with pytest.raises(InputError, match="share 1: expected"):
        level_interval(trials, share=1.0)


def test_the_staircase_settles_where_its_steps_balance() -> None:
    rng = np.random.default_rng(5)
    stairs = Staircase(first=20, lowest=0.5, highest=50, step=0.05)
    answers: list[bool] = []
    levels = []
    for _ in range(600):
        levels.append(stairs.level(answers))
        answers.append(bool(rng.uniform() < special.ndtr(math.log(levels[-1] / 6) / 0.4)))
    # Kaernbach 1991: three quarters noticed, here 6 exp(0.4 z(0.75)) = 7.86.
    assert np.exp(np.mean(np.log(levels[150:]))) == pytest.approx(7.86, rel=0.06)


def test_the_staircase_steps_as_the_rule_says() -> None:
    stairs = Staircase(first=10, lowest=5, highest=20, step=math.log(1.2))
    assert stairs.level([]) == pytest.approx(10)
    assert stairs.level([True]) == pytest.approx(10 / 1.44)  # doubled until the first miss
    assert stairs.level([True, False]) == pytest.approx(10 / 1.44 * 1.2**3)
    assert stairs.level([True, False, True]) == pytest.approx(10 / 1.44 * 1.2**2)
    assert stairs.level([True] * 9) == pytest.approx(5)
    assert stairs.level([False] * 9) == pytest.approx(20)


def test_d_prime_follows_its_closed_form() -> None:
    # Half a card added to each count, one to each total.
    found = sensitivity(hits=80, faulty=99, false_alarms=19, good=99)
    hit, alarm = 80.5 / 100, 19.5 / 100
    assert found.d_prime == pytest.approx(float(special.ndtri(hit) - special.ndtri(alarm)))
    assert found.criterion == pytest.approx(0, abs=1e-12)
    assert sensitivity(10, 10, 0, 10).d_prime > sensitivity(9, 10, 1, 10).d_prime
    assert math.isfinite(sensitivity(10, 10, 0, 10).u)


def test_the_uncertainty_of_d_prime_is_the_scatter_of_repeated_quizzes() -> None:
    rng = np.random.default_rng(2)
    hits, alarms = rng.binomial(60, 0.8, 800), rng.binomial(60, 0.25, 800)
    found = [sensitivity(int(h), 60, int(a), 60) for h, a in zip(hits, alarms, strict=True)]
    scatter = float(np.std([f.d_prime for f in found]))
    assert np.median([f.u for f in found]) == pytest.approx(scatter, rel=0.1)


def test_mistakes_are_told() -> None:
    with pytest.raises(InputError, match="three rows of one length"):
        Trials(level=[1, 2], noticed=[1], shown=[1, 1])
    with pytest.raises(InputError, match="levels of 0 or more"):
        Trials(level=[-1.0], noticed=[0], shown=[1])
    with pytest.raises(InputError, match="noticed <= shown"):
        Trials(level=[1.0], noticed=[2], shown=[1])
    with pytest.raises(InputError, match="answer more questions"):
        fit_detection(Trials(level=[0.0], noticed=[1], shown=[3]))
    with pytest.raises(InputError, match="lowest <= first <= highest"):
        Staircase(first=30, lowest=5, highest=20)
    with pytest.raises(InputError, match="step above 0"):
        Staircase(first=10, lowest=5, highest=20, step=0)
    with pytest.raises(InputError, match="one card of each sort"):
        sensitivity(0, 0, 0, 5)
