"""Judge and count months of the warehouse: the first half of a refresh."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from qa.assess import NEEDED, assess_exams
from qa.case_mix.cells import count_case_mix
from qa.counts import count_grades, count_months
from qa.model.case_mix_schemas import CASE_MIX_COUNTS
from qa.model.definitions import CriteriaSet, GradeTable, InForce, Network, Settings
from qa.model.errors import NetworkFolderError
from qa.model.months import iterate_months, month_of
from qa.model.progress import Progress
from qa.model.published import Definitions
from qa.model.schemas import ASSESSMENTS, GRADE_COUNTS, MONTHLY_COUNTS
from qa.stores.warehouse import Warehouse
from qa.stores.warehouse_history import (
    exams_around,
    last_horizon_on,
    months_beside_touched,
    newest_exam_on,
)

JUDGING = "Judging and counting exams"
JUDGING_VERSION = 4
"""Raised when the program judges or counts otherwise, so that every month is counted again."""
MONTHS_AT_ONCE = 12
_REPEAT_SETTINGS = (
    "repeat_window_days",
    "restart_window_minutes",
    "confirmation_window_days",
    "follow_up_after_days",
    "deferred_after_days",
)


@dataclass(frozen=True)
class Rules:
    """What judges: the sets and tables in force, in the order of their first day."""

    criteria: tuple[tuple[InForce, CriteriaSet], ...]
    grade_tables: tuple[tuple[InForce, GradeTable], ...]
    settings: Settings
    fingerprint: str


@dataclass(frozen=True)
class Judged:
    """ASSESSMENTS, MONTHLY_COUNTS, GRADE_COUNTS and CASE_MIX_COUNTS of some months."""

    months: tuple[date, ...]
    horizon_on: date | None
    assessments: pl.DataFrame
    counts: pl.DataFrame
    grade_counts: pl.DataFrame
    case_mix: pl.DataFrame


def find_rules(network: Network, definitions: Definitions) -> Rules:
    """The network's criteria sets and grade tables with their definitions.

    Raises: NetworkFolderError when network.toml names one that does not exist.
    """

    def find(kind: str, in_force: InForce, known: dict) -> object:
        if in_force.id not in known:
            raise NetworkFolderError(
                f"the {kind} '{in_force.id}' does not exist",
                where="network.toml",
                expected=f"one of {', '.join(known)}",
                code="NET-004",
            )
        return known[in_force.id]

    criteria = tuple(
        (one, find("criteria set", one, definitions.criteria))
        for one in sorted(network.criteria, key=lambda one: one.from_day)
    )
    tables = tuple(
        (one, find("grade table", one, definitions.grade_tables))
        for one in sorted(network.grade_tables, key=lambda one: one.from_day)
    )
    windows = [getattr(network.settings, name) for name in _REPEAT_SETTINGS]
    text = repr(
        [(one, thing.fingerprint) for one, thing in (*criteria, *tables)]  # type: ignore[attr-defined]
        + [JUDGING_VERSION, windows]
    )
    fingerprint = hashlib.sha256(text.encode()).hexdigest()[:16]
    return Rules(criteria, tables, network.settings, fingerprint)  # type: ignore[arg-type]


def months_to_count(warehouse: Warehouse, rules: Rules) -> list[date]:
    """Months whose figures may have changed since the last refresh.

    Those with changed exams; those of the exams just before and after them, whose kind of repeat
    hangs on them; and those whose window for a repeat has ended since, because newer exams came.
    """
    with_exams = set(warehouse.months_with_exams())
    last = warehouse.last_refresh()
    if last is None or last[1] != rules.fingerprint:
        return sorted(with_exams)
    window_days = rules.settings.repeat_window_days
    beside = months_beside_touched(warehouse, last[0], window_days=window_days)
    found = {*warehouse.months_touched_since(last[0]), *beside}
    found |= _months_whose_window_ended(
        last_horizon_on(warehouse), newest_exam_on(warehouse), window_days=window_days
    )
    return sorted(found & with_exams)


def _months_whose_window_ended(
    before: date | None, now: date | None, *, window_days: int
) -> set[date]:
    if before == now:
        return set()
    if before is None or now is None:
        only = before or now
        assert only is not None
        before = now = only
    window = timedelta(days=window_days)
    first, last = month_of(min(before, now) - window), month_of(max(before, now) - window)
    return set(iterate_months(first, last))


def judge_months(
    warehouse: Warehouse, months: Sequence[date], *, rules: Rules, progress: Progress, n_steps: int
) -> Judged:
    """Judge and count the current exams of some months, a year of months at once."""
    horizon_on = newest_exam_on(warehouse)
    assessed, counts, grades, case_mix = (
        [ASSESSMENTS.empty()],
        [MONTHLY_COUNTS.empty()],
        [GRADE_COUNTS.empty()],
        [CASE_MIX_COUNTS.empty()],
    )
    for start in range(0, len(months), MONTHS_AT_ONCE):
        chunk = months[start : start + MONTHS_AT_ONCE]
        progress(start, n_steps, JUDGING)
        exams = warehouse.current_exams(months=chunk)
        window_days = rules.settings.repeat_window_days
        assessments = assess_exams(
            exams,
            criteria=rules.criteria,
            grade_tables=rules.grade_tables,
            settings=rules.settings,
            others=exams_around(warehouse, chunk, window_days=window_days, columns=NEEDED),
            horizon_on=horizon_on,
        )
        assessed.append(assessments)
        counts.append(count_months(exams, assessments))
        grades.append(count_grades(exams, assessments))
        case_mix.append(count_case_mix(exams, assessments))
    frames = (pl.concat(parts) for parts in (assessed, counts, grades, case_mix))
    return Judged(tuple(months), horizon_on, *frames)
