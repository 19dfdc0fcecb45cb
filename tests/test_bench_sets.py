"""Engine sets: spread, rework and matched sets, against trying everything."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from bench_readings import bar, opening

from spraycheck.bench.engine_set import (
    WHOLE_PATTERN,
    SetMember,
    check_set,
    pattern_figures,
    plan_rework,
    range_probability,
)
from spraycheck.bench.limits import BenchLimits
from spraycheck.bench.matched_sets import MatchedSets, match_sets
from spraycheck.bench.opening import OpeningTarget
from spraycheck.errors import InputError
from spraycheck.judge.limits import AxialLimits, Limits, limit_fields
from spraycheck.judge.result import Doubt, LimitCheck, Verdict
from spraycheck.stats.uncertainty import Estimate

ANGLE = "spray_angle_deg"
WINDOW = OpeningTarget.around(bar(200), bar(15))


def members(
    *pressures: float, sigma: float = 1.0, angles: Any = (), **changed: Any
) -> list[SetMember]:
    return [
        SetMember(
            injector=f"no {place}",
            opening=opening(float(p), sigma, **changed),
            pattern={ANGLE: Estimate(float(angles[place - 1]), 0.5)} if len(angles) else {},
        )
        for place, p in enumerate(pressures, start=1)
    ]


# --- spread ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("dof", [math.inf, 3.0])
def test_the_range_of_several_values_against_drawing_them(dof: float) -> None:
    rng = np.random.default_rng(11)
    mu, sigma = rng.normal(0, 3, 5), rng.uniform(0.5, 2, 5)
    z = rng.normal(size=(200_000, 5)) if math.isinf(dof) else rng.standard_t(dof, (200_000, 5))
    drawn = np.ptp(mu + sigma * z, axis=1)
    for width in (5.0, 7.0, 10.0, 14.0):
        found = range_probability(mu, sigma, width, [dof] * 5)
        assert found == pytest.approx((drawn <= width).mean(), abs=4e-3)


def test_the_range_of_two_values_has_a_closed_form() -> None:
    # Their difference is normal: Phi((w - d) / s) - Phi((-w - d) / s).
    def phi(z: float) -> float:
        return 0.5 * math.erfc(-z / math.sqrt(2))

    for d, w in ((0.0, 1.0), (4.0, 5.0), (9.0, 5.0)):
        s = math.hypot(1.0, 2.0)
        exact = phi((w - d) / s) - phi((-w - d) / s)
        assert range_probability([200, 200 + d], [1.0, 2.0], w) == pytest.approx(exact, abs=1e-3)
    assert math.isnan(range_probability([1, 2], [1.0, math.nan], 5.0))
    assert range_probability([1, 2, 3], [0.0, 0.0, 0.0], 2.5) == pytest.approx(1.0)
    assert range_probability([1, 2, 4], [0.0, 0.0, 0.0], 2.5) == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("pressures", "verdict"),
    [((200, 202, 198, 201), Verdict.PASS), ((200, 208, 199, 201), Verdict.RECHECK),
     ((200, 216, 198, 201), Verdict.FAIL)],
)  # fmt: skip
def test_the_spread_of_a_set(pressures: tuple[float, ...], verdict: Verdict) -> None:
    found = check_set(members(*pressures))
    assert found.ruling.verdict is verdict
    assert found.ruling.checks[0].value == max(pressures) - min(pressures)
    assert (found.lowest, found.highest) == (
        f"no {pressures.index(min(pressures)) + 1}",
        f"no {pressures.index(max(pressures)) + 1}",
    )


def test_few_pops_make_a_spread_less_sure_however_coarse_the_gauge() -> None:
    # With the gauge's class in it, three pops would seem to have many degrees of freedom.
    few = members(200, 203, 197, 201, pops=3, sigma_gauge_bar=5.0)
    found = check_set(few).ruling.checks[0].probability
    own = range_probability([200, 203, 197, 201], [1.0] * 4, 10.0, [2.0] * 4)
    assert found == pytest.approx(own, abs=1e-9)
    assert own < range_probability([200, 203, 197, 201], [1.0] * 4, 10.0) - 0.05


def test_several_gauges_bring_their_errors_into_the_spread() -> None:
    one = members(200, 204, 202, sigma_gauge_bar=4.0)
    two = [*one[:2], *members(0, 0, 202, sigma_gauge_bar=4.0, gauge="tester 2")[2:]]
    assert check_set(one).ruling.verdict is Verdict.PASS
    found = check_set(two).ruling
    assert found.verdict is Verdict.RECHECK
    assert Doubt.SEVERAL_GAUGES in found.checks[0].doubts


def test_a_single_pop_leaves_the_spread_open_and_an_overdue_gauge_does_not() -> None:
    few = members(200, 201)
    few[0] = SetMember(injector="x", opening=opening(200, math.nan, doubts=(Doubt.FEW_POPS,)))
    assert check_set(few).ruling.verdict is Verdict.RECHECK
    overdue = members(200, 201, doubts=(Doubt.GAUGE_OVERDUE,))
    assert check_set(overdue).ruling.verdict is Verdict.PASS


def test_patterns_are_compared_where_a_limit_is_given() -> None:
    many = members(200, 201, 202, angles=(1.0, 1.5, 9.0))
    assert check_set(many).ruling.verdict is Verdict.PASS
    ruling = check_set(many, pattern_limits={ANGLE: 4.0}).ruling
    assert ruling.verdict is Verdict.FAIL
    assert [one.limit for one in ruling.checks] == ["set_spread_bar", ANGLE]
    assert (ruling.checks[1].value, ruling.checks[1].unit) == (8.0, "deg")
    only = check_set(many, BenchLimits(set_spread_bar=math.inf), pattern_limits={ANGLE: 20.0})
    assert [one.limit for one in only.ruling.checks] == [ANGLE]
    assert only.ruling.verdict is Verdict.PASS


def test_whole_pattern_values_come_from_the_judges_checks() -> None:
    def check(limit: str, value: float, u: float = 1.96) -> LimitCheck:
        return LimitCheck(limit=limit, value=value, u=u, allowed=5, unit="", probability=1.0)

    checks = [check(ANGLE, 2.0), check("rotation_deg", 3.0), check("stray_frac", math.nan)]
    found = pattern_figures(checks)
    assert set(found) == {ANGLE}
    assert found[ANGLE].u == pytest.approx(1.0, rel=1e-4)
    known = {one.name for kind in (Limits, AxialLimits) for one in limit_fields(kind)}
    assert set(WHOLE_PATTERN) <= known


# --- rework ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_the_fewest_to_rework_against_trying_everything(seed: int) -> None:
    rng = np.random.default_rng(seed)
    pressures = [float(p) for p in rng.normal(200, 9, 6).round()]
    found = plan_rework(members(*pressures), 8.0, WINDOW)

    def fits(kept: tuple[int, ...]) -> bool:
        p = [pressures[i] for i in kept]
        return not p or (max(p) - min(p) <= 8 and min(p) >= 185 and max(p) <= 215)

    most = max(n for n in range(7) for kept in itertools.combinations(range(6), n) if fits(kept))
    assert len(found.keep) == most
    assert fits(tuple(int(name[3:]) - 1 for name in found.keep))
    assert set(found.keep) | set(found.rework) == {f"no {i}" for i in range(1, 7)}
    # Wherever a reworked one comes to lie between the ends, the set fits.
    kept = [pressures[int(name[3:]) - 1] for name in found.keep]
    assert found.low_bar <= found.aim_bar <= found.high_bar
    for end in (found.low_bar, found.high_bar):
        assert max([*kept, end]) - min([*kept, end]) <= 8 + 1e-9
        assert 185 <= end <= 215


@pytest.mark.parametrize("seed", range(8))
def test_the_fewest_to_rework_by_pressure_and_pattern(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    pressures, angles = rng.normal(200, 7, 6).round(), rng.normal(0, 2, 6).round(1)
    found = plan_rework(
        members(*pressures, angles=angles), 12.0, WINDOW, pattern_limits={ANGLE: 3.0}
    )

    def fits(kept: tuple[int, ...]) -> bool:
        p, a = pressures[list(kept)], angles[list(kept)]
        near = (np.abs(p - 200) <= 15).all()
        return not kept or bool(near and np.ptp(p) <= 12 and np.ptp(a) <= 3.0 + 1e-9)

    most = max(n for n in range(7) for kept in itertools.combinations(range(6), n) if fits(kept))
    kept = tuple(int(name[3:]) - 1 for name in found.keep)
    assert len(kept) == most
    assert fits(kept)
    low, high = found.pattern_room[ANGLE]
    for end in (low, high):
        assert np.ptp([*angles[list(kept)], end]) <= 3.0 + 1e-9


def test_a_set_that_fits_is_left_alone_and_one_far_off_all_reworked() -> None:
    assert plan_rework(members(198, 200, 203), 10.0, WINDOW).rework == ()
    found = plan_rework(members(150, 152), 10.0, WINDOW)
    assert (found.keep, found.rework, found.aim_bar) == ((), ("no 1", "no 2"), 200.0)


def test_among_equals_those_nearest_to_the_pressure_to_set_stay() -> None:
    assert plan_rework(members(187, 188, 200, 201), 5.0, WINDOW).keep == ("no 3", "no 4")


# --- matched sets ---------------------------------------------------------------------------------


def partitions(items: tuple[int, ...], size: int) -> Iterator[tuple[tuple[int, ...], ...]]:
    """Every way to make any number of sets of a size, the others left over."""
    if len(items) < size:
        yield ()
        return
    first, rest = items[0], items[1:]
    yield from partitions(rest, size)  # the first one is left over
    for others in itertools.combinations(rest, size - 1):
        left = tuple(i for i in rest if i not in others)
        for more in partitions(left, size):
            yield ((first, *others), *more)


def best_by_trying(values: np.ndarray, size: int) -> tuple[int, float]:
    """Most sets, and the least sum of spreads in units of the limits."""
    best = (0, 0.0)
    for sets in partitions(tuple(range(len(values))), size):
        spreads = [np.ptp(values[list(one)], axis=0) for one in sets]
        if all((one <= 1 + 1e-9).all() for one in spreads):
            best = max(best, (len(sets), -float(sum(one.sum() for one in spreads))))
    return best


def worth(found: MatchedSets, widths: dict[str, float]) -> tuple[int, float]:
    total = sum(one[name] / width for one in found.spreads for name, width in widths.items())
    return len(found.sets), -total


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("size", [2, 3, 4])
def test_sets_by_pressure_alone_against_trying_everything(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    pressures = rng.normal(200, 8, 8).round()
    found = match_sets(members(*pressures), size, 7.0)
    assert worth(found, {"set_spread_bar": 7.0}) == pytest.approx(
        best_by_trying(pressures[:, None] / 7.0, size)
    )
    assert sorted([*itertools.chain(*found.sets), *found.left]) == [f"no {i}" for i in range(1, 9)]
    for one, spread in zip(found.sets, found.spreads, strict=True):
        p = [pressures[int(name[3:]) - 1] for name in one]
        assert p == sorted(p)
        assert spread["set_spread_bar"] == pytest.approx(max(p) - min(p))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("size", [2, 3])
def test_sets_by_pressure_and_pattern_against_trying_everything(seed: int, size: int) -> None:
    rng = np.random.default_rng(100 + seed)
    pressures, angles = rng.normal(200, 5, 7).round(1), rng.normal(0, 2, 7).round(2)
    widths = {"set_spread_bar": 9.0, ANGLE: 3.0}
    found = match_sets(members(*pressures, angles=angles), size, 9.0, pattern_limits={ANGLE: 3.0})
    values = np.column_stack([pressures / 9.0, angles / 3.0])
    assert found.proved
    assert worth(found, widths) == pytest.approx(best_by_trying(values, size), abs=1e-5)


def test_the_programme_agrees_with_sorting_where_patterns_are_alike() -> None:
    pressures = [190, 191, 195, 199, 200, 204, 206, 212]
    alone = match_sets(members(*pressures), 2, 6.0)
    both = match_sets(members(*pressures, angles=[1.0] * 8), 2, 6.0, pattern_limits={ANGLE: 3.0})
    widths = {"set_spread_bar": 6.0}
    assert worth(alone, widths) == pytest.approx(worth(both, widths), abs=1e-6)


def test_a_stock_without_any_set_and_a_wanted_number() -> None:
    assert match_sets(members(150, 200, 250), 2, 5.0).sets == ()
    none = match_sets(members(150, 200, 250, angles=[0.0] * 3), 2, 5.0, pattern_limits={ANGLE: 1.0})
    assert (none.sets, none.left, none.proved) == ((), ("no 1", "no 2", "no 3"), True)
    wanted = match_sets(members(190, 193, 200, 201, 210, 210.5), 2, 5.0, most_sets=1)
    assert wanted.sets == (("no 5", "no 6"),)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: check_set(members(200)), "expected 2 or more"),
        (lambda: check_set([*members(200), *members(201)]), "stands there twice"),
        (lambda: check_set(members(200, 201), pattern_limits={"rotation_deg": 3}), "one of"),
        (lambda: check_set(members(200, 201), pattern_limits={ANGLE: 3}), "not known of"),
        (lambda: match_sets(members(200, 201), 4, 5.0), "expected 4 or more"),
        (lambda: match_sets(members(200, 201), 1, 5.0), "two injectors or more"),
        (lambda: match_sets(members(200, 201), 2, -5.0), "limits above 0"),
        (lambda: plan_rework(members(200, 201), 0.0, WINDOW), "limits above 0"),
    ],
)
def test_what_cannot_be_is_refused(make: Any, message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()
