from dataclasses import replace

import polars as pl
import pytest

from qa.charts.baseline import freeze_baselines
from qa.charts.control import chart_points
from qa.model.schemas import BASELINES, CHART_POINTS, MEASURE_VALUES
from tests.unit.charts.frames import (
    SET_AT,
    SETTINGS,
    make_baseline,
    make_measure,
    make_series,
    month,
)

BASE = [(2, 40)] * 3


def chart(values, baselines=None, better="lower", **changes):
    return chart_points(
        values,
        baselines=BASELINES.empty() if baselines is None else baselines,
        measures=[make_measure(better, **changes)],
        settings=SETTINGS,
    )


def after(points, number=4):
    """Rules and state of one month."""
    row = points.filter(pl.col("month") == month(number)).row(0, named=True)
    return row["rules"], row["state"]


def test_chart_points_of_no_rows_is_empty_with_full_schema():
    points = chart(MEASURE_VALUES.empty())
    assert points.schema == CHART_POINTS.to_polars()
    assert points.is_empty()


def test_chart_points_without_a_baseline_give_no_verdict():
    row = chart(make_series([(2, 40)])).row(0, named=True)
    assert (row["baseline_from"], row["phase"], row["limit_method"]) == ("none", "baseline", "none")
    assert (row["centre"], row["lcl"], row["ucl"], row["state"]) == (None, None, None, "few")


@pytest.mark.parametrize(
    ("events", "n", "method"),
    [(10, 100, "three sigma"), (9, 99, "exact binomial"), (9, 100, "three sigma")],
)
def test_chart_points_choose_limits_by_expected_exams(events, n, method):
    """Baseline 5 of 100: 5 expected in 100 exams, 4.95 in 99."""
    points = chart(make_series([*BASE, (events, n)]), make_baseline(5, 100))
    assert points["limit_method"][3] == method


def test_chart_points_limits_of_a_month_equal_the_binomial_worked_by_hand():
    """P(K > 5 of 20 at 5 %) = 0.0003 ≤ 0.00135 < P(K > 4) = 0.0026, so the limit is 5 of 20;

    20 exams after a baseline of 100: 5 % + 20 points · √(1 + 20/100) = 26.91 %.
    """
    points = chart(make_series([*BASE, (5, 20)]), make_baseline(5, 100))
    assert points["ucl"][3] == pytest.approx(0.05 + 0.2 * 1.2**0.5)
    assert after(points) == ([], "steady")


@pytest.mark.parametrize(
    ("better", "baseline", "month_four", "rules", "state"),
    [
        ("lower", (5, 100), (5, 20), [], "steady"),
        ("lower", (5, 100), (6, 20), ["RUL-001"], "watch"),
        ("higher", (95, 100), (15, 20), [], "steady"),
        ("higher", (95, 100), (14, 20), ["RUL-001"], "watch"),
        ("higher", (5, 100), (6, 20), [], "steady"),
        ("lower", (95, 100), (14, 20), [], "steady"),
        ("neither", (5, 100), (6, 20), ["RUL-001"], "watch"),
        ("neither", (95, 100), (14, 20), ["RUL-001"], "watch"),
        ("lower", (5, 100), (10, 20), ["RUL-001", "RUL-007"], "look"),
        ("higher", (95, 100), (10, 20), ["RUL-001", "RUL-007"], "look"),
    ],
)
def test_chart_points_break_the_limit_on_the_bad_side_only(
    better, baseline, month_four, rules, state
):
    points = chart(make_series([*BASE, month_four]), make_baseline(*baseline), better)
    assert after(points) == (rules, state)


def test_chart_points_never_call_one_exam_a_pattern():
    """At a baseline of 0 of 100 the limit is 0: one exam lies beyond, two make it a signal."""
    points = chart(make_series([*BASE, (1, 20), (0, 20), (2, 20)]), make_baseline(0, 100))
    assert after(points, 4) == ([], "steady")
    assert "RUL-001" in after(points, 6)[0]


def test_chart_points_ask_no_rules_in_the_baseline():
    points = chart(make_series([(20, 40), *BASE]), make_baseline(6, 160, to=4))
    assert points["phase"].unique().to_list() == ["baseline"]
    assert points["state"].unique().to_list() == ["steady"]


@pytest.mark.parametrize(("n", "state"), [(9, "few"), (10, "steady"), (11, "steady")])
def test_chart_points_below_min_n_are_too_few(n, state):
    points = chart(make_series([*BASE, (0, n)]), make_baseline(5, 100))
    assert after(points) == ([], state)


