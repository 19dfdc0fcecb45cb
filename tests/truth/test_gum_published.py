"""GUM arithmetic against the worked examples of JCGM 100:2008.

Each test names clause and printed value. Tolerances are half a unit of the last printed digit,
unless the standard rounded on the way; then the line says so.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from spraycheck.stats import uncertainty
from spraycheck.stats.conformity import guard_factor
from spraycheck.stats.robust import robust_lstsq


def both_sides(probability: float, dof: float = math.inf) -> float:
    """Two-sided factor from the product's one-sided one."""
    return guard_factor((1 - probability) / 2, dof)


def correlation(v: np.ndarray) -> np.ndarray:
    return v / np.sqrt(np.outer(np.diag(v), np.diag(v)))


def test_h_1_end_gauge() -> None:
    # All in nm. Standard 75 / k 3; comparison: s 13 of 5 readings, 10 / t95(5), 20 / 3.
    standard = 75.0 / 3.0
    repeats = 13.0 / math.sqrt(5)
    random_effect = 10.0 / both_sides(0.95, 5)
    systematic = 20.0 / 3.0
    for got, printed in ((repeats, 5.8), (random_effect, 3.9), (systematic, 6.7)):
        assert got == pytest.approx(printed, abs=0.05)
    comparison = math.hypot(repeats, random_effect, systematic)
    assert comparison == pytest.approx(9.7, abs=0.05)
    nu = uncertainty.effective_dof([5.8, 3.9, 6.7], [24, 5, 8])
    assert nu == pytest.approx(25.6, abs=0.2)  # printed with 9.7 for 9.68, which enters to the 4th
    # Expansion difference 2.9 (nu 50), temperature difference 16.6 (nu 2).
    parts, dofs = [standard, comparison, 2.9, 16.6], [18, nu, 50, 2]
    u = math.hypot(*parts)
    assert u**2 == pytest.approx(1002, abs=2)  # printed from rounded components
    assert u == pytest.approx(32, abs=0.5)
    nu_eff = uncertainty.effective_dof(parts, dofs)
    assert nu_eff == pytest.approx(16.7, abs=0.05)
    factor = both_sides(0.99, math.floor(nu_eff))
    assert factor == pytest.approx(2.92, abs=5e-3)
    assert factor * u == pytest.approx(93, abs=0.7)  # printed 2.92 x 32
    # Negative control: infinite degrees of freedom would claim 82 nm.
    assert both_sides(0.99) * u < 85


V = [5.007, 4.994, 5.005, 4.990, 4.999]  # V
I = [19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3]  # A  # noqa: E741
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]  # rad


def _impedance(x: np.ndarray) -> np.ndarray:
    z = x[0] / x[1]
    return np.array([z * math.cos(x[2]), z * math.sin(x[2]), z])


def test_h_2_correlated_inputs() -> None:
    samples = np.column_stack([V, I, PHI])
    means, covariance = samples.mean(axis=0), np.cov(samples.T) / len(samples)
    assert means == pytest.approx([4.9990, 19.6610e-3, 1.04446], rel=1e-7)
    u = np.sqrt(np.diag(covariance))
    assert u[0] == pytest.approx(0.0032, abs=5e-5)
    assert u[1] == pytest.approx(0.0095e-3, abs=5e-8)
    assert u[2] == pytest.approx(0.00075, abs=5e-6)
    r = correlation(covariance)
    assert (r[0, 1], r[0, 2], r[1, 2]) == pytest.approx((-0.36, 0.86, -0.65), abs=6e-3)

    jacobian = uncertainty.numerical_jacobian(_impedance, means, u)
    out = uncertainty.propagate(jacobian, covariance)
    assert _impedance(means) == pytest.approx([127.732, 219.847, 254.260], abs=6e-4)
    assert np.sqrt(np.diag(out)) == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    rho = correlation(out)
    # Printed -0.588, -0.485, 0.993; the last digit of the middle one depends on rounding before.
    assert (rho[0, 1], rho[0, 2], rho[1, 2]) == pytest.approx((-0.588, -0.485, 0.993), abs=1.1e-3)
    # Negative control: without the correlation the resistance's uncertainty is another.
    lone = uncertainty.propagate(jacobian, np.diag(np.diag(covariance)))
    assert math.sqrt(lone[0, 0]) > 2 * 0.071


