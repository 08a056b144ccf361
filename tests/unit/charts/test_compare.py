import polars as pl
import pytest

from qa.charts.compare import funnel_points
from qa.model.schemas import FUNNEL_POINTS, MEASURE_VALUES
from tests.unit.charts.frames import make_measure, make_series, month


def funnel(values, better="lower", to=3, months=3, unit_kind="operator"):
    return funnel_points(
        values,
        measures=[make_measure(better)],
        unit_kind=unit_kind,
        to_month=month(to),
        months=months,
    )


def make_units(counts):
    return pl.concat(
        make_series([one], unit=f"operator:op-{number}", first=3)
        for number, one in enumerate(counts, start=1)
    )


def test_funnel_points_of_no_rows_is_empty_with_full_schema():
    points = funnel(MEASURE_VALUES.empty())
    assert points.schema == FUNNEL_POINTS.to_polars()
    assert points.is_empty()


def test_funnel_points_sum_the_period_and_share_one_centre():
    values = pl.concat(
        [
            make_series([(9, 9), (1, 20), (2, 30), (9, 9)], first=1),
            make_series([(3, 50)], unit="operator:op-2", first=2),
            make_series([(8, 100)], unit="site:eider", first=2),
        ]
    )
    points = funnel(values, to=3, months=2)
    assert points.select("unit_id", "n_events", "n", "centre").rows() == [
        ("op-1", 3, 50, 0.06),
        ("op-2", 3, 50, 0.06),
    ]
    assert points["from_month"].to_list() == [month(2), month(2)]


def test_funnel_points_of_one_unit_lie_on_the_centre():
    row = funnel(make_units([(4, 40)])).row(0, named=True)
    assert (row["value"], row["centre"], row["state"]) == (0.1, 0.1, "steady")
    assert row["lcl998"] <= row["lcl95"] < 0.1 < row["ucl95"] <= row["ucl998"]


@pytest.mark.parametrize(
    ("better", "outlier", "state"),
    [
        ("lower", (30, 50), "look"),
        ("higher", (30, 50), "steady"),
        ("neither", (30, 50), "look"),
        ("lower", (0, 50), "steady"),
        ("higher", (0, 50), "look"),
        ("neither", (0, 50), "look"),
    ],
)
def test_funnel_points_look_on_the_bad_side_only(better, outlier, state):
    """Peers at 20 %: at n = 50 the exact 99.8 % limits are 3.5 and 37.9 % (Spiegelhalter 2005)."""
    points = funnel(make_units([outlier, (2000, 10000)]), better)
    assert points["state"].to_list() == [state, "steady"]


@pytest.mark.parametrize(
    ("n_events", "state"), [(15, "steady"), (16, "watch"), (18, "watch"), (19, "look")]
)
def test_funnel_points_states_turn_at_the_published_limits(n_events, state):
    """At 20 % and n = 50 the upper limits are 30.7 % (15.35 exams) and 37.9 % (18.96 exams)."""
    points = funnel(make_units([(n_events, 50), (2_000_000, 10_000_000)]))
    assert points["state"][0] == state


@pytest.mark.parametrize(("n", "state"), [(9, "few"), (10, "steady")])
def test_funnel_points_below_min_n_are_too_few(n, state):
    assert funnel(make_units([(1, n), (20, 200)]))["state"][0] == state


def test_funnel_points_without_exams_have_no_value():
    points = funnel(make_units([(0, 0), (20, 200)]))
    row = points.row(0, named=True)
    assert (row["value"], row["lower"], row["lcl95"], row["state"]) == (None, None, None, "few")


def test_funnel_points_keep_criteria_sets_apart():
    values = pl.concat(
        [
            make_series([(5, 50)], first=2),
            make_series([(20, 50)], criteria_id="plain.v2", first=3),
        ]
    )
    assert funnel(values).select("criteria_id", "centre").rows() == [
        ("plain.v1", 0.1),
        ("plain.v2", 0.4),
    ]
