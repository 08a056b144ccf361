"""Picked text → typed rows: the columns of EXAMS beside the texts that they came from.

Nothing is judged here. What cannot be read is null in its typed column and not null in its text;
the checks (checks.py) see the difference.
"""

import polars as pl

from qa.intake.ages import add_age_from_birth
from qa.intake.cell_units import mark_doubtful_units, read_cell_units
from qa.intake.content import add_row_hash
from qa.intake.doubled import mark_doubled_exams
from qa.intake.limit_signs import SIGNED, is_censored, read_limit_signs, signs_at_limits
from qa.intake.mapping import mapped_columns
from qa.intake.measured import add_measured
from qa.intake.numbers import as_number, finite, parsed
from qa.intake.pseudonym import add_keys
from qa.intake.registers import Registers
from qa.intake.targets import TARGETS, Kind, names_of_kind
from qa.intake.times import parse_times, place_in_time
from qa.intake.units import attenuation_in_db_m, stiffness_in_kpa
from qa.model.definitions import ColumnMap, Measurements, Profile
from qa.model.words import TAKEN_BACK, Kept, OrderType, Performed, Probe, Sex

TOP_AGE = 90
_DEFAULTS = {
    "performed": Performed.PERFORMED,
    "probe": Probe.UNKNOWN,
    "order_type": OrderType.UNKNOWN,
    "sex": Sex.UNKNOWN,
}
_NUMBERS_AS_SENT = ("duration_s", "roi_depth_mm", "skin_to_capsule_mm")
_SHARES = ("pressure_in_range", "motion_in_range", "quality_index")
_MEASURED = ("stiffness", "stiffness_iqr", "stated_ratio_pct", "attenuation", "attenuation_iqr")


def map_rows(
    picked: pl.DataFrame,
    *,
    profile: Profile,
    registers: Registers,
    key: bytes,
) -> pl.DataFrame:
    """Give picked rows their types, keys and units.

    Args:
        picked: file_no (which file of the batch), site_of_file (null where rows name their site),
            and the columns of pick_columns; rows of one profile. Other columns are kept.
    Returns: the rows in their order, with the content columns of EXAMS (null where they cannot be
        read), exam_key, patient_key, row_hash, and what the checks read. Empty in, empty out.
    """
    columns = {column.target: column for column in mapped_columns(profile)}
    rows = _with_all_targets(picked)
    rows = _look_up(rows, registers)
    rows = rows.with_columns(_words())
    rows = _with_numbers(rows, columns, profile.decimal)
    scales = {name: columns[name].scale for name in SIGNED if name in columns}
    rows = read_limit_signs(rows, decimal=profile.decimal, scales=scales)
    units = _units(columns, profile.measurements)
    rows = read_cell_units(rows, units=units, decimal=profile.decimal)
    rows = add_measured(rows, profile=profile)
    rows = _without_zeros_of_failed_exams(rows)
    exam_at = columns.get("exam_at")
    rows = parse_times(rows, date_format=exam_at.date_format if exam_at else None)
    rows = place_in_time(rows)
    rows = _look_up_by_day(rows, registers)
    birth = columns.get("birth_date")
    rows = add_age_from_birth(rows, date_format=birth.date_format if birth else None)
    rows = rows.with_columns(_quantities(columns, units))
    rows = mark_doubtful_units(rows)
    rows = rows.with_columns(signs_at_limits(rows, profile))
    rows = rows.with_columns(_exam_columns(rows, profile, columns))
    rows = add_row_hash(add_keys(rows, key=key))
    return mark_doubled_exams(rows)


def _with_all_targets(picked: pl.DataFrame) -> pl.DataFrame:
    names = [f"{target.name}_{part}" for target in TARGETS for part in ("text", "word")]
    empty = pl.lit(None, pl.String)
    return picked.with_columns(empty.alias(name) for name in names if name not in picked.columns)


