"""Gauge studies and kappa against published data and answers.

Sources
-------
AIAG, Measurement Systems Analysis: 10 parts x 3 appraisers x 3 trials (data/gauge_aiag.csv).
Cano, Moguerza, Redchuk, Six Sigma with R (Springer 2012): paper helicopters, 3 x 3 x 3
(data/gauge_helicopter.csv), answers as printed by the book's package.
Vardeman, VanValkenburg, Technometrics 41 (1999) 194: 2 parts x 5 operators x 3; sums of squares
recomputed.
Tolerances are half a unit of the last printed digit, unless a line says otherwise.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from spraycheck.stats import repeatability

DATA = Path(__file__).parent / "data"


def _rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def aiag() -> np.ndarray:
    x = np.full((10, 3, 3), np.nan)
    for row in _rows("gauge_aiag.csv"):
        x[int(row["part"]) - 1, "ABC".index(row["appraiser"]), int(row["trial"]) - 1] = float(
            row["value"]
        )
    return x


@pytest.fixture(scope="module")
def helicopter() -> np.ndarray:
    x = np.full((3, 3, 3), np.nan)
    for row in _rows("gauge_helicopter.csv"):
        x[int(row["part"]) - 1, int(row["operator"]) - 1, int(row["run"]) - 1] = float(row["time1"])
    return x


def test_range_constants() -> None:
    # K1 = 1 / d2 for 3 trials, K2 and K3 = 1 / d2* for 3 appraisers and 10 parts; D4 for 3 trials.
    d2, d3 = repeatability.range_constants(3)
    assert 1 / d2 == pytest.approx(0.5908, abs=5e-5)
    assert 1 + 3 * d3 / d2 == pytest.approx(2.574, abs=1e-3)
    assert 1 / math.hypot(d2, d3) == pytest.approx(0.5231, abs=5e-5)
    assert 1 / math.hypot(*repeatability.range_constants(10)) == pytest.approx(0.3146, abs=6e-5)
    # Two values: d2 = 2 / sqrt(pi), E W^2 = 2, exactly.
    assert repeatability.range_constants(2) == pytest.approx(
        (2 / math.sqrt(math.pi), math.sqrt(2 - 4 / math.pi)), abs=1e-6
    )


def test_aiag_by_range(aiag: np.ndarray) -> None:
    # Printed with constants of four digits; 2e-4 relative for our unrounded ones.
    got = repeatability.range_study(aiag)
    assert got.repeatability == pytest.approx(0.20188, rel=2e-4)
    assert got.reproducibility == pytest.approx(0.22963, rel=4e-4)
    assert got.gauge == pytest.approx(0.30575, rel=2e-4)
    assert got.parts == pytest.approx(1.10456, rel=2e-4)
    assert got.total == pytest.approx(1.14610, rel=2e-4)
    assert got.gauge_percent == pytest.approx(26.68, abs=5e-3)
    assert 100 * got.repeatability / got.total == pytest.approx(17.62, abs=0.01)
    assert 100 * got.reproducibility / got.total == pytest.approx(20.04, abs=0.01)
    assert 100 * got.parts / got.total == pytest.approx(96.38, abs=0.01)
    assert got.categories == 5
    limit = repeatability.range_control_limit(aiag)
    assert limit == pytest.approx(0.880, abs=1e-3)
    beyond = np.argwhere(np.ptp(aiag, axis=2) > limit)
    assert beyond.tolist() == [[3, 1]]  # appraiser B, part 4, range 1.02


def test_aiag_by_anova(aiag: np.ndarray) -> None:
    full = repeatability.anova_table(aiag, pool_above=1.0)
    for source, squares, dof in (
        (full.part, 88.36193, 9),
        (full.person, 3.16726, 2),
        (full.interaction, 0.35898, 18),
        (full.error, 2.75893, 60),
    ):
        assert source.squares == pytest.approx(squares, abs=6e-6)
        assert source.dof == dof
    # F against the error: 213.52, 34.44, 0.434.
    error = full.error.mean_square
    assert full.part.mean_square / error == pytest.approx(213.52, abs=6e-3)
    assert full.person.mean_square / error == pytest.approx(34.44, abs=6e-3)
    assert full.interaction.f == pytest.approx(0.434, abs=5e-4)
    got = repeatability.anova_study(aiag)
    assert got.method == "anova-pooled"
    assert got.repeatability == pytest.approx(0.199933, abs=1e-6)
    assert got.reproducibility == pytest.approx(0.226838, abs=1e-6)
    assert got.gauge == pytest.approx(0.302372, abs=1e-6)
    assert got.parts == pytest.approx(1.042327, abs=1e-6)
    assert got.total == pytest.approx(1.085300, abs=1e-6)
    assert got.gauge_percent == pytest.approx(27.9, abs=0.05)
    assert got.categories == 4


def test_helicopters(helicopter: np.ndarray) -> None:
    full = repeatability.anova_table(helicopter, pool_above=1.0)
    for source, squares, dof in (
        (full.part, 1.2007, 2),
        (full.person, 0.0529, 2),
        (full.interaction, 0.0834, 4),
        (full.error, 0.3854, 18),
    ):
        assert source.squares == pytest.approx(squares, abs=5.1e-5)
        assert source.dof == dof
    assert (full.part.f, full.person.f) == pytest.approx((28.797, 1.270), abs=6e-4)
    assert (full.part.p, full.person.p) == pytest.approx((0.00422, 0.37415), abs=6e-6)
    assert full.interaction.f == pytest.approx(0.974, abs=6e-4)
    assert full.interaction.p == pytest.approx(0.44619, abs=6e-6)

    reduced = repeatability.anova_table(helicopter)
    assert reduced.pooled
    assert reduced.error.squares == pytest.approx(0.4688, abs=5.1e-5)
    assert reduced.error.dof == 22
    assert reduced.part.f == pytest.approx(28.17, abs=6e-3)
    assert reduced.part.p == pytest.approx(8.56e-07, rel=1e-3)
    assert (reduced.person.f, reduced.person.p) == pytest.approx((1.24, 0.308), abs=6e-3)

    got = repeatability.anova_study(helicopter)
    assert got.gauge == pytest.approx(0.14792656, abs=1e-8)
    assert got.repeatability == pytest.approx(0.14597518, abs=1e-8)
    assert got.reproducibility == pytest.approx(0.02394813, abs=1e-8)
    assert got.parts == pytest.approx(0.25365123, abs=1e-8)
    assert got.total == pytest.approx(0.29363449, abs=1e-8)
    assert 100 * (got.gauge / got.total) ** 2 == pytest.approx(25.38, abs=5e-3)
    assert 100 * (got.repeatability / got.total) ** 2 == pytest.approx(24.71, abs=5e-3)
    assert 100 * (got.reproducibility / got.total) ** 2 == pytest.approx(0.67, abs=6e-3)
    assert got.gauge_percent == pytest.approx(50.38, abs=5e-3)
    assert got.categories == 2
    # Negative control: keeping the interaction gives another repeatability.
    kept = repeatability.anova_study(helicopter, pool_above=1.0)
    assert kept.method == "anova"
    assert abs(kept.repeatability - 0.14597518) > 3e-4


def test_two_parts_five_operators() -> None:
    x = np.array(
        [
            [[3.481, 3.448, 3.485, 3.475, 3.472], [3.258, 3.254, 3.256, 3.249, 3.241]],
            [[3.477, 3.472, 3.464, 3.472, 3.470], [3.254, 3.247, 3.257, 3.238, 3.250]],
            [[3.470, 3.470, 3.477, 3.473, 3.474], [3.258, 3.239, 3.245, 3.240, 3.254]],
        ]
    ).transpose(1, 2, 0)
    full = repeatability.anova_table(x, pool_above=1.0)
    squares = [s.squares for s in (full.part, full.person, full.interaction, full.error)]
    assert squares == pytest.approx([0.37185, 0.00050, 0.00018, 0.00102], abs=6e-6)
    assert full.interaction.f == pytest.approx(0.862, abs=6e-4)
    assert full.person.mean_square / full.error.mean_square == pytest.approx(2.45, abs=6e-3)
    got = repeatability.anova_study(x)
    assert got.repeatability == pytest.approx(0.00707, abs=6e-6)
    assert got.reproducibility == pytest.approx(0.00355, abs=6e-6)
    assert got.gauge == pytest.approx(0.00791, abs=6e-6)


def test_cohen_worked_tables() -> None:
    # Widely reprinted two-by-two tables (from memory).
    tables = (((20, 5, 10, 15), 0.40), ((45, 15, 25, 15), 0.1304), ((25, 35, 5, 35), 0.2593))
    for (yy, yn, ny, nn), kappa in tables:
        first = ["pass"] * (yy + yn) + ["fail"] * (ny + nn)
        second = ["pass"] * yy + ["fail"] * yn + ["pass"] * ny + ["fail"] * nn
        got = repeatability.cohen_kappa(first, second)
        assert got.kappa == pytest.approx(kappa, abs=5e-5)
    assert got.agreement == pytest.approx(0.60)  # the last two agree alike: kappa is not agreement


def test_fleiss_worked_table() -> None:
    # Ten items, fourteen judges, five verdicts, widely reprinted (from memory): agreement 0.378,
    # chance 0.213, kappa 0.210.
    counts = [
        [0, 0, 0, 0, 14],
        [0, 2, 6, 4, 2],
        [0, 0, 3, 5, 6],
        [0, 3, 9, 2, 0],
        [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0],
        [3, 2, 6, 3, 0],
        [2, 5, 3, 2, 2],
        [6, 5, 2, 1, 0],
        [0, 2, 2, 3, 7],
    ]
    got = repeatability.fleiss_kappa(counts)
    assert (got.agreement, got.chance, got.kappa) == pytest.approx((0.378, 0.213, 0.210), abs=5e-4)
