"""Edges of the limits; printed examples are in tests/reference."""

import numpy as np
import pytest
import scipy.stats

from qa.stats.limits import binomial_limits, funnel_limits, p_chart_limits


def all_limits(centre, n):
    return [
        p_chart_limits(centre, n),
        binomial_limits(centre, n),
        funnel_limits(centre, n, level=0.95),
    ]


def test_limits_without_exams_or_centre_are_nan():
    for lcl, ucl in all_limits([0.1, np.nan, 0.1], [0, 20, 20]):
        assert np.isnan(lcl[:2]).all()
        assert np.isnan(ucl[:2]).all()
        assert 0 <= lcl[2] < 0.1 < ucl[2] <= 1


def test_limits_of_no_rows_are_empty():
    for lcl, ucl in all_limits([], []):
        assert lcl.shape == ucl.shape == (0,)


@pytest.mark.parametrize("centre", [0.0, 1.0])
def test_limits_of_a_certain_centre_leave_no_room(centre):
    assert p_chart_limits(centre, 20) == (centre, centre)
    assert binomial_limits(centre, 20) == (centre, centre)
    lcl, ucl = funnel_limits(centre, 20, level=0.95)
    assert lcl <= centre <= ucl


def test_funnel_limits_never_call_a_full_share_an_outlier_where_it_is_common():
    """At a centre of 99 % a unit with all of 20 exams counted is the rule: P = 0.82."""
    assert float(funnel_limits(0.99, 20, level=0.95)[1]) == 1.0


@pytest.mark.parametrize(("centre", "n"), [(0.05, 20), (0.05, 37), (0.3, 11), (0.93, 40)])
def test_binomial_limits_hold_their_tail_and_are_the_tightest(centre, n):
    lcl, ucl = (round(float(limit) * n) for limit in binomial_limits(centre, n))
    beyond = scipy.stats.binom(n, centre)
    assert beyond.sf(ucl) <= 0.00135 < beyond.sf(ucl - 1)
    assert beyond.cdf(lcl - 1) <= 0.00135 < beyond.cdf(lcl)


def test_binomial_limits_compare_exactly_with_a_share_of_counts():
    n = np.arange(1, 400)
    ucl = binomial_limits(0.07, n)[1]
    k = np.rint(ucl * n)
    assert (k / n == ucl).all()


def test_p_chart_limits_are_symmetric_where_not_clipped():
    lcl, ucl = p_chart_limits(0.4, 100, sigmas=2.0)
    assert float(ucl) - 0.4 == pytest.approx(0.4 - float(lcl))


def test_funnel_limits_narrow_with_n_and_widen_with_level():
    n = np.array([20, 50, 200, 1000])
    ucl95, ucl998 = (funnel_limits(0.1, n, level=level)[1] for level in (0.95, 0.998))
    assert (np.diff(ucl95) < 0).all()
    assert (ucl998 > ucl95).all()
