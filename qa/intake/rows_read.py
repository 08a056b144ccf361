"""How many rows of a file were read and held back, by the month of their exams."""

import polars as pl

from qa.intake.bounds import FIRST_DAY

PLACE = ["file_no", "site_id", "month"]
_ZERO, _ONE = pl.lit(0, pl.Int64), pl.lit(1, pl.Int64)


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
    months = rows.select(
        "file_no",
        "row_no",
        "site_id",
        month=pl.when(is_known).then(pl.col("exam_on").dt.truncate("1mo")),
        read_in=pl.col("known_at").dt.date().dt.truncate("1mo"),
    )
    # Nearly all rows have a date and are accepted, so only the others are looked at one by one.
    dated = months.lazy().drop_nulls("month").group_by(PLACE).len("n_rows").collect()
    odd = _with_usual_month(months.filter(pl.col("month").is_null()), dated)
    waiting = held.select("file_no", "row_no")
    of_month = months.join(waiting, on=["file_no", "row_no"], how="semi").drop_nulls("month")
    of_usual = odd.join(waiting, on=["file_no", "row_no"], how="semi")
    return (
        pl.concat(
            [
                dated.select(*PLACE, pl.col("n_rows").cast(pl.Int64), n_rows_quarantined=_ZERO),
                odd.select(*PLACE, n_rows=_ONE, n_rows_quarantined=_ZERO),
                *(
                    part.select(*PLACE, n_rows=_ZERO, n_rows_quarantined=_ONE)
                    for part in (of_month, of_usual)
                ),
            ]
        )
        .group_by(PLACE)
        .agg(pl.col("n_rows", "n_rows_quarantined").sum())
        .sort(PLACE)
    )


def _with_usual_month(odd: pl.DataFrame, dated: pl.DataFrame) -> pl.DataFrame:
    """The month of most dated rows of the same file and site, or of the file, or of the reading."""
    of_site = _usual_months(dated, ["file_no", "site_id"], "usual_of_site")
    of_file = _usual_months(dated, ["file_no"], "usual_of_file")
    return (
        odd.join(of_site, on=["file_no", "site_id"], how="left", nulls_equal=True)
        .join(of_file, on="file_no", how="left")
        .with_columns(month=pl.coalesce("usual_of_site", "usual_of_file", "read_in"))
    )


def _usual_months(dated: pl.DataFrame, of: list[str], name: str) -> pl.DataFrame:
    """The month of most rows; the earlier one on a draw."""
    counts = dated.group_by(*of, "month").agg(pl.col("n_rows").sum())
    ordered = counts.sort("n_rows", "month", descending=[True, False])
    return ordered.group_by(*of).agg(pl.col("month").first().alias(name))
