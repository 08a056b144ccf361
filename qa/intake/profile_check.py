"""Whether a profile holds together, before any file is read with it."""

from qa.intake.mapping import mapped_columns
from qa.intake.targets import SPLIT_TIME, TARGET_BY_NAME, TARGETS, Kind, Target
from qa.model.definitions import ColumnMap, Profile
from qa.model.errors import ProfileError
from qa.model.words import AttenuationUnit, StiffnessUnit

_UNITS: dict[str, tuple[str, ...]] = {
    "stiffness": tuple(StiffnessUnit),
    "attenuation": tuple(AttenuationUnit),
}


def check_profile(profile: Profile) -> None:
    """Refuse a profile that maps nothing sensible.

    Raises: ProfileError PRF-003, naming the key of the profile that is wrong.
    """
    _check_file_settings(profile)
    for column in profile.columns:
        _check_column(column, profile)
    mapped = {column.target for column in mapped_columns(profile)}
    missing = [target.name for target in TARGETS if target.is_needed and target.name not in mapped]
    if missing:
        raise _wrong(profile, f"[columns.{missing[0]}] is missing", expected="it must be mapped")
    for quantity in _UNITS:
        _check_units(quantity, profile)


def _wrong(profile: Profile, what: str, *, expected: str, todo: str = "") -> ProfileError:
    return ProfileError(
        what, where=f"profile {profile.full_id}", expected=expected, todo=todo, code="PRF-003"
    )


def _check_file_settings(profile: Profile) -> None:
    if profile.format != "csv":
        raise _wrong(profile, f"the format '{profile.format}' is unknown", expected='"csv"')
    if len(profile.delimiter) != 1 or not profile.delimiter.isascii():
        raise _wrong(profile, "delimiter is not one character", expected='for example ";" or ","')
    if profile.decimal not in (".", ","):
        raise _wrong(profile, f"decimal is '{profile.decimal}'", expected='"." or ","')
    if profile.header_row < 1:
        raise _wrong(profile, f"header_row is {profile.header_row}", expected="1 or more")
    if profile.unknown_columns not in ("refuse", "drop"):
        raise _wrong(
            profile,
            f"unknown_columns is '{profile.unknown_columns}'",
            expected='"refuse" or "drop"',
        )


def _check_column(column: ColumnMap, profile: Profile) -> None:
    key = f"[columns.{column.target}]"
    target = TARGET_BY_NAME.get(column.target)
    if target is None and column.target not in SPLIT_TIME:
        names = ", ".join([*TARGET_BY_NAME, *SPLIT_TIME])
        raise _wrong(profile, f"{key} is no column of the network", expected=f"one of {names}")
    if bool(column.headings) == (column.constant is not None):
        raise _wrong(profile, f"{key} has no source", expected="either `headings` or `constant`")
    if target is None:
        return
    if target.kind == Kind.REASON and not column.codes and column.constant is None:
        raise _wrong(
            profile,
            f"{key} has no codes",
            expected="`codes` for every value, because free text never enters",
        )
    if target.kind == Kind.WORD:
        _check_words(column, target, profile)


def _check_words(column: ColumnMap, target: Target, profile: Profile) -> None:
    given = [new for _, new in column.codes]
    given += [word for word in (column.missing_as,) if word is not None]
    given += [column.constant] if column.constant is not None and not column.codes else []
    strange = [word for word in given if word not in target.words]
    if strange:
        raise _wrong(
            profile,
            f"[columns.{column.target}] maps to '{strange[0]}'",
            expected=f"one of {', '.join(target.words)}",
        )


def _check_units(quantity: str, profile: Profile) -> None:
    """Median and IQR need one unit, stated in the profile or in a column of their own."""
    allowed = _UNITS[quantity]
    median, iqr = profile.column(quantity), profile.column(f"{quantity}_iqr")
    has_unit_column = profile.column(f"{quantity}_unit") is not None
    for column in (median, iqr):
        if column is not None and column.unit is not None and column.unit not in allowed:
            raise _wrong(
                profile,
                f"[columns.{column.target}] has the unit '{column.unit}'",
                expected=f"one of {', '.join(allowed)}",
            )
    if median is None:
        return
    if (median.unit is None) != has_unit_column:
        raise _wrong(
            profile,
            f"[columns.{quantity}] needs one statement of its unit",
            expected=f"`unit` (one of {', '.join(allowed)}), or a column {quantity}_unit",
        )
    if iqr is not None and iqr.unit not in (None, median.unit):
        raise _wrong(
            profile,
            f"[columns.{quantity}_iqr] is in {iqr.unit} and the median in {median.unit}",
            expected="both in the same unit, because an IQR is never converted",
        )
