"""Units that stand in cells, and columns that hold two units: told apart, never guessed."""

import polars as pl

from qa.intake.bounds import SPEED_M_S, STIFFNESS_KPA
from qa.intake.numbers import as_number
from qa.model.words import AttenuationUnit, StiffnessUnit

QUANTITIES = ("stiffness", "stiffness_iqr", "attenuation", "attenuation_iqr")
"""Targets whose cells may name a unit."""
SPELLED: dict[str, str] = {
    "kpa": StiffnessUnit.KPA, "m/s": StiffnessUnit.M_S, "m s-1": StiffnessUnit.M_S,
    "db/m": AttenuationUnit.DB_M, "db/cm/mhz": AttenuationUnit.DB_CM_MHZ,
    "db/(cm.mhz)": AttenuationUnit.DB_CM_MHZ, "db/(cm·mhz)": AttenuationUnit.DB_CM_MHZ,
}  # fmt: skip
"""Ways to write a unit, in small letters."""

RARE_KPA = 2.0
"""Of 5,950 exams of the open survey 3 lie below it; most speeds in m/s do. Computed, open data."""
FEWEST_ROWS, FEWEST_SHARE = 3, 0.05
"""How many rows of a file speak for another unit. Proposals of this tool."""

_VALUE_AND_UNIT = r"^([+-]?[0-9.,]+)\s*([A-Za-z][A-Za-z0-9/().·\s-]*)$"


def read_cell_units(rows: pl.DataFrame, *, units: dict[str, pl.Expr], decimal: str) -> pl.DataFrame:
    """Read cells such as "9.2 kPa", where nothing but the unit keeps them from being a number.

    Args:
        rows: `<target>_word`, `<target>_number`, `<target>_is_read`, `<target>_other_sign` of
            QUANTITIES.
        units: target → the unit that its column has.
    Returns: rows with those filled where the cell names the unit of its column, and
        `<target>_other_unit`: true where it names another one, null where it names none;
        `<target>_named_unit`: the unit that it names.
    """
    nothing = [pl.lit(None, pl.Boolean).alias(f"{name}_other_unit") for name in QUANTITIES]
    nothing += [pl.lit(None, pl.String).alias(f"{name}_named_unit") for name in QUANTITIES]
    rows = rows.with_columns(nothing)
    named = [name for name in QUANTITIES if _has_unread(rows, name)]
    return rows.with_columns(
        one for name in named for one in _read(name, units[name], decimal=decimal)
    )


def _has_unread(rows: pl.DataFrame, name: str) -> bool:
    is_unread = pl.col(f"{name}_word").is_not_null() & ~pl.col(f"{name}_is_read")
    return bool(rows.select(is_unread.any()).item())


def _read(name: str, unit_of_column: pl.Expr, *, decimal: str) -> list[pl.Expr]:
    parts = pl.col(f"{name}_word").str.extract_groups(_VALUE_AND_UNIT)
    text = parts.struct.field("1")
    unit = parts.struct.field("2").str.strip_chars().str.to_lowercase()
    unit = unit.replace_strict(list(SPELLED), [str(one) for one in SPELLED.values()], default=None)
    is_same, is_other = unit == unit_of_column, unit != unit_of_column
    own, other = as_number(text, decimal=decimal), as_number(text, decimal=_other(decimal))
    return [
        is_other.alias(f"{name}_other_unit"),
        unit.alias(f"{name}_named_unit"),
        pl.when(is_same).then(own).otherwise(f"{name}_number").alias(f"{name}_number"),
        pl.when(is_same)
        .then(own.is_not_null())
        .when(is_other)
        .then(None)
        .otherwise(f"{name}_is_read")
        .alias(f"{name}_is_read"),
        pl.when(is_same)
        .then(own.is_null() & other.is_not_null())
        .otherwise(f"{name}_other_sign")
        .alias(f"{name}_other_sign"),
    ]


def _other(decimal: str) -> str:
    return "," if decimal == "." else "."


def mark_doubtful_units(rows: pl.DataFrame) -> pl.DataFrame:
    """Doubt the stiffness of files whose column seems to hold kPa and m/s.

    Args:    rows: file_no, stiffness_value, stiffness_unit (the one unit that is stated).
    Returns: rows with is_unit_doubtful: the value could be of either unit, and in its file at
        least FEWEST_ROWS rows and FEWEST_SHARE of those with this unit are as good as impossible
        in it (kPa below RARE_KPA; m/s above what is possible).
    """
    value, unit = pl.col("stiffness_value"), pl.col("stiffness_unit")
    is_rare = ((unit == StiffnessUnit.KPA) & (value < RARE_KPA)) | (
        (unit == StiffnessUnit.M_S) & (value > SPEED_M_S[1])
    )
    nobody = pl.lit(value=False).alias("is_unit_doubtful")
    if not rows.select(is_rare.any()).item():
        return rows.with_columns(nobody)
    place = ["file_no", "stiffness_unit"]
    counts = rows.group_by(place).agg(n_rare=is_rare.sum(), n_values=value.is_not_null().sum())
    is_much = (pl.col("n_rare") >= FEWEST_ROWS) & (
        pl.col("n_rare") >= FEWEST_SHARE * pl.col("n_values")
    )
    doubted = counts.select(*place, is_doubted=is_much)
    could_be_both = value.is_between(STIFFNESS_KPA[0], SPEED_M_S[1])
    marked = rows.join(doubted, on=place, how="left", maintain_order="left")
    return marked.with_columns(
        is_unit_doubtful=(pl.col("is_doubted") & could_be_both).fill_null(value=False)
    ).drop("is_doubted")