def test_h_3_thermometer_line() -> None:
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    # The guide states no uncertainty of a point: all alike, and their scatter sets it afterwards.
    x = np.column_stack([np.ones(11), np.array(t) - 20.0])
    line = robust_lstsq(lambda at: (np.array(b) - x @ at, -x), np.zeros(2), robust=False)
    assert line.at[0] == pytest.approx(-0.1712, abs=5e-5)
    assert line.at[1] == pytest.approx(0.00218, abs=5e-6)
    covariance = line.covariance * line.squares / 9
    assert math.sqrt(line.squares / 9) == pytest.approx(0.0035, abs=5e-5)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert correlation(covariance)[0, 1] == pytest.approx(-0.930, abs=5e-4)
    at_30 = np.array([1.0, 10.0])
    assert at_30 @ line.at == pytest.approx(-0.1494, abs=5e-5)
    assert math.sqrt(at_30 @ covariance @ at_30) == pytest.approx(0.0041, abs=5e-5)
    # Negative control: leaving out the correlation of the two coefficients at 30 degrees.
    lone = math.hypot(math.sqrt(covariance[0, 0]), 10 * math.sqrt(covariance[1, 1]))
    assert lone > 0.006


def test_h_5_between_days() -> None:
    # Daily means 10 V + ... uV and daily standard deviations in uV; 10 days of 5 readings.
    means = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]
    stds = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]
    got = uncertainty.between_within(means, stds, 5)
    assert got.mean == pytest.approx(97, abs=0.5)
    assert np.std(means, ddof=1) == pytest.approx(57, abs=0.5)
    assert got.s_between == pytest.approx(128, abs=0.5)
    assert got.s_within == pytest.approx(85, abs=0.5)
    assert (got.dof_between, got.dof_within) == (9, 40)
    # Printed F 2.25 from 57 and 85 (unrounded 2.26), between the printed quantiles of F(9, 40):
    # days differ at 5 %, not at 2.5 %.
    f = (got.s_between / got.s_within) ** 2
    assert f == pytest.approx(2.25, abs=0.02)
    assert 2.12 < f < 2.45
    # What the days add, from the same mean squares (recomputed): 43 uV.
    assert got.sigma_groups == pytest.approx(math.sqrt((128**2 - 85**2) / 5), abs=0.5)


def test_nist_check_standard() -> None:
    # NIST/SEMATECH e-Handbook 2.6.2: 25 occasions of six readings; within them 0.06139 with 125
    # degrees of freedom, their averages 0.02680 with 24.
    with (Path(__file__).parent / "data" / "nist_check_standard.csv").open() as file:
        rows = list(csv.DictReader(file))
    means, stds = ([float(row[name]) for row in rows] for name in ("average", "std"))
    got = uncertainty.between_within(means, stds, 6)
    assert (got.s_within, got.dof_within) == (pytest.approx(0.06139, abs=5e-6), 125)
    assert got.s_between / math.sqrt(6) == pytest.approx(0.02680, abs=5e-6)
    assert got.dof_between == 24
    assert got.mean == pytest.approx(97.06984, abs=5e-6)
    # Negative control: averaging deviations instead of variances understates the first.
    assert np.mean(stds) < 0.06139 - 2e-3


def test_nist_pooling_page() -> None:
    # e-Handbook 2.4.4.4: five sums of squares on 60 degrees each, 3.17635 on 300, s1 = 0.10290.
    squares = np.array([0.48115, 0.69209, 0.48483, 1.21752, 0.30076])
    got = uncertainty.between_within(np.arange(5.0), np.sqrt(squares / 60), 61)
    assert got.dof_within == 300
    assert got.s_within**2 * 300 == pytest.approx(3.17635, abs=1.1e-5)
    assert got.s_within == pytest.approx(0.10290, abs=5e-6)


@pytest.mark.parametrize(
    ("dof", "factor"),
    [(1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (5, 2.57), (6, 2.45), (7, 2.36), (8, 2.31),
     (9, 2.26), (10, 2.23), (20, 2.09), (math.inf, 1.960)],
)  # fmt: skip
def test_table_g_2(dof: float, factor: float) -> None:
    tolerance = 5e-4 if math.isinf(dof) else 5.1e-3
    assert both_sides(0.95, dof) == pytest.approx(factor, abs=tolerance)
