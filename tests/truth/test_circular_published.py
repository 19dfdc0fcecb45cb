"""Circular statistics against printed examples.

Sources
-------
Mardia, Jupp, Directional Statistics (Wiley 2000): roulette example (answers recalled, recomputed).
Zar, Biostatistical Analysis, 5th ed.: examples 26.4, 26.5, 27.2, mean of means.
Fisher, Statistical Analysis of Circular Data (Cambridge 1993): data sets B6 (set 2) and B11.
Jammalamadaka, SenGupta, Topics in Circular Statistics (World Scientific 2001), page 23.
Batschelet, Circular Statistics in Biology (Academic 1981): 13 pigeons. Rao 1976: 10 pigeons.
Russell, Levitin, Commun. Stat. Simul. Comput. 24 (1995) 879: critical values of Rao's U.
Tolerances are half a unit of the last printed digit, unless a line says otherwise.
"""

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from spraycheck.stats import circular

ROULETTE = [43, 45, 52, 61, 75, 88, 88, 279, 357]
TREES = [45, 55, 81, 96, 110, 117, 132, 154]
ZAR_27_2 = [66, 75, 86, 88, 88, 93, 97, 101, 118, 130]
ZAR_26_5_COUNTS = [0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0]
PIGEONS_13 = [20, 135, 145, 165, 170, 200, 300, 325, 335, 350, 350, 350, 355]
PIGEONS_10 = [20, 35, 350, 120, 85, 345, 80, 320, 280, 85]
PAGE_23 = [51, 67, 40, 109, 31, 358]
SEA_STARS = [0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43, 45, 147, 298, 329, 332, 335, 340, 350, 354, 356,
             357]  # fmt: skip
FISHER_B6 = [294, 301, 329, 315, 277, 281, 254, 245, 272, 242, 177, 257, 177, 229, 250, 166, 232,
             245, 224, 186, 257, 267, 241, 239, 287, 229, 290, 214, 215, 224]  # fmt: skip
MALLARD_COUNTS = [40, 22, 20, 9, 6, 3, 3, 1, 6, 3, 11, 22, 24, 58, 136, 138, 143, 69]


@pytest.mark.parametrize(
    ("data", "weights", "mean_deg", "mean_tol", "length", "length_tol"),
    [
        pytest.param(ROULETTE, None, 51.0, 0.5, 0.711, 5e-4, id="Mardia-Jupp roulette"),
        pytest.param(TREES, None, 99.0, 0.5, 0.82522, 5e-6, id="Zar 26.4"),
        pytest.param(ZAR_27_2, None, 94.048, 5e-4, 0.95214, 5e-6, id="Zar 27.2 (recomputed)"),
        pytest.param(
            range(15, 360, 30), ZAR_26_5_COUNTS, 162.0, 0.5, 0.55064, 5e-6,
            id="Zar 26.5, grouped",
        ),
        pytest.param(PAGE_23, None, 48.63, 5e-3, 1 - 0.1635635, 5e-8, id="Jammalamadaka p. 23"),
        pytest.param(SEA_STARS, None, 3.10, 5e-3, 0.83, 5e-3, id="Fisher B11"),
        pytest.param(FISHER_B6, None, 247.617, 5e-4, 0.78283, 5e-6, id="Fisher B6 (recomputed)"),
        pytest.param(PIGEONS_10, None, 30.968, 5e-4, 0.52448, 5e-6, id="Rao 1976 (recomputed)"),
        pytest.param(
            range(10, 360, 20), MALLARD_COUNTS, 314.27, 5e-3, 0.71595, 5e-6, id="714 mallards"
        ),
    ],
)  # fmt: skip
def test_mean_direction_and_length(  # type: ignore[no-untyped-def]
    data, weights, mean_deg, mean_tol, length, length_tol
) -> None:
    got = circular.resultant(list(data), weights)
    assert got.direction_deg == pytest.approx(mean_deg, abs=mean_tol)
    assert got.length == pytest.approx(length, abs=length_tol)


def test_five_directions_of_a_rayleigh_example() -> None:
    # Printed with the Rayleigh test of the R and astropy packages: length 0.9202565.
    got = circular.resultant([190.18, 175.48, 155.95, 217.83, 156.36])
    assert got.length == pytest.approx(0.9202565, abs=5e-7)


def test_roulette_cosine_and_sine_means() -> None:
    # Printed: mean cosine 0.447, mean sine 0.553.
    got = circular.resultant(ROULETTE)
    at = math.radians(got.direction_deg)
    assert got.length * math.cos(at) == pytest.approx(0.447, abs=5e-4)
    assert got.length * math.sin(at) == pytest.approx(0.553, abs=5e-4)


def test_an_arithmetic_mean_misses_the_printed_answer() -> None:
    # Negative control: the same data without the circle.
    assert abs(np.mean(ROULETTE) - 51.0) > 60
    assert abs(np.mean(SEA_STARS) - 3.10) > 100


