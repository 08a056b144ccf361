"""Birth date → age at the exam; the birth date itself ends here.

A date without its day counts as the middle of its month, one without its month as the middle of
its year: then the age may be wrong by one, which no rule here depends on.
"""

import polars as pl

_DAY = r"^\d{4}-\d{2}-\d{2}"
_MONTH = r"^\d{4}-\d{2}$"
_YEAR = r"^\d{4}$"


def add_age_from_birth(rows: pl.DataFrame, *, date_format: str | None) -> pl.DataFrame:
    """Compute the age in full years on the day of the exam.

    Args:
        rows: needs birth_date_word, exam_on.
        date_format: strptime format; None: ISO 8601 (YYYY-MM-DD, YYYY-MM or YYYY; a time behind
            the day is left out).
    Returns: rows with age_from_birth (whole years, below 0 where the birth lies after the exam;
        null where either cannot be read) and is_birth_date_read. Nothing else of the birth date.
    Example: 29.02.1960 and an exam on 2026-02-28 → 65, on 2026-03-01 → 66
    """
    text = pl.col("birth_date_word")
    born_on = _iso_date(text) if date_format is None else _date(text, date_format)
    rows = rows.with_columns(born_on=born_on)
    is_before_birthday = _day_of_year("exam_on") < _day_of_year("born_on")
    years = pl.col("exam_on").dt.year() - pl.col("born_on").dt.year()
    years = years - is_before_birthday.cast(pl.Int32)
    return rows.with_columns(
        age_from_birth=years.cast(pl.Int32), is_birth_date_read=pl.col("born_on").is_not_null()
    ).drop("born_on")


def _day_of_year(name: str) -> pl.Expr:
    """Orders days by month and day, whatever the year: 229 is 29 February."""
    return pl.col(name).dt.month().cast(pl.Int32) * 100 + pl.col(name).dt.day()


def _date(text: pl.Expr, date_format: str) -> pl.Expr:
    return text.str.strptime(pl.Date, date_format, strict=False, exact=True)


def _iso_date(text: pl.Expr) -> pl.Expr:
    day = pl.when(text.str.contains(_DAY)).then(text.str.slice(0, 10))
    month = pl.when(text.str.contains(_MONTH)).then(text + "-15")
    year = pl.when(text.str.contains(_YEAR)).then(text + "-07-01")
    return _date(pl.coalesce(day, month, year), "%Y-%m-%d")
