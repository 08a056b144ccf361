"""The warehouse's part of the fair comparison: frozen models and what they expect."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from qa.model.case_mix_schemas import EXPECTED_COUNTS, RISK_COEFFICIENTS, RISK_MODELS
from qa.stores.warehouse import Warehouse


def risk_models(warehouse: Warehouse) -> pl.DataFrame:
    """RISK_MODELS: every version, also those that no longer judge newer months."""
    return warehouse._rows(RISK_MODELS, "risk_models ORDER BY model_id")


def risk_coefficients(warehouse: Warehouse) -> pl.DataFrame:
    """RISK_COEFFICIENTS of the models that are known."""
    return warehouse._rows(
        RISK_COEFFICIENTS,
        "risk_coefficients SEMI JOIN risk_models USING (model_id) "
        "ORDER BY model_id, covariate, level",
    )


def append_models(warehouse: Warehouse, models: pl.DataFrame, coefficients: pl.DataFrame) -> None:
    """Freeze models with their coefficients, all or none."""
    with warehouse._transaction():
        warehouse._insert("risk_models", RISK_MODELS, models)
        warehouse._insert("risk_coefficients", RISK_COEFFICIENTS, coefficients)


def months_to_expect(warehouse: Warehouse) -> dict[date, tuple[str, ...]]:
    """Months and the models whose expected events there are missing or older than the counts.

    A refresh that was broken off between counting and this is made up for by the next one.
    """
    rows = warehouse._con.sql(
        """SELECT month, list(model_id ORDER BY model_id) FROM current_months
        CROSS JOIN risk_models ANTI JOIN expected_months USING (model_id, month, refresh_seq)
        GROUP BY month ORDER BY month"""
    ).fetchall()
    return {month: tuple(model_ids) for month, model_ids in rows}


def expected_counts(warehouse: Warehouse) -> pl.DataFrame:
    """EXPECTED_COUNTS: of every model and month, as they were worked out last."""
    newest = """(SELECT model_id, month, max(expected_seq) AS expected_seq FROM expected_months
        GROUP BY model_id, month)"""
    order = ", ".join(EXPECTED_COUNTS.key)
    return warehouse._rows(
        EXPECTED_COUNTS,
        f"expected_counts SEMI JOIN {newest} USING (model_id, month, expected_seq) "
        f"ORDER BY {order}",
    )


def append_expected(
    warehouse: Warehouse,
    expected: pl.DataFrame,
    *,
    model_ids: Sequence[str],
    months: Sequence[date],
) -> None:
    """Write what models expect of whole months; it stands for them from now on.

    Args:
        expected: EXPECTED_COUNTS of these models and months; a month without exams has no row.
    """
    with warehouse._transaction():
        [seq] = warehouse._first_column(
            "SELECT coalesce(max(expected_seq), 0) + 1 FROM expected_months"
        )
        done = pl.DataFrame({"model_id": list(model_ids)}).join(
            pl.DataFrame({"month": list(months)}, schema={"month": pl.Date}), how="cross"
        )
        warehouse._con.register("incoming_rows", done)
        warehouse._con.execute(
            f"""INSERT INTO expected_months SELECT {int(seq)}, model_id, month, refresh_seq
            FROM incoming_rows JOIN current_months USING (month)"""
        )
        warehouse._con.unregister("incoming_rows")
        warehouse._insert("expected_counts", EXPECTED_COUNTS, expected, expected_seq=seq)


def exams_of_months(
    warehouse: Warehouse, months: Sequence[date], columns: Sequence[str]
) -> pl.DataFrame:
    """Some columns of the current exams of some months that are not retracted."""
    names = ", ".join(f'"{name}"' for name in columns)
    return warehouse._query(
        f"SELECT {names} FROM current_exams WHERE NOT is_retracted AND list_contains(?, month)",
        [list(months)],
    )