def test_chart_points_below_the_shown_minimum_are_too_few_whatever_the_measure_says():
    points = chart(make_series([*BASE, (0, 4), (0, 5)]), make_baseline(5, 100), min_n=1)
    assert points["state"].to_list()[3:] == ["few", "steady"]


def test_chart_points_without_exams_have_no_limits():
    row = chart(make_series([*BASE, (0, 0)]), make_baseline(5, 100)).row(3, named=True)
    assert (row["value"], row["lcl"], row["ucl"], row["limit_method"]) == (None, None, None, "none")
    assert row["state"] == "few"


def test_chart_points_find_a_quarter_that_no_single_month_shows():
    """5 % expected; 15 % in three months of 30 exams: 5 of 30 lies within the limit of 6."""
    calm, bad = [(6, 120)] * 3, [(5, 30), (4, 30), (5, 30)]
    points = chart(make_series([*calm, *bad]), make_baseline(18, 360))
    assert [after(points, number)[0] for number in (4, 5)] == [[], []]
    assert "RUL-002" in after(points, 6)[0]


def test_chart_points_pooled_rules_need_the_month_itself_on_the_bad_side():
    bad = [(5, 30), (5, 30), (5, 30), (1, 30)]
    points = chart(make_series([*BASE, *bad]), make_baseline(18, 360))
    assert "RUL-002" in after(points, 6)[0]
    assert "RUL-002" not in after(points, 7)[0]


def test_chart_points_find_a_half_year_that_no_quarter_shows():
    """Binomial 30 exams a month at 5 %: 20 of 180 where 9 are expected; no quarter over 11."""
    bad = [(3, 30), (3, 30), (4, 30), (3, 30), (3, 30), (4, 30)]
    points = chart(make_series([*BASE, *bad]), make_baseline(180, 3600))
    assert "RUL-005" in after(points, 9)[0]


def test_chart_points_pool_calendar_months_not_rows():
    gap = pl.concat(
        [
            make_series([*BASE, (4, 30), (4, 30)]),
            make_series([(5, 30)], first=8),
        ]
    )
    assert after(chart(gap, make_baseline(18, 360)), 8) == ([], "steady")


@pytest.mark.parametrize(("in_a_row", "state"), [(7, "steady"), (8, "watch"), (9, "watch")])
def test_chart_points_watch_eight_in_a_row(in_a_row, state):
    """3 of 50 at 5 %: just above the centre line, far from every limit."""
    points = chart(make_series([*BASE, *[(3, 50)] * in_a_row]), make_baseline(180, 3600))
    last = after(points, 3 + in_a_row)
    assert last == (["RUL-004"] if state == "watch" else [], state)


def test_chart_points_never_join_criteria_sets():
    """Four bad months under each set: eight in a row only if they were joined."""
    values = pl.concat(
        [
            make_series([*BASE, *[(3, 50)] * 4]),
            make_series([(3, 50)] * 4, criteria_id="plain.v2", first=8),
        ]
    )
    both = pl.concat([make_baseline(180, 3600), make_baseline(180, 3600, criteria_id="plain.v2")])
    points = chart(values, both)
    assert points["rules"].list.len().sum() == 0
    assert points.filter(pl.col("criteria_id") == "plain.v2")[
        "baseline_from"
    ].unique().to_list() == ["own"]
    assert chart(values, make_baseline(180, 3600))["baseline_from"].to_list()[-4:] == ["none"] * 4


def test_chart_points_of_a_newcomer_use_the_networks_baseline():
    network = make_baseline(60, 1200, unit="network:network")
    points = chart(make_series([(9, 30), (1, 30)], first=5), network)
    assert points["baseline_from"].to_list() == ["network", "network"]
    assert points["phase"].to_list() == ["monitoring", "monitoring"]
    assert points["centre"].to_list() == [0.05, 0.05]
    assert after(points, 5)[0] == ["RUL-001", "RUL-006", "RUL-007"]


def test_chart_points_of_a_new_site_use_no_other_baseline():
    network = make_baseline(60, 1200, unit="network:network")
    points = chart(make_series([(9, 30)], unit="site:eider", first=5), network)
    assert points["baseline_from"].to_list() == ["none"]


