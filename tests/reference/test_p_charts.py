"""p-charts against printed worked examples.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2 (30 wafers of 50 chips; the same counts
are Montgomery DC, Introduction to Statistical Quality Control, Example 7.1, orange-juice cans).
Montgomery, Example 7.1 continued (54 samples), section 7.2.1 (np-chart), Table 7.4 (variable n).
Longer figures: R packages qcc and qicharts2, which agree to 12 digits.
"""

import numpy as np
import pytest

from qa.stats.limits import p_chart_limits

WAFERS = np.array([
    12, 15, 8, 10, 4, 7, 16, 9, 14, 10, 5, 6, 17, 12, 22,
    8, 10, 5, 13, 11, 20, 18, 24, 15, 9, 12, 7, 13, 9, 6,
])  # fmt: skip
LATER = np.array([9, 6, 12, 5, 6, 4, 6, 3, 7, 6, 2, 4, 3, 6, 5, 4, 8, 5, 6, 7, 5, 6, 3, 5])
ORDERS = np.array([
    100, 80, 80, 100, 110, 110, 100, 100, 90, 90, 110, 120, 120, 120, 110,
    80, 80, 80, 90, 100, 100, 100, 100, 90, 90,
])  # fmt: skip
ERRORS = np.array([
    12, 8, 6, 9, 10, 12, 11, 16, 10, 6, 20, 15, 9, 8, 6, 8, 10, 7, 5, 8, 5, 8, 10, 6, 9,
])  # fmt: skip


def outside(shares, lcl, ucl):
    """1-based numbers of the samples strictly outside."""
    return (np.flatnonzero((shares > ucl) | (shares < lcl)) + 1).tolist()


def test_p_chart_limits_equal_nist_wafers():
    centre = WAFERS.sum() / (30 * 50)
    lcl, ucl = p_chart_limits(centre, 50)
    assert (centre, float(lcl), float(ucl)) == pytest.approx((0.2313, 0.0524, 0.4102), abs=1e-4)
    assert (float(lcl), float(ucl)) == pytest.approx((0.0524275480719, 0.410239118595), abs=1e-12)
    assert outside(WAFERS / 50, lcl, ucl) == [15, 23]


def test_p_chart_limits_equal_orange_juice_cans_after_revision():
    kept = np.delete(WAFERS, [14, 22])
    centre = kept.sum() / (28 * 50)
    lcl, ucl = p_chart_limits(centre, 50)
    assert (centre, float(lcl), float(ucl)) == pytest.approx((0.2150, 0.0407, 0.3893), abs=5e-5)
    assert (float(lcl), float(ucl)) == pytest.approx((0.0407028399543, 0.389297160046), abs=1e-12)
    kept_out = [number for number in outside(WAFERS / 50, lcl, ucl) if number not in (15, 23)]
    assert kept_out == [21]
    assert [30 + number for number in outside(LATER / 50, lcl, ucl)] == [41]
    assert LATER.sum() / (24 * 50) == pytest.approx(0.1108, abs=5e-5)


def test_p_chart_limits_times_n_equal_the_np_chart():
    centre = WAFERS.sum() / (30 * 50)
    lcl, ucl = p_chart_limits(centre, 50)
    assert (50 * float(lcl), 50 * float(ucl)) == pytest.approx((2.62, 20.51), abs=0.006)
    assert (50 * float(lcl), 50 * float(ucl)) == pytest.approx(
        (2.6213774036, 20.5119559297), abs=1e-9
    )


# n → (lcl, ucl) of Table 7.4, R qicharts2; the lower limit of n = 80 is clamped at 0.
PURCHASE_LIMITS = {
    80: (0.0, 0.194093420515),
    90: (0.00256505628041, 0.188455351883),
    100: (0.00733469472777, 0.183685713435),
    110: (0.0114381546251, 0.179582253538),
    120: (0.0150173449273, 0.176003063236),
}


@pytest.mark.parametrize(("n", "limits"), PURCHASE_LIMITS.items())
def test_p_chart_limits_step_with_n_as_printed(n, limits):
    centre = ERRORS.sum() / ORDERS.sum()
    assert centre == pytest.approx(0.0955102040816, abs=1e-12)
    assert p_chart_limits(centre, n) == pytest.approx(limits, abs=1e-11)


def test_p_chart_limits_find_the_one_week_outside():
    centre = ERRORS.sum() / ORDERS.sum()
    lcl, ucl = p_chart_limits(centre, ORDERS)
    assert outside(ERRORS / ORDERS, lcl, ucl) == [11]


def test_p_chart_limits_at_average_n_equal_the_printed_upper_limit():
    lcl, ucl = p_chart_limits(ERRORS.sum() / ORDERS.sum(), 98)
    assert float(ucl) == pytest.approx(0.185, abs=5e-4)
    assert (float(lcl), float(ucl)) == pytest.approx((0.00643948894064, 0.184580919223), abs=1e-12)
