"""Mean and median direction against printed examples and independent libraries.

The product asks both when it turns one shot onto another (`best_rotation`).

Sources
-------
Mardia, Jupp, Directional Statistics (Wiley 2000): roulette example (answers recalled, recomputed).
Zar, Biostatistical Analysis, 5th ed.: examples 26.4, 26.5, 26.7, 27.2, mean of means.
Fisher, Statistical Analysis of Circular Data (Cambridge 1993): data sets B6 (set 2) and B11.
Jammalamadaka, SenGupta, Topics in Circular Statistics (World Scientific 2001), page 23.
Rao, Sankhya B 38 (1976) 329: 10 pigeons. Mallards: Mardia and Jupp. Ten angles of a von Mises fit:
printed by other packages, mean 3.006514 rad.
Tolerances are half a unit of the last printed digit, unless a line says otherwise.
"""

import math

import numpy as np
import pytest

from spraycheck.stats import circular

ROULETTE = [43, 45, 52, 61, 75, 88, 88, 279, 357]
TREES = [45, 55, 81, 96, 110, 117, 132, 154]
ZAR_27_2 = [66, 75, 86, 88, 88, 93, 97, 101, 118, 130]
ZAR_26_5_COUNTS = [0, 6, 9, 13, 15, 22, 17, 12, 8, 3, 0, 0]
PIGEONS_10 = [20, 35, 350, 120, 85, 345, 80, 320, 280, 85]
PAGE_23 = [51, 67, 40, 109, 31, 358]
ZAR_MEANS = [160, 169, 117, 140, 186, 134, 171]
ZAR_LENGTHS = [0.8954, 0.7747, 0.4696, 0.8794, 0.3922, 0.6952, 0.3338]
TEN = [3.3699057, 4.0411630, 0.5014477, 2.6223103, 3.7336524, 1.8136389, 4.1566039, 2.7806317,
       2.4672173, 2.8493644]  # fmt: skip
SEA_STARS = [0, 1, 3, 3, 8, 13, 16, 18, 30, 31, 43, 45, 147, 298, 329, 332, 335, 340, 350, 354, 356,
             357]  # fmt: skip
FISHER_B6 = [294, 301, 329, 315, 277, 281, 254, 245, 272, 242, 177, 257, 177, 229, 250, 166, 232,
             245, 224, 186, 257, 267, 241, 239, 287, 229, 290, 214, 215, 224]  # fmt: skip
MALLARD_COUNTS = [40, 22, 20, 9, 6, 3, 3, 1, 6, 3, 11, 22, 24, 58, 136, 138, 143, 69]


@pytest.mark.parametrize(
    ("data", "weights", "printed", "tolerance"),
    [
        pytest.param(ROULETTE, None, 51.0, 0.5, id="Mardia-Jupp roulette"),
        pytest.param(TREES, None, 99.0, 0.5, id="Zar 26.4"),
        pytest.param(ZAR_27_2, None, 94.048, 5e-4, id="Zar 27.2 (recomputed)"),
        pytest.param(range(15, 360, 30), ZAR_26_5_COUNTS, 162.0, 0.5, id="Zar 26.5, grouped"),
        pytest.param(ZAR_MEANS, ZAR_LENGTHS, 152.0, 0.5, id="Zar, mean of means"),
        pytest.param(PAGE_23, None, 48.63, 5e-3, id="Jammalamadaka p. 23"),
        pytest.param(SEA_STARS, None, 3.10, 5e-3, id="Fisher B11"),
        pytest.param(2 * np.array(SEA_STARS), None, 0.64, 5e-3, id="Fisher B11, second moment"),
        pytest.param(FISHER_B6, None, 247.617, 5e-4, id="Fisher B6 (recomputed)"),
        pytest.param(PIGEONS_10, None, 30.968, 5e-4, id="Rao 1976 (recomputed)"),
        pytest.param(range(10, 360, 20), MALLARD_COUNTS, 314.27, 5e-3, id="714 mallards"),
        pytest.param(np.degrees(TEN), None, math.degrees(3.006514), 6e-5, id="von Mises fit"),
    ],
)
def test_mean_direction(data, weights, printed, tolerance) -> None:  # type: ignore[no-untyped-def]
    got = circular.mean_direction(list(data), weights)
    assert circular.wrap_180(got - printed) == pytest.approx(0.0, abs=tolerance)


def test_median_direction() -> None:
    # Zar, example 26.7: 103 degrees, between the two middle trees.
    assert circular.median_direction(TREES) == pytest.approx(103.0, abs=1e-9)


def test_an_arithmetic_mean_misses_the_printed_answer() -> None:
    # Negative control: the same data without the circle.
    assert abs(np.mean(ROULETTE) - 51.0) > 60
    assert abs(np.mean(SEA_STARS) - 3.10) > 100


SETS = [
    np.random.default_rng(seed).normal(centre, spread, n)
    for seed, (centre, spread, n) in enumerate(
        [(359.0, 4.0, 4), (90.0, 30.0, 8), (271.0, 70.0, 50), (10.0, 1.0, 3), (180.0, 15.0, 500)]
    )
]


@pytest.mark.parametrize("data", SETS)
def test_scipy_and_astropy_agree(data: np.ndarray) -> None:
    # Neither shares code with the package; both sides in double precision: 1e-6 degrees.
    from astropy import stats as astropy
    from scipy import stats

    scipys = float(stats.circmean(data, high=360.0))
    assert circular.wrap_180(circular.mean_direction(data) - scipys) == pytest.approx(0, abs=1e-6)
    weights = 1.0 + np.arange(len(data)) % 3
    astropys = math.degrees(float(astropy.circmean(np.radians(data), weights=weights)))
    weighted = circular.mean_direction(data, weights)
    assert circular.wrap_180(weighted - astropys) == pytest.approx(0.0, abs=1e-6)
    # Negative control: the unweighted answer is another one.
    assert abs(circular.wrap_180(circular.mean_direction(data) - astropys)) > 1e-3
