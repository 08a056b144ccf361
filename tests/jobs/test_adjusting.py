"""Models are frozen once, expected events follow the counts, and a broken-off refresh is mended."""

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from qa.jobs.adjusting import Fair, find_expected
from qa.jobs.judging import find_rules, judge_months
from qa.jobs.refresh import _keep
from qa.model.definitions import InForce, Network, Settings
from qa.model.progress import show_nothing
from qa.model.schemas import FILES, QUARANTINED
from qa.stores.risk_store import months_to_expect
from qa.stores.warehouse import Warehouse, open_warehouse
from tests.exam_tables import definitions, exams_of

MONTHS = [date(2026, month, 1) for month in (1, 2, 3, 4)]
NETWORK = Network(
    id="made-up",
    name="Made up",
    is_invented=True,
    sites=(),
    operators=(),
    devices=(),
    criteria=(InForce("common-practice.v1", date(2000, 1, 1)),),
    grade_tables=(),
    settings=Settings(baseline_months=2),
)
AT = datetime(2026, 5, 1, tzinfo=UTC)


def made_up_exams(month: date, n: int, *, seed: int) -> pl.DataFrame:
    """A fifth are heavy; of these 30 % spread too widely, of the others 10 %; seed stated."""
    rng = np.random.default_rng(seed)
    heavy = rng.random(n) < 0.2
    wide = rng.random(n) < np.where(heavy, 0.3, 0.1)
    rows = [
        {
            "exam_key": f"{month}-{number}",
            "exam_on": month,
            "bmi_kg_m2": 42.0 if heavy[number] else 24.0,
            "stiffness_iqr": 3.0 if wide[number] else 0.5,
            "operator_id": f"op-{number % 3}",
        }
        for number in range(n)
    ]
    return exams_of(rows)


def send(warehouse: Warehouse, exams: pl.DataFrame, name: str) -> None:
    file = {"file_id": name, "name": name, "state": "read", "known_at": AT}
    counts = dict.fromkeys(
        ("n_rows", "n_accepted", "n_unchanged", "n_quarantined", "n_dropped_columns"), 0
    )
    warehouse.append_file(FILES.conform(pl.DataFrame([file | counts])), exams, QUARANTINED.empty())


def count(warehouse: Warehouse, months: list[date], at: datetime = AT) -> None:
    rules = find_rules(NETWORK, definitions())
    judged = judge_months(
        warehouse, months, rules=rules, progress=show_nothing, n_steps=len(months)
    )
    _keep(warehouse, judged, rules, at=at)


def expect(warehouse: Warehouse) -> Fair:
    return find_expected(
        warehouse,
        warehouse.assessments(),
        warehouse.case_mix_counts(),
        NETWORK,
        definitions(),
        at=AT,
        by="test",
    )


@pytest.fixture
def path(tmp_path: Path) -> Path:
    place = tmp_path / "warehouse.duckdb"
    with open_warehouse(place, create=True) as warehouse:
        for number, month in enumerate(MONTHS[:3]):
            send(warehouse, made_up_exams(month, 400, seed=number), f"{month}")
        count(warehouse, MONTHS[:3])
    return place


def of_measure(fair: Fair, measure_id: str = "MSR-001") -> pl.DataFrame:
    return fair.expected.filter(measure_id=measure_id)


def test_a_model_is_frozen_once_its_months_are_over(path: Path) -> None:
    with open_warehouse(path) as warehouse:
        first, second = expect(warehouse), expect(warehouse)
    assert first.n_new_models > 0
    assert second.n_new_models == 0
    [model] = first.models.filter(measure_id="MSR-001").to_dicts()
    assert (model["from_month"], model["to_month"]) == (MONTHS[0], MONTHS[1])
    assert first.models.equals(second.models)
    assert first.expected.equals(second.expected)


def test_expected_events_of_its_own_months_are_those_found(path: Path) -> None:
    with open_warehouse(path) as warehouse:
        own = of_measure(expect(warehouse)).filter(pl.col("month") <= MONTHS[1])
    assert own["n"].sum() == 800
    assert own["expected_micro"].sum() / 1e6 == pytest.approx(own["n_events"].sum(), abs=1e-3)
    assert own["operator_id"].n_unique() == 3


def test_a_month_counted_again_is_expected_again(path: Path) -> None:
    with open_warehouse(path) as warehouse:
        expect(warehouse)
        assert months_to_expect(warehouse) == {}
        more = made_up_exams(MONTHS[2], 50, seed=9).with_columns(
            pl.concat_str(pl.lit("more-"), "exam_key", "patient_key").alias(name)
            for name in ("exam_key", "patient_key")
        )
        send(warehouse, more, "more")
        count(warehouse, [MONTHS[2]])
        assert set(months_to_expect(warehouse)) == {MONTHS[2]}
        after = of_measure(expect(warehouse))
    assert after.filter(month=MONTHS[2])["n"].sum() == 450
    assert after["n"].sum() == 1250


def test_a_new_month_is_judged_by_the_frozen_model(path: Path) -> None:
    with open_warehouse(path) as warehouse:
        before = expect(warehouse)
        send(warehouse, made_up_exams(MONTHS[3], 400, seed=4), "april")
        count(warehouse, [MONTHS[3]])
        after = expect(warehouse)
    assert after.models.equals(before.models)
    new = of_measure(after).filter(month=MONTHS[3])
    assert new["n"].sum() == 400
    assert set(new["model_id"]) == {"MSR-001.common-practice.v1.M1"}


def test_as_known_then_everything_is_worked_out_anew_and_nothing_is_written(path: Path) -> None:
    with open_warehouse(path) as warehouse:
        now = expect(warehouse)
    with open_warehouse(path, as_known_at=AT) as warehouse:
        then = expect(warehouse)
    assert then.expected.equals(now.expected)
