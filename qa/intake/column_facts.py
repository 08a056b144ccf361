"""What the values of one unknown column look like."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from qa.intake.date_formats import DateGuess, guess_date_format
from qa.intake.numbers import as_number

FEW_WORDS = 40
"""Up to so many different values a column is taken for a coded one."""
_NUMERIC_SHARE = 0.95
_EMAIL_OR_PHONE = re.compile(r"^[^@\s]+@[^@\s]+\.\w+$|^\+?[\d ()/-]{7,}$")
_FREE_TEXT = re.compile(r"\w+\W+\w+\W+\w+")


@dataclass(frozen=True)
class ColumnFacts:
    """One column: its heading, its cells without missing ones, and what they are.

    Args:
        cells: text, stripped; "" where nothing stands.
        n_filled, n_distinct: of the cells that hold something.
        numbers: float64 of all cells by the file's decimal sign, nan where none; only where nearly
            all filled cells are numbers, else None.
        is_whole: all numbers are whole.
        words: the different values with how often each stands, where there are few.
        dates: which forms of date fit, where any does.
        is_free_text: sentences, or names and addresses as people write them.
    """

    heading: str
    cells: tuple[str, ...] = field(repr=False)
    n_filled: int
    n_distinct: int
    numbers: np.ndarray | None = field(repr=False, compare=False)
    is_whole: bool
    words: tuple[tuple[str, int], ...]
    dates: DateGuess | None
    is_free_text: bool

    @property
    def is_unique(self) -> bool:
        return 1 < self.n_filled == self.n_distinct == len(self.cells)

    @property
    def figures(self) -> np.ndarray:
        """The numbers of a column that has them."""
        assert self.numbers is not None
        return self.numbers

    @property
    def low(self) -> float:
        return float(np.nanmin(self.figures))

    @property
    def high(self) -> float:
        return float(np.nanmax(self.figures))

    @property
    def middle(self) -> float:
        return float(np.nanmedian(self.figures))


def look_at(
    heading: str, cells: Sequence[str | None], *, missing: Sequence[str], decimal: str
) -> ColumnFacts:
    """Facts of one column; cells that hold a missing mark count as empty."""
    marks = {"", *missing}
    texts = tuple("" if (cell or "").strip() in marks else (cell or "").strip() for cell in cells)
    filled = [text for text in texts if text]
    counts = Counter(filled)
    numbers = _numbers(texts, len(filled), decimal)
    few = len(counts) <= FEW_WORDS and len(filled) > 0
    return ColumnFacts(
        heading=heading,
        cells=texts,
        n_filled=len(filled),
        n_distinct=len(counts),
        numbers=numbers,
        is_whole=numbers is not None and bool(np.all(np.mod(numbers[~np.isnan(numbers)], 1) == 0)),
        words=tuple(sorted(counts.items(), key=lambda item: (-item[1], item[0]))) if few else (),
        dates=None if numbers is not None else guess_date_format(list(counts)),
        is_free_text=_is_free_text(counts, len(filled)),
    )


def _numbers(texts: Sequence[str], n_filled: int, decimal: str) -> np.ndarray | None:
    if not n_filled:
        return None
    column = pl.Series(texts, dtype=pl.String).to_frame("t")
    numbers = column.select(as_number(pl.col("t"), decimal=decimal)).to_series()
    if numbers.len() - numbers.null_count() < _NUMERIC_SHARE * n_filled:
        return None
    return numbers.cast(pl.Float64).fill_null(float("nan")).to_numpy()


def _is_free_text(counts: Counter[str], n_filled: int) -> bool:
    """Mostly different texts of several words, e-mail addresses or telephone numbers."""
    if not n_filled:
        return False
    wordy = sum(n for text, n in counts.items() if _FREE_TEXT.search(text) and not _dates(text))
    reach = sum(n for text, n in counts.items() if _EMAIL_OR_PHONE.match(text) and " " in text)
    return wordy > n_filled / 2 or (reach > n_filled / 2 and len(counts) > FEW_WORDS)


def _dates(text: str) -> bool:
    return text[:1].isdigit() and ":" in text


def find_decimal(columns: Sequence[Sequence[str | None]]) -> str:
    """The sign between whole and fraction: the one by which more cells are numbers with one."""
    cells = [cell.strip() for column in columns for cell in column if cell]
    n_comma = sum(bool(re.fullmatch(r"[+-]?\d+,\d+", cell)) for cell in cells)
    n_point = sum(bool(re.fullmatch(r"[+-]?\d+\.\d+", cell)) for cell in cells)
    return "," if n_comma > n_point else "."
