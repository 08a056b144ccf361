"""Statistics of a moved mix against printed cases, scipy and their definitions."""

import numpy as np
import pytest
from scipy import stats
from scipy.spatial.distance import jensenshannon

from qa.stats.mix_tests import (
    chi_square_homogeneity,
    jensen_shannon,
    kolmogorov_smirnov,
    quantiles_of_counts,
    stability_by_chance,
    stability_index,
)
from qa.stats.segments import rank_step, step_interval, step_places
from qa.stats.trend import mann_kendall

HAIR_BY_EYE = [[68, 20, 15, 5], [119, 84, 54, 29], [26, 17, 14, 14], [7, 94, 10, 16]]
"""Snee, Am Stat 1974; 28: 9-12: hair of 592 students by colour of their eyes."""
BEFORE, AFTER = [200, 300, 250, 150, 100], [150, 280, 260, 190, 120]
NILE = [
    1120,
    1160,
    963,
    1210,
    1160,
    1160,
    813,
    1230,
    1370,
    1140,
    995,
    935,
    1110,
    994,
    1020,
    960,
    1180,
    799,
    958,
    1140,
    1100,
    1210,
    1150,
    1250,
    1260,
    1220,
    1030,
    1100,
    774,
    840,
    874,
    694,
    940,
    833,
    701,
    916,
    692,
    1020,
    1050,
    969,
    831,
    726,
    456,
    824,
    702,
    1120,
    1100,
    832,
    764,
    821,
    768,
    845,
    864,
    862,
    698,
    845,
    744,
    796,
    1040,
    759,
    781,
    865,
    845,
    944,
    984,
    897,
    822,
    1010,
    771,
    676,
    649,
    846,
    812,
    742,
    801,
    1040,
    860,
    874,
    848,
    890,
    744,
    749,
    838,
    1050,
    918,
    986,
    797,
    923,
    975,
    815,
    1020,
    906,
    901,
    1170,
    912,
    746,
    919,
    718,
    714,
    740,
]
"""Annual flow of the Nile at Aswan, 1871 to 1970 (Cobb, Biometrika 1978; 65: 243-251)."""
PAGE = [
    -1.05,
    0.96,
    1.22,
    0.58,
    -0.98,
    -0.03,
    -1.54,
    -0.71,
    -0.35,
    0.66,
    0.44,
    0.91,
    -0.02,
    -1.42,
    1.26,
    -1.02,
    -0.81,
    1.66,
    1.05,
    0.97,
    2.14,
    1.22,
    -0.24,
    1.6,
    0.72,
    -0.12,
    0.44,
    0.03,
    0.66,
    0.56,
    1.37,
    1.66,
    0.1,
    0.8,
    1.29,
    0.49,
    -0.07,
    1.18,
    3.29,
    1.84,
]
"""Page, Biometrika 1955; 42: 523-527: 40 values, the true step after 20."""


def test_homogeneity_equals_the_printed_case():
    """chi-square 138.29, V 0.279: R chisq.test and assocstats on the data of Snee."""
    found = chi_square_homogeneity(HAIR_BY_EYE)
    assert (found.chi2, found.df) == (pytest.approx(138.289841626, abs=1e-8), 9)
    assert found.v == pytest.approx(0.279044623343, abs=1e-10)
    assert found.p_value < 2e-16
    assert not found.is_rough


def test_homogeneity_equals_scipy_and_leaves_empty_bands_out():
    table = np.array([[12, 0, 30, 4], [9, 0, 41, 11], [3, 0, 8, 1]])
    known = stats.chi2_contingency(table[:, [0, 2, 3]], correction=False)
    found = chi_square_homogeneity(table)
    assert (found.chi2, found.p_value) == pytest.approx((known.statistic, known.pvalue))
    assert found.is_rough
    assert chi_square_homogeneity([[5, 0], [7, 0]]).p_value == 1


def test_stability_index_and_distance_equal_the_collected_case():
    """Five bands; sum (q - p) ln(q / p) by hand, distance by scipy."""
    assert stability_index(BEFORE, AFTER) == pytest.approx(0.0292581504423, abs=1e-12)
    assert jensen_shannon(BEFORE, AFTER) == pytest.approx(0.0725430429921, abs=1e-12)
    assert jensen_shannon(BEFORE, AFTER) == pytest.approx(jensenshannon(BEFORE, AFTER, 2))
    assert stability_index(BEFORE, np.multiply(BEFORE, 3)) == pytest.approx(0)


