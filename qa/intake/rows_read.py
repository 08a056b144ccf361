"""How many rows of a file were read and held back, by the month of their exams."""

import polars as pl

from qa.intake.bounds import FIRST_DAY

PLACE = ["file_no", "site_id", "month"]


def count_rows_read(rows: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """Count rows by file, site and month.

    The month is that of the exam. A row whose date cannot be read, or lies before FIRST_DAY or
    after the reading, belongs to the month of most rows of its file and site (the earlier one on
    a draw), because a faulty date is often the very fault; in a file without any readable date,
    to the month in which the file was read.

    Args:     rows: file_no, row_no, site_id, exam_on, known_at of every row.
              held: file_no, row_no of those that went to quarantine.
    Returns:  file_no, site_id, month, n_rows, n_rows_quarantined, sorted.
    """
    is_known = pl.col("exam_on").is_between(FIRST_DAY, pl.col("known_at").dt.date())
    own_month = pl.when(is_known).then(pl.col("exam_on").dt.truncate("1mo"))
    dated = rows.with_columns(own_month=own_month)
    usual = _usual_months(dated, ["file_no", "site_id"], "usual_of_site")
    usual_of_file = _usual_months(dated, ["file_no"], "usual_of_file")
    placed = (
        dated.join(usual, on=["file_no", "site_id"], how="left", nulls_equal=True)
        .join(usual_of_file, on="file_no", how="left")
        .join(
            held.select("file_no", "row_no", is_held=pl.lit(value=True)),
            on=["file_no", "row_no"],
            how="left",
        )
    )
    read_in = pl.col("known_at").dt.date().dt.truncate("1mo")
    month = pl.coalesce("own_month", "usual_of_site", "usual_of_file", read_in)
    return (
        placed.group_by("file_no", "site_id", month.alias("month"))
        .agg(
            n_rows=pl.len().cast(pl.Int64),
            n_rows_quarantined=pl.col("is_held").fill_null(value=False).sum().cast(pl.Int64),
        )
        .sort(PLACE)
    )


def _usual_months(dated: pl.DataFrame, of: list[str], name: str) -> pl.DataFrame:
    """The month of most rows; the earlier one on a draw."""
    counts = dated.drop_nulls("own_month").group_by(*of, "own_month").len()
    ordered = counts.sort("len", "own_month", descending=[True, False])
    return ordered.group_by(*of).agg(pl.col("own_month").first().alias(name))
