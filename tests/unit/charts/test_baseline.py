import polars as pl
import pytest

from qa.charts.baseline import freeze_baselines
from qa.model.schemas import BASELINES, MEASURE_VALUES
from tests.unit.charts.frames import (
    SET_AT,
    SETTINGS,
    make_baseline,
    make_measure,
    make_series,
    month,
)


def freeze(values, existing=None):
    return freeze_baselines(
        values,
        existing=BASELINES.empty() if existing is None else existing,
        measures=[make_measure()],
        settings=SETTINGS,
        set_at=SET_AT,
        set_by="R. Vane",
    )


@pytest.mark.parametrize(
    ("exams", "to"),
    [
        ([40, 40, 40, 40], 3),
        ([34, 33, 33, 40], 3),
        ([33, 33, 33, 40, 40], 4),
        ([40, 0, 40, 40, 40], 4),
        ([40, 40, 40], None),
        ([33, 33, 33, 40], None),
        ([40, 40], None),
        ([], None),
    ],
)
def test_freeze_baselines_waits_for_months_and_exams_and_a_later_month(exams, to):
    frozen = freeze(make_series([(min(2, n), n) for n in exams]))
    assert frozen["to_month"].to_list() == ([] if to is None else [month(to)])


@pytest.mark.parametrize(("numerator", "first"), [("n_repeats", 4), ("n_unreliable", 1)])
def test_freeze_baselines_leaves_out_months_that_could_not_look_back(numerator, first):
    """A window of 90 days: the network's first three months know nothing of the time before."""
    frozen = freeze_baselines(
        make_series([(1, 40)] * 8),
        existing=BASELINES.empty(),
        measures=[make_measure(numerator=(numerator,))],
        settings=SETTINGS,
        set_at=SET_AT,
        set_by="R. Vane",
    )
    assert frozen["from_month"].to_list() == [month(first)]


def test_freeze_baselines_sums_its_months():
    row = freeze(make_series([(1, 40), (2, 40), (3, 50), (9, 40)])).row(0, named=True)
    assert row["baseline_id"] == "operator.op-1.MSR-001.plain.v1.2025-03"
    assert (row["n_months"], row["n_events"], row["n"]) == (3, 6, 130)
    assert row["centre"] == pytest.approx(6 / 130)
    assert (row["from_month"], row["site_id"], row["set_by"]) == (month(1), "eider", "R. Vane")
    assert row["set_at"] == SET_AT


def test_freeze_baselines_takes_the_later_month_of_any_unit():
    short = make_series([(2, 40)] * 3)
    other = make_series([(2, 40)] * 4, unit="operator:op-2")
    assert freeze(pl.concat([short, other]))["unit_id"].to_list() == ["op-1", "op-2"]


def test_freeze_baselines_leaves_a_frozen_one_alone_whatever_the_values_say():
    values = make_series([(9, 40)] * 5)
    assert freeze(values, make_baseline(2, 120)).is_empty()


def test_freeze_baselines_keeps_criteria_sets_apart():
    values = pl.concat(
        [
            make_series([(2, 40)] * 4),
            make_series([(2, 40)] * 4, criteria_id="plain.v2", first=5),
            make_series([(2, 40)] * 1, criteria_id="plain.v2", first=9),
        ]
    )
    frozen = freeze(values, make_baseline(6, 120))
    assert frozen.select("criteria_id", "to_month").rows() == [("plain.v2", month(7))]


def test_freeze_baselines_freezes_the_network_but_no_kind_that_is_not_charted():
    values = pl.concat(
        [
            make_series([(2, 40)] * 4, unit="network:network", site=None),
            make_series([(2, 40)] * 4, unit="device:d-1"),
        ]
    )
    assert freeze(values)["unit_kind"].to_list() == ["network"]


def test_freeze_baselines_of_no_rows_is_empty_with_full_schema():
    frozen = freeze(MEASURE_VALUES.empty())
    assert frozen.schema == BASELINES.to_polars()
    assert frozen.is_empty()


def test_freeze_baselines_twice_is_once():
    values = make_series([(2, 40)] * 5)
    first = freeze(values)
    assert freeze(values, first).is_empty()
