"""Which forms of date fit a column of texts; when two orders fit, neither is chosen."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

_DAY_FORMS = (
    "%d.%m.%Y", "%m.%d.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%m-%d-%Y",
    "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%d.%m.%y", "%m.%d.%y", "%d/%m/%y", "%m/%d/%y",
    "%d-%b-%Y", "%d %b %Y", "%d %B %Y", "%b %d, %Y",
)  # fmt: skip
_TIME_FORMS = ("", " %H:%M", " %H:%M:%S", "T%H:%M", "T%H:%M:%S", " %I:%M %p", ", %H:%M")
_CLOCKS = ("%H:%M", "%H:%M:%S", "%I:%M %p")
_ISO = r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})?)?$"
_FIT_SHARE = 0.98
_YEARS = (1900, 2100)


@dataclass(frozen=True)
class DateGuess:
    """Forms that fit nearly all texts.

    Args:
        forms: strptime formats; empty for ISO 8601, which needs none.
        is_clock: a time of day without a date.
        first_year, last_year: of the texts, by the first form.
    """

    forms: tuple[str, ...]
    is_clock: bool = False
    first_year: int = 0
    last_year: int = 0

    @property
    def is_ambiguous(self) -> bool:
        """Day and month could be the other way round in every text."""
        return len(self.forms) > 1

    @property
    def has_time(self) -> bool:
        return self.is_clock or any("%H" in form or "%I" in form for form in self.forms)


def guess_date_format(texts: Sequence[str]) -> DateGuess | None:
    """Find the form of dates or times of day.

    Args:    texts: different texts of a column, none empty.
    Returns: None when they are no dates. With both orders possible both forms are given, so that
             a person decides: nothing in the texts can.
    Example: ["13.04.2026"] → %d.%m.%Y; ["03/04/2026", "05/04/2026"] → %d/%m/%Y and %m/%d/%Y
    """
    if not texts:
        return None
    column = pl.Series("t", texts, dtype=pl.String)
    iso = column.filter(column.str.contains(_ISO))
    if iso.len() >= _FIT_SHARE * column.len():
        days = iso.str.slice(0, 10).str.strptime(pl.Date, "%Y-%m-%d", strict=False)
        if days.null_count() > (1 - _FIT_SHARE) * column.len():
            return None
        years = days.dt.year().drop_nulls()
        return _in_years((), years)
    if not column.str.contains(r"\d").all():
        return None
    if column.str.contains(r"^\d{1,2}:\d{2}").all():
        clocks = [form for form in _CLOCKS if _fits_clock(column, form)]
        return DateGuess(tuple(clocks[:1]), is_clock=True) if clocks else None
    fitting = [
        day + time for day in _DAY_FORMS for time in _TIME_FORMS if _fits(column, day + time)
    ]
    return _of_forms(column, fitting)


def _of_forms(column: pl.Series, fitting: list[str]) -> DateGuess | None:
    if not fitting:
        return None
    # Four digits of a year are read before two, and of the rest both orders are kept.
    long_years = [form for form in fitting if "%Y" in form] or fitting
    first = long_years[0]
    swapped = first.replace("%d", "\0").replace("%m", "%d").replace("\0", "%m")
    forms = (first, swapped) if swapped != first and swapped in long_years else (first,)
    years = _parse(column, first).dt.year().drop_nulls()
    return _in_years(forms, years)


def _in_years(forms: tuple[str, ...], years: pl.Series) -> DateGuess | None:
    different = years.unique().sort().to_list()
    if different[0] < _YEARS[0] or different[-1] > _YEARS[1]:
        return None
    return DateGuess(forms, first_year=different[0], last_year=different[-1])


def _parse(column: pl.Series, form: str) -> pl.Series:
    if "%H" in form or "%I" in form:
        return column.str.strptime(pl.Datetime("us"), form, strict=False, exact=True)
    return column.str.strptime(pl.Date, form, strict=False, exact=True)


def _fits(column: pl.Series, form: str) -> bool:
    if "%Y%m%d" in form and not column.str.contains(r"^\d{8}").all():
        return False
    parsed = _parse(column, form)
    in_years = parsed.dt.year().is_between(*_YEARS)
    return int(in_years.fill_null(value=False).sum()) >= _FIT_SHARE * column.len()


def _fits_clock(column: pl.Series, form: str) -> bool:
    parsed = column.str.strptime(pl.Time, form, strict=False)
    return parsed.len() - parsed.null_count() >= _FIT_SHARE * column.len()
