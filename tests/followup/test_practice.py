"""Practice by month: 12 months, current or not, outside an authorisation; counted by hand."""

from datetime import date

import polars as pl
import pytest

from qa.followup.competence import Authorisation, OperatorFile
from qa.followup.practice import practice_months
from qa.model.practice_schema import PRACTICE_MONTHS
from qa.model.schemas import EXAMS

FILE = OperatorFile(
    "op-1",
    "north",
    authorisations=(Authorisation(1, "TE", "standard", date(2026, 10, 15), None, "maria"),),
    n_events=1,
)


def counts(*rows: tuple[str, str, date, int]) -> pl.DataFrame:
    types = {"operator_id": pl.String, "site_id": pl.String, "month": pl.Date}
    return pl.DataFrame(rows, schema={**types, "n_performed": pl.Int64}, orient="row")


def exam(key: str, day: int, *, operator: str = "op-1", probe: str = "standard") -> dict:
    return {
        "exam_key": key,
        "operator_id": operator,
        "site_id": "north",
        "device_id": "d",
        "technique": "TE",
        "probe": probe,
        "performed": "performed",
        "exam_on": date(2026, 10, day),
        "month": date(2026, 10, 1),
        "is_date_nominal": False,
    }


NO_EXAMS = EXAMS.empty()
LAST_YEAR, OCTOBER = date(2025, 11, 1), date(2026, 10, 1)


@pytest.mark.parametrize(
    ("first", "n_last_year", "n_here", "n_there", "n_year", "is_current"),
    [
        (LAST_YEAR, 40, 3, 0, 43, False),
        (LAST_YEAR, 40, 9, 0, 49, False),
        (LAST_YEAR, 40, 10, 0, 50, True),
        (LAST_YEAR, 40, 5, 5, 50, True),
        (date(2025, 10, 1), 40, 10, 0, 10, False),
        (date(2025, 12, 1), 40, 10, 0, 50, None),
    ],
    ids=["few", "below", "on", "two sites", "13 months ago", "11 months known"],
)
def test_exams_of_twelve_months(first, n_last_year, n_here, n_there, n_year, is_current) -> None:
    rows = [("op-1", "north", first, n_last_year), ("op-1", "north", OCTOBER, n_here)]
    rows.append(("op-1", "south", OCTOBER, n_there))
    made = practice_months(counts(*rows), NO_EXAMS, [], current_exams_a_year=50)
    (row,) = made.filter(month=OCTOBER, site_id="north").iter_rows(named=True)
    assert (row["n_performed"], row["n_year"], row["is_current"]) == (n_here, n_year, is_current)
    assert made.filter(month=OCTOBER, site_id="south").height == (n_there > 0)
    assert row["n_outside"] is None


def test_exams_outside_are_counted_once_anybodys_file_is_begun() -> None:
    """Before the first day: outside; no probe recorded: cannot be told; no file: outside."""
    exams = [exam("a", 14), exam("b", 15), exam("c", 16, probe="unknown")]
    exams += [exam("d", 16, probe="large-patient"), exam("e", 16, operator="op-2")]
    own = counts(("op-1", "north", OCTOBER, 4), ("op-2", "north", OCTOBER, 1))
    made = practice_months(own, pl.DataFrame(exams), [FILE], current_exams_a_year=50)
    assert made.schema == PRACTICE_MONTHS.to_polars()
    found = made.select("operator_id", "n_outside", "n_untold").rows()
    assert found == [("op-1", 2, 1), ("op-2", 1, 0)]


def test_nothing_counted_gives_an_empty_frame() -> None:
    made = practice_months(counts(), NO_EXAMS, [FILE], current_exams_a_year=50)
    assert made.schema == PRACTICE_MONTHS.to_polars()
    assert made.is_empty()
