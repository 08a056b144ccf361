"""Models are frozen once, expected events follow the counts, and a broken-off refresh is mended."""

from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from qa.case_mix.attach import add_expected
from qa.cli import main
from qa.jobs.adjusting import Fair, find_expected
from qa.jobs.judging import find_rules, judge_months
from qa.jobs.models import FittedNow, fit_new_model, list_models
from qa.jobs.refresh import _keep
from qa.measures import measure_values
from qa.model.definitions import InForce, Network, Settings
from qa.model.errors import WrongUse
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


@pytest.fixture
def folder(path: Path) -> Path:
    """A network folder around the warehouse, with first models frozen."""
    text = 'id = "made-up"\nname = "Made up (invented)"\nis_invented = true\n'
    text += '[[criteria]]\nid = "common-practice.v1"\nfrom = 2000-01-01\n'
    text += "[settings]\nbaseline_months = 2\n"
    (path.parent / "network.toml").write_text(text, encoding="utf-8")
    with open_warehouse(path) as warehouse:
        expect(warehouse)
    return path.parent


def fit(folder: Path, **changed: Any) -> FittedNow:
    asked = {
        "measure": "unreliable",
        "from_month": MONTHS[1],
        "to_month": MONTHS[2],
        "in_force_from": None,
        "by": "lead",
        "reason": "other patients",
        "at": AT,
    }
    return fit_new_model(folder, **asked | changed)


def test_a_new_version_judges_newer_months_and_leaves_the_others(folder: Path) -> None:
    done = fit(folder)
    assert done.row["model_id"] == "MSR-001.common-practice.v1.M2"
    assert done.row["in_force_from"] == MONTHS[3]
    with open_warehouse(folder / "warehouse.duckdb") as warehouse:
        send(warehouse, made_up_exams(MONTHS[3], 400, seed=4), "april")
        count(warehouse, [MONTHS[3]])
        fair = expect(warehouse)
        values = measure_values(
            warehouse.monthly_counts(),
            measures=[definitions().measures["MSR-001"]],
            unit_kind="network",
            home_sites={},
        )
    found = add_expected(values, expected=fair.expected, models=fair.models).sort("month")
    assert found["model_id"].str.slice(-2).to_list() == ["M1", "M1", "M1", "M2"]
    assert len(list_models(folder)) == fair.models.height


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"measure": "preparation_kept"}, "USE-050"),
        ({"from_month": MONTHS[3]}, "USE-051"),
        ({"in_force_from": MONTHS[2]}, "USE-051"),
        ({"measure": "failed"}, "USE-053"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(folder: Path, changed: dict, code: str) -> None:
    with pytest.raises(WrongUse) as caught:
        fit(folder, **changed)
    assert caught.value.code == code
    assert "Nothing was changed" in str(caught.value)


def test_a_second_version_has_to_judge_later_months(folder: Path) -> None:
    fit(folder)
    with pytest.raises(WrongUse, match="there already"):
        fit(folder)


def test_the_command_lists_and_fits(folder: Path, capsys: pytest.CaptureFixture) -> None:
    place = ["--network", str(folder)]
    months = ["--from", "2026-02", "--to", "2026-03"]
    who = ["--by", "lead", "--reason", "other patients"]
    assert main(["model", "fit", "--measure", "MSR-001", *months, *who, *place], {}) == 0
    assert main(["model", "list", *place], {}) == 0
    text = capsys.readouterr().out
    assert "judges from April 2026 on" in text
    assert "2026-05-01 by test: first months with exams, frozen without change." in text
