"""The row hash of earlier warehouses: SHA-256 over the texts of all content columns.

Exams that entered with it keep it for all their versions, so that no row has to be hashed again.
"""

import hashlib

import polars as pl

from qa.intake.content import CONTENT
from qa.intake.pseudonym import HAS_PLUGIN, KEY_DIGITS

ADDED_LATER = (
    "acquisition_mode", "pressure_in_range_share", "motion_in_range_share", "roi_depth_mm",
    "quality_index_share", "skin_to_capsule_mm", "measurements", "source_status",
)  # fmt: skip
"""Columns that older warehouses did not have: where empty they leave the hash as it was."""

_NULL, _NEXT = "\x1e", "\x1f"
_STEP = 1e6


def earlier_row_hash(rows: pl.DataFrame) -> pl.Series:
    """32 hexadecimal digits of SHA-256 over the content columns of EXAMS.

    Numbers count to six decimals, so that a hash does not depend on how a version of a library
    writes a float.
    """
    content = pl.concat_str(
        [
            _as_text(column.name, column.dtype).fill_null(_NULL)
            for column in CONTENT
            if column.name not in ADDED_LATER
        ],
        separator=_NEXT,
    )
    later = [
        pl.format("{}{}={}", pl.lit(_NEXT), pl.lit(column.name), text).fill_null("")
        for column in CONTENT
        if column.name in ADDED_LATER and rows[column.name].null_count() < rows.height
        for text in [_as_text(column.name, column.dtype)]
    ]
    texts = rows.select(pl.concat_str([content, *later]).alias("text"))
    if HAS_PLUGIN:
        # The type checker cannot know a namespace that a plugin adds.
        digest = pl.col("text").chash.sha2_256()  # type: ignore[attr-defined]
        return texts.select(digest.str.slice(0, KEY_DIGITS)).to_series()
    return content_hash_in_python(texts["text"])


def content_hash_in_python(texts: pl.Series) -> pl.Series:
    """SHA-256 without the plugin."""
    hashes = [hashlib.sha256(text.encode()).hexdigest()[:KEY_DIGITS] for text in texts]
    return pl.Series(hashes, dtype=pl.String)


def _as_text(name: str, dtype: object) -> pl.Expr:
    column = pl.col(name)
    if dtype == pl.Float64:
        column = (column * _STEP).round().cast(pl.Int64)
    elif isinstance(dtype, pl.List):
        # Sorted: readings that stand in another order are the same readings.
        whole = (pl.element() * _STEP).round().cast(pl.Int64).sort().cast(pl.String)
        return column.list.eval(whole).list.join(" ")
    elif dtype in (pl.Date, pl.Boolean) or isinstance(dtype, pl.Datetime):
        column = column.cast(pl.Int64)
    return column.cast(pl.String)
