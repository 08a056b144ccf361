"""A hash of what an exam's row says, without where it came from: equal content, equal hash."""

import hashlib

import polars as pl

from qa.intake.pseudonym import HAS_PLUGIN, KEY_DIGITS
from qa.model.schemas import EXAMS

PROVENANCE = (
    "exam_key", "version_no", "flags", "file_id", "row_no", "profile_id", "row_hash", "known_at",
)  # fmt: skip
CONTENT = tuple(column for column in EXAMS.columns if column.name not in PROVENANCE)

_NULL, _NEXT = "\x1e", "\x1f"
_STEP = 1e6


def add_row_hash(rows: pl.DataFrame) -> pl.DataFrame:
    """Add row_hash: 32 hexadecimal digits of SHA-256 over the content columns of EXAMS.

    Numbers count to six decimals, so that a hash does not depend on how a version of a library
    writes a float.
    """
    texts = rows.select(
        pl.concat_str(
            [_as_text(column.name, column.dtype) for column in CONTENT], separator=_NEXT
        ).alias("text")
    )
    if HAS_PLUGIN:
        # The type checker cannot know a namespace that a plugin adds.
        digest = pl.col("text").chash.sha2_256()  # type: ignore[attr-defined]
        hashes = texts.select(digest.str.slice(0, KEY_DIGITS)).to_series()
    else:
        hashes = content_hash_in_python(texts["text"])
    return rows.with_columns(hashes.alias("row_hash"))


def content_hash_in_python(texts: pl.Series) -> pl.Series:
    """SHA-256 without the plugin."""
    hashes = [hashlib.sha256(text.encode()).hexdigest()[:KEY_DIGITS] for text in texts]
    return pl.Series(hashes, dtype=pl.String)


def _as_text(name: str, dtype: object) -> pl.Expr:
    column = pl.col(name)
    if dtype == pl.Float64:
        column = (column * _STEP).round().cast(pl.Int64)
    elif dtype in (pl.Date, pl.Boolean) or isinstance(dtype, pl.Datetime):
        column = column.cast(pl.Int64)
    return column.cast(pl.String).fill_null(_NULL)
