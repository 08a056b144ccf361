"""Exam-by-exam charts: sums at the end of each day, limits, and when competence was shown."""

from datetime import date, timedelta

import numpy as np
import pytest

from qa.charts.exam_charts import learning, risk_cusum, risk_limit, vlad
from qa.stats.risk_adjusted_runs import risk_cusum_arl, risk_cusum_limit

FIRST = date(2026, 1, 1)


def daily(n: int, *, per_day: int = 1) -> list[date]:
    return [FIRST + timedelta(days=number // per_day) for number in range(n)]


def test_risk_cusum_is_that_of_the_published_scores_at_the_end_of_each_day():
    """Scores of Steiner's formula by hand: odds ratio 2, expected 0.1."""
    event, other = np.log(2 / 1.1), np.log(1 / 1.1)
    found = risk_cusum(daily(4, per_day=2), [1, 0, 0, 1], [0.1] * 4)
    assert found.value == pytest.approx([event + other, event + other + other + event])
    assert found.n.tolist() == [2, 2]
    assert found.days == (FIRST, FIRST + timedelta(days=1))


def test_risk_cusum_calls_where_events_are_as_expected_of_no_one():
    calm = risk_cusum(daily(300), [0, 0, 0, 0, 1] * 60, [0.2] * 300)
    bad = risk_cusum(daily(300), [0, 1] * 150, [0.2] * 300)
    assert not calm.is_outside.any()
    assert bad.is_outside.any()


def test_a_day_is_outside_also_where_the_sum_fell_back_before_its_end():
    ucl = risk_cusum(daily(40, per_day=40), [0] * 40, [0.2] * 40).ucl[0]
    n_events = int(np.ceil(ucl / np.log(2 / 1.2)))
    events = [1] * n_events + [0] * (40 - n_events)
    found = risk_cusum(daily(40, per_day=40), events, [0.2] * 40)
    assert found.value[0] < found.ucl[0]
    assert found.is_outside.tolist() == [True]


def test_limit_gives_one_false_call_in_370_months_of_these_exams():
    days, p = daily(600), np.tile([0.02, 0.1, 0.3], 200)
    limit = risk_limit(days, p, odds_ratio=2.0)
    arl = risk_cusum_arl([0.02, 0.1, 0.3], shares=[1, 1, 1], limit=limit, odds_ratio=2.0)
    assert arl == pytest.approx(370 * 30.44, rel=0.05)


def test_a_coarse_lattice_gives_nearly_the_same_limit():
    """The lattice of 600 steps is held against R's vlad in tests/reference."""
    args = {"shares": [1, 1, 1], "odds_ratio": 2.0, "arl": 100.0}
    fine = risk_cusum_limit([0.02, 0.1, 0.3], **args, steps_per_unit=400)
    assert risk_cusum_limit([0.02, 0.1, 0.3], **args, steps_per_unit=40) == pytest.approx(
        fine, abs=0.03
    )


def test_vlad_falls_with_events_and_its_limits_widen():
    found = vlad(daily(3), [0, 1, 1], [0.1, 0.1, 0.1])
    assert found.value == pytest.approx([0.1, -0.8, -1.7])
    assert found.ucl == pytest.approx(1.959964 * np.sqrt([0.09, 0.18, 0.27]))
    assert not found.is_outside.any()


def test_learning_is_shown_by_a_long_run_without_failures_only():
    good = learning(daily(200), [0] * 200, acceptable=0.1)
    bad = learning(daily(200), [1, 0, 0, 0, 0] * 40, acceptable=0.1)
    assert good.unacceptable == pytest.approx(2 / 11)
    steps = int(np.ceil(good.limit / np.log(0.9 / (9 / 11))))
    assert good.shown_after == steps
    assert bad.shown_after is None


def test_charts_of_no_exams_are_empty():
    for found in (risk_cusum([], [], []), vlad([], [], [])):
        assert found.days == ()
        assert len(found.value) == 0
