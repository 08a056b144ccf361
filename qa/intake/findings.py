"""What a quarantined row may say: where, what was found, what was expected.

A quarantine must not become a back door for identifiers. So a number, a date or a short code is
shown as it stands; anything longer only by its length (columns may be shifted, and a name may
stand where a code should); identifiers never.
"""

import polars as pl

from qa.intake.check import Check
from qa.intake.mapping import mapped_columns, shown_headings
from qa.intake.targets import OF_READINGS, TARGET_BY_NAME, Kind
from qa.model.definitions import ColumnMap, Measurements, Profile

WITHHELD = "(withheld)"
EMPTY = "(empty)"
_SHOWN_CODES = 12
_SHOWN_SAFELY: dict[Kind, str] = {
    Kind.NUMBER: r"^([<>]=?|[≤≥])? ?[+-]?\d{1,5}([.,]\d{1,4})?$",
    Kind.WHOLE: r"^[+-]?\d{1,5}([.,]\d{1,4})?$",
    Kind.TIME: r"^[\d ./:TZ+-]{6,32}$",
}
_SHORT_CODE = r"^(.{1,3}|[\w./-]{0,11}\d[\w./-]{0,11})$"
_CODE_LENGTH = 12
_LONG_NUMBER = r"\d{5}"
_LIKE_A_DATE = r"\d[./-]\d{1,2}[./-]\d"
_THIS_CENTURY = r"(^|\D)20\d\d(\D|$)"


def heading_text(check: Check, profile: Profile) -> str:
    """The source headings that a check is about, as the site knows them."""
    columns = {column.target: column for column in mapped_columns(profile)}
    shown = []
    for name in check.columns:
        column = columns.get(name)
        if name in OF_READINGS and profile.measurements:
            shown.append(_reading_heading(name, profile.measurements))
        elif column is None:
            shown.append(f"({name}: not in the file)")
        elif column.constant is not None:
            shown.append(f"({name}: fixed by the profile)")
        else:
            shown.append(shown_headings(column))
    return ", ".join(shown)


def _reading_heading(name: str, measurements: Measurements) -> str:
    if name == "measurement":
        return ", ".join(measurements.headings)
    return measurements.valid_heading


def expected_text(check: Check, profile: Profile) -> str:
    """What was expected, with the profile's own signs, formats and codes filled in."""
    columns = {column.target: column for column in mapped_columns(profile)}
    column = columns.get(check.columns[0])
    codes = [old for old, _ in column.codes] if column and column.codes else []
    if check.columns[0] == "measurement_valid" and profile.measurements:
        codes = [*profile.measurements.valid_values, *profile.measurements.invalid_values]
    listed = codes or list(TARGET_BY_NAME[check.columns[0]].words)
    more = f" and {len(listed) - _SHOWN_CODES} more" if len(listed) > _SHOWN_CODES else ""
    usual = "YYYY-MM-DD" if check.columns[0] == "birth_date" else "YYYY-MM-DD HH:MM"
    date_format = column.date_format if column and column.date_format else usual
    text = check.expected.replace("{decimal}", profile.decimal)
    text = text.replace("{date_format}", date_format)
    text = text.replace("{unit}", _unit_text(check.columns[0], columns))
    return text.replace("{codes}", ", ".join(listed[:_SHOWN_CODES]) + more)


def _unit_text(name: str, columns: dict[str, ColumnMap]) -> str:
    """The unit that a quantity's column has, in the profile or in a column of its own."""
    quantity = columns.get(name.removesuffix("_iqr"))
    of_rows = columns.get(f"{name.removesuffix('_iqr')}_unit")
    if quantity is not None and quantity.unit:
        return f"{quantity.unit} that the profile states"
    return f"that {shown_headings(of_rows)} states" if of_rows else "that the profile states"


def found_text(check: Check) -> pl.Expr:
    """What stands in the file, or why it is not shown; reads `<target>_text` of the rows."""
    if check.found is not None:
        return check.found
    return pl.concat_str([_shown(name) for name in check.columns], separator=", ")


def _shown(name: str) -> pl.Expr:
    kind = TARGET_BY_NAME[name].kind
    if kind == Kind.IDENTIFIER:
        is_empty = pl.col(f"{name}_text").is_null()
        return pl.when(is_empty).then(pl.lit(EMPTY)).otherwise(pl.lit(WITHHELD))
    text = pl.col(f"{name}_text")
    length = pl.format("(text of {} characters)", text.str.len_chars())
    return (
        pl.when(text.is_null())
        .then(pl.lit(EMPTY))
        .when(_holds_an_identifier(text))
        .then(pl.lit(WITHHELD))
        .when(_is_safe(text, kind))
        .then(text)
        .otherwise(length)
    )


def _holds_an_identifier(text: pl.Expr) -> pl.Expr:
    """The text is one of the row's own identifiers, or has one of four digits or more in it."""
    tests = []
    for name in ("patient_id_text", "exam_id_text", "birth_date_text"):
        identifier = pl.col(name)
        is_long = identifier.str.len_chars() >= 4
        tests.append(text == identifier)
        tests.append(is_long & text.str.contains(identifier, literal=True))
    return pl.any_horizontal(test.fill_null(value=False) for test in tests)


def _is_safe(text: pl.Expr, kind: Kind) -> pl.Expr:
    if kind == Kind.TIME:
        # A date of another century could be a date of birth in the wrong column.
        return text.str.contains(_SHOWN_SAFELY[kind]) & text.str.contains(_THIS_CENTURY)
    if kind in _SHOWN_SAFELY:
        return text.str.contains(_SHOWN_SAFELY[kind])
    return (
        (text.str.len_chars() <= _CODE_LENGTH)
        & text.str.contains(_SHORT_CODE)
        & ~text.str.contains(_LONG_NUMBER)
        & ~text.str.contains(_LIKE_A_DATE)
    )