def _look_up(rows: pl.DataFrame, registers: Registers) -> pl.DataFrame:
    """Site, operator and device ids; null where the register does not hold the code."""
    named = pl.when(pl.col("site_word").is_in(registers.site_ids)).then("site_word")
    rows = rows.with_columns(site_id=pl.coalesce("site_of_file", named))
    for register, on in (
        (registers.sites, ["site_id"]),
        (registers.operators, ["site_id", "operator_word"]),
        (registers.devices, ["site_id", "device_word"]),
    ):
        rows = rows.join(register, on=on, how="left", maintain_order="left")
    return rows


def _look_up_by_day(rows: pl.DataFrame, registers: Registers) -> pl.DataFrame:
    """Operators and devices whose codes hold on some days only: by the day of the exam."""
    for kind, register in (
        ("operator", registers.dated_operators),
        ("device", registers.dated_devices),
    ):
        if register.is_empty():
            continue
        on = ["site_id", f"{kind}_word"]
        found = [name for name in register.columns if name not in (*on, "from_day", "to_day")]
        on_day = (
            rows.with_row_index("place")
            .select("place", "exam_on", *on)
            .join(register, on=on)
            .filter(
                (pl.col("from_day") <= pl.col("exam_on")).fill_null(value=True),
                (pl.col("exam_on") <= pl.col("to_day")).fill_null(value=True),
                pl.col("exam_on").is_not_null(),
            )
            .select("place", *(pl.col(name).alias(f"dated_{name}") for name in found))
        )
        rows = (
            rows.with_row_index("place")
            .join(on_day, on="place", how="left", maintain_order="left")
            .with_columns(pl.coalesce(name, f"dated_{name}").alias(name) for name in found)
            .drop("place", *(f"dated_{name}" for name in found))
        )
    return rows


def _words() -> list[pl.Expr]:
    """`<target>_value`: the word where it is one of ours, else null."""
    return [
        pl.when(pl.col(f"{target.name}_word").is_in(list(target.words)))
        .then(f"{target.name}_word")
        .alias(f"{target.name}_value")
        for target in TARGETS
        if target.kind == Kind.WORD
    ]


def _with_numbers(rows: pl.DataFrame, columns: dict[str, ColumnMap], decimal: str) -> pl.DataFrame:
    """`<target>_number`, `<target>_is_read` (the text is a number) and `<target>_other_sign` (it
    would be one with the other decimal sign)."""
    other = "," if decimal == "." else "."
    names = names_of_kind(Kind.NUMBER, Kind.WHOLE)
    # Each text is parsed once, and with the other sign only in columns with texts unread.
    rows = rows.with_columns(
        parsed(pl.col(f"{name}_word"), decimal=decimal).alias(f"{name}_number") for name in names
    ).with_columns(finite(pl.col(f"{name}_number")) for name in names)
    result = []
    for name in names:
        number = pl.col(f"{name}_number")
        result.append(number.is_not_null().alias(f"{name}_is_read"))
        has_other = pl.lit(value=False)
        if rows[f"{name}_number"].null_count() > rows[f"{name}_word"].null_count():
            in_other = as_number(pl.col(f"{name}_word"), decimal=other)
            has_other = number.is_null() & in_other.is_not_null()
        result.append(has_other.alias(f"{name}_other_sign"))
        scale = columns[name].scale if name in columns else 1.0
        if scale != 1.0:
            result.append((number * scale).alias(f"{name}_number"))
    return rows.with_columns(result)


def _without_zeros_of_failed_exams(rows: pl.DataFrame) -> pl.DataFrame:
    """A figure of 0 beside no valid measurement is no figure."""
    is_failed = pl.col("n_valid_number") == 0
    return rows.with_columns(
        pl.when(~(is_failed & (pl.col(f"{name}_number") == 0)).fill_null(value=False))
        .then(f"{name}_number")
        .alias(f"{name}_number")
        for name in _MEASURED
    )


