"""Whether the values of a column can be those of a target, and what they look like."""

from qa.intake.bounds import OTHER_BOUNDS
from qa.intake.column_facts import ColumnFacts
from qa.intake.targets import TARGET_BY_NAME, Kind

_FEW_CODES, _SHORT = 8, 3


def fits(column: ColumnFacts, target: str) -> bool:
    """Whether the values can be that at all."""
    kind = TARGET_BY_NAME[target].kind
    if target == "birth_date":
        return column.dates is not None and not column.dates.is_clock
    if kind == Kind.IDENTIFIER:
        is_number_like = not column.is_free_text and column.dates is None
        return is_number_like and column.n_distinct > (0.05 if target == "patient_id" else 0.02) * (
            column.n_filled
        )
    if kind == Kind.LOOKUP:
        return column.words != () and not column.is_free_text
    if target in ("fasting_kept", "position_kept", "retracted") and column.numbers is not None:
        return column.high <= 1
    if kind in (Kind.WORD, Kind.REASON):
        return 0 < len(column.words) <= 15 and column.dates is None
    if kind == Kind.TIME:
        return column.dates is not None and (
            column.dates.is_clock or column.dates.last_year >= 2000
        )
    if column.numbers is None or column.n_distinct < min(3, column.n_filled / 4):
        return False
    return _is_in_bounds(column, target)


_MIDDLES = {
    "stiffness": (0.5, 75.0),
    "attenuation": (0.2, 450.0),
    "stiffness_iqr": (0.0, 30.0),
    "attenuation_iqr": (0.0, 150.0),
    "age_years": (1.0, 110.0),
}


def _is_in_bounds(column: ColumnFacts, target: str) -> bool:
    if target in ("n_valid", "n_attempted") and not column.is_whole:
        return False
    low, high = _MIDDLES.get(target) or OTHER_BOUNDS.get(target, (0.0, 1e9))
    return low <= column.middle <= high


def look_of(column: ColumnFacts) -> str:
    """What an unplaced column looks like, without any value that could be a person's."""
    if not column.n_filled:
        return "empty"
    if column.dates is not None:
        return "time of day" if column.dates.is_clock else "date"
    codes = [word for word, _ in column.words]
    if 0 < len(codes) <= _FEW_CODES and all(len(code) <= _SHORT for code in codes):
        return f"codes {', '.join(sorted(codes))}"
    if column.numbers is not None and not (column.is_unique and column.is_whole):
        kind = "whole numbers" if column.is_whole else "numbers"
        return f"{kind} {column.low:g} to {column.high:g}"
    if column.is_unique:
        return "a different value in each row"
    return f"{column.n_distinct} different values"
