"""Reads a table of exams and works out one measure for the network."""

from typing import Any

import polars as pl

from qa.counts import count_months
from qa.measures import measure_values
from tests.exam_tables import definitions, exams_of, judge, read_table


def events_and_n(key: str, table: str, **common: Any) -> tuple[int, int]:
    """Numerator and denominator of the measure over all exams of the table."""
    rows = [{**common, **row} for row in read_table(table)]
    exams = exams_of(rows)
    judged = judge(exams, tables=["stage_castera2005_hcv.v1", "att_karlas2017.v1"])
    values = measure_values(
        count_months(exams, judged),
        measures=[definitions().measure_by_key(key)],
        unit_kind="network",
        home_sites={},
    )
    return values.select(pl.col("n_events").sum(), pl.col("n").sum()).row(0)
