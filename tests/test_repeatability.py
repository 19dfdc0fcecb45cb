"""Repeatability: known scatter comes back, identities, and the edges."""

import math

import numpy as np
import pytest

from spraycheck.errors import InputError
from spraycheck.stats import repeatability


def _readings(
    rng: np.random.Generator, parts: int, people: int, repeats: int, sds: tuple[float, ...]
) -> np.ndarray:
    part, person, mixed, own = sds
    return (
        rng.normal(0, part, (parts, 1, 1))
        + rng.normal(0, person, (1, people, 1))
        + rng.normal(0, mixed, (parts, people, 1))
        + rng.normal(0, own, (parts, people, repeats))
    )


def test_known_scatter_comes_back_from_a_large_study() -> None:
    # 60 parts x 60 people x 3: standard errors of the components are 1 to 10 %.
    x = _readings(np.random.default_rng(3), 60, 60, 3, (3.0, 1.0, 0.8, 0.5))
    got = repeatability.anova_study(x)
    assert got.method == "anova"
    assert got.repeatability == pytest.approx(0.5, rel=0.03)
    assert got.reproducibility == pytest.approx(math.hypot(1.0, 0.8), rel=0.25)
    assert got.parts == pytest.approx(3.0, rel=0.3)


def test_both_methods_agree_without_interaction() -> None:
    rng = np.random.default_rng(4)
    studies = [_readings(rng, 10, 3, 3, (3.0, 0.6, 0.0, 0.5)) for _ in range(60)]
    by_range = np.mean([repeatability.range_study(x).repeatability for x in studies])
    by_anova = np.mean([repeatability.anova_study(x).repeatability for x in studies])
    assert by_range == pytest.approx(0.5, rel=0.03)
    assert by_anova == pytest.approx(by_range, rel=0.03)


def test_a_real_interaction_is_not_pooled() -> None:
    x = _readings(np.random.default_rng(5), 10, 4, 3, (3.0, 0.5, 1.5, 0.3))
    assert not repeatability.anova_table(x).pooled
    assert repeatability.anova_table(x).interaction.p < 1e-6


def test_sums_of_squares_add_up_and_ignore_shifts() -> None:
    x = _readings(np.random.default_rng(6), 5, 3, 2, (1.0, 1.0, 1.0, 1.0))
    full = repeatability.anova_table(x, pool_above=1.0)
    sources = (full.part, full.person, full.interaction, full.error)
    assert sum(s.squares for s in sources) == pytest.approx(((x - x.mean()) ** 2).sum())
    assert sum(s.dof for s in sources) == x.size - 1
    moved, still = repeatability.range_study(x + 100.0), repeatability.range_study(x)
    assert moved.gauge == pytest.approx(still.gauge)


def test_kappa_ends() -> None:
    a = ["pass", "fail", "recheck", "pass"]
    assert repeatability.cohen_kappa(a, a) == (1.0, 0.0, 1.0, pytest.approx(0.375))
    assert repeatability.cohen_kappa(["pass", "fail"], ["fail", "pass"]).kappa == -1.0
    assert math.isnan(repeatability.cohen_kappa(["pass"] * 5, ["pass"] * 5).kappa)
    assert repeatability.fleiss_kappa([[3, 0], [0, 3]]).kappa == 1.0
    assert math.isnan(repeatability.fleiss_kappa([[3, 0], [3, 0]]).kappa)


def test_kappa_uncertainty_scatters_as_stated() -> None:
    # 400 pairs of judges of 150 items each: the spread of kappa against its stated uncertainty.
    rng = np.random.default_rng(8)
    kappas, stated = [], []
    for _ in range(400):
        truth = rng.choice(3, 150, p=[0.6, 0.3, 0.1])
        views = [np.where(rng.random(150) < 0.2, rng.integers(0, 3, 150), truth) for _ in range(2)]
        got = repeatability.cohen_kappa(views[0].tolist(), views[1].tolist())
        kappas.append(got.kappa)
        stated.append(got.u)
    assert np.mean(stated) == pytest.approx(np.std(kappas), rel=0.12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: repeatability.range_study(np.ones((5, 3))),
        lambda: repeatability.range_study(np.ones((5, 1, 3))),
        lambda: repeatability.anova_study(np.full((5, 3, 2), np.nan)),
        lambda: repeatability.range_constants(1),
        lambda: repeatability.cohen_kappa(["pass"], []),
        lambda: repeatability.fleiss_kappa([[1, 0], [0, 1]]),
        lambda: repeatability.fleiss_kappa([[3, 0], [1, 1]]),
    ],
)
def test_impossible_requests_are_refused(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(InputError, match="expected"):
        call()


def test_copied_readings_are_refused() -> None:
    copied = np.repeat(np.arange(12.0).reshape(4, 3, 1), 2, axis=2)
    with pytest.raises(InputError, match="copied"):
        repeatability.anova_study(copied)
    with pytest.raises(InputError, match="copied"):
        _ = repeatability.GaugeStudy(
            method="range", repeatability=0.0, reproducibility=0.0, parts=1.0
        ).categories
