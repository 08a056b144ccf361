"""Stages and lacks at their thresholds, and exams outside an authorisation."""

from dataclasses import replace
from datetime import date

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qa.followup.competence import Authorisation, ObservedExam, OperatorFile, Training
from qa.followup.outside import OUTSIDE_COLUMNS, exams_outside
from qa.followup.standing import Practice, operator_practice, operator_standing, stage_of
from qa.model.competence_words import OutsideWhy, Stage
from qa.model.definitions import Settings

SETTINGS = Settings()
ON = date(2026, 11, 4)
OCTOBER = date(2026, 10, 1)


@pytest.mark.parametrize(
    ("n_observed", "n_exams", "stage"),
    [
        (0, 600, Stage.SUPERVISED),
        (2, 600, Stage.SUPERVISED),
        (3, 99, Stage.PROVISIONAL),
        (4, 100, Stage.INDEPENDENT),
        (3, 101, Stage.INDEPENDENT),
        (3, 499, Stage.INDEPENDENT),
        (3, 500, Stage.EXPERIENCED),
    ],
)
def test_stage_at_each_threshold(n_observed: int, n_exams: int, stage: Stage) -> None:
    """3 observed: NHANES; 100: Perazzo 2015; 500: Castera 2010 (domain notes, part 3.5)."""
    assert stage_of(n_exams, n_observed, settings=SETTINGS) == stage


def whole_file(taught: date = date(2025, 11, 4)) -> OperatorFile:
    seen = ObservedExam(date(2025, 11, 4), "Ada (invented)", True, "", "maria")
    return OperatorFile(
        "op-1",
        "north",
        trainings=(Training(date(2020, 1, 1), "Ada (invented)", "course"),),
        observed=(seen,) * 3,
        refreshers=(Training(taught, "Ada (invented)", "yearly"),),
        authorisations=(Authorisation(1, "TE", "any", date(2025, 12, 1), None, "maria"),),
        n_events=6,
    )


@pytest.mark.parametrize(
    ("file", "n_year", "lacks"),
    [
        (whole_file(), 50, ()),
        (whole_file(), 49, ("49 exams in 12 months, fewer than 50",)),
        (whole_file(date(2025, 11, 3)), 50, ("refresher was due on 2026-11-03",)),
        (None, 50, ("no file was begun",)),
        (replace(whole_file(), authorisations=()), 50, ("no authorisation in force",)),
        (
            replace(whole_file(), observed=whole_file().observed[:2]),
            50,
            ("2 of 3 observed exams signed off",),
        ),
    ],
    ids=["whole", "thin", "refresher", "no file", "none in force", "observed"],
)
def test_what_a_file_lacks(file: OperatorFile | None, n_year: int, lacks: tuple[str, ...]) -> None:
    practice = Practice(n_all=600, n_year=n_year, last=date(2026, 10, 1))
    found = operator_standing("op-1", file, practice, settings=SETTINGS, on=ON)
    assert found.lacks == lacks


def test_refresher_of_a_leap_day_is_due_at_the_end_of_february() -> None:
    file = whole_file(date(2024, 2, 29))
    found = operator_standing("op-1", file, Practice(), settings=SETTINGS, on=ON)
    assert found.refresher_due_on == date(2025, 2, 28)


def test_practice_counts_twelve_months_and_nothing_later() -> None:
    counts = pl.DataFrame(
        {
            "operator_id": ["a", "a", "a", "a", "b"],
            "month": [date(2025, 10, 1), date(2025, 11, 1), OCTOBER, date(2026, 11, 1), OCTOBER],
            "n_performed": [7, 40, 3, 100, 0],
        }
    )
    found = operator_practice(counts, month=date(2026, 10, 1))
    assert found == {"a": Practice(50, 43, date(2026, 10, 1))}
    assert operator_practice(counts.clear(), month=date(2026, 10, 1)) == {}


def exam(key: str, day: date, technique: str = "TE", probe: str = "standard", **more) -> dict:
    told = {"exam_key": key, "exam_on": day, "month": day.replace(day=1), "site_id": "north"}
    told |= {"operator_id": "op-1", "device_id": "d", "technique": technique, "probe": probe}
    return {**told, "performed": "performed", "is_date_nominal": False, **more}


FILE = replace(
    whole_file(),
    authorisations=(
        Authorisation(1, "TE", "standard", date(2026, 1, 5), date(2026, 6, 30), "maria"),
        Authorisation(2, "pSWE", "any", date(2026, 1, 5), None, "maria"),
    ),
)
ROWS = [
    (exam("a", date(2026, 1, 4)), OutsideWhy.DAY),
    (exam("b", date(2026, 1, 5)), None),
    (exam("c", date(2026, 6, 30)), None),
    (exam("d", date(2026, 7, 1)), OutsideWhy.DAY),
    (exam("e", date(2026, 3, 1), probe="large-patient"), OutsideWhy.PROBE),
    (exam("f", date(2026, 3, 1), probe="unknown"), OutsideWhy.UNKNOWN_PROBE),
    (exam("g", date(2026, 3, 1), technique="2D-SWE"), OutsideWhy.TECHNIQUE),
    (exam("h", date(2027, 3, 1), technique="pSWE", probe="unknown"), None),
    (exam("i", date(2026, 3, 1), operator_id="op-2"), OutsideWhy.NONE),
    (exam("j", date(2026, 7, 1), is_date_nominal=True), OutsideWhy.UNKNOWN_DAY),
    (exam("k", date(2026, 7, 1), performed="refused"), None),
]


@pytest.mark.parametrize(("row", "why"), ROWS, ids=[row["exam_key"] for row, _ in ROWS])
def test_exam_is_outside_by_technique_probe_and_day(row: dict, why: OutsideWhy | None) -> None:
    found = exams_outside(pl.DataFrame([row]), [FILE])
    assert found["why"].to_list() == ([why.value] if why else [])


def test_outside_of_nothing_has_its_columns() -> None:
    empty = pl.DataFrame([ROWS[0][0]]).clear()
    for files in ([], [FILE]):
        assert exams_outside(empty, files).columns == list(OUTSIDE_COLUMNS)


DAYS = st.dates(date(2026, 1, 1), date(2026, 3, 1))


@given(st.lists(DAYS, max_size=6), st.lists(st.tuples(DAYS, st.none() | DAYS), max_size=4))
def test_outside_agrees_with_a_plain_search(days: list[date], spans: list) -> None:
    """Frames against a loop over authorisations; what is listed and what is covered is all."""
    given_out = tuple(
        Authorisation(number, "TE", "any", first, last, "m")
        for number, (first, last) in enumerate(spans, start=1)
    )
    rows = [exam(str(number), day) for number, day in enumerate(days)]
    exams = pl.DataFrame(rows) if rows else pl.DataFrame([exam("x", ON)]).clear()
    expected = {
        row["exam_key"] for row in rows if not any(one.covers(row["exam_on"]) for one in given_out)
    }
    files = [replace(FILE, authorisations=given_out)]
    assert set(exams_outside(exams, files)["exam_key"]) == expected


def test_file_by_a_day_leaves_out_what_happened_later() -> None:
    day, later = date(2025, 3, 31), date(2025, 4, 1)
    file = OperatorFile(
        "op",
        None,
        trainings=(Training(day, "x", ""), Training(later, "x", "")),
        observed=tuple(ObservedExam(one, "x", True, "", "x") for one in (day, later, later)),
        refreshers=(Training(later, "x", ""),),
        n_events=6,
    )
    then = file.by_day(day)
    assert (len(then.trainings), then.n_satisfactory, then.last_taught) == (1, 1, day)
    assert file.last_taught == later
