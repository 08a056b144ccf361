"""What a check of a row is, and the words to write one."""

from dataclasses import dataclass

import polars as pl

from qa.model.words import Severity


@dataclass(frozen=True)
class Check:
    """One thing that can be wrong with a row.

    Args:
        code: stable; several columns may share one.
        sentence: what is wrong, for the site.
        severity: quarantine keeps the row out; flag lets it in with the code.
        columns: targets concerned.
        is_fine: true fine, false fails, null cannot tell.
        expected: what would have been right; {decimal}, {date_format}, {unit} and {codes} come from
            the profile.
        found: what stands in the file, where that is no cell of `columns`; never an identifier.
    """

    code: str
    sentence: str
    severity: Severity
    columns: tuple[str, ...]
    is_fine: pl.Expr
    expected: str
    found: pl.Expr | None = None


def quarantine(
    code: str, sentence: str, columns: tuple[str, ...], is_fine: pl.Expr, expected: str
) -> Check:
    return Check(code, sentence, Severity.QUARANTINE, columns, is_fine, expected)


def flag(
    code: str, sentence: str, columns: tuple[str, ...], is_fine: pl.Expr, expected: str
) -> Check:
    return Check(code, sentence, Severity.FLAG, columns, is_fine, expected)


def where(is_known: pl.Expr, is_fine: pl.Expr) -> pl.Expr:
    """is_fine where it can be told, else null."""
    return pl.when(is_known).then(is_fine)


def has(name: str) -> pl.Expr:
    return pl.col(name).is_not_null()
