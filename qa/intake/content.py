"""A hash of what an exam's row says, without where it came from: equal content, equal hash.

Every content column that holds something gives a word of 64 bits: a text the first 64 bits of its
SHA-256, a patient_key its own first 64 bits, a number its double rounded to six decimals (so that
nothing depends on how a library computes the last digits), a whole number, day, time or flag its
value. The word, moved by a salt of the column's name, is mixed; the hash is the mixed sum. An empty
column adds nothing, so that a column that is added later leaves older rows as they were.

It tells two versions of one exam apart, at a chance of 2^-64 to take them for the same; it is no
signature. Mixing: the finaliser of SplitMix64 (Steele, Lea, Flood, OOPSLA 2014, doi
10.1145/2660193.2660195).
"""

import hashlib

import numpy as np
import polars as pl

from qa.model.schemas import EXAMS

PROVENANCE = (
    "exam_key", "version_no", "flags", "file_id", "row_no", "profile_id", "row_hash", "known_at",
)  # fmt: skip
CONTENT = tuple(column for column in EXAMS.columns if column.name not in PROVENANCE)

_STEP = 1e6
_WORD_DIGITS = 16
_MIX = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))
_LAST_SHIFT = 31


def add_row_hash(rows: pl.DataFrame) -> pl.DataFrame:
    """Add row_hash: the hash of the content columns of EXAMS, as decimal digits."""
    total = np.zeros(rows.height, np.uint64)
    for column in CONTENT:
        values = rows[column.name]
        n_empty = values.null_count()
        if n_empty == values.len():
            continue
        words = _words(values) + np.uint64(_word_of(column.name))
        mixed = mix(words)
        if n_empty:
            mixed *= values.is_not_null().to_numpy()
        total += mixed
    return rows.with_columns(pl.Series("row_hash", mix(total)).cast(pl.String))


def mix(words: np.ndarray) -> np.ndarray:
    """Spread every bit over all 64, one to one; words are overwritten."""
    for shift, factor in _MIX:
        words ^= words >> np.uint64(shift)
        words *= np.uint64(factor)
    words ^= words >> np.uint64(_LAST_SHIFT)
    return words


def _words(values: pl.Series) -> np.ndarray:
    """64 bits for each value; anything for an empty one."""
    if values.dtype == pl.Float64:
        # 0.0 is added so that -0.0 is 0.0.
        return (np.rint(values.fill_null(0.0).to_numpy() * _STEP) + 0.0).view(np.uint64)
    if values.dtype == pl.String:
        return _words_of_keys(values) if values.name == "patient_key" else _words_of_texts(values)
    if isinstance(values.dtype, pl.List):
        return _words_of_texts(_as_texts(values))
    return values.cast(pl.Int64).fill_null(0).to_numpy().view(np.uint64)


def _words_of_keys(keys: pl.Series) -> np.ndarray:
    digits = keys.str.slice(0, _WORD_DIGITS)
    return digits.str.to_integer(base=16, dtype=pl.UInt64).fill_null(0).to_numpy()


def _words_of_texts(texts: pl.Series) -> np.ndarray:
    different = texts.drop_nulls().unique()
    words = pl.Series([_word_of(text) for text in different], dtype=pl.UInt64)
    if different.len() == 1:
        return np.full(texts.len(), words[0], np.uint64)
    return texts.replace_strict(different, words, default=None).fill_null(0).to_numpy()


def _word_of(text: str) -> int:
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")


def _as_texts(lists: pl.Series) -> pl.Series:
    """Sorted: readings that stand in another order are the same readings."""
    whole = (pl.element() * _STEP).round().cast(pl.Int64).sort().cast(pl.String)
    return lists.list.eval(whole).list.join(" ")
