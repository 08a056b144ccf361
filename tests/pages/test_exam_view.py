"""Exams behind a figure, and one exam with its rules, against the hand-made snapshot."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest

from dashboard.addresses import Page
from dashboard.app import render
from qa.drift.phantom_checks import CheckChart, CheckPoint, Session
from qa.followup.competence import Authorisation, OperatorFile
from qa.jobs.followup.cases import CaseDesk
from qa.model.equipment_words import CheckState
from qa.views.exam import authorised_on_day, check_of_day, exam_view
from qa.views.exam_list import ALL, COUNTED, SHOWN, ExamQuery, exam_list_view
from qa.views.seen import seen_by
from tests.followup.notes import AT, MANAGER
from tests.pages.sample_counts import LAST
from tests.pages.sample_published import sample_published
from tests.pages.test_case_pages import LEAD, store
from tests.pages.walk import addresses, text

__all__ = ["store"]


def exam_of(outcome: str, **equal: object) -> str:
    exams = sample_published().frame("exams", outcome=outcome, **equal)
    return str(exams["exam_key"][0])


def query(**asked: object) -> ExamQuery:
    return replace(ExamQuery(month=LAST, since=LAST), **asked)


@pytest.mark.parametrize(
    ("measure", "counted", "all_of"),
    [
        ("MSR-001", {"unreliable"}, {"reliable", "unreliable"}),
        ("MSR-003", {"failed"}, {"reliable", "unreliable", "incomplete", "failed"}),
    ],
)
def test_exams_of_a_measure_are_those_its_definition_names(measure, counted, all_of):
    """MSR-001: unreliable of reliable and unreliable; MSR-003: failed of all judged."""
    published = sample_published()
    exams = published.frame("exams", month=LAST, site_id="S3")
    expected = exams.filter(pl.col("outcome").is_in(list(all_of)))
    view = exam_list_view(published, query(site_id="S3", measure_id=measure, part=ALL))
    assert view.n == expected.height
    assert {row.outcome for row in view.rows} <= all_of
    part = exam_list_view(published, query(site_id="S3", measure_id=measure, part=COUNTED))
    assert {row.outcome for row in part.rows} == counted
    assert part.n == view.n_counted == exams.filter(pl.col("outcome").is_in(list(counted))).height
    assert f"{part.n} of {view.n} exams count" in view.answer


def test_exams_of_the_whole_network_are_of_one_month():
    view = exam_list_view(sample_published(), query(since=date(2025, 10, 1)))
    assert "choose a site" in view.note
    assert view.n == sample_published().frame("exams", month=LAST).height
    assert len(view.rows) == min(view.n, SHOWN)
    assert len(exam_list_view(sample_published(), query(), most=None).rows) == view.n


def test_measure_of_rows_or_grades_names_no_exam():
    rows = [
        one.id
        for one in sample_published().definitions.measures.values()
        if "n_rows" in one.denominator or one.is_grade
    ]
    assert len(rows) > 1
    shown = exam_view(sample_published(), exam_of("reliable"))
    assert shown is not None
    assert not set(rows) & {one.measure_id for one in shown.measures}
    for measure in rows:
        view = exam_list_view(sample_published(), query(site_id="S3", measure_id=measure))
        assert view.measure is None


@pytest.mark.parametrize(
    ("outcome", "asks", "verdict"),
    [
        ("unreliable", "IQR/median", "not kept"),
        ("incomplete", "At least 10 valid measurements", "not kept"),
        ("reliable", "IQR/median", "kept"),
    ],
)
def test_exam_says_which_rule_it_did_not_keep(outcome, asks, verdict):
    view = exam_view(sample_published(), exam_of(outcome, site_id="S3"))
    assert view is not None
    assert outcome in view.answer
    assert verdict in [row.verdict for row in view.rules if row.asks.startswith(asks)]
    told = dict(view.source)["File and row"]
    assert told.startswith("s3-2026-10.csv, row ")


def test_exam_tells_nothing_of_the_patient():
    page = text(render(Page.EXAM, sample_published, {"exam": exam_of("unreliable")}))
    row = sample_published().frame("exams", exam_key=exam_of("unreliable")).row(0, named=True)
    assert row["patient_key"] not in page
    assert "kPa)" not in page.replace("(measured in kPa)", "")


def test_exam_of_another_site_is_unknown():
    published = seen_by(sample_published(), LEAD)
    assert exam_view(published, exam_of("unreliable", site_id="S3")) is not None
    assert exam_view(published, exam_of("failed", site_id="S1")) is None
    said = text(render(Page.EXAM, lambda: published, {"exam": "none"}))
    assert "There is no such exam here." in said


def test_exam_and_list_lead_to_each_other(store):
    desk = CaseDesk(store, MANAGER, AT)
    asked = {"site": "S3", "measure": "MSR-001", "part": "counted"}
    listed = render(Page.EXAMS, sample_published, asked, make_desk=lambda: desk)
    to_exam = [one for one in addresses(listed) if one.startswith("/exam?")]
    key = to_exam[0].split("exam=")[1]
    shown = render(Page.EXAM, sample_published, {"exam": key}, make_desk=lambda: desk)
    assert "No file was begun for this operator." in text(shown)
    assert "No phantom check of this device and probe." in text(shown)
    assert any(one.startswith("/exams?") for one in addresses(shown))
    assert any(
        one.startswith("/methods#common-practice") or "#common-practice" in one
        for one in addresses(shown)
    )


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (date(2026, 10, 1), None, "Authorised: 1. TE, any, from 2026-10-01."),
        (date(2026, 11, 1), None, "Not covered: "),
        (date(2026, 1, 1), date(2026, 9, 30), "Not covered: "),
    ],
)
def test_authorisation_is_that_of_the_exams_day(first, last, said):
    key = exam_of("unreliable", site_id="S3")
    operator = sample_published().frame("exams", exam_key=key)["operator_id"][0]
    one = Authorisation(1, "TE", "any", first, last, "maria")
    file = OperatorFile(operator, "S3", authorisations=(one,))
    assert authorised_on_day(sample_published(), key, file).startswith(said)


def test_check_of_the_day_is_the_newest_before_it():
    days = (date(2026, 9, 1), date(2026, 10, 5), date(2026, 10, 20))
    points = tuple(
        CheckPoint(Session(no, day, (1.0,)), state, "", 0.0, 0)
        for no, (day, state) in enumerate(
            zip(days, (CheckState.BASELINE, CheckState.WITHIN, CheckState.ACTION), strict=True), 1
        )
    )
    charts = {("dev-1", "standard", "P1"): CheckChart(points)}
    asked = {"device_id": "dev-1", "probe": "standard"}
    assert check_of_day(charts, day=date(2026, 10, 9), **asked) == (
        "Phantom P1, 2026-10-05 (4 days before): within limits.",
    )
    assert check_of_day(charts, day=date(2026, 8, 1), **asked) == (
        "Phantom P1: no check up to that day.",
    )
    assert check_of_day(charts, device_id="dev-2", probe="standard", day=days[0]) == ()


def test_device_of_a_site_leads_to_its_exams_of_the_year():
    page = render(Page.SITE, sample_published, {"site": "S3"})
    (to, *_) = [one for one in addresses(page) if "/exams?" in one and "device=" in one]
    asked = dict(pair.split("=") for pair in to.split("?")[1].split("&"))
    assert (asked["site"], asked["since"]) == ("S3", "2025-11")
    assert "exams count for" in text(render(Page.EXAMS, sample_published, asked))
