"""Refreshing bit by bit gives what refreshing once gives, in whatever steps the files came in.

Files are written straight into a real warehouse; a correction is a later file with the same exam,
some files are withdrawn. A month's worth of repeats looks at exams years apart.
"""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qa.jobs.judging import Rules, judge_months, months_to_count
from qa.model.definitions import Settings
from qa.model.progress import show_nothing
from qa.model.schemas import FILES, QUARANTINED, WITHDRAWALS
from qa.stores.warehouse import Warehouse, open_warehouse
from qa.stores.warehouse_history import append_withdrawal
from tests.exam_tables import criteria_in_force, day, exams_of
from tests.property.strategies import small_and_fixed
from tests.unit.stores.rows import file_row, frame_of

START = datetime(2027, 6, 1, tzinfo=UTC)
RULES = Rules(tuple(criteria_in_force("common-practice.v1")), (), Settings(), "rules")

rows = st.fixed_dictionaries(
    {
        "exam_key": st.sampled_from([f"e{n}" for n in range(7)]),
        "patient_key": st.sampled_from(["ann", "ann", "bob"]),
        "n_valid": st.sampled_from([4, 10]),
        "order_type": st.sampled_from(["unknown", "unknown", "recall", "follow-up"]),
        "performed": st.sampled_from(["performed"] * 5 + ["ineligible"]),
        "is_retracted": st.sampled_from([False] * 7 + [True]),
        "exam_on": st.sampled_from([0, 1, 40, 60, 89, 91, 130, 200, 400]).map(day),
    }
)
steps = st.lists(
    st.one_of(
        st.lists(rows, min_size=1, max_size=3, unique_by=lambda row: row["exam_key"]),
        st.integers(0, 3),
    ),
    min_size=3,
    max_size=6,
)
few = settings(
    small_and_fixed,
    max_examples=6,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def take_step(warehouse: Warehouse, number: int, step: list[dict[str, Any]] | int) -> None:
    """A file with its exams as new versions, or the withdrawal of one that came before."""
    at = START + timedelta(hours=number)
    if isinstance(step, int):
        fact = {"file_id": f"f{step}", "is_withdrawn": True, "reason": "test", "known_at": at}
        append_withdrawal(warehouse, frame_of(WITHDRAWALS, [fact | {"decided_by": None}]))
        return
    known = dict(warehouse.latest_versions().select("exam_key", "version_no").iter_rows())
    exams = exams_of(
        [row | {"version_no": known.get(row["exam_key"], 0) + 1} for row in step],
        file_id=f"f{number}",
        known_at=at,
    )
    file = file_row(file_id=f"f{number}", known_at=at)
    warehouse.append_file(frame_of(FILES, [file]), exams, QUARANTINED.empty())


def refresh(warehouse: Warehouse, number: int) -> list[date]:
    months = months_to_count(warehouse, RULES)
    if not months:
        return []
    judged = judge_months(warehouse, months, rules=RULES, progress=show_nothing, n_steps=1)
    warehouse.append_refresh(
        refresh_id=f"R{number}",
        refreshed_at=START + timedelta(hours=number, minutes=30),
        rules_fingerprint=RULES.fingerprint,
        months=months,
        assessments=judged.assessments,
        counts=judged.counts,
        grade_counts=judged.grade_counts,
        horizon_on=judged.horizon_on,
    )
    return months


def fresh(folder: Path) -> Path:
    path = folder / "w.duckdb"
    path.unlink(missing_ok=True)
    return path


@given(steps)
@few
def test_refreshing_after_every_step_equals_refreshing_once(tmp_path: Path, steps: list) -> None:
    found = []
    for is_every_step in (True, False):
        with open_warehouse(fresh(tmp_path), create=True) as warehouse:
            for number, step in enumerate(steps):
                take_step(warehouse, number, step)
                if is_every_step or number == len(steps) - 1:
                    refresh(warehouse, number)
            assert refresh(warehouse, len(steps)) == []
            found.append((warehouse.assessments(), warehouse.monthly_counts()))
    assert found[0][0].equals(found[1][0])
    assert found[0][1].equals(found[1][1])


@given(steps)
@few
def test_as_known_then_equals_a_warehouse_of_then(tmp_path: Path, steps: list) -> None:
    half = len(steps) // 2
    then: list[pl.DataFrame] = []
    path = fresh(tmp_path)
    with open_warehouse(path, create=True) as warehouse:
        for number, step in enumerate(steps):
            take_step(warehouse, number, step)
            if number == half:
                then = [warehouse.current_exams(), warehouse.files()]
    with open_warehouse(path, as_known_at=START + timedelta(hours=half)) as past:
        assert past.current_exams().equals(then[0])
        assert past.files().equals(then[1])


@given(st.lists(rows, min_size=1, max_size=4, unique_by=lambda row: row["exam_key"]))
@few
def test_files_without_a_common_exam_may_come_in_any_order(tmp_path: Path, exams: list) -> None:
    found = []
    for order in (exams, exams[::-1]):
        with open_warehouse(fresh(tmp_path), create=True) as warehouse:
            for number, row in enumerate(order):
                take_step(warehouse, number, [row])
                refresh(warehouse, number)
            found.append((warehouse.assessments(), warehouse.monthly_counts()))
    assert found[0][0].equals(found[1][0])
    assert found[0][1].equals(found[1][1])


@pytest.mark.parametrize("months_ago", [1, 12])
def test_a_new_file_has_only_its_neighbours_counted_again(tmp_path: Path, months_ago: int) -> None:
    """Two years of one exam a month, each of another patient: a new exam of one of them touches
    its own month and the month of the patient's exam before, if that lies within the window."""
    with open_warehouse(tmp_path / "w.duckdb", create=True) as warehouse:
        for n in range(24):
            exam = {"exam_key": f"e{n}", "patient_key": f"p{n}", "exam_on": day(30 * n)}
            take_step(warehouse, n, [exam])
        refresh(warehouse, 24)
        last = day(30 * 23)
        patient = f"p{23 - months_ago}"
        take_step(warehouse, 25, [{"exam_key": "x", "patient_key": patient, "exam_on": last}])
        months = refresh(warehouse, 26)
    before = day(30 * (23 - months_ago)).replace(day=1)
    assert months == ([before] if months_ago == 1 else []) + [last.replace(day=1)]


POOR, GOOD = {"n_valid": 4}, {"n_valid": 10}
LATE_FILES = [
    # The exams known first, the one that comes late, and what is so of the last exam afterwards.
    ([(POOR, 0), (GOOD, 40)], (GOOD, 20), ("confirmation", False)),
    ([(GOOD, 0), (GOOD, 40)], (POOR, 20), ("recall", True)),
    ([(GOOD, 0), (GOOD, 400)], (POOR, 330), ("recall", True)),
    ([(POOR, 30), (GOOD, 400)], (GOOD, 0), ("follow-up", False)),
]


@pytest.mark.parametrize(("first", "late", "expected"), LATE_FILES)
def test_a_late_exam_changes_what_the_next_one_is(
    tmp_path: Path, first: list, late: tuple, expected: tuple
) -> None:
    with open_warehouse(tmp_path / "w.duckdb", create=True) as warehouse:
        for number, (values, n) in enumerate([*first, late]):
            exam = {"exam_key": f"e{number}", "patient_key": "ann", "exam_on": day(n)}
            take_step(warehouse, number, [exam | values])
            if number:
                refresh(warehouse, number)
        found = warehouse.assessments().filter(exam_key="e1")
    assert found.select("repeat_kind", "is_repeat").row(0) == expected


def test_a_window_that_ends_counts_the_month_of_the_first_exam_again(tmp_path: Path) -> None:
    """The new month is of another patient; it only makes known that ninety days have passed."""
    with open_warehouse(tmp_path / "w.duckdb", create=True) as warehouse:
        take_step(warehouse, 0, [{"exam_key": "a", "exam_on": day(0), **POOR}])
        refresh(warehouse, 0)
        assert warehouse.assessments()["is_repeated"].to_list() == [None]
        take_step(warehouse, 1, [{"exam_key": "b", "exam_on": day(90)}])
        assert refresh(warehouse, 1) == [day(0), day(90).replace(day=1)]
        assert warehouse.assessments()["is_repeated"].to_list() == [False, None]
        assert warehouse.monthly_counts()["n_never_repeated"].to_list() == [1, 0]
