"""CSV of what is on screen: same rows, raw numbers, cells that no spreadsheet runs."""

import csv
import io

import pytest

from dashboard.addresses import Download
from dashboard.downloads import OF_DECISIONS, SHEETS, csv_text, download, safe_cell
from qa.views.drawn import drawn_view
from qa.views.drawn_choice import DrawChoice
from qa.views.sheets import Sheet
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import empty_published, sample_published


def rows_of(where: Download, **query: str) -> list[dict[str, str]]:
    answer = download(where, sample_published, query)
    assert answer.status_code == 200
    assert answer.mimetype == "text/csv"
    return list(csv.DictReader(io.StringIO(answer.get_data(as_text=True))))


@pytest.mark.parametrize(
    ("cell", "safe"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("Eider Point", "Eider Point"),
        ("", ""),
        (-1.5, -1.5),
        (None, None),
    ],
)
def test_safe_cell_disarms_text_and_leaves_numbers(cell, safe):
    """Source of the characters: OWASP, CSV Injection."""
    assert safe_cell(cell) == safe


def test_csv_text_leaves_unknown_cells_empty():
    assert csv_text(Sheet(("a", "b"), ((None, 0.5),))) == "a,b\r\n,0.5\r\n"


def test_download_of_a_chart_equals_the_published_points():
    points = sample_published().frame(
        "chart_points", unit_kind="operator", unit_id="31", measure_id="MSR-001"
    )
    rows = rows_of(Download.CHART, operator="31", measure="MSR-001")
    assert [int(row["n"]) for row in rows] == points["n"].to_list()
    assert [float(row["value_share"]) for row in rows] == points["value"].to_list()


def test_download_of_a_drawn_chart_is_what_is_drawn():
    asked = {"site": "S3", "measure": "MSR-001", "draw": "ewma"}
    rows = rows_of(Download.DRAWN, **asked)
    view = drawn_view(
        sample_published(),
        unit_kind="site",
        unit_id="S3",
        series_id="MSR-001",
        last_month=LAST,
        months=36,
        choice=DrawChoice("ewma"),
    )
    assert {row["chart"] for row in rows} == {"ewma"}
    assert [row["day"] for row in rows] == [f"{one.day}" for one in view.points]
    assert [float(row["value_share"]) for row in rows] == [one.value for one in view.points]


def test_download_of_exams_holds_those_behind_the_figure():
    rows = rows_of(Download.EXAM_LIST, site="S3", measure="MSR-001", part="counted")
    assert {row["outcome"] for row in rows} == {"unreliable"}


def test_download_of_sites_holds_each_site_and_measure_once():
    rows = rows_of(Download.SITES)
    keys = {(row["unit_id"], row["measure_id"]) for row in rows}
    assert len(keys) == len(rows) == 6 * 7
    assert {row["state"] for row in rows if row["unit_id"] == "S6"} == {"late"}


def test_download_of_exams_holds_all_that_were_not_reliable_and_no_patient():
    exams = sample_published().frame("exams", site_id="S3", month=LAST)
    rows = rows_of(Download.EXAMS, site="S3")
    assert len(rows) == exams.height - exams["outcome"].to_list().count("reliable")
    assert not any("patient" in heading for heading in rows[0])


def test_download_of_operators_of_a_site_holds_these_only():
    rows = rows_of(Download.OPERATORS, site="S1")
    assert {row["operator_id"] for row in rows} == {"11", "12", "13"}


@pytest.mark.parametrize("where", list(Download))
def test_download_of_every_sheet_has_headings_and_rows(where):
    assert where in SHEETS
    if where in OF_DECISIONS:
        return  # Need decisions too: tests/pages/test_record_page.py, test_equipment_pages.py.
    assert rows_of(where, site="S2" if where is Download.RETURN_SHEET else "S3")


@pytest.mark.parametrize("query", [{"site": "S99"}, {"month": "2020-01"}, {"measure": "x"}])
def test_download_of_something_unknown_is_not_found_and_says_why(query):
    answer = download(Download.SITES, sample_published, query)
    assert answer.status_code == 404
    assert answer.get_data(as_text=True).strip()


def test_download_with_nothing_published_is_not_found():
    assert download(Download.SITES, empty_published, {}).status_code == 404
