"""The same exam twice in one file."""

import polars as pl


def mark_doubled_exams(rows: pl.DataFrame) -> pl.DataFrame:
    """Look for the same exam twice in one file.

    Args:    rows: file_no, exam_key, row_no, row_hash; is_doubled where that is known already.
    Returns: rows with is_first_of_exam and is_same_content (of all rows of the exam in the file);
        both true for an exam that stands once, both null where the exam has no key.
    """
    place = ["file_no", "exam_key"]
    if "is_doubled" not in rows.columns:
        rows = rows.with_columns(is_doubled=pl.struct(place).is_duplicated())
    doubled = rows.filter(pl.col("exam_key").is_not_null() & pl.col("is_doubled"))
    rows = rows.drop("is_doubled")
    has_key = pl.col("exam_key").is_not_null()
    if doubled.is_empty():
        once = pl.when(has_key).then(pl.lit(value=True))
        return rows.with_columns(is_first_of_exam=once, is_same_content=once)
    facts = doubled.group_by(place).agg(
        first_row_no=pl.col("row_no").min(), n_contents=pl.col("row_hash").n_unique()
    )
    marked = rows.join(facts, on=place, how="left", maintain_order="left")
    is_first = (pl.col("row_no") == pl.col("first_row_no")).fill_null(value=True)
    is_same = (pl.col("n_contents") == 1).fill_null(value=True)
    return marked.with_columns(
        is_first_of_exam=pl.when(has_key).then(is_first),
        is_same_content=pl.when(has_key).then(is_same),
    ).drop("first_row_no", "n_contents")
