"""add_expected and baseline_mix: the model in force of each month, months taken out left out."""

from datetime import date

import polars as pl
import pytest

from qa.case_mix.attach import add_expected, baseline_mix
from qa.model.case_mix_schemas import EXPECTED_COUNTS
from qa.model.schemas import MEASURE_VALUES

MONTHS = [date(2026, month, 1) for month in (1, 2, 3)]
KEY = {"measure_id": "MSR-001", "criteria_id": "set.v1"}


def expected() -> pl.DataFrame:
    """Two operators of one site, two models, three months; model 2 expects twice as much."""
    rows = [
        {
            **KEY,
            "site_id": "north",
            "operator_id": operator,
            "month": month,
            "model_id": f"M{version}",
            "n_events": 1,
            "n": 10 * number,
            "expected_micro": version * number * 1_000_000,
            "variance_micro": 0,
        }
        for month in MONTHS
        for number, operator in enumerate(("op-1", "op-2"), start=1)
        for version in (1, 2)
    ]
    return EXPECTED_COUNTS.conform(pl.DataFrame(rows))


MODELS = pl.DataFrame(
    {
        **{name: [value] * 2 for name, value in KEY.items()},
        "model_id": ["M1", "M2"],
        "version_no": [1, 2],
        "in_force_from": [date(1900, 1, 1), MONTHS[2]],
    }
)


def values(unit_kind: str, unit_id: str) -> pl.DataFrame:
    rows = [
        {**KEY, "unit_kind": unit_kind, "unit_id": unit_id, "month": month, "n": 1, "n_events": 0}
        for month in MONTHS
    ]
    return MEASURE_VALUES.conform(pl.DataFrame(rows))


@pytest.mark.parametrize(
    ("unit_kind", "unit_id", "found"),
    [
        ("operator", "op-2", [(2.0, "M1"), (2.0, "M1"), (4.0, "M2")]),
        ("site", "north", [(3.0, "M1"), (3.0, "M1"), (6.0, "M2")]),
        ("network", "network", [(3.0, "M1"), (3.0, "M1"), (6.0, "M2")]),
        ("device", "op-2", [(None, None)] * 3),
    ],
)
def test_each_month_is_expected_by_the_model_in_force(
    unit_kind: str, unit_id: str, found: list
) -> None:
    frame = add_expected(values(unit_kind, unit_id), expected=expected(), models=MODELS)
    assert frame.schema == MEASURE_VALUES.to_polars()
    assert frame.select("expected", "model_id").rows() == found


def test_the_mix_of_a_baseline_leaves_out_months_that_were_taken_out() -> None:
    whole = expected().filter(operator_id="op-1", model_id="M1")
    odd = pl.when(pl.col("month") == MONTHS[1]).then(9_000_000).otherwise("expected_micro")
    baselines = pl.DataFrame(
        {
            **{name: [value] * 2 for name, value in KEY.items()},
            "baseline_id": ["all", "without February"],
            "unit_kind": ["operator"] * 2,
            "unit_id": ["op-1"] * 2,
            "from_month": [MONTHS[0]] * 2,
            "to_month": [MONTHS[2]] * 2,
            "removed_months": [None, ["2026-02"]],
        }
    )
    mix = baseline_mix(baselines, expected=whole.with_columns(expected_micro=odd))
    assert dict(mix.select("baseline_id", "share").iter_rows()) == {
        "all": pytest.approx(11 / 30),
        "without February": pytest.approx(2 / 20),
    }
