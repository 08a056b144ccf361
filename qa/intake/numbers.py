"""Text → number, by the decimal sign that the profile states."""

import polars as pl


def as_number(text: pl.Expr, *, decimal: str) -> pl.Expr:
    """A finite number written with this decimal sign; null for anything else.

    Example: "9,2" with "," → 9.2; "9.2" with "," → null; "1,234.5", "nan", "12 kPa" → null
    """
    return finite(parsed(text, decimal=decimal))


def parsed(text: pl.Expr, *, decimal: str) -> pl.Expr:
    """as_number, but not finite for "inf" and "nan"."""
    if decimal == ",":
        has_point = text.str.contains(".", literal=True)
        text = pl.when(~has_point).then(text.str.replace(",", ".", literal=True))
    return text.cast(pl.Float64, strict=False)


def finite(number: pl.Expr) -> pl.Expr:
    return pl.when(number.is_finite()).then(number)


def last_step(text: pl.Expr, *, decimal: str) -> pl.Expr:
    """The smallest step that a written number can take; null for no text.

    Example: "9.25" → 0.01; "9" → 1
    """
    digits = text.str.extract(rf"[{decimal}](\d+)$").str.len_chars().fill_null(0)
    step = pl.lit(10.0).pow(-digits.cast(pl.Int64))
    return pl.when(text.is_not_null()).then(step)
