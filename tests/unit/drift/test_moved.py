"""Sizes of a moved mix in words, and since when."""

import numpy as np
import pytest

from qa.drift.moved import compare_bands, compare_values, size_word, value_quantiles
from qa.drift.when import find_start


@pytest.mark.parametrize(
    ("key", "value", "word"),
    [
        ("V", 0.099, "small"),
        ("V", 0.1, "moderate"),
        ("V", 0.3, "large"),
        ("PSI", 0.0999, "small"),
        ("PSI", 0.25, "large"),
    ],
)
def test_size_words_just_below_on_and_above(key, value, word):
    assert size_word(key, value) == word


def test_compare_bands_names_its_statistics_and_who_says_what_is_large():
    rows = compare_bands([50, 30, 20], [20, 30, 50])
    assert [row.size for row in rows] == ["large", "large", "large"]
    assert all(row.source for row in rows)
    assert rows[0].p_value < 0.001
    assert compare_bands([0, 0], [3, 4]) == ()


def test_compare_values_and_quartiles_read_counts():
    assert compare_values([4.0, 5.0], [10, 0], [0, 10]).value == 1
    assert value_quantiles([4.0, 5.0, 9.0], [1, 2, 1], (0.25, 0.5, 0.75)) == (4.0, 5.0, 5.0)


def test_start_is_the_first_month_of_the_new_level():
    n = np.full(20, 100)
    found = find_start(np.where(np.arange(20) < 13, 10, 25), n)
    assert (found.start, found.first <= 13 <= found.last) == (13, True)
    assert found.trend_p < 0.05


def test_no_start_without_a_step_in_nineteen_of_twenty_quiet_series():
    rng = np.random.default_rng(12)
    found = [find_start(rng.binomial(80, 0.2, 24), np.full(24, 80)).start for _ in range(300)]
    assert np.mean([one is not None for one in found]) < 0.05
