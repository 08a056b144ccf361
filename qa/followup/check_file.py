"""A file of phantom checks → forms; all of its rows or, with the first faults, none."""

import csv
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import islice

from qa.followup.checks import MAX_VALUES, CheckForm
from qa.model.equipment_words import UNITS
from qa.model.errors import FollowupError

NEEDED = ("day", "device", "probe", "phantom", "unit")
OPTIONAL = ("operator", "temperature_c")
MAX_ROWS = 20_000
SHOWN = 5


def value_columns(headings: Sequence[str]) -> list[str]:
    return [one for one in headings if one.startswith("value_") and one[6:].isdecimal()]


def read_checks(text: str, *, name: str, units: Mapping[str, str]) -> list[CheckForm]:
    """Rows of a file of phantom checks.

    Args:
        text: CSV with the columns day, device, probe, phantom, unit, value_1, value_2 … and, if
            any, operator and temperature_c; decimal point, days as 2026-11-25.
        name: of the file, for messages.
        units: phantom id → its unit; a row in another unit is refused.
    Returns: forms in the order of the rows.
    Raises: FollowupError EQP-030 (columns), EQP-031 (rows; up to five are named).
    """
    lines = csv.reader(text.splitlines())
    headings = [one.strip().lower() for one in next(lines, [])]
    values = value_columns(headings)
    unknown = set(headings) - {*NEEDED, *OPTIONAL, *values}
    missing = [one for one in NEEDED if one not in headings]
    if unknown or missing or not values or len(values) > MAX_VALUES:
        raise FollowupError(
            f"missing: {', '.join(missing) or 'none'}; unknown: {', '.join(sorted(unknown))[:200]}",
            where=f"{name}, first row",
            expected=f"{', '.join(NEEDED)}, value_1 to value_{MAX_VALUES}, and if any "
            f"{', '.join(OPTIONAL)}",
            todo="Nothing of the file was kept",
            code="EQP-030",
        )
    forms, faults = [], []
    for number, cells in enumerate(islice(lines, MAX_ROWS), start=2):
        if not any(one.strip() for one in cells):
            continue
        try:
            forms.append(
                _form(dict(zip(headings, cells, strict=False)), values, name, number, units)
            )
        except ValueError as problem:
            faults.append(f"row {number}: {problem}")
    if faults or not forms:
        raise FollowupError(
            "; ".join(faults[:SHOWN]) or "no row",
            where=name,
            expected="days like 2026-11-25, numbers with a decimal point, the phantom's unit",
            todo=f"{len(faults)} rows are faulty; mend them, nothing of the file was kept",
            code="EQP-031",
        )
    return forms


def _form(
    row: Mapping[str, str], values: Sequence[str], name: str, number: int, units: Mapping[str, str]
) -> CheckForm:
    cells = {key: cell.strip() for key, cell in row.items()}
    phantom, unit = cells.get("phantom", ""), cells.get("unit", "")
    if unit not in UNITS.values() or units.get(phantom, unit) != unit:
        raise ValueError(f"unit '{unit[:20]}'")
    temperature = cells.get("temperature_c", "")
    return CheckForm(
        device_id=cells.get("device", ""),
        probe=cells.get("probe", ""),
        phantom_id=phantom,
        day=_day(cells.get("day", "")),
        values=tuple(_number(cells[one]) for one in values if cells.get(one)),
        operator_id=cells.get("operator", ""),
        temperature_c=_number(temperature) if temperature else None,
        source=f"{name}, row {number}",
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"'{text[:20]}' is no day") from None


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"'{text[:20]}' is no number") from None
