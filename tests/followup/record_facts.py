"""Facts for tests of verdicts: a month in which everything is in order, to be changed."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from qa.followup.compliance import Verdict, judge
from qa.followup.facts import (
    BaselineFact,
    Facts,
    MonthValue,
    PackFact,
    SnapshotFacts,
    TrailFacts,
    due_at,
)
from qa.model.definitions import InForce, Settings
from qa.stores.definitions import load_definitions

MONTH = date(2026, 10, 1)
PUBLISHED = datetime(2026, 11, 4, 7, tzinfo=UTC)
DUE = due_at(MONTH)
CATALOGUE = {one.id: one for one in load_definitions().newest_requirements()}
BY_RULE = {one.rule: one for one in CATALOGUE.values()}


def value(
    n_events: int, n: int, *, low: float = 0.0, high: float = 1.0, min_n: int = 10
) -> MonthValue:
    share = n_events / n if n else None
    return MonthValue(n_events, n, share, low, high, min_n, "exam")


def snapshot(**changes: Any) -> SnapshotFacts:
    return replace(
        SnapshotFacts(
            snapshot_id="S20261104T070000Z-00000000",
            published_at=PUBLISHED,
            requirements=tuple(CATALOGUE.values()),
            values={},
            intake=("in", "All is in.", True, date(2026, 11, 5)),
            watched={"MSR-001": "Unreliable exams"},
            baselines=(BaselineFact("MSR-001", "Unreliable exams", "maria", date(2026, 1, 5)),),
            items=(),
            in_force=((InForce("common-practice.v1", date(2020, 1, 1)), "f00d"),),
            retention={"log-in": 2},
            practice={},
            settings=Settings(),
        ),
        **changes,
    )


def facts(*, is_due: bool = True, **changes: Any) -> Facts:
    known_at = DUE if is_due else DUE - timedelta(microseconds=2)
    base = Facts("north", MONTH, known_at, snapshot())
    base = replace(
        base,
        packs=(PackFact(1, "S20261104T070000Z-00000000", PUBLISHED),),
        trail=TrailFacts(3, (), PUBLISHED),
        lacking={},
    )
    return replace(base, **changes)


def answer(rule: str, told: Facts) -> Verdict:
    return judge(BY_RULE[rule], told)  # type: ignore[index]
