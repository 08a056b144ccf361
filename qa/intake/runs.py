"""Which files of a batch can be judged together, and which rows must stay together for it."""

from collections.abc import Sequence

import polars as pl

from qa.intake.pseudonym import exam_key_of


def find_exam_keys(picked: pl.DataFrame, *, site_ids: Sequence[str], key: bytes) -> pl.DataFrame:
    """The exam that each row speaks of, before anything else of it is read.

    Args:     picked: file_no, site_of_file, and site_word and exam_id_word of pick_columns.
              site_ids: sites of the network.
    Returns:  file_no, exam_key (null where the row has no exam number or no known site) and
              is_doubled (the exam stands in another row of the same file too), in the same order.
    """
    named = pl.when(pl.col("site_word").is_in(list(site_ids))).then("site_word")
    rows = picked.select("file_no", "exam_id_word", site_id=pl.coalesce("site_of_file", named))
    keys = rows.select("file_no", exam_key=exam_key_of(rows, key=key))
    if _are_all_different(keys):
        return keys.with_columns(is_doubled=pl.lit(value=False))
    is_doubled = pl.struct("file_no", "exam_key").is_duplicated() & pl.col("exam_key").is_not_null()
    return keys.with_columns(is_doubled=is_doubled)


def _are_all_different(keys: pl.DataFrame) -> bool:
    """Two keys with the same short hash count as one, which is told apart elsewhere."""
    known = keys["exam_key"].drop_nulls()
    return known.hash().n_unique() == known.len()


def find_runs(keys: pl.DataFrame, *, n_files: int) -> list[range]:
    """Runs of files that share no exam, as long as they can be, in the order of the files.

    Args:     keys: file_no and exam_key of all rows.
    Example:  files {a} {b} {a, c} {c} → 0-1, 2, 3
    """
    if n_files == 1 or _are_all_different(keys):
        return [range(n_files)]
    shared = keys.lazy().drop_nulls("exam_key").unique(["exam_key", "file_no"])
    before = (
        shared.sort("exam_key", "file_no")
        .with_columns(
            earlier=pl.when(pl.col("exam_key") == pl.col("exam_key").shift(1)).then(
                pl.col("file_no").shift(1)
            )
        )
        .drop_nulls("earlier")
        .group_by("file_no")
        .agg(pl.col("earlier").max())
        .sort("file_no")
        .collect()
    )
    starts = [0]
    for number, earlier in before.select("file_no", "earlier").iter_rows():
        if earlier >= starts[-1]:
            starts.append(number)
    return [range(start, end) for start, end in zip(starts, [*starts[1:], n_files], strict=True)]
