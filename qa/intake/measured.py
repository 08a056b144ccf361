"""Single readings → median, IQR and count of an exam, beside what the site states.

What the site states stands; what it leaves out is filled from the readings. Where both are there
and differ by more than rounding, a check flags it.
"""

import numpy as np
import polars as pl

from qa.intake.numbers import as_number, last_step
from qa.intake.readings import DIFFERING, N_LISTED, READINGS
from qa.model.definitions import Measurements, Profile
from qa.model.words import Performed
from qa.stats.quantiles import row_quantiles

_NOTHING: dict[str, pl.DataType | type[pl.DataType]] = {
    "measurements": pl.List(pl.Float64),
    "lowest_reading": pl.Float64,
    "highest_reading": pl.Float64,
    "is_median_near": pl.Boolean,
    "is_iqr_near": pl.Boolean,
    "is_count_of_readings": pl.Boolean,
    DIFFERING: pl.String,
}
_FUZZ = 1e-9


def add_measured(rows: pl.DataFrame, *, profile: Profile) -> pl.DataFrame:
    """Work out what single readings say.

    Args:
        rows: READINGS and N_LISTED where the profile has [measurements]; the texts and numbers of
            stiffness, stiffness_iqr, n_valid, n_attempted; performed_text and performed_value.
    Returns: rows with measurements (as measured, in their order; null without any),
        lowest_reading, highest_reading, is_median_near, is_iqr_near, is_count_of_readings (what is
        stated agrees with the readings; null where one of the two is missing), measurement_text
        and measurement_word (the first cell that is no number); and, where the site states none,
        stiffness, its IQR (of two readings or more) and n_valid from the readings, n_attempted
        only where the profile says that every attempt is listed. All null without [measurements].
    Method: quartiles by the type that the profile states (qa/stats/quantiles.py). Readings were
        rounded before they came here, so a true median may lie half a step away from theirs and a
        true IQR a whole step; a stated figure half a step of its own.
    """
    measurements = profile.measurements
    if measurements is None:
        return rows.with_columns(pl.lit(None, dtype).alias(n) for n, dtype in _NOTHING.items())
    decimal = profile.decimal
    rows = rows.with_columns(_readings(decimal))
    rows = rows.with_columns(_summaries(rows["measurements"], measurements))
    rows = rows.with_columns(_agreements(decimal))
    return rows.with_columns(_filled(measurements))


def _readings(decimal: str) -> list[pl.Expr]:
    number = as_number(pl.element(), decimal=decimal)
    other = "," if decimal == "." else "."
    texts = pl.col(READINGS)
    unreadable = texts.list.eval(pl.element().filter(number.is_null())).list.first()
    numbers = texts.list.eval(number).list.drop_nulls()
    return [
        pl.when(numbers.list.len() > 0).then(numbers).alias("measurements"),
        texts.list.len().cast(pl.Int32).fill_null(0).alias("n_readings"),
        unreadable.alias("measurement_text"),
        unreadable.alias("measurement_word"),
        as_number(unreadable, decimal=other).is_not_null().alias("measurement_other_sign"),
        texts.list.eval(last_step(pl.element(), decimal=decimal)).list.min().alias("reading_step"),
    ]


def _summaries(readings: pl.Series, measurements: Measurements) -> list[pl.Series]:
    """Median, IQR and bounds of each list, all exams at once."""
    counts = readings.list.len().fill_null(0).to_numpy().astype(np.int64)
    values = readings.explode(empty_as_null=False, keep_nulls=False).to_numpy()
    matrix = np.zeros((counts.size, int(counts.max(initial=0))))
    starts = np.cumsum(counts) - counts
    places = np.arange(values.size) - np.repeat(starts, counts)
    matrix[np.repeat(np.arange(counts.size), counts), places] = values
    kind = measurements.quartile_type
    low, middle, high = (row_quantiles(matrix, counts, q, type=kind) for q in (0.25, 0.5, 0.75))
    iqr = np.where(counts > 1, high - low, np.nan)
    found = {"median_of_readings": middle, "iqr_of_readings": iqr}
    return [
        *(pl.Series(name, array).fill_nan(None) for name, array in found.items()),
        readings.list.min().alias("lowest_reading"),
        readings.list.max().alias("highest_reading"),
    ]


def _agreements(decimal: str) -> list[pl.Expr]:
    """Whether what is stated agrees with the readings, as far as rounding allows."""
    step = pl.col("reading_step")
    half_step = {
        name: last_step(pl.col(f"{name}_word"), decimal=decimal) / 2
        for name in ("stiffness", "stiffness_iqr")
    }
    median_apart = (pl.col("stiffness_number") - pl.col("median_of_readings")).abs()
    iqr_apart = (pl.col("stiffness_iqr_number") - pl.col("iqr_of_readings")).abs()
    n_readings = pl.when(pl.col("n_readings") > 0).then("n_readings")
    return [
        (median_apart <= half_step["stiffness"] + step / 2 + _FUZZ).alias("is_median_near"),
        (iqr_apart <= half_step["stiffness_iqr"] + step + _FUZZ).alias("is_iqr_near"),
        (pl.col("n_valid_number") == n_readings).alias("is_count_of_readings"),
    ]


def _filled(measurements: Measurements) -> list[pl.Expr]:
    """What the site does not state, from the readings."""
    is_performed = pl.col("performed_text").is_null() | (
        pl.col("performed_value") == Performed.PERFORMED.value
    )
    has_readings = pl.col("n_readings") > 0
    is_failed = is_performed & ~has_readings & pl.col("stiffness_number").is_null()
    n_valid = pl.when(has_readings | is_failed).then(pl.col("n_readings").cast(pl.Float64))
    n_listed = pl.when(pl.lit(measurements.lists_attempts) & is_performed & (pl.col(N_LISTED) > 0))
    filled = {
        "stiffness": pl.col("median_of_readings"),
        "stiffness_iqr": pl.col("iqr_of_readings"),
        "n_valid": n_valid,
        "n_attempted": n_listed.then(pl.col(N_LISTED).cast(pl.Float64)),
    }
    return [
        pl.coalesce(f"{name}_number", own).alias(f"{name}_number") for name, own in filled.items()
    ]
