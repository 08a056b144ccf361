"""Rows read and held back: their counts by month, and their share as a measure."""

from datetime import UTC, date, datetime

import polars as pl
import pytest

from qa.counts import count_rows
from qa.measures import is_of_rows, measure_values
from qa.model.definitions import InForce
from qa.model.schemas import ROW_COUNTS, ROWS_READ
from tests.exam_tables import definitions

MEASURES = definitions().measures
SEP, OCT = date(2026, 9, 1), date(2026, 10, 1)


def rows_read(*rows: tuple[str | None, date, int, int]) -> pl.DataFrame:
    """(site, month, rows, held back) of one file each."""
    return ROWS_READ.conform(
        pl.DataFrame(
            [(f"f{n}", *row, datetime(2026, 11, 5, tzinfo=UTC)) for n, row in enumerate(rows)],
            schema=ROWS_READ.names,
            orient="row",
        )
    )


def test_count_rows_adds_files_of_one_site_and_month() -> None:
    read = rows_read(("a", OCT, 10, 1), ("a", OCT, 5, 2), ("b", OCT, 3, 0), (None, OCT, 1, 1))
    counts = count_rows(read, criteria=[InForce("c.v1", date(2020, 1, 1))])
    assert counts.select("site_id", "n_rows", "n_rows_quarantined").rows() == [
        (None, 1, 1),
        ("a", 15, 3),
        ("b", 3, 0),
    ]


@pytest.mark.parametrize(
    ("from_day", "criteria_id"),
    [
        (date(2026, 10, 1), "c.v2"),
        (date(2026, 10, 31), "c.v2"),  # in force on the month's last day
        (date(2026, 11, 1), "c.v1"),
    ],
)
def test_count_rows_belong_to_the_set_of_the_months_last_day(
    from_day: date, criteria_id: str
) -> None:
    criteria = [InForce("c.v2", from_day), InForce("c.v1", date(2020, 1, 1))]
    counts = count_rows(rows_read(("a", OCT, 10, 1)), criteria=criteria)
    assert counts["criteria_id"].to_list() == [criteria_id]


def test_count_rows_before_the_first_set_are_left_out() -> None:
    criteria = [InForce("c.v1", OCT)]
    counts = count_rows(rows_read(("a", SEP, 10, 1), ("a", OCT, 5, 0)), criteria=criteria)
    assert counts.select("month", "n_rows").rows() == [(OCT, 5)]


def test_count_rows_of_nothing_is_empty_with_the_schema() -> None:
    counts = count_rows(ROWS_READ.empty(), criteria=[InForce("c.v1", OCT)])
    assert counts.schema == ROW_COUNTS.to_polars()
    assert counts.is_empty()


def values_of(*rows: tuple[str | None, date, int, int], unit_kind: str) -> pl.DataFrame:
    counts = count_rows(rows_read(*rows), criteria=[InForce("c.v1", date(2020, 1, 1))])
    return measure_values(
        counts, measures=list(MEASURES.values()), unit_kind=unit_kind, home_sites={}
    )


def test_share_quarantined_by_site_and_of_the_network() -> None:
    """Newcombe, Stat Med 1998; 17: 857-872, Table I, Wilson for 15 of 148: 0.0624 to 0.1605."""
    rows = [("a", OCT, 148, 15), ("b", OCT, 2, 0), (None, OCT, 10, 10)]
    sites = values_of(*rows, unit_kind="site").select("unit_id", "site_id", "n_events", "n")
    assert sites.rows() == [("a", "a", 15, 148), ("b", "b", 0, 2)]
    first = values_of(*rows, unit_kind="site").row(0, named=True)
    assert first["lower"] == pytest.approx(0.0624, abs=5e-5)
    assert first["upper"] == pytest.approx(0.1605, abs=5e-5)
    network = values_of(*rows, unit_kind="network")
    assert network.select("measure_id", "n_events", "n").rows() == [("MSR-014", 25, 160)]


def test_only_the_measure_of_rows_is_of_rows() -> None:
    assert [one.key for one in MEASURES.values() if is_of_rows(one)] == ["quarantined"]
