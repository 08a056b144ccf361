"""Months taken out of a baseline; the revised limits of a textbook are the outside check."""

import numpy as np
import pytest

from qa.stats.phase_one import months_kept
from tests.reference.cases import shared_rows


def keep(counts, **options):
    events, n = np.array(counts).T
    kept, unsteady = months_kept(events, n, np.zeros(len(n), dtype=np.int64), **options)
    return (np.flatnonzero(~kept) + 1).tolist(), bool(unsteady[0])


@pytest.mark.parametrize(
    ("counts", "removed", "unsteady"),
    [
        ([(2, 40)] * 11 + [(20, 40)], [12], False),
        ([(2, 40)] * 12, [], False),
        ([(2, 40)] * 9 + [(20, 40)] * 3, [10, 11, 12], False),
        ([(2, 40)] * 8 + [(30, 40)] * 4, [], True),
        ([(20, 40)] * 11 + [(1, 40)], [12], False),
        ([(0, 40)] * 12, [], False),
        ([(1, 1)], [], False),
    ],
)
def test_months_kept_takes_out_what_lies_outside_but_never_over_a_quarter(
    counts, removed, unsteady
):
    assert keep(counts) == (removed, unsteady)


def test_months_kept_finds_in_rounds_what_one_round_hides():
    """30 of 40 lifts the first limits above 11 of 40, which is outside once it has gone."""
    assert keep([(2, 40)] * 18 + [(11, 40), (39, 40)])[0] == [19, 20]


def test_months_kept_revises_the_textbook_limits():
    """Montgomery, Introduction to Statistical Quality Control, 7.2.1: samples 15 and 23 go, then

    21 lies above the revised limit too (the book keeps it, as no cause was found).
    """
    rows = shared_rows("p_chart_nist_6_3_3_2.csv")
    counts = [(int(row["nonconforming"]), int(row["n"])) for row in rows]
    assert keep(counts, is_widened=False)[0] == [15, 21, 23]


def test_months_kept_of_many_groups_equals_each_alone():
    rng = np.random.default_rng(11)
    n = rng.integers(3, 80, size=(40, 14))
    events = rng.binomial(n, rng.uniform(0.02, 0.5, size=(40, 1)))
    events[:10, 5] = n[:10, 5]
    groups = np.repeat(np.arange(40), 14)
    kept, unsteady = months_kept(events.ravel(), n.ravel(), groups)
    for one in range(40):
        alone = months_kept(events[one], n[one], np.zeros(14, dtype=np.int64))
        assert (kept[groups == one] == alone[0]).all()
        assert unsteady[one] == alone[1][0]


def test_months_kept_of_nothing_is_nothing():
    none = np.zeros(0, dtype=np.int64)
    kept, unsteady = months_kept(none, none, none)
    assert len(kept) == len(unsteady) == 0
