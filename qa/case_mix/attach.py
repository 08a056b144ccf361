"""Expected events beside what is drawn: of every unit's month, and of every baseline."""

import polars as pl

from qa.case_mix.expected import MICRO
from qa.model.schemas import MEASURE_VALUES
from qa.model.words import UnitKind

_SERIES = ("unit_kind", "unit_id", "measure_id", "criteria_id")
_UNIT_ID = {
    UnitKind.NETWORK: pl.lit("network"),
    UnitKind.SITE: pl.col("site_id"),
    UnitKind.OPERATOR: pl.col("operator_id"),
}
"""Units whose patients are known; devices are not compared by their patients."""


def add_expected(
    values: pl.DataFrame, *, expected: pl.DataFrame, models: pl.DataFrame
) -> pl.DataFrame:
    """Fill expected and model_id of MEASURE_VALUES.

    Args:
        values: MEASURE_VALUES of any units. expected: EXPECTED_COUNTS. models: RISK_MODELS.
    Returns: the same rows; null where no model is in force or the unit is no network, site or
        operator.
    """
    units = _of_units(expected)
    in_force = _in_force(models, units.select("month").unique())
    judged = units.join(in_force, on=["measure_id", "criteria_id", "month", "model_id"])
    found = judged.select(*_SERIES, "month", "model_id", expected=pl.col("expected_micro") / MICRO)
    return MEASURE_VALUES.conform(
        values.drop("expected", "model_id").join(
            found, on=[*_SERIES, "month"], how="left", maintain_order="left"
        )
    )


def baseline_mix(baselines: pl.DataFrame, *, expected: pl.DataFrame) -> pl.DataFrame:
    """Share that each model expects of the exams of each baseline.

    Args: baselines: BASELINES. expected: EXPECTED_COUNTS.
    Returns: baseline_id, model_id, share; months taken out of a baseline are left out here too.
    Weak when: exams of the baseline's months were corrected since it was frozen; the share
        follows them, the frozen centre does not.
    """
    months = baselines.select("baseline_id", *_SERIES, "from_month", "to_month", "removed_months")
    is_out = pl.col("removed_months").list.contains(pl.col("month").dt.strftime("%Y-%m"))
    return (
        months.join(_of_units(expected), on=_SERIES)
        .filter(
            pl.col("month").is_between(pl.col("from_month"), pl.col("to_month")),
            ~is_out.fill_null(value=False),
        )
        .group_by("baseline_id", "model_id")
        .agg(pl.col("expected_micro", "n").sum())
        .select("baseline_id", "model_id", share=pl.col("expected_micro") / MICRO / pl.col("n"))
        .sort("baseline_id", "model_id")
    )


def _of_units(expected: pl.DataFrame) -> pl.DataFrame:
    """EXPECTED_COUNTS added up for every unit; whole numbers, so the order does not matter."""
    key = (*_SERIES, "month", "model_id")
    return pl.concat(
        expected.with_columns(unit_kind=pl.lit(str(kind)), unit_id=unit_id)
        .group_by(key)
        .agg(pl.col("n", "expected_micro").sum())
        for kind, unit_id in _UNIT_ID.items()
    )


def _in_force(models: pl.DataFrame, months: pl.DataFrame) -> pl.DataFrame:
    """measure_id, criteria_id, month and the newest model that judges it."""
    return (
        models.join(months, how="cross")
        .filter(pl.col("in_force_from") <= pl.col("month"))
        .sort("in_force_from", "version_no")
        .group_by("measure_id", "criteria_id", "month")
        .agg(pl.col("model_id").last())
    )
