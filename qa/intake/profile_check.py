"""Whether a profile holds together, before any file is read with it."""

from qa.intake.mapping import mapped_columns
from qa.intake.targets import OF_READINGS, SPLIT_TIME, TARGET_BY_NAME, TARGETS, Kind, Target
from qa.model.definitions import ColumnMap, Measurements, Profile
from qa.model.errors import ProfileError
from qa.model.words import AttenuationUnit, FileFormat, StiffnessUnit

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
    _check_measurements(profile)
    missing = [target.name for target in TARGETS if target.is_needed and target.name not in mapped]
    if missing:
        raise _wrong(profile, f"[columns.{missing[0]}] is missing", expected="it must be mapped")
    for quantity in _UNITS:
        _check_units(quantity, profile)
    for key in ("stiffness_limits_kpa", "attenuation_limits_db_m"):
        limits = getattr(profile, key)
        if limits is not None and not 0 <= limits[0] < limits[1]:
            raise _wrong(
                profile,
                f"[limits] {key.replace('_limits', '')} is {limits[0]:g}, {limits[1]:g}",
                expected="the lowest and the highest value that the device shows",
            )


def _check_measurements(profile: Profile) -> None:
    """Where single readings stand must be said without a gap."""
    measurements, key = profile.measurements, "[measurements]"
    if measurements is None:
        return
    if measurements.layout not in ("rows", "columns"):
        raise _wrong(profile, f"{key} layout is '{measurements.layout}'", expected=_LAYOUTS)
    is_rows = measurements.layout == "rows"
    if not measurements.headings or (is_rows and len(measurements.headings) != 1):
        raise _wrong(
            profile,
            f"{key} has {len(measurements.headings)} headings",
            expected="one heading for rows, one for each reading for columns",
        )
    if is_rows and measurements.headings[0].endswith("*"):
        raise _wrong(profile, f"{key} has a heading with '*'", expected="one heading for rows")
    if not 1 <= measurements.quartile_type <= 9:
        raise _wrong(
            profile,
            f"{key} quartile_type is {measurements.quartile_type}",
            expected="1 to 9, as Hyndman and Fan number them; 7 is common",
        )
    if bool(measurements.valid_heading) != bool(measurements.valid_values):
        raise _wrong(
            profile,
            f"{key} names the valid readings by halves",
            expected="`valid_heading` and `valid_values` together",
        )
    only_rows = ("valid_heading", "order_heading", "first_of", "mean_of")
    if not is_rows and any(getattr(measurements, name) for name in only_rows):
        raise _wrong(profile, f"{key} has a key for rows only", expected="layout = 'rows'")
    _check_free_targets(measurements, profile)


_LAYOUTS = '"rows" (one row per measurement) or "columns" (one column per measurement)'


def _check_free_targets(measurements: Measurements, profile: Profile) -> None:
    mapped = {column.target for column in mapped_columns(profile)}
    for name in (*measurements.first_of, *measurements.mean_of):
        if name not in mapped or name == "exam_id":
            raise _wrong(
                profile, f"[measurements] names '{name}'", expected="a column that is mapped"
            )
    numbers = (Kind.NUMBER, Kind.WHOLE)
    for name in measurements.mean_of:
        if TARGET_BY_NAME[name].kind not in numbers:
            raise _wrong(profile, f"[measurements] mean_of '{name}'", expected="a number")


def _wrong(profile: Profile, what: str, *, expected: str, todo: str = "") -> ProfileError:
    return ProfileError(
        what, where=f"profile {profile.full_id}", expected=expected, todo=todo, code="PRF-003"
    )


def _check_file_settings(profile: Profile) -> None:
    if profile.format not in tuple(FileFormat):
        known = ", ".join(f'"{name}"' for name in FileFormat)
        raise _wrong(profile, f"the format '{profile.format}' is unknown", expected=known)
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
    if column.target in OF_READINGS:
        raise _wrong(profile, f"{key} is filled otherwise", expected="a table [measurements]")
    if target is None and column.target not in SPLIT_TIME:
        names = ", ".join([*(one for one in TARGET_BY_NAME if one not in OF_READINGS), *SPLIT_TIME])
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
    of_readings = None
    if quantity == "stiffness" and profile.measurements is not None:
        of_readings = profile.measurements.unit
    elif median is None:
        return
    stated = {unit for unit in (median.unit if median else None, of_readings) if unit}
    is_strange = of_readings is not None and of_readings not in allowed
    if is_strange or len(stated) + has_unit_column != 1:
        raise _wrong(
            profile,
            f"[columns.{quantity}] needs one statement of its unit",
            expected=f"`unit` (one of {', '.join(allowed)}), or a column {quantity}_unit",
        )
    unit = next(iter(stated), None)
    if iqr is not None and iqr.unit not in (None, unit):
        raise _wrong(
            profile,
            f"[columns.{quantity}_iqr] is in {iqr.unit} and the median in {unit}",
            expected="both in the same unit, because an IQR is never converted",
        )
