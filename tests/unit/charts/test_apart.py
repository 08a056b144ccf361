"""Person or place: what drops out, what is left, and when nothing can be told apart."""

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom, binomtest, chisquare

from qa.charts.apart import lone_operator, tell_apart
from qa.stats.conditional import split_test, stratified_split_test


def counts(*rows: tuple[str, str, int, int, float]) -> pl.DataFrame:
    """Site, operator, exams, events, expected."""
    names = ("site_id", "operator_id", "n", "n_events", "expected")
    frame = pl.DataFrame(rows, schema=names, orient="row")
    return frame.with_columns(expected_micro=(pl.col("expected") * 1e6).cast(pl.Int64))


def test_what_a_site_does_to_all_its_exams_drops_out():
    """Everybody at north has three times as many events as expected."""
    bad_place = counts(("north", "a", 300, 45, 15), ("north", "b", 600, 90, 30))
    found = tell_apart(bad_place, "a")
    assert found.places[0].ratio == pytest.approx(3.0)
    assert found.p_others == pytest.approx(1.0, abs=0.1)


def test_an_operator_who_stands_out_at_the_own_site_is_told_from_it():
    found = tell_apart(counts(("north", "a", 300, 45, 15), ("north", "b", 600, 30, 30)), "a")
    assert found.p_others < 1e-5
    assert not found.is_alone


def test_an_operator_who_is_bad_at_one_of_two_sites_points_to_the_place():
    rows = [
        ("north", "a", 300, 15, 15),
        ("north", "b", 300, 15, 15),
        ("south", "a", 100, 20, 5),
        ("south", "c", 300, 60, 15),
    ]
    found = tell_apart(counts(*rows), "a")
    assert [one.site_id for one in found.places] == ["north", "south"]
    assert found.p_places < 0.001
    assert found.p_others > 0.5


def test_an_operator_who_is_bad_at_both_sites_carries_it_along():
    rows = [
        ("north", "a", 300, 45, 15),
        ("north", "b", 300, 15, 15),
        ("south", "a", 100, 15, 5),
        ("south", "c", 300, 15, 15),
    ]
    found = tell_apart(counts(*rows), "a")
    assert found.p_places > 0.5
    assert found.p_others < 1e-5


def test_a_site_with_one_operator_tells_nothing_apart():
    found = tell_apart(counts(("north", "a", 300, 45, 15)), "a")
    assert found.is_alone
    assert found.others is None
    assert np.isnan(found.p_others)
    assert tell_apart(counts(("north", "a", 3, 1, 1)), "nobody") is None


@pytest.mark.parametrize(("n", "alone"), [(89, None), (90, ("a", 0.9))])
def test_nine_tenths_of_a_site_are_the_site(n, alone):
    rows = pl.DataFrame({"operator_id": ["a", "b"], "n_exams": [n, 100 - n]})
    found = lone_operator(rows)
    assert found == alone or found == pytest.approx(alone)


def test_split_of_two_is_exact_and_of_more_is_chi_square():
    """scipy: equal shares give its symmetric two-sided test; its chi-square for three parts."""
    assert split_test([8, 2], [5, 5]) == pytest.approx(binomtest(8, 10, 0.5).pvalue)
    assert split_test([3, 9], [4, 2]) == pytest.approx(2 * binom.cdf(3, 12, 2 / 3))
    should = 30 * np.array([1, 2, 3]) / 6
    assert split_test([9, 9, 12], [1, 2, 3]) == pytest.approx(chisquare([9, 9, 12], should).pvalue)
    assert np.isnan(split_test([0, 0], [1, 1]))
    assert np.isnan(split_test([3], [1]))


def test_one_stratum_is_exact_and_several_are_nearly_so():
    """Against the exact distribution of the sum of two binomials, folded together by hand."""
    assert stratified_split_test([8], [2], [5], [5]) == pytest.approx(split_test([8, 2], [5, 5]))
    sums = np.convolve(binom.pmf(np.arange(31), 30, 0.5), binom.pmf(np.arange(41), 40, 0.25))
    exact = 2 * sums[34:].sum()
    ours = stratified_split_test([20, 14], [10, 26], [1, 1], [1, 3])
    assert ours == pytest.approx(exact, rel=0.15)
    assert np.isnan(stratified_split_test([1], [1], [1], [0]))
