"""Grade tables → the band of each exam: histogram bins for comparing sites, never a diagnosis."""

from collections.abc import Sequence

import polars as pl

from qa.assess.limits import reaches
from qa.model.definitions import GradeTable, InForce
from qa.model.words import Performed


def with_bands(
    exams: pl.DataFrame, *, grade_tables: Sequence[tuple[InForce, GradeTable]]
) -> pl.DataFrame:
    """Adds stiffness_table_id, stiffness_band, attenuation_table_id and attenuation_band.

    A value belongs to the band whose lower edge it reaches. Only performed exams with a value
    and a table in force for their technique have a band; the others have nulls.
    """
    ordered = sorted(grade_tables, key=lambda pair: pair[0].from_day)
    for quantity, value in (("stiffness", "stiffness_kpa"), ("attenuation", "attenuation_db_m")):
        has_value = (pl.col("performed") == Performed.PERFORMED) & pl.col(value).is_not_null()
        table_id: pl.Expr = pl.lit(None, dtype=pl.String)
        band: pl.Expr = pl.lit(None, dtype=pl.Int32)
        for period, table in ordered:
            if table.quantity != quantity:
                continue
            techniques = _covered(period, table)
            covers = (
                has_value
                & pl.col("technique").is_in(techniques)
                & (pl.col("exam_on") >= period.from_day)
            )
            reached = pl.sum_horizontal(
                [pl.lit(0, pl.Int32)]
                + [reaches(pl.col(value), edge).cast(pl.Int32) for edge in table.edges]
            )
            table_id = pl.when(covers).then(pl.lit(table.id)).otherwise(table_id)
            band = pl.when(covers).then(reached).otherwise(band)
        exams = exams.with_columns(
            table_id.alias(f"{quantity}_table_id"), band.alias(f"{quantity}_band")
        )
    return exams


def _covered(period: InForce, table: GradeTable) -> list[str]:
    asked = period.techniques or table.techniques
    return [technique for technique in asked if technique in table.techniques]
