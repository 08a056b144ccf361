"""Grade counts → the distribution of one unit over the bands of one table."""

import polars as pl

from qa.charts.curves import share_intervals
from qa.model.definitions import GradeTable
from qa.views.shown import GradeBar


def grade_bar(
    counts: pl.DataFrame, *, table: GradeTable, label: str, unit_id: str = ""
) -> GradeBar:
    """GRADE_COUNTS rows of one unit and period, of any tables → the distribution over one."""
    rows = counts.filter(pl.col("table_id") == table.id).group_by("band").agg(pl.sum("n_exams"))
    by_band = dict(rows.select("band", "n_exams").iter_rows())
    n_events = tuple(int(by_band.get(band, 0)) for band in range(len(table.labels)))
    n = sum(n_events)
    lower, upper = share_intervals(n_events, n)
    return GradeBar(
        label=label,
        table_id=table.id,
        n=n,
        band_labels=table.labels,
        shares=tuple(k / n for k in n_events) if n else (),
        counts=n_events if n else (),
        lower=lower,
        upper=upper,
        unit_id=unit_id,
    )