def test_zar_scatter_and_median() -> None:
    # Example 26.4 and 26.7: angular deviation s = 34 deg, s0 = 36 deg, median 103 deg.
    assert circular.angular_deviation(TREES) == pytest.approx(34.0, abs=0.5)
    assert circular.circular_std(TREES) == pytest.approx(36.0, abs=0.5)
    assert circular.median_direction(TREES) == pytest.approx(103.0, abs=1e-9)
    # Example 26.5: s = 54 deg, s0 = 63 deg, after the correction for 30 degree groups, which makes
    # r = 0.55698 of 0.55064: c = (pi / 12) / sin(pi / 12) = 1.01152.
    grouped = circular.resultant(list(range(15, 360, 30)), ZAR_26_5_COUNTS).length
    corrected = grouped * (math.pi / 12) / math.sin(math.pi / 12)
    assert corrected == pytest.approx(0.55698, abs=5e-6)
    assert math.degrees(math.sqrt(2 * (1 - corrected))) == pytest.approx(54.0, abs=0.5)


def test_zar_rayleigh_and_v_statistics() -> None:
    # Example 27.1: z = n r^2 = 5.448. Example 27.2, against 90 deg: V = 9.498, u = 4.248.
    trees = circular.resultant(TREES)
    assert 8 * trees.length**2 == pytest.approx(5.448, abs=5e-4)
    got = circular.resultant(ZAR_27_2)
    v = 10 * got.length * math.cos(math.radians(got.direction_deg - 90.0))
    assert v == pytest.approx(9.498, abs=1e-3)  # printed from a rounded mean
    assert v * math.sqrt(2 / 10) == pytest.approx(4.248, abs=1e-3)


def test_zar_mean_of_means() -> None:
    # Seven samples' means and lengths; printed 152 deg and 0.59634.
    means = [160, 169, 117, 140, 186, 134, 171]
    lengths = [0.8954, 0.7747, 0.4696, 0.8794, 0.3922, 0.6952, 0.3338]
    got = circular.resultant(means, lengths)
    assert got.direction_deg == pytest.approx(152.0, abs=0.5)
    assert got.length * np.mean(lengths) == pytest.approx(0.59634, abs=5e-5)  # four-digit inputs


def test_higher_moments() -> None:
    # Jammalamadaka: lengths of the 2nd, 3rd and 4th moments. Direct arithmetic on the six angles
    # gives 0.236564 for the third, 2.3e-5 from the printed 0.236541: hence the tolerance.
    for p, length in ((2, 0.4800428), (3, 0.236541), (4, 0.2255761)):
        got = circular.resultant(p * np.array(PAGE_23)).length
        assert got == pytest.approx(length, abs=3e-5)
    # Fisher B11: second moment at 0.64 deg, length 0.67, circular dispersion 0.24.
    first, second = circular.resultant(SEA_STARS), circular.resultant(2 * np.array(SEA_STARS))
    assert second.direction_deg == pytest.approx(0.64, abs=5e-3)
    assert second.length == pytest.approx(0.67, abs=5e-3)
    assert (1 - second.length) / (2 * first.length**2) == pytest.approx(0.24, abs=5e-3)


def test_von_mises_fit() -> None:
    # Ten angles in radians; printed by other packages: mean 3.006514, kappa 1.474132, both with
    # the same approximation to the inverse of the Bessel ratio.
    rad = [3.3699057, 4.0411630, 0.5014477, 2.6223103, 3.7336524, 1.8136389, 4.1566039, 2.7806317,
           2.4672173, 2.8493644]  # fmt: skip
    got = circular.resultant(np.degrees(rad))
    assert math.radians(got.direction_deg) == pytest.approx(3.006514, abs=1e-6)
    assert circular.concentration(got.length) == pytest.approx(1.474132, abs=1e-5)


@pytest.mark.parametrize(
    ("data", "u"),
    [
        pytest.param(PIGEONS_13, 161.92308, id="13 pigeons"),
        pytest.param(ROULETTE, 195.0, id="roulette (recomputed)"),
        pytest.param(PIGEONS_10, 137.0, id="10 pigeons (recomputed)"),
    ],
)
def test_rao_spacing(data: list[float], u: float) -> None:
    assert circular.rao_spacing(data) == pytest.approx(u, abs=5e-6)


def _critical() -> dict[int, dict[float, float]]:
    with (Path(__file__).parent / "data" / "rao_spacing_critical.csv").open() as file:
        return {
            int(row["n"]): {float(k[1:]): float(v) for k, v in row.items() if k != "n"}
            for row in csv.DictReader(file)
        }


def test_pigeons_fall_between_the_printed_critical_values() -> None:
    # Printed conclusion: 0.05 < p < 0.10.
    row = _critical()[13]
    assert row[0.10] < circular.rao_spacing(PIGEONS_13) < row[0.05]


@pytest.mark.parametrize("n", [4, 6, 8, 12, 20])
def test_random_directions_exceed_the_critical_values_as_often_as_the_table_says(n: int) -> None:
    # 8000 uniform samples, seed fixed; allowed: four binomial standard errors.
    rng = np.random.default_rng(1995 + n)
    u = np.array([circular.rao_spacing(row) for row in rng.uniform(0, 360, (8000, n))])
    for p in (0.10, 0.05, 0.01):
        allowed = 4 * math.sqrt(p * (1 - p) / len(u))
        assert (u > _critical()[n][p]).mean() == pytest.approx(p, abs=allowed)


def test_a_drilled_pattern_is_far_more_regular_than_chance() -> None:
    # Why no p-value of this test can pass a nozzle: holes 3 degrees out still give a U near zero.
    drilled = np.arange(8) * 45.0 + np.array([1, -2, 3, 0, -1, 2, -3, 0])
    assert circular.rao_spacing(drilled) < 0.1 * _critical()[8][0.10]
