"""What stands in files: typed values of every column under the headings of a shape."""

from collections.abc import Callable

import polars as pl

from demo_sites.patients import INDICATIONS
from demo_sites.records import ORDER_WORDS, PERFORMED_WORDS, PROBES, REASONS, TECHNIQUES
from demo_sites.shape import Shape
from qa.model.words import FileFormat

_CODED: dict[str, tuple[str, ...]] = {
    "technique": TECHNIQUES,
    "probe": PROBES,
    "performed": PERFORMED_WORDS,
    "order_type": ORDER_WORDS,
    "sex": ("female", "male"),
    "indication": INDICATIONS,
    "not_performed_reason": REASONS,
}
_WHOLE = ("n_attempted", "n_valid", "age_years", "height_cm", "duration_s", "rest_minutes",
          "pressure_in_range_pct", "motion_in_range_pct", "quality_index_pct")  # fmt: skip
_DECIMAL = ("stiffness_value", "stiffness_iqr", "fasting_hours", "bmi", "weight_kg",
            "roi_depth_mm", "skin_to_capsule_mm")  # fmt: skip
COMMENTS = (
    "invented note: patient anxious",
    'invented note: "felt well", came late',
    "invented note; interpreter needed",
    "invented note | scar on the right side",
    "invented note: lively child",
    "invented note, narrow ribs; second try",
)
_TYPED = (FileFormat.XLSX, FileFormat.JSONL, FileFormat.PARQUET)


def as_sent(rows: pl.DataFrame, shape: Shape) -> pl.DataFrame:
    """Rows of one shape → `file` and the shape's headings, typed.

    Where a shape has one row for each measurement, an exam becomes several rows.
    """
    if shape.readings == "rows":
        rows = _one_row_a_measurement(rows)
    return rows.select(
        "file", *(_value(column, shape).alias(heading) for heading, column in shape.headings)
    )


def _value(column: str, shape: Shape) -> pl.Expr:
    if column in shape.codes:
        return _coded(column, shape)
    if column in _WHOLE:
        return pl.col(column).cast(pl.Int64)
    if column in _DECIMAL:
        return pl.col(column).round(3)
    if column.startswith("attenuation_") and column != "attenuation_unit":
        is_whole = shape.attenuation_steps == 1
        return pl.col(column).cast(pl.Int64) if is_whole else pl.col(column).round(3)
    if column.startswith("reading "):
        place = int(column.split()[1]) - 1
        return pl.col("measurements").list.get(place, null_on_oob=True)
    return _SPECIAL[column](shape) if column in _SPECIAL else pl.col(column)


def _coded(column: str, shape: Shape) -> pl.Expr:
    words = list(shape.codes[column])
    if column in ("position", "fasting"):
        word = pl.col(f"{column}_stated").replace_strict(["breach", "kept"], words, default=None)
        is_flag = words == ["false", "true"] and shape.format in _TYPED
        return (word == "true") if is_flag else word
    if column == "is_valid":
        return pl.col("is_valid").replace_strict(
            [False, True], words, default=None, return_dtype=pl.String
        )
    return pl.col(column).replace_strict(
        list(_CODED[column]), words, default=None, return_dtype=pl.String
    )


def _moment(shape: Shape) -> pl.Expr:
    """In UTC where the format keeps zones, else on the clock of the site."""
    return pl.col("local_at" if shape.date_format or shape.format == FileFormat.XLSX else "exam_at")


_SPECIAL: dict[str, Callable[[Shape], pl.Expr]] = {
    "stated_ratio_pct": lambda _: (100 * pl.col("stated_ratio_share")).round().cast(pl.Int64),
    "exam_at": _moment,
    "exam_date": lambda _: pl.col("local_at").dt.date(),
    "exam_time": lambda _: pl.col("local_at").dt.time(),
    "born_on": lambda _: pl.col("birth_day").cast(pl.Int32).cast(pl.Date),
    "name": lambda _: pl.format("{}, {}", "family_name", "given_name"),
    "comment": lambda _: pl.col("comment").replace_strict(
        list(range(len(COMMENTS))), list(COMMENTS), default=None, return_dtype=pl.String
    ),
}


def n_rows_of(rows: pl.DataFrame, shape: Shape) -> pl.Series:
    """Rows of the file that each exam takes."""
    if shape.readings != "rows":
        return pl.Series([1]).new_from_index(0, rows.height)
    return rows["n_attempted"].fill_null(1).clip(lower_bound=1).cast(pl.Int64)


def _one_row_a_measurement(rows: pl.DataFrame) -> pl.DataFrame:
    """Attempts in their order, those without a value between the others; one row where none."""
    n_valid = pl.col("n_valid").fill_null(0).cast(pl.Int64)
    n_invalid = pl.col("n_attempted").fill_null(0).cast(pl.Int64) - n_valid
    numbered = rows.with_row_index("exam")
    valid = (
        numbered.filter(n_valid > 0)
        .explode("measurements")
        .with_columns(
            pl.col("measurements").alias("reading"),
            is_valid=pl.lit(value=True),
            place=pl.int_range(pl.len()).over("exam").cast(pl.Float64),
        )
    )
    invalid = numbered.with_columns(n_invalid.alias("again")).filter(pl.col("again") > 0)
    invalid = invalid.with_columns(pl.int_ranges(0, "again").alias("try")).explode("try")
    invalid = invalid.with_columns(
        reading=pl.lit(None, pl.Float64),
        is_valid=pl.lit(value=False),
        place=(pl.col("try") * 1.7) % pl.max_horizontal(n_valid, 1) + 0.5,
    ).drop("again", "try")
    none = numbered.filter((n_valid + n_invalid) == 0).with_columns(
        reading=pl.lit(None, pl.Float64),
        is_valid=pl.lit(None, pl.Boolean),
        place=pl.lit(0.0),
    )
    parts = [part.drop("measurements") for part in (valid, invalid, none)]
    attempts = pl.concat(parts).sort("exam", "place", maintain_order=True)
    number = pl.int_range(1, pl.len() + 1).over("exam")
    return attempts.with_columns(
        pl.when(pl.col("is_valid").is_not_null()).then(number).alias("reading_no")
    )
