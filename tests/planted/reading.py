"""Reads the truth for tests that ask whether what was planted is found."""

from datetime import date

import polars as pl

from demo_sites.truth import PlantedEvent, Truth
from qa.model.months import months_between


def operator_drifts(truth: Truth, *, at_least: float = 0.10) -> list[PlantedEvent]:
    """Operators' technique drifts of at least so many points (0.10 is 10 points)."""
    return [event for event in truth.of_kind("technique_drift") if (event.size or 0.0) >= at_least]


def months_to_signal(
    signals: pl.DataFrame, event: PlantedEvent, *, measure_ids: tuple[str, ...]
) -> int | None:
    """Months from the start of an event to the first signal on its target; 0 is the same month.

    signals: frame of schema SIGNALS. None: no signal from the start on.
    """
    found: date | None = signals.filter(
        (pl.col("unit_id") == event.target)
        & pl.col("measure_id").is_in(measure_ids)
        & (pl.col("month") >= event.start_month)
    )["month"].min()
    return None if found is None else months_between(event.start_month, found)


def touched_units(truth: Truth) -> set[str]:
    """Ids of all sites, operators and devices that an event is about, and of their sites."""
    return {unit for event in truth.events for unit in (event.target, event.site_id)}


def differences(exams: pl.DataFrame, truth: Truth) -> dict[str, int]:
    """Rows on which intake and truth differ: column → number of rows; empty where they agree.

    exams: the exams that count, with the columns of EXAMS. Exams are matched by source file and
    row; one that stands on one side only counts under "row". Numbers may differ by 1e-9.
    """
    names = {one["sha256"]: one["file"] for one in truth.facts["files"] if "same_as" not in one}
    found = exams.with_columns(source_file=pl.col("file_id").replace_strict(names, default=None))
    keys = ["source_file", "row_no"]
    both = truth.counting.join(found, on=keys, how="full", suffix="_found", coalesce=True)
    result = {"row": both.filter(pl.col("site_id").is_null() ^ pl.col("site_id_found").is_null())}
    for column in truth.counting.columns:
        if f"{column}_found" in both.columns:
            result[column] = both.filter(_differs(column, is_number=both[column].dtype.is_float()))
    return {name: rows.height for name, rows in result.items() if rows.height}


def _differs(column: str, *, is_number: bool) -> pl.Expr:
    true, found = pl.col(column), pl.col(f"{column}_found")
    if column == "measurements":
        return true.list.eval(pl.element().round(9)).ne_missing(
            found.list.eval(pl.element().round(9))
        )
    if not is_number:
        return true.ne_missing(found)
    apart = ((true - found).abs() > 1e-9).fill_null(value=False)
    return apart | (true.is_null() ^ found.is_null())