def test_chart_points_judged_by_the_network_stay_so_when_the_own_baseline_comes():
    values = make_series([(9, 30), (1, 40), (1, 40), (1, 40)], first=5)
    network = make_baseline(60, 1200, unit="network:network")
    before = chart(values, network)
    later = chart(values, pl.concat([network, make_baseline(11, 110, to=7)]))
    assert later.head(3).equals(before.head(3))
    assert later["baseline_from"].to_list() == ["network", "network", "network", "own"]


def test_chart_points_do_not_depend_on_the_order_of_rows():
    values = pl.concat(
        [
            make_series([*BASE, *[(5, 30)] * 5]),
            make_series([*BASE, *[(3, 50)] * 9], unit="operator:op-2"),
        ]
    )
    both = pl.concat([make_baseline(18, 360), make_baseline(180, 3600, unit="operator:op-2")])
    assert chart(values.reverse(), both.reverse()).equals(chart(values, both))


def test_chart_points_are_one_per_value_and_sorted_by_their_key():
    values = make_series([*BASE, (5, 30)])
    points = chart(values, make_baseline(18, 360))
    assert points.height == values.height
    assert points.select(CHART_POINTS.key).equals(
        points.select(CHART_POINTS.key).sort(CHART_POINTS.key)
    )


def test_chart_points_keep_out_what_the_measure_does_not_chart():
    assert chart(make_series([(1, 30)], unit="device:d-1")).is_empty()
    assert chart(make_series([(1, 30)], measure_id="MSR-099")).is_empty()


def decided(to, *, start, n_events=20, n=100, number=2):
    """A baseline that a person set from month `start` on."""
    return make_baseline(n_events, n, to=to).with_columns(
        baseline_id=pl.lit(f"decided-{number}"),
        from_month=pl.lit(month(start)),
        judges_from=pl.lit(month(start)),
        version_no=pl.lit(number, dtype=pl.Int64),
        set_at=pl.lit(SET_AT.replace(year=2027)),
    )


def test_chart_points_keep_each_of_several_baselines_for_its_own_months():
    values = make_series([*BASE, *[(8, 40)] * 5])
    points = chart(values, pl.concat([make_baseline(5, 100), decided(6, start=5)]))
    assert points["centre"].to_list() == pytest.approx([0.05] * 4 + [0.2] * 4)
    assert points["phase"].to_list() == [
        *["baseline"] * 3,
        "monitoring",
        *["baseline"] * 2,
        *["monitoring"] * 2,
    ]


def test_chart_points_let_a_later_decision_take_over_from_its_month():
    values = make_series([*BASE, *[(8, 40)] * 5])
    older, newer = decided(7, start=6), decided(6, start=5, n_events=10, number=3)
    newer = newer.with_columns(set_at=pl.lit(SET_AT.replace(year=2028)))
    points = chart(values, pl.concat([make_baseline(5, 100), older, newer]))
    assert points["centre"].to_list() == pytest.approx([0.05] * 4 + [0.1] * 4)


@pytest.mark.parametrize(("sigmas", "wide"), [(3.0, 3.0), (2.0, 2.0)])
def test_chart_points_limits_have_the_networks_width(sigmas, wide):
    values = make_series([(20, 100)] * 4)
    points = chart_points(
        values,
        baselines=make_baseline(60, 300),
        measures=[make_measure()],
        settings=replace(SETTINGS, limit_sigmas=sigmas),
    )
    half = wide * (0.2 * 0.8 / 100 + 0.2 * 0.8 / 300) ** 0.5
    assert points["ucl"][3] == pytest.approx(0.2 + half)


def test_chart_points_break_where_the_devices_of_a_measure_change():
    measure = make_measure(depends_on_device=True)
    changes = pl.DataFrame(
        {"unit_kind": ["operator"], "unit_id": ["op-1"], "equipment_from": [month(5)]}
    )
    values = make_series([(5, 40)] * 9)
    common = {"measures": [measure], "settings": SETTINGS, "changes": changes}
    frozen = freeze_baselines(
        values, existing=BASELINES.empty(), set_at=SET_AT, set_by="R. Vane", **common
    )
    assert frozen["to_month"].to_list() == [month(3), month(7)]
    points = chart_points(values, baselines=frozen, **common)
    assert points["equipment_from"].to_list() == [None] * 4 + [month(5)] * 5
    assert points["baseline_id"].n_unique() == 2
    assert points["phase"].to_list() == [
        *["baseline"] * 3,
        "monitoring",
        *["baseline"] * 3,
        *["monitoring"] * 2,
    ]