@pytest.mark.parametrize("n", [200, 2000])
def test_stability_index_of_equal_mixes_is_what_chance_gives(n):
    rng, p = np.random.default_rng(61), np.array([0.4, 0.3, 0.2, 0.1])
    found = [stability_index(rng.multinomial(n, p), rng.multinomial(3 * n, p)) for _ in range(2000)]
    assert np.mean(found) == pytest.approx(stability_by_chance(n, 3 * n, 4), rel=0.1)


def test_stability_index_has_a_value_where_a_band_is_empty():
    """Half an exam more in each band, by hand."""
    p, q = np.array([10.5, 0.5]) / 11, np.array([5.5, 5.5]) / 11
    assert stability_index([10, 0], [5, 5]) == pytest.approx(((q - p) * np.log(q / p)).sum())


def test_kolmogorov_smirnov_equals_the_case_and_scipy():
    """D 0.7063: R ks.test, years to 1898 against those after; p by order of magnitude (ties)."""
    values = np.unique(NILE)
    early, late = NILE[:28], NILE[28:]
    counts = [[part.count(value) for value in values] for part in (early, late)]
    found = kolmogorov_smirnov(values, *counts)
    assert found.distance == pytest.approx(0.7063492063, abs=1e-9)
    known = stats.ks_2samp(early, late, method="asymp")
    assert (found.distance, found.at) == pytest.approx((known.statistic, known.statistic_location))
    assert found.p_value < 1e-8


def test_quantiles_of_counts_equal_numpy_on_single_values():
    values, counts = [1.0, 2.5, 4.0, 9.0], [3, 4, 1, 5]
    single, shares = np.repeat(values, counts), [0.05, 0.25, 0.5, 0.75, 1.0]
    known = np.quantile(single, shares, method="inverted_cdf")
    assert quantiles_of_counts(values, counts, shares).tolist() == known.tolist()


def test_mann_kendall_equals_the_printed_case():
    """R cor.test (kendall) and trend packages on the Nile."""
    found = mann_kendall(NILE)
    assert found.score == -1387
    assert found.variance == pytest.approx(112728.333333, abs=1e-6)
    assert found.z == pytest.approx(-4.12806652284, abs=1e-9)
    assert found.p_value == pytest.approx(3.65826292166e-05, abs=1e-10)
    assert found.slope == pytest.approx(-2.6, abs=1e-9)


@pytest.mark.parametrize("series", [[1.0, 1.0, 1.0, 1.0, 1.0], [1.0, 2.0, 3.0]])
def test_mann_kendall_calls_nothing_where_nothing_can_be_told(series):
    assert mann_kendall(series).p_value == 1


def test_steps_of_the_nile_are_the_dam_of_1898():
    """One step, after 28 years, residual sum 1597457.19: R strucchange breakpoints."""
    x = np.array(NILE, float)
    variance = 1597457.19444 / 98
    assert step_places(x, penalty=2 * np.log(100) * variance) == [28]
    found = step_interval(x, 28, variance=variance)
    assert found.first <= 28 <= found.last
    assert found.last - found.first < 10


@pytest.mark.parametrize("seed", range(6))
def test_steps_equal_every_partition_tried_out(seed):
    rng = np.random.default_rng(seed)
    x, w, penalty = rng.normal(size=9) + (np.arange(9) > 5) * 3, rng.uniform(1, 5, 9), 2.0
    costs = {}
    for mask in range(2**8):
        places = [k + 1 for k in range(8) if mask >> k & 1]
        parts = np.split(np.arange(9), places)
        squares = sum(
            (w[one] * (x[one] - np.average(x[one], weights=w[one])) ** 2).sum() for one in parts
        )
        costs[tuple(places)] = squares + penalty * len(places)
    assert step_places(x, weights=w, penalty=penalty) == list(min(costs, key=costs.get))


def test_step_interval_holds_the_true_place_as_often_as_it_says():
    rng, hits = np.random.default_rng(8), 0
    for _ in range(400):
        x = rng.normal(size=24) + 1.2 * (np.arange(24) >= 12)
        found = step_interval(x, 12, variance=1.0)
        hits += found.first <= 12 <= found.last
    assert hits / 400 > 0.86


def test_rank_step_equals_the_printed_case():
    """Pettitt 1979 prints K 232 after 17; R trend pettitt.test gives its p-value."""
    found = rank_step(PAGE)
    assert (found.statistic, found.place) == (232, 17)
    assert found.p_value == pytest.approx(0.0145555975, abs=1e-9)
    nile = rank_step(NILE)
    assert (nile.statistic, nile.place) == (1617, 28)
    assert nile.p_value == pytest.approx(3.59102218e-07, abs=1e-14)
