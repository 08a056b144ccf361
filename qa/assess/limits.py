"""Comparing a figure with a limit."""

import polars as pl

TOLERANCE = 1e-9
"""Two figures this close are equal: 1.5 / 5.0 is 0.3, whatever the last bit says."""


def is_beyond(value: pl.Expr, limit: pl.Expr, *, is_limit_allowed: pl.Expr) -> pl.Expr:
    """True where a value breaks an upper limit; null where value or limit is missing."""
    return (
        pl.when(is_limit_allowed)
        .then(value > limit + TOLERANCE)
        .otherwise(value >= limit - TOLERANCE)
    )


def reaches(value: pl.Expr, limit: pl.Expr | float) -> pl.Expr:
    """True where a value is at a lower limit or above; null where one of them is missing."""
    return value >= limit - TOLERANCE
