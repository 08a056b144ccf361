"""What a workbook's cell means: number formats, and typed values as text that reads one way only.

Source: ECMA-376 part 1, 18.8.30 (numFmt: built-in ids, codes of dates and times), 18.17.4 (date
systems 1900 and 1904), 22.9.2.19 (escaped characters).
"""

import re
from datetime import datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum

from qa.readers.typed_text import MAX_WHOLE

MILLISECONDS_A_DAY = 86_400_000


class CellKind(StrEnum):
    """How a number is meant, by its number format."""

    NUMBER = "number"
    DATE = "date"
    TIME = "time of day"
    BOTH = "date and time"
    ELAPSED = "elapsed time"


_BUILT_IN: dict[int, CellKind] = {
    **dict.fromkeys((14, 15, 16, 17), CellKind.DATE),
    **dict.fromkeys((18, 19, 20, 21, 45, 47), CellKind.TIME),
    22: CellKind.BOTH,
    46: CellKind.ELAPSED,
    **dict.fromkeys((*range(27, 32), 36, *range(50, 59)), CellKind.DATE),
    **dict.fromkeys((32, 33, 34, 35), CellKind.TIME),
}
_QUOTED = re.compile(r'"[^"]*"|\\.|_.|\*.')
_ELAPSED = re.compile(r"\[(h+|m+|s+)\]", re.IGNORECASE)
_BRACKETS = re.compile(r"\[[^\]]*\]")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")


def kind_of_format(format_id: int, code: str | None) -> CellKind:
    """Kind of a number format.

    Args:     code: what the workbook declares for the id; None: a built-in format.
    Example:  (164, "dd/mm/yyyy hh:mm") → date and time; (165, "0.0") → number
    """
    if code is None:
        return _BUILT_IN.get(format_id, CellKind.NUMBER)
    plain = _QUOTED.sub("", code[:255]).split(";", 1)[0]
    if _ELAPSED.search(plain):
        return CellKind.ELAPSED
    plain = _BRACKETS.sub("", plain).lower()
    if "general" in plain:
        return CellKind.NUMBER
    has_time = any(letter in plain for letter in "hs") or "am/pm" in plain
    has_date = any(letter in plain for letter in "yd") or ("m" in plain and not has_time)
    if has_date:
        return CellKind.BOTH if has_time else CellKind.DATE
    return CellKind.TIME if has_time else CellKind.NUMBER


def unescape(text: str) -> str:
    """Example: "a_x000A_b" → "a" + line end + "b" """
    return _ESCAPED.sub(lambda match: chr(int(match[1], 16)), text) if "_x" in text else text


def number_text(raw: str, kind: CellKind, *, is_1904: bool, decimal: str) -> str:
    """A number as a person would read the cell.

    Args:     raw: as stored, with a decimal point.   decimal: sign to write it with.
    Returns:  days and times as ISO 8601; elapsed times as hours:minutes:seconds; whole numbers
              without a fraction. A day that no calendar holds stays a number.
    Raises:   ValueError: no number.   OverflowError: more digits than a workbook keeps.
    Example:  "9.1999999999999993" → "9.2"; 46086.59722222222 as date and time →
              "2026-03-05T14:20:00"; 1.25 as elapsed time → "30:00:00"
    """
    value = float(raw.replace("_", "?"))
    if value != value or abs(value) >= MAX_WHOLE:
        raise OverflowError
    if kind is not CellKind.NUMBER and (text := _moment_text(value, kind, is_1904=is_1904)):
        return text
    text = repr(value)
    if "e" in text:
        text = format(Decimal(text), "f")
    return text.removesuffix(".0").replace(".", decimal)


def _moment_text(value: float, kind: CellKind, *, is_1904: bool) -> str | None:
    milliseconds = round(value * MILLISECONDS_A_DAY)
    if kind is CellKind.ELAPSED:
        return _hours(milliseconds)
    if kind is CellKind.TIME and 0 <= milliseconds < MILLISECONDS_A_DAY:
        return _short((datetime(2000, 1, 1) + timedelta(milliseconds=milliseconds)).time())
    first = _first_day(value, is_1904=is_1904)
    if first is None:
        return None
    try:
        moment = first + timedelta(milliseconds=milliseconds)
    except OverflowError:
        return None
    if kind is CellKind.DATE and milliseconds % MILLISECONDS_A_DAY == 0:
        return moment.date().isoformat()
    return _short(moment)


def _short(moment: datetime | time) -> str:
    text = moment.isoformat()
    return text.rstrip("0") if "." in text else text


def _hours(milliseconds: int) -> str:
    seconds, rest = divmod(abs(milliseconds), 1000)
    sign = "-" if milliseconds < 0 else ""
    text = f"{sign}{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return f"{text}.{rest:03}" if rest else text


def _first_day(value: float, *, is_1904: bool) -> datetime | None:
    """Day 0. The 1900 system counts a 29 February 1900 that never was: that day is refused."""
    if is_1904:
        return datetime(1904, 1, 1) if value >= 0 else None
    if value >= 61:
        return datetime(1899, 12, 30)
    return datetime(1899, 12, 31) if 1 <= value < 60 else None
