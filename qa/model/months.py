"""Month arithmetic. A month is the date of its first day; nothing here reads a clock."""

from collections.abc import Iterator
from datetime import date

from qa.model.errors import WrongUse


def parse_month(text: str) -> date:
    """Read "YYYY-MM".

    Raises: WrongUse when the text is no month.
    Example: parse_month("2026-10") → date(2026, 10, 1)
    """
    try:
        year, month = text.split("-")
        if len(year) != 4 or len(month) != 2:
            raise ValueError(text)
        return date(int(year), int(month), 1)
    except ValueError:
        raise WrongUse(
            f"'{text}' is no month", expected="YYYY-MM, for example 2026-10", code="USE-001"
        ) from None


def month_of(day: date) -> date:
    return date(day.year, day.month, 1)


def add_months(month: date, n: int) -> date:
    """Example: add_months(date(2026, 11, 1), 3) → date(2027, 2, 1)"""
    index = month.year * 12 + month.month - 1 + n
    return date(index // 12, index % 12 + 1, 1)


def months_between(first: date, last: date) -> int:
    """Months from first to last; 0 where they are the same, negative where last is earlier."""
    return (last.year - first.year) * 12 + last.month - first.month


def iterate_months(first: date, last: date) -> Iterator[date]:
    """Every month from first to last, both included."""
    for n in range(months_between(first, last) + 1):
        yield add_months(first, n)


MONTH_NAMES = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def month_name(month: date) -> str:
    """Example: month_name(date(2026, 10, 1)) → 'October 2026' (independent of the locale)"""
    return f"{MONTH_NAMES[month.month - 1]} {month.year}"


def short_month_name(month: date) -> str:
    """Example: short_month_name(date(2026, 10, 1)) → 'Oct 26'"""
    return f"{MONTH_NAMES[month.month - 1][:3]} {month.year % 100:02d}"
