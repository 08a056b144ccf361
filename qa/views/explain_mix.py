"""Tests and sizes of a moved mix of results: bands of one table, values of one technique."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

from qa.drift.moved import MixStatistic, compare_bands, compare_values, value_quantiles
from qa.model.definitions import GradeTable, Measure
from qa.model.published import Published
from qa.model.words import Performed
from qa.views import words

VALUE = {"stiffness": ("stiffness_kpa", "kPa", 1), "attenuation": ("attenuation_db_m", "dB/m", 0)}


@dataclass(frozen=True)
class MixRow:
    """One statistic of one table or technique, in words."""

    of: str
    name: str
    value_text: str
    test_text: str
    size_text: str

    @property
    def told(self) -> tuple[str, str, str]:
        return self.value_text, self.test_text, self.size_text


def mix_rows(
    published: Published,
    exams: pl.DataFrame,
    measure: Measure,
    *,
    before: Sequence[date],
    after: Sequence[date],
) -> tuple[MixRow, ...]:
    """Statistics of the measure's quantity; none where it is no measure of results.

    Args: exams: published exams of one site. before, after: months of each period.
    """
    quantity = next((key for key in VALUE if measure.key.startswith(key)), "")
    if not (measure.is_grade and quantity):
        return ()
    sides = exams.filter(pl.col("performed") == Performed.PERFORMED).with_columns(
        side=pl.when(pl.col("month").is_in(list(before)))
        .then(pl.lit("before"))
        .when(pl.col("month").is_in(list(after)))
        .then(pl.lit("after"))
    )
    rows: list[MixRow] = []
    for table_id in sides[f"{quantity}_table_id"].drop_nulls().unique().sort():
        table = published.definitions.grade_tables[table_id]
        rows += _of_bands(sides.filter(pl.col(f"{quantity}_table_id") == table_id), table)
    for technique in sides["technique"].unique().sort():
        rows += _of_values(sides.filter(pl.col("technique") == technique), quantity, technique)
    return tuple(rows)


def _of_bands(exams: pl.DataFrame, table: GradeTable) -> list[MixRow]:
    bands = range(len(table.labels))
    counts = [_counts(exams, f"{table.quantity}_band", side) for side in ("before", "after")]
    found = compare_bands(*([one.get(band, 0) for band in bands] for one in counts))
    return [_row(f"Bands of {table.id}", one) for one in found]


def _of_values(exams: pl.DataFrame, quantity: str, technique: str) -> list[MixRow]:
    column, unit, decimals = VALUE[quantity]
    before, after = (_counts(exams, column, side) for side in ("before", "after"))
    if not (before and after):
        return []
    values = sorted({*before, *after})
    counts = [[one.get(value, 0) for value in values] for one in (before, after)]
    ends = [value_quantiles(values, one, (0.25, 0.5, 0.75)) for one in counts]
    low, high = (
        f"{middle:.{decimals}f} ({first:.{decimals}f} to {third:.{decimals}f})"
        for first, middle, third in ends
    )
    of = f"{quantity.capitalize()} by {technique}"
    return [
        MixRow(of, "Median and quartiles", f"{low} before, {high} after, {unit}", "", ""),
        _row(of, compare_values(values, *counts)),
    ]


def _counts(exams: pl.DataFrame, column: str, side: str) -> dict:
    here = exams.filter(pl.col("side") == side, pl.col(column).is_not_null())
    return dict(here.group_by(column).len().iter_rows())


def _row(of: str, one: MixStatistic) -> MixRow:
    if one.p_value is not None:
        test = "p under 0.001" if one.p_value < 0.001 else f"p {one.p_value:.3f}"
    else:
        test = f"by chance about {one.chance:.3f}" if one.chance is not None else "no test"
    size = words.as_sentence(f"{one.size}; {one.source}")
    return MixRow(of, one.name, f"{one.value:.3f}", test, size)
