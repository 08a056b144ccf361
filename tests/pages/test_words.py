"""Numbers as words: what a reader sees for a value, at and around the edges."""

import pytest

from qa.views import words


@pytest.mark.parametrize(
    ("share", "text"),
    [
        (0.139, "13.9 %"),
        (0.0, "0.0 %"),
        (1.0, "100.0 %"),
        (0.0004, "0.04 %"),
        (0.001, "0.1 %"),
        (None, "no data"),
        (float("nan"), "no data"),
    ],
)
def test_percent_of_a_share_has_one_decimal_or_says_no_data(share, text):
    assert words.percent(share) == text


def test_percent_with_interval_gives_both_ends():
    assert words.percent_with_interval(0.139, 0.092, 0.195) == "13.9 % (9.2 to 19.5)"


@pytest.mark.parametrize(("lower", "upper"), [(None, 0.2), (0.1, None), (float("nan"), 0.2)])
def test_percent_with_interval_with_an_unknown_end_shows_none(lower, upper):
    assert words.percent_with_interval(0.139, lower, upper) == "13.9 %"


@pytest.mark.parametrize(
    ("k", "n", "text"),
    [
        (6, 7, "six of seven sites"),
        (7, 7, "all seven sites"),
        (0, 7, "none of seven sites"),
        (1, 1, "the one site"),
        (13, 21, "thirteen of 21 sites"),
    ],
)
def test_share_of_reads_as_words(k, n, text):
    assert words.share_of(k, n, "site") == text


@pytest.mark.parametrize(
    ("n", "text"), [(0, "0 exams"), (1, "1 exam"), (2, "2 exams"), (1684, "1,684 exams")]
)
def test_counted_agrees_in_number(n, text):
    assert words.counted(n, "exam") == text


@pytest.mark.parametrize(
    ("parts", "text"),
    [([], ""), (["a"], "a"), (["a", "b"], "a and b"), (list("abc"), "a, b and c")],
)
def test_listed_joins_with_and(parts, text):
    assert words.listed(parts) == text


def test_lower_first_keeps_abbreviations():
    assert words.lower_first("IQR over median") == "IQR over median"
    assert words.lower_first("Failed exams") == "failed exams"