def _quantities(columns: dict[str, ColumnMap], units: dict[str, pl.Expr]) -> list[pl.Expr]:
    """Stiffness and attenuation with their units, as measured and in kPa and dB/m."""
    stiffness_unit, attenuation_unit = units["stiffness"], units["attenuation"]
    frequency = columns["attenuation"].frequency_mhz if "attenuation" in columns else None
    median, iqr = pl.col("attenuation_number"), pl.col("attenuation_iqr_number")
    return [
        pl.col("stiffness_number").alias("stiffness_value"),
        pl.col("stiffness_iqr_number").alias("stiffness_iqr"),
        pl.when(pl.col("stiffness_number").is_not_null())
        .then(stiffness_unit)
        .alias("stiffness_unit"),
        stiffness_in_kpa(pl.col("stiffness_number"), stiffness_unit).alias("stiffness_kpa"),
        (pl.col("stated_ratio_pct_number") / 100).alias("stated_ratio_share"),
        median.alias("attenuation_value"),
        iqr.alias("attenuation_iqr"),
        pl.when(median.is_not_null()).then(attenuation_unit).alias("attenuation_unit"),
        attenuation_in_db_m(median, attenuation_unit, frequency_mhz=frequency).alias(
            "attenuation_db_m"
        ),
        attenuation_in_db_m(iqr, attenuation_unit, frequency_mhz=frequency).alias(
            "attenuation_iqr_db_m"
        ),
    ]


def _units(columns: dict[str, ColumnMap], measurements: Measurements | None) -> dict[str, pl.Expr]:
    """Target → its unit: of the profile, or of the row."""
    stated = {name: column.unit for name, column in columns.items()}
    if measurements and measurements.unit:
        stated["stiffness"] = measurements.unit
    units = {}
    for quantity in ("stiffness", "attenuation"):
        unit = stated.get(quantity)
        of_row = pl.col(f"{quantity}_unit_value")
        units[quantity] = pl.lit(unit) if unit is not None else of_row
        units[f"{quantity}_iqr"] = units[quantity]
    return units


def _exam_columns(
    rows: pl.DataFrame, profile: Profile, columns: dict[str, ColumnMap]
) -> list[pl.Expr]:
    """The other columns of EXAMS."""
    is_nominal = "exam_at" in columns and columns["exam_at"].is_nominal
    height_m = pl.col("height_cm_number") / 100
    from_size = pl.col("weight_kg_number") / (height_m * height_m)
    hours = pl.col("fasting_hours_number")
    fasting_stated = pl.when(hours.is_null()).then(_stated("fasting_kept_value"))
    return [
        pl.col("technique_value").alias("technique"),
        *(pl.col(f"{name}_value").fill_null(word).alias(name) for name, word in _DEFAULTS.items()),
        pl.col("not_performed_reason_word").alias("not_performed_reason"),
        pl.col("indication_word").alias("indication"),
        *(
            pl.col(f"{name}_number").cast(pl.Int32, strict=False).alias(name)
            for name in names_of_kind(Kind.WHOLE)
        ),
        hours.alias("fasting_hours"),
        fasting_stated.alias("fasting_stated"),
        pl.col("rest_minutes_number").alias("rest_minutes"),
        _stated("position_kept_value").alias("position_stated"),
        pl.coalesce("bmi_number", pl.when(from_size.is_finite()).then(from_size)).alias(
            "bmi_kg_m2"
        ),
        pl.coalesce("age_from_birth", pl.col("age_years_number").floor())
        .clip(upper_bound=TOP_AGE)
        .cast(pl.Int32, strict=False)
        .alias("age_years"),
        *(pl.col(f"{name}_number").alias(name) for name in _NUMBERS_AS_SENT),
        *((pl.col(f"{name}_pct_number") / 100).alias(f"{name}_share") for name in _SHARES),
        pl.col("acquisition_mode_value").alias("acquisition_mode"),
        pl.col("source_status_value").alias("source_status"),
        *(is_censored(name, rows, profile).alias(f"is_{name}_censored") for name in SIGNED),
        pl.lit(is_nominal).alias("is_date_nominal"),
        _is_retracted().alias("is_retracted"),
    ]


def _is_retracted() -> pl.Expr:
    """The site says so, or the source's status takes the exam back."""
    is_withdrawn = pl.col("retracted_value") == "yes"
    is_taken_back = pl.col("source_status_value").is_in([word.value for word in TAKEN_BACK])
    return is_withdrawn.fill_null(value=False) | is_taken_back.fill_null(value=False)


def _stated(name: str) -> pl.Expr:
    return pl.when(pl.col(name) != Kept.NOT_RECORDED.value).then(name)
