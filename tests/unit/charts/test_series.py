"""in_series_order: the same order as sorting by the texts themselves, and a number per series."""

import polars as pl

from qa.charts.series import SERIES_KEY, in_series_order
from qa.model.schemas import MEASURE_VALUES
from tests.unit.charts.frames import make_series


def test_in_series_order_sorts_as_texts_do_and_numbers_the_series():
    units = ("operator:op-10", "operator:op-9", "site:eider", "device:dev-1")
    values = pl.concat(make_series([(1, 9), (2, 9), (3, 9)], unit=unit) for unit in units)
    found = in_series_order(values.sample(fraction=1.0, shuffle=True, seed=4))
    plain = values.sort(*SERIES_KEY, "month")
    assert found.drop("series_no").equals(plain)
    assert found["series_no"].to_list() == [0] * 3 + [1] * 3 + [2] * 3 + [3] * 3


def test_in_series_order_of_no_rows_is_empty():
    assert in_series_order(MEASURE_VALUES.empty())["series_no"].to_list() == []
