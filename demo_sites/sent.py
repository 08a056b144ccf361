"""What of an exam arrives: columns that its shape does not send are empty."""

import numpy as np
import polars as pl

from demo_sites.figures import FREQUENCY_MHZ
from demo_sites.shapes import SHAPES

_NULL_UNLESS_SENT = {
    "n_attempted": "n_attempted",
    "stated_ratio_pct": "stated_ratio_share",
    "attenuation_value": "attenuation_value",
    "attenuation_iqr": "attenuation_iqr",
    "fasting_hours": "fasting_hours",
    "rest_minutes": "rest_minutes",
    "duration_s": "duration_s",
    "not_performed_reason": "not_performed_reason",
    "indication": "indication",
    "pressure_in_range_pct": "pressure_in_range_pct",
    "motion_in_range_pct": "motion_in_range_pct",
    "quality_index_pct": "quality_index_pct",
    "roi_depth_mm": "roi_depth_mm",
    "skin_to_capsule_mm": "skin_to_capsule_mm",
}
"""Column of a shape → column of the truth."""

_SHARES = ("pressure_in_range", "motion_in_range", "quality_index")


def only_sent(frame: pl.DataFrame, shape: np.ndarray) -> pl.DataFrame:
    """Null what a shape has no column for; derive what intake derives.

    Args: shape: place of each exam's shape in SHAPES.
    """

    def of_shape(values: list[object]) -> pl.Series:
        return pl.Series(values).gather(shape)

    def sent(column: str) -> pl.Series:
        return of_shape([column in one.sends for one in SHAPES])

    hours, position = pl.col("fasting_hours"), pl.col("position")
    frame = frame.with_columns(
        _stated(hours >= 2.0, sent("fasting") & hours.is_not_null()).alias("fasting_stated"),
        _stated(position == 1.0, sent("position") & position.is_not_null()).alias(
            "position_stated"
        ),
        _body_mass_index(sent("bmi")).alias("bmi_kg_m2"),
        pl.when(sent("order_type"))
        .then("order_type")
        .otherwise(pl.lit("unknown"))
        .alias("order_type"),
        pl.Series(
            "acquisition_mode", of_shape([one.acquisition_mode for one in SHAPES]), pl.String
        ),
        pl.Series("source_status", of_shape([one.final_status for one in SHAPES]), pl.String),
        _performed(frame, shape),
        is_retracted=pl.lit(value=False),
    )
    frame = frame.with_columns(
        pl.when(sent(column)).then(pl.col(name)).alias(name)
        for column, name in _NULL_UNLESS_SENT.items()
    )
    frame = frame.with_columns(
        _in_kpa().alias("stiffness_kpa"),
        _in_db_m("attenuation_value").alias("attenuation_db_m"),
        _in_db_m("attenuation_iqr").alias("attenuation_iqr_db_m"),
        pl.when(pl.col("attenuation_value").is_not_null()).then("attenuation_unit"),
        *((pl.col(f"{name}_pct") / 100).alias(f"{name}_share") for name in _SHARES),
    )
    return frame.with_columns(
        _at_limit(
            name,
            *(of_shape([getattr(one, f"{kind}_limits_{unit}")[end] for one in SHAPES])
              for end in (0, 1)),
        ).alias(f"is_{kind}_censored")
        for kind, unit, name in (
            ("stiffness", "kpa", "stiffness_kpa"),
            ("attenuation", "db_m", "attenuation_db_m"),
        )
    )  # fmt: skip


def _body_mass_index(is_sent: pl.Series) -> pl.Expr:
    from_size = pl.col("weight_kg") / (pl.col("height_cm") / 100) ** 2
    return pl.when(is_sent).then(pl.col("bmi")).otherwise(from_size)


def _performed(frame: pl.DataFrame, shape: np.ndarray) -> pl.Series:
    """The word that arrives where a shape does not tell all of them apart."""
    usual = SHAPES[0].performed_as
    number = frame["performed"].replace_strict(usual, range(4), return_dtype=pl.Int64)
    words = np.array([one.performed_as for one in SHAPES])
    return pl.Series("performed", words[shape, number.to_numpy()])


def _stated(is_kept: pl.Expr, is_sent: pl.Expr) -> pl.Expr:
    return pl.when(is_sent).then(pl.when(is_kept).then(pl.lit("kept")).otherwise(pl.lit("breach")))


def _in_kpa() -> pl.Expr:
    """kPa = 3 × (m/s)² at a density of 1 g/cm³."""
    value = pl.col("stiffness_value")
    return pl.when(pl.col("stiffness_unit") == "m/s").then(3.0 * value**2).otherwise(value)


def _in_db_m(name: str) -> pl.Expr:
    """dB/m = 100 × frequency (MHz) × dB/cm/MHz."""
    value = pl.col(name)
    is_relative = pl.col("attenuation_unit") == "dB/cm/MHz"
    return pl.when(is_relative).then(100.0 * FREQUENCY_MHZ * value).otherwise(value)


def _at_limit(name: str, low: pl.Series, high: pl.Series) -> pl.Expr:
    value = pl.col(name)
    return ((value <= low) | (value >= high)).fill_null(False)
