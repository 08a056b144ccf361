"""Parts of a change: they add up exactly, and equal definitions and other programs."""

from itertools import permutations

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import expit

from qa.stats.ridge_logistic import fit_ridge_logistic
from qa.stats.share_out import kitagawa_parts, share_out

SHARE = st.floats(0, 1)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(SHARE, SHARE, SHARE, SHARE), min_size=2, max_size=5))
def test_kitagawa_parts_add_to_the_whole(rows):
    w1, r1, w2, r2 = np.array(rows).T
    composition, rates = kitagawa_parts(w1, r1, w2, r2)
    assert composition + rates == pytest.approx((w2 * r2).sum() - (w1 * r1).sum(), abs=1e-12)


def test_kitagawa_part_of_an_unchanged_composition_is_nothing():
    assert kitagawa_parts([0.5, 0.5], [0.1, 0.3], [0.5, 0.5], [0.2, 0.3])[0] == 0


def test_share_out_of_a_product_equals_the_formula_for_three_factors():
    """Das Gupta 1993, chapter 2: part of a = (A - a) [(bc + BC) / 3 + (bC + Bc) / 6]."""
    (a, b, c), (A, B, C) = (2.0, 3.0, 5.0), (4.0, 2.5, 7.0)
    before, after = (a, b, c), (A, B, C)

    def figure(changed):
        return np.prod([after[k] if changed[k] else before[k] for k in range(3)])

    found = share_out(figure, 3)
    assert found[0] == pytest.approx((A - a) * ((b * c + B * C) / 3 + (b * C + B * c) / 6))
    assert found[1] == pytest.approx((B - b) * ((a * c + A * C) / 3 + (a * C + A * c) / 6))
    assert sum(found) == pytest.approx(A * B * C - a * b * c)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.floats(-10, 10), min_size=16, max_size=16))
def test_share_out_is_the_mean_over_all_orders(numbers):
    def figure(changed):
        return numbers[sum(2**k for k in range(4) if changed[k])]

    means = np.zeros(4)
    for order in permutations(range(4)):
        changed = [False] * 4
        for factor in order:
            was = figure(changed)
            changed[factor] = True
            means[factor] += (figure(changed) - was) / 24
    assert share_out(figure, 4) == pytest.approx(means.tolist(), abs=1e-9)


def test_ridge_equals_statsmodels_where_the_prior_says_nothing():
    rng = np.random.default_rng(3)
    x = np.column_stack([np.ones(30), rng.normal(size=(30, 2))])
    n, offset = rng.integers(20, 60, 30), rng.normal(size=30) / 3
    k = rng.binomial(n, expit(x @ [-1, 0.5, -0.3] + offset))
    known = sm.GLM(
        np.column_stack([k, n - k]), x, family=sm.families.Binomial(), offset=offset
    ).fit(tol=1e-12)
    found = fit_ridge_logistic(x, k, n, offset=offset, spread=np.full(3, 1e4))
    assert found.coefficients[0] == pytest.approx(known.params, abs=1e-6)


@pytest.mark.parametrize(("k", "n"), [(4, 30), (20, 200)])
def test_evidence_equals_the_integral_over_one_coefficient(k, n):
    """Trapezoids over the log odds; Laplace's approximation is good to a few percent."""
    grid = np.linspace(-12, 12, 40001)
    prior = np.exp(-0.5 * (grid / 1.5) ** 2) / (1.5 * np.sqrt(2 * np.pi))
    likelihood = np.exp(k * grid - n * np.logaddexp(0, grid))
    known = np.log((prior * likelihood).sum() * (grid[1] - grid[0]))
    found = fit_ridge_logistic([[1.0]], [k], [n], offset=[0.0], spread=[1.5])
    assert found.log_evidence[0] == pytest.approx(known, abs=0.05)


def test_ridge_fits_many_data_sets_as_one_by_one():
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(8), np.arange(8) % 2])
    n = np.full((3, 8), 40)
    k = rng.binomial(n, 0.3)
    many = fit_ridge_logistic(x, k, n, offset=np.zeros(8), spread=[3, 0.5])
    for number in range(3):
        one = fit_ridge_logistic(x, k[number], n[number], offset=np.zeros(8), spread=[3, 0.5])
        assert many.coefficients[number] == pytest.approx(one.coefficients[0], abs=1e-7)
        assert many.log_evidence[number] == pytest.approx(one.log_evidence[0])
