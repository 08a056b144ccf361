"""Each kind of chart drawn from a series: limits of the printed examples, and edges."""

from datetime import date

import numpy as np
import polars as pl
import pytest

from qa.charts.draw import draw_series, is_monthly
from qa.charts.kinds import CHART_KINDS, Quantity, kinds_for
from qa.charts.months_of import pool_quarters, series_months
from qa.charts.sequence import days_between, exams_between
from qa.model.months import add_months
from qa.stats.drift_cusum import month_scores
from qa.stats.risk_adjusted import risk_scores
from tests.reference.cases import data, expected, outside
from tests.unit.charts.test_choose import series, shares


def test_p_chart_steps_with_n_as_printed():
    n, errors = data("laney_p_prime_screening_t7_4", "n", "nonconforming")
    drawn = draw_series(shares(errors, n), "p")
    assert (np.flatnonzero(drawn.is_outside) + 1).tolist() == [11]


def test_p_prime_chart_of_the_emergency_departments_calls_no_week():
    seen, n = data("laney_p_prime_emergency_4h", "seen_within_4h", "attendances")
    assert not draw_series(shares(seen, n), "p-prime").is_outside.any()
    plain = draw_series(shares(seen, n), "p")
    weeks = expected("laney_p_prime_emergency_4h", "weeks_outside_plain_p_chart")
    assert (np.flatnonzero(plain.is_outside) + 1).tolist() == weeks


def test_p_prime_chart_is_never_narrower_than_chance():
    """sigma_z of the orders is 0.966: the limits stay those of the p-chart."""
    n, errors = data("laney_p_prime_screening_t7_4", "n", "nonconforming")
    wide, plain = (draw_series(shares(errors, n), kind) for kind in ("p-prime", "p"))
    assert wide.ucl == pytest.approx(plain.ucl)


def test_np_chart_of_the_cans():
    (counts,) = data("np_chart_textbook", "nonconforming")
    drawn = draw_series(shares(counts, 50), "np")
    assert drawn.centre[0] == pytest.approx(11.5666666667)
    assert (drawn.lcl[0], drawn.ucl[0]) == pytest.approx((2.6213774036, 20.5119559297))


def test_u_chart_and_u_prime_chart_of_the_cloth():
    size, counts = data("u_chart_variable_n_textbook_ex7_5", "units_of_50m2", "nonconformities")
    cloth = series(Quantity.RATE, size, counts)
    limits = expected("u_chart_variable_n_textbook_ex7_5", "ucl_by_roll")
    assert draw_series(cloth, "u").ucl == pytest.approx(limits)
    assert draw_series(cloth, "u-prime").ucl == pytest.approx(limits)


def test_c_chart_of_the_wafers():
    (defects,) = data("c_chart_nist_6_3_3_1", "defects")
    drawn = draw_series(series(Quantity.RATE, 1, defects), "c")
    assert (drawn.lcl[0], drawn.ucl[0]) == (4.0, 28.0)
    assert (np.flatnonzero(drawn.is_outside) + 1).tolist() == [24]


def test_xbar_chart_of_the_unequal_piston_rings():
    sample, x = data("xbar_s_variable_n_textbook_t6_4", "sample", "x")
    groups = [x[sample == number] for number in range(1, 26)]
    rings = series(
        Quantity.MEAN,
        [len(group) for group in groups],
        [group.sum() for group in groups],
        [(group**2).sum() for group in groups],
    )
    limits = expected("xbar_s_variable_n_textbook_t6_4", "ucl_by_sample")
    assert draw_series(rings, "xbar").ucl == pytest.approx(limits, abs=1e-6)
    assert not draw_series(rings, "s").is_outside.any()


def test_individuals_chart_of_the_mortgages_finds_the_late_weeks():
    cost, phase = data("imr_textbook_ex6_5", "cost", "phase")
    months = series(Quantity.MEAN, 1, cost, n_baseline=int((phase == 1).sum()))
    assert outside(*_limits(draw_series(months, "individuals"))) == [39, 40]


def _limits(drawn):
    return drawn.value, drawn.lcl, drawn.ucl


def test_ewma_chart_starts_at_the_centre_and_its_limits_widen():
    drawn = draw_series(shares([12] * 6, 100), "ewma")
    assert drawn.value == pytest.approx([0.12] * 6)
    assert (np.diff(drawn.ucl) > 0).all()
    first = 2.962 * 0.2 * np.sqrt(0.12 * 0.88 / 100)
    assert drawn.ucl[0] == pytest.approx(0.12 + first)


def test_cusum_scores_of_a_month_are_the_sum_of_its_exams_scores():
    """Against the exam-by-exam weights of Steiner et al. 2000."""
    one_by_one = risk_scores([1, 1, 0, 0, 0], np.full(5, 0.1), odds_ratio=2.0).sum()
    month = month_scores([2.0], [5.0], share=0.1, odds_ratio=2.0)
    assert month[0] == pytest.approx(one_by_one)


