"""The Intake view against a hand-made intake, and its page as a plain function."""

import csv
import io
from dataclasses import replace

import pytest

from dashboard import ids
from dashboard.addresses import Download, Form, Page
from dashboard.app import render
from dashboard.downloads import BYTE_ORDER_MARK, download
from qa.intake.checks import SENTENCES
from qa.views.arrivals import arrivals
from qa.views.intake import MONTHS_SHOWN, NO_SITE, intake_view
from tests.pages.intake_frames import BEFORE, intake_published
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import empty_published, sample_published
from tests.pages.walk import addresses, components, element, of_kind, text


def test_intake_view_answers_with_a_count_for_each_state():
    view = intake_view(intake_published(), month=LAST)
    assert view.answer == (
        "October 2026 is in from three of six sites, suddenly thin from one, partial from one and "
        "late from one; 5 rows at three sites wait; one file is refused."
    )


def test_intake_view_counts_rows_at_one_site_as_the_sample_holds_them():
    view = intake_view(sample_published(), month=LAST)
    assert view.answer == (
        "October 2026 is in from five of six sites and late from one; 2 rows at one site wait."
    )


def test_intake_view_of_one_site_says_its_month_in_its_own_words():
    view = intake_view(intake_published(), month=LAST, site_id="S4")
    assert view.answer == "Gannet Lane: S4 is partial; 1 row waits; one file is refused."
    assert [row.site_id for row in view.rows] == ["S4"]
    assert {one.site_id for one in view.reasons} == {"S4"}
    assert {file.site_name for file in view.newest} == {"Gannet Lane"}


def test_intake_view_with_nothing_wrong_says_so():
    published = intake_published()
    for name in ("quarantined", "files"):
        published = published.with_frame(name, published.frame(name).clear())
    view = intake_view(published, month=BEFORE)
    assert view.answer == "September 2026 is in from all six sites; no row waits."


def test_intake_view_has_twelve_months_and_a_dash_where_nothing_is_known():
    view = intake_view(intake_published(), month=LAST)
    assert len(view.months) == MONTHS_SHOWN == len(view.rows[0].cells)
    assert [cell.state for cell in view.rows[0].cells] == [*["–"] * 10, "in", "in"]
    assert view.months[-1] == LAST


def test_intake_view_names_closed_and_restated_months():
    view = intake_view(intake_published(), month=LAST)
    assert view.closed == {BEFORE}
    restated = [(row.site_id, cell.month) for row in view.rows for cell in row.cells
                if cell.is_restated]  # fmt: skip
    assert restated == [("S1", BEFORE)]


def test_intake_view_remarks_are_the_months_that_are_not_plain_newest_first():
    view = intake_view(intake_published(), month=LAST)
    assert [(name, month.month) for name, month, _ in view.remarks] == [
        ("Eider Point", 10),
        ("Gannet Lane", 10),
        ("Merlin Court", 10),
        ("Alder Sound", 9),
    ]


def test_intake_view_counts_a_row_under_each_of_its_reasons_once():
    view = intake_view(intake_published(), month=LAST)
    assert [(one.site_name, one.code, one.n_rows) for one in view.reasons] == [
        ("Bracken Hill", "CHK-012", 2),
        ("Bracken Hill", "CHK-039", 2),
        (NO_SITE, "CHK-039", 1),
        ("Gannet Lane", "CHK-039", 1),
    ]
    assert view.n_waiting == 5
    assert view.reasons[0].sentence == SENTENCES["CHK-012"]


def test_intake_view_lists_refused_files_and_the_newest_first():
    view = intake_view(intake_published(), month=LAST)
    assert [file.name for file in view.refused] == ["s4-2026-10.xlsx"]
    times = [file.read_at for file in view.newest]
    assert times == sorted(times, reverse=True)
    assert len(times) == 6


def test_intake_view_before_the_measure_existed_has_no_chart():
    published = intake_published()
    assert intake_view(published, month=LAST).chart is not None
    measures = published.definitions.measures
    kept = {key: one for key, one in measures.items() if one.key != "quarantined"}
    older = replace(published, definitions=replace(published.definitions, measures=kept))
    assert intake_view(older, month=LAST).chart is None
    assert "could not be made" not in text(render(Page.INTAKE, lambda: older, {}))


def test_intake_page_shows_each_state_as_word_and_mark():
    shown = render(Page.INTAKE, intake_published, {})
    (grid,) = [one for one in of_kind(shown, "Table") if one.className == "months"]
    said = text(grid)
    for word in ("in", "thin", "partial", "late", "closed", "restated"):
        assert word in said.split()
    marks = [one.className for one in components(grid) if "mark" in str(vars(one).get("className"))]
    assert marks.count("mark mark-watch") == 2
    assert marks.count("mark mark-look") == 1


def test_intake_page_with_all_well_offers_no_return_sheet():
    published = intake_published()
    for name in ("quarantined", "files"):
        published = published.with_frame(name, published.frame(name).clear())
    shown = render(Page.INTAKE, lambda: published, {})
    assert "No row waits and no file is refused." in text(shown)
    assert "No file was read yet." in text(shown)
    assert not any(Download.RETURN_SHEET in href for href in addresses(shown))


def test_intake_page_names_the_command_for_the_chosen_site():
    shown = render(Page.INTAKE, intake_published, {"site": "S2"})
    said = text(element(shown, ids.Intake.WAITING)) + text(shown)
    assert "elastoqa quarantine sheet --site S2 --out mend.xlsx" in said
    assert "elastoqa quarantine retry --site S2" in said


@pytest.mark.parametrize("can_try", [True, False])
def test_intake_page_leads_to_the_form_only_where_there_is_one(can_try):
    shown = render(Page.INTAKE, intake_published, {"site": "S2"}, can_try=can_try)
    assert any(href.startswith(Form.TRY) for href in addresses(shown)) is can_try


def rows_of(where, **query):
    answer = download(where, intake_published, query)
    assert answer.status_code == 200
    said = answer.get_data(as_text=True).removeprefix(BYTE_ORDER_MARK)
    return list(csv.DictReader(io.StringIO(said)))


def test_download_of_the_return_sheet_holds_the_site_and_no_formula():
    rows = rows_of(Download.RETURN_SHEET, site="S2")
    assert [row["Row under the headings"] for row in rows] == ["12", "12", "40", "41"]
    assert rows[-1]["What was found"] == "'=cmd|' /C calc'!A0"
    answer = download(Download.RETURN_SHEET, intake_published, {"site": "S2"})
    assert "return-sheet-2026-10.csv" in answer.headers["Content-Disposition"]
    assert answer.get_data(as_text=True).startswith(BYTE_ORDER_MARK)


def test_download_of_the_return_sheet_without_anything_to_mend_has_headings_only():
    assert rows_of(Download.RETURN_SHEET, site="S3") == []


def test_download_of_intake_holds_each_site_and_month():
    rows = rows_of(Download.INTAKE)
    assert len(rows) == 6 * MONTHS_SHOWN
    states = [row["state"] for row in rows if row["month"] == "2026-10-01"]
    assert states == ["in", "in", "thin", "partial", "in", "late"]


def test_arrivals_name_late_partial_and_thin_months_refused_files_and_waiting_rows():
    lines = arrivals(intake_published(), month=LAST)
    assert [line.site_id for line in lines] == ["S6", "S4", "S3", "S4", "S2", None, "S4"]
    assert lines[1].text == "Gannet Lane: S4 is partial."
    assert "3 rows" in lines[4].text


def test_intake_page_with_nothing_published_says_what_to_run():
    assert "elastoqa refresh" in text(render(Page.INTAKE, empty_published, {}))
