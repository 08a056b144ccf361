"""Intervals against printed tables.

Wilson and Clopper-Pearson: Newcombe RG, Stat Med 1998; 17: 857-872, Table I (printed to four
decimals; the longer figures are those of statsmodels proportion_confint, equal to the formula).
Difference: Newcombe RG, Stat Med 1998; 17: 873-890, Table II, method 10.
"""

import pytest

from qa.stats.intervals import clopper_pearson_interval, newcombe_difference, wilson_interval

PRINTED = 5.1e-5
LIBRARY = 1e-9

WILSON_PRINTED = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0, 0.1611),
    (1, 29, 0.0061, 0.1718),
]
WILSON_LIBRARY = [
    (81, 263, 0.255288519878, 0.366209576983),
    (15, 148, 0.0623863995307, 0.160487241723),
    (0, 20, 0.0, 0.161125158053),
    (1, 29, 0.00611321429276, 0.171755218793),
]
CLOPPER_PEARSON_PRINTED = [
    (81, 263, 0.2527, 0.3676),
    (15, 148, 0.0578, 0.1617),
    (0, 20, 0.0, 0.1684),
    (1, 29, 0.0009, 0.1776),
]
CLOPPER_PEARSON_LIBRARY = [
    (81, 263, 0.252736745585, 0.367621922601),
    (15, 148, 0.0578440100834, 0.161650490349),
    (0, 20, 0.0, 0.168433470983),
    (1, 29, 0.00087264688358, 0.177644295489),
]
DIFFERENCE_PRINTED = [
    ((56, 70, 48, 80), 0.0524, 0.3339),
    ((9, 10, 3, 10), 0.1705, 0.8090),
    ((6, 7, 2, 7), 0.0582, 0.8062),
    ((5, 56, 0, 29), -0.0381, 0.1926),
    ((0, 10, 0, 20), -0.1611, 0.2775),
    ((0, 10, 0, 10), -0.2775, 0.2775),
    ((10, 10, 0, 20), 0.6791, 1.0),
    ((10, 10, 0, 10), 0.6075, 1.0),
]
# statsmodels confint_proportions_2indep(method="newcomb")
DIFFERENCE_LIBRARY = [
    ((56, 70, 48, 80), 0.0524314724024, 0.333872654037),
    ((9, 10, 3, 10), 0.170522723935, 0.809017973535),
    ((6, 7, 2, 7), 0.0582279274823, 0.806249637524),
    ((5, 56, 0, 29), -0.0381371479035, 0.192560013855),
    ((0, 10, 0, 20), -0.161125158053, 0.277532799863),
    ((0, 10, 0, 10), -0.277532799863, 0.277532799863),
    ((10, 10, 0, 20), 0.679086037142, 1.0),
    ((10, 10, 0, 10), 0.607509350431, 1.0),
]


def with_tolerance(printed, library):
    return [(*row, PRINTED) for row in printed] + [(*row, LIBRARY) for row in library]


@pytest.mark.parametrize(
    ("n_events", "n", "lower", "upper", "tolerance"),
    with_tolerance(WILSON_PRINTED, WILSON_LIBRARY),
)
def test_wilson_interval_equals_newcombe_table_one(n_events, n, lower, upper, tolerance):
    assert wilson_interval(n_events, n) == pytest.approx((lower, upper), abs=tolerance)


@pytest.mark.parametrize(
    ("n_events", "n", "lower", "upper", "tolerance"),
    with_tolerance(CLOPPER_PEARSON_PRINTED, CLOPPER_PEARSON_LIBRARY),
)
def test_clopper_pearson_interval_equals_newcombe_table_one(n_events, n, lower, upper, tolerance):
    assert clopper_pearson_interval(n_events, n) == pytest.approx((lower, upper), abs=tolerance)


@pytest.mark.parametrize(
    ("counts", "lower", "upper", "tolerance"),
    with_tolerance(DIFFERENCE_PRINTED, DIFFERENCE_LIBRARY),
)
def test_newcombe_difference_equals_newcombe_table_two(counts, lower, upper, tolerance):
    # 0.809 is printed to three decimals: half a unit of the fourth is a little wider.
    assert newcombe_difference(*counts) == pytest.approx((lower, upper), abs=tolerance * 1.2)