def test_cusum_chart_begins_after_the_baseline_and_calls_beyond_its_limits():
    events = [5] * 12 + [15] * 6
    drawn = draw_series(shares(events, n_baseline=12), "cusum", cusum_limits=(6.0, 4.0))
    assert np.isnan(drawn.value[:12]).all()
    assert drawn.is_outside[-1]
    assert not drawn.is_outside[:13].any()
    assert (drawn.second[12:] <= 0).all()
    assert (drawn.ucl[0], drawn.lcl[0]) == (6.0, -4.0)


@pytest.mark.parametrize("quantity", list(Quantity))
def test_every_monthly_kind_draws_without_a_baseline_and_without_months(quantity):
    for n_months in (0, 1, 3):
        months = series(quantity, 10, [2.0] * n_months, [2.0] * n_months, n_baseline=0)
        for kind in kinds_for(quantity):
            if is_monthly(kind.code, quantity):
                drawn = draw_series(months, kind.code)
                assert len(drawn.value) == n_months
                assert not drawn.is_outside.any()


def test_series_months_takes_months_with_exams_in_order():
    frame = pl.DataFrame(
        {
            "month": [date(2026, 3, 1), date(2026, 1, 1), date(2026, 2, 1)],
            "n": [10, 20, 0],
            "total": [1, 2, 0],
        }
    )
    found = series_months(
        frame, quantity=Quantity.SHARE, baseline=(date(2026, 1, 1), date(2026, 1, 1))
    )
    assert found.months == (date(2026, 1, 1), date(2026, 3, 1))
    assert found.is_baseline.tolist() == [True, False]
    assert found.centre == pytest.approx(0.1)


DAYS = [add_months(date(2020, 1, 1), number) for number in range(60)]


def test_exams_between_events_count_the_exams_without():
    events = np.zeros(60, dtype=bool)
    events[[2, 3, 10]] = True
    found = exams_between(DAYS, events, baseline=None)
    assert found.value.tolist() == [0, 6]
    assert found.days == (DAYS[3], DAYS[10])
    assert np.isnan(found.ucl)


def test_exams_between_events_have_exact_limits_from_ten_events_on():
    """Share 12 of 60: the geometric 99.865 % point by scipy.stats is 29 counted from 0."""
    events = np.arange(60) % 5 == 4
    found = exams_between(DAYS, events, baseline=(DAYS[0], DAYS[-1]))
    assert (found.value == 4).all()
    assert (found.lcl, found.centre, found.ucl) == (0.0, 3.0, 29.0)
    assert found.is_baseline.all()


def test_days_between_events_never_are_zero():
    events = np.ones(3, dtype=bool)
    found = days_between(
        [date(2026, 1, 1), date(2026, 1, 1), date(2026, 1, 9)], events, baseline=None
    )
    assert found.value.tolist() == [0.5, 8.0]


def test_each_kind_says_what_it_is_and_where_it_comes_from():
    for code, kind in CHART_KINDS.items():
        assert kind.code == code
        assert kind.sentence.endswith(".")
        assert kind.source
        assert kind.quantities or code in ("ra-cusum", "vlad", "learning")


def test_limits_after_a_short_baseline_are_wider_by_the_prediction_interval():
    """12 months of 50 exams at 20 %: half width 3·√(0.16·(1/50 + 1/600))."""
    drawn = draw_series(shares([10] * 14, 50, n_baseline=12), "p")
    half = 3 * np.sqrt(0.16 / 50)
    assert drawn.ucl[0] == pytest.approx(0.2 + half)
    assert drawn.ucl[-1] == pytest.approx(0.2 + 3 * np.sqrt(0.16 * (1 / 50 + 1 / 600)))


@pytest.mark.parametrize("kind", ["individuals", "cusum"])
def test_charts_of_means_call_a_lasting_shift_and_not_the_rest(kind):
    """Months of spread 1 around 0 (seed 3), then five sigma higher."""
    means = np.random.default_rng(3).normal(size=36)
    means[30:] += 5
    drawn = draw_series(series(Quantity.MEAN, 25, 25 * means, n_baseline=24), kind)
    assert drawn.is_outside[31:].all()
    assert not drawn.is_outside[:30].any()


def test_pool_quarters_adds_months_up_and_keeps_the_baseline_whole():
    months = shares([1] * 8, 4, n_baseline=5)
    pooled = pool_quarters(months)
    assert pooled.n.tolist() == [12, 12, 8]
    assert pooled.total.tolist() == [3, 3, 2]
    assert pooled.is_baseline.tolist() == [True, False, False]
    assert pooled.months[0] == months.months[0]
