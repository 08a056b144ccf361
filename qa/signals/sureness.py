"""How sure an item is: how often chance alone would show one like it."""

from typing import Any

from qa.signals.parts import Shift, month_number

Row = dict[str, Any]

MOST_YEARS = 100

MONTHS_TRIED = 24
"""Start months that a change may have been found at, at most."""


def how_sure(row: Row, own: Shift | None, *, n_charts: int) -> str:
    """A word and how often chance alone shows as much over all charts of the network.

    Args:
        own: the unit since the change against before.
        n_charts: charts watched in the month.
    Method: chance of as many bad exams since the change, given the exams before it, times the
        months at which the change might have been found to begin, times the charts watched
        (Bonferroni): the number of such findings that chance alone gives in a month, or less.
    Weak when: it is read as the chance that nothing is wrong; it is not.
    References: Bonferroni's inequality; Skellam 1948 (predictive.py).
    Example: chance 1e-6, 12 months, 456 charts → 0.0055 a month, once in 15 years: "Very sure"
    """
    if not row["is_change"]:
        return "Fairly sure: a difference beyond chance and beyond what units ordinarily differ by."
    if own is None:
        return ""
    n_tried = min(month_number(row["month"]) - month_number(row["since_month"]) + 1, MONTHS_TRIED)
    expected = own.tail * max(n_tried, 1) * max(n_charts, 1)
    return _by_chance(1 / max(expected, 1e-12))


def _by_chance(months: float) -> str:
    if months < 1:
        return (
            "Not sure yet: chance alone shows as much about every month somewhere in the network."
        )
    word = "Very sure" if months >= 120 else "Sure" if months >= 12 else "Fairly sure"
    if months >= 12 * MOST_YEARS:
        return f"{word}: chance alone shows as much less than once in {MOST_YEARS} years."
    if months < 1.5:
        return f"{word}: chance alone shows as much about once a month over all charts."
    n, unit = (months / 12, "years") if months >= 24 else (months, "months")
    return f"{word}: chance alone shows as much about once in {n:.0f} {unit} over all charts."
